"""Runs the program: as a person does, in a process of its own (`run`), or quicker in this one (`call`)."""

import json
import os
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from ledger_tools.cli import group

ROOT = Path(__file__).resolve().parents[2]


@dataclass(frozen=True)
class Outcome:
    """What became of one call."""

    status: int
    out: str
    err: str

    def json(self) -> Any:
        """What stands on stdout, read as JSON."""
        return json.loads(self.out)


def environment(**more: str) -> dict[str, str]:
    """The caller's environment, without what would steer the program, and with `more`."""
    steering = ("LEDGER_BOOKS", "NO_COLOR", "COLUMNS", "FORCE_COLOR")
    kept = {name: value for name, value in os.environ.items() if name not in steering}
    return {**kept, "PYTHONPATH": str(ROOT), "PYTHONWARNINGS": "default", **more}


def command(*arguments: object) -> list[str]:
    """The command line that starts the program."""
    return [sys.executable, "-m", "ledger_tools", *map(str, arguments)]


def run(*arguments: object, cwd: Path | None = None, text: str | None = None, **more: str) -> Outcome:
    """Call the program; `more` are environment variables, `text` is what stands on its stdin."""
    done = subprocess.run(
        command(*arguments),
        cwd=cwd,
        env=environment(**more),
        input=text,
        capture_output=True,
        text=True,
        timeout=120,
        check=False,
    )
    return Outcome(done.returncode, done.stdout, done.stderr)


def call(*arguments: object, text: str | None = None, **more: str) -> Outcome:
    """Call the program in this process; an exception that no sentence is made of is raised again."""
    names = {name: None for name in os.environ if name not in environment()}
    result = CliRunner().invoke(
        group, [str(argument) for argument in arguments], input=text, env={**names, **more}, prog_name="ledger-tools"
    )
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Outcome(result.exit_code, result.stdout, result.stderr)
