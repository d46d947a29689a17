"""The linter, the formatter and the type checker find nothing; their settings stand in pyproject.toml."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]


@pytest.mark.parametrize(
    "tool",
    [
        pytest.param(["ruff", "check", "--quiet", "--output-format", "concise", "."], id="linter"),
        pytest.param(["ruff", "format", "--check", "--output-format", "concise", "."], id="formatter"),
        pytest.param(["mypy"], id="types"),
        pytest.param(["mypy", "run.py"], id="types-of-run"),
    ],
)
def test_tool_finds_nothing(tool: list[str]) -> None:
    """The tool ends well; what it found is the message of this test."""
    done = subprocess.run([sys.executable, "-m", *tool], cwd=ROOT, capture_output=True, text=True, check=False)
    assert 0 == done.returncode, f"{' '.join(tool)}:\n{done.stdout}{done.stderr}"
