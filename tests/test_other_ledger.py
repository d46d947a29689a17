"""The demo's exports through beangulp's own command line, against a ledger that has them already."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
CONFIG = """\
import sys
sys.path.insert(0, {root!r})
from importers.beangulp import run
from ledger_tools.other_ledger import shop_importers
run(shop_importers({books!r}))
"""


@pytest.fixture(scope="module")
def ingest(tmp_path_factory: pytest.TempPathFactory):
    """Runs beangulp's command line over two of the demo's exports; gives its output."""
    folder = tmp_path_factory.mktemp("ingest")
    config = folder / "config.py"
    config.write_text(CONFIG.format(root=str(ROOT), books=str(ROOT / "books")), encoding="utf-8")
    downloads = folder / "downloads"
    downloads.mkdir()
    for name in ("card-processor/payments-2031-02.csv", "checking/statement-2031-01.ofx"):
        source = ROOT / "books" / "exports" / name
        (downloads / source.name).write_bytes(source.read_bytes())

    def run(*words: str) -> str:
        command = [sys.executable, str(config), *words, str(downloads)]
        return subprocess.run(command, check=True, capture_output=True, text=True).stdout

    return run


def test_identify_names_the_source(ingest) -> None:
    """Each export is claimed by the importer of its source."""
    found = ingest("identify")
    assert "ledger-tools.card-processor" in found
    assert "ledger-tools.checking" in found


def test_extract_posts_as_the_books_do(ingest) -> None:
    """What extract prints are the entries of the committed journal, with payments tied to their orders."""
    found = ingest("extract")
    journal = (ROOT / "books" / "journal" / "2031-02.beancount").read_text(encoding="utf-8")
    entry = next(part for part in found.split("\n\n") if '"Payment" ^order-' in part)
    lines = [" ".join(line.split()) for line in entry.strip().splitlines()]
    start = journal.index(lines[2].replace("event:", "event:"))
    assert lines[0] in journal
    assert lines[3] in [" ".join(line.split()) for line in journal[start : start + 400].splitlines()]


def test_what_the_ledger_has_is_marked(ingest) -> None:
    """Against the books that hold them, every entry is a duplicate; without them none is."""
    against = ingest("extract", "-e", str(ROOT / "books" / "main.beancount"))
    headings = [line for line in against.splitlines() if line[:1].isdigit()]
    assert [] == headings
    assert against.count("duplicate of") > 50
    assert "duplicate of" not in ingest("extract")
