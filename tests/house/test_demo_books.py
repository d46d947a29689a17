"""The demo books in the repository: what the program writes today, loadable as they stand, and quoted right in README.md."""

import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import readme_outputs

ROOT = Path(__file__).resolve().parents[2]
BOOKS = ROOT / "books"


def files_below(folder: Path) -> dict[str, bytes]:
    """Every file of a books folder but the cache, by its path."""
    return {
        str(file.relative_to(folder)): file.read_bytes()
        for file in sorted(folder.rglob("*"))
        if file.is_file() and ".cache" not in file.parts
    }


@pytest.fixture(scope="module")
def copied(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A copy of the committed books without their cache."""
    target = tmp_path_factory.mktemp("committed") / "books"
    shutil.copytree(BOOKS, target, ignore=shutil.ignore_patterns(".cache"))
    return target


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The books that `demo` writes, built."""
    target = tmp_path_factory.mktemp("demo") / "books"
    command = [sys.executable, "-m", "ledger_tools", "demo", str(target)]
    subprocess.run(command, check=True, capture_output=True, cwd=ROOT)
    return target


def test_committed_books_are_what_the_demo_writes(written: Path) -> None:
    """`demo` writes the committed books byte for byte, exports, journal and all."""
    expected, found = files_below(BOOKS), files_below(written)
    assert sorted(expected) == sorted(found)
    assert [] == [name for name, content in expected.items() if found[name] != content]


def test_beancount_accepts_the_committed_books(copied: Path) -> None:
    """bean-check is silent on the committed journal as it stands, before any build."""
    command = [sys.executable, "-m", "beancount.scripts.check", "--no-cache", str(copied / "main.beancount")]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert (0, "", "") == (done.returncode, done.stdout, done.stderr)


def test_customers_stay_out_of_the_books() -> None:
    """No customer's name or e-mail of the shop's export stands in the journal."""
    text = "\n".join(file.read_text(encoding="utf-8") for file in sorted((BOOKS / "journal").glob("*.beancount")))
    rows = (BOOKS / "exports" / "shop" / "orders-2031-01.csv").read_text(encoding="utf-8").splitlines()
    assert "Deliver to" in rows[0]
    assert "post.invalid" in rows[1]
    names = {cell for row in rows[1:] for cell in row.split(",") if cell.endswith("post.invalid")}
    assert len(names) > 20
    assert [] == [name for name in names if name in text]
    assert "post.invalid" not in text


def test_readme_quotes_the_program(written: Path) -> None:
    """Every output and the posting table in README.md are what the program prints now, on the books that `demo` wrote."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    assert readme_outputs.filled(text, written) == text


def test_stages_are_the_programs() -> None:
    """The table of stages in DEVELOPERS.md is the one that the matchers read."""
    text = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert "<!-- stages -->\n| matched by" in text
    assert readme_outputs.with_stages(text) == text
