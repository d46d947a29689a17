"""Who may import whom: the contracts of .importlinter hold, and each of them fails on a breach."""

import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
LINT = "from importlinter.cli import lint_imports_command; lint_imports_command()"


def lint(folder: Path) -> tuple[int, str]:
    """Exit status and report of the import linter, without its banner, in a folder that holds the project."""
    command = [sys.executable, "-c", LINT, "--no-cache"]
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False)
    banner, found, report = done.stdout.partition("Contracts\n---")
    return done.returncode, (found + report if found else banner) + done.stderr


def test_contracts_hold() -> None:
    """The project keeps all its contracts."""
    status, report = lint(ROOT)
    assert 0 == status, report


@pytest.mark.parametrize(
    ("broken", "module", "source"),
    [
        pytest.param("One direction", "ledger_tools/helpers.py", "", id="module without a layer"),
        pytest.param("One direction", "ledger_tools/errors.py", "import ledger_tools.settings", id="upwards"),
        pytest.param("One direction", "ledger_tools/money.py", "from ledger_tools import calendar", id="sideways"),
        pytest.param(
            "An importer", "importers/sample.py", "from ledger_tools.settings import ShopSettings", id="importer"
        ),
        pytest.param("An importer", "importers/stray.py", "import ledger_tools.store", id="new importer"),
        pytest.param("The command line's library", "ledger_tools/records.py", "import click", id="click"),
        pytest.param(
            "The command line's library", "importers/sample.py", "from click import echo", id="click in importer"
        ),
        pytest.param("The web view's library", "ledger_tools/store.py", "import fava.core", id="web"),
    ],
)
def test_breach_is_found(broken: str, module: str, source: str, tmp_path: Path) -> None:
    """A copy of the project with one stray line or module breaks the contract that is there for it."""
    for package in ("ledger_tools", "importers"):
        shutil.copytree(ROOT / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(ROOT / ".importlinter", tmp_path)
    changed = tmp_path / module
    before = changed.read_text(encoding="utf-8") if changed.exists() else ""
    changed.write_text(f"{before}\n{source}\n", encoding="utf-8")
    status, report = lint(tmp_path)
    assert 1 == status, report
    contracts = re.findall(
        r"^(One direction|An importer|The .+?'s library).*?(KEPT|BROKEN)", report, re.DOTALL | re.MULTILINE
    )
    assert (broken, "BROKEN") in contracts, report
