"""Fills README.md with what the program prints: run `python tests/house/readme_outputs.py` after a change.

A comment `<!-- output: COMMAND | head N -->` is followed by a block that holds the first (or with tail the last) N lines
that the command prints on the committed demo books; `<!-- postings -->` by the table of posting rules, `<!-- open item
kinds -->` and `<!-- close steps -->` by those of the kinds and the steps, and in DEVELOPERS.md `<!-- stages -->` by the
table of the stages of matching. The house tests fail while the file and the program differ.
"""

from __future__ import annotations

import re
import shlex
import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

_OUTPUT = re.compile(r"<!-- output: (.+?)(?: \| (head|tail) (\d+))? -->\n```text\n.*?```\n", re.DOTALL)
_POSTINGS = re.compile(r"<!-- postings -->\n(?:\|.*\n)*")
_STAGES = re.compile(r"<!-- stages -->\n(?:\|.*\n)*")
_STEPS = re.compile(r"<!-- close steps -->\n(?:\|.*\n)*")
_KINDS = re.compile(r"<!-- open item kinds -->\n(?:\|.*\n)*")


def output_of(command: str, books: Path) -> list[str]:
    """Lines that a command prints to stdout on the demo books, 80 columns wide."""
    from click.testing import CliRunner

    from ledger_tools.cli import group

    surroundings = {"LEDGER_BOOKS": str(books), "COLUMNS": "80", "NO_COLOR": "1", "FORCE_COLOR": None}
    done = CliRunner().invoke(group, shlex.split(command), env=surroundings, prog_name="ledger-tools")
    assert done.exit_code in (0, 1), done.stderr
    return [line.rstrip() for line in done.stdout.splitlines()]


def filled(text: str, books: Path) -> str:
    """README's text with every block as the program prints it now."""
    from ledger_tools.close_steps import steps_table
    from ledger_tools.open_item_finders.kinds import kinds_table
    from ledger_tools.posting.documentation import posting_table

    def block(found: re.Match[str]) -> str:
        command, end, count = found[1], found[2], found[3]
        lines = output_of(command, books)
        if end == "head":
            lines = lines[: int(count)]
        elif end == "tail":
            lines = lines[-int(count) :]
        cut = f" | {end} {count}" if end else ""
        return f"<!-- output: {command}{cut} -->\n```text\n" + "".join(f"{line}\n" for line in lines) + "```\n"

    text = _KINDS.sub(lambda found: "<!-- open item kinds -->\n" + kinds_table(), _OUTPUT.sub(block, text))
    text = _STEPS.sub(lambda found: "<!-- close steps -->\n" + steps_table(), text)
    return _POSTINGS.sub(lambda found: "<!-- postings -->\n" + posting_table(), text)


def with_stages(text: str) -> str:
    """DEVELOPERS.md's text with the stages of matching as the program has them now."""
    from ledger_tools.matching.stages import stages_table

    return _STAGES.sub(lambda found: "<!-- stages -->\n" + stages_table(), text)


def main() -> None:
    """Write README.md and the table in DEVELOPERS.md anew."""
    developers = ROOT / "DEVELOPERS.md"
    developers.write_text(with_stages(developers.read_text(encoding="utf-8")), encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        books = Path(folder) / "books"
        shutil.copytree(ROOT / "books", books, ignore=shutil.ignore_patterns(".cache"))
        readme = ROOT / "README.md"
        readme.write_text(filled(readme.read_text(encoding="utf-8"), books), encoding="utf-8")


if __name__ == "__main__":
    main()
