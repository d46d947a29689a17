"""The adapter to beangulp, through beangulp's own commands."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from beancount.core import data
from beancount.core.amount import Amount
from beangulp import Ingest
from click.testing import CliRunner, Result

from importers.beangulp import ExportImporter, run, same_event
from ledger_tools.errors import LedgerError, Problem

ACCOUNT = "Assets:Processor:CardProcessor"


def sale(event: str, day: str, amount: str) -> data.Transaction:
    """One entry as our journal writes it: source and event in its metadata."""
    number = Decimal(amount)
    postings = [
        data.Posting(ACCOUNT, Amount(number, "USD"), None, None, None, None),
        data.Posting("Assets:Clearing:Orders", Amount(-number, "USD"), None, None, None, None),
    ]
    meta = data.new_metadata("journal", 1, {"source": "card-processor", "event": event})
    return data.Transaction(
        meta, datetime.date.fromisoformat(day), "*", None, "Payment", frozenset(), frozenset(), postings
    )


def post_lines(path: Path) -> list[data.Directive]:
    """A stand-in for the posting rules: each line of the file is event, day and amount."""
    entries: list[data.Directive] = []
    for number, line in enumerate(path.read_text().splitlines(), start=1):
        cells = line.split(",")
        if len(cells) != 3:
            raise LedgerError(Problem(f"{path.name}, record {number}", "found a row that is cut off"))
        entries.append(sale(*cells))
    return entries


@pytest.fixture
def importer() -> ExportImporter:
    return ExportImporter(
        "card-processor", ACCOUNT, recognise=lambda path: path.name.startswith("payments"), post=post_lines
    )


@pytest.fixture
def downloads(tmp_path: Path) -> Path:
    folder = tmp_path / "downloads"
    folder.mkdir()
    (folder / "notes.txt").write_text("nothing of ours")
    return folder


def call(importer: ExportImporter, *arguments: str | Path) -> Result:
    return CliRunner().invoke(Ingest([importer]).cli, [str(argument) for argument in arguments])


def test_identify_names_the_source(importer: ExportImporter, downloads: Path) -> None:
    """Only the source's own export is recognised; other files are passed over."""
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\n")
    result = call(importer, "identify", "-v", downloads)
    assert result.exit_code == 0
    assert result.output.count("ledger-tools.card-processor") == 1
    assert ACCOUNT in result.output
    assert "notes.txt ... OK" not in result.output


def test_extract_prints_what_is_posted(importer: ExportImporter, downloads: Path) -> None:
    """Each entry is printed with its postings and with the source and event that identify it."""
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\n")
    result = call(importer, "extract", downloads)
    assert result.exit_code == 0
    for line in ('2031-04-01 * "Payment"', 'source: "card-processor"', 'event: "e1"', "19.12 USD", "-19.12 USD"):
        assert line in result.output


def test_orders_alike_are_not_duplicates(importer: ExportImporter, downloads: Path) -> None:
    """Three payments of one price on one day stay three; beangulp's own comparison would drop two."""
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\ne2,2031-04-01,19.12\ne3,2031-04-01,19.50\n")
    result = call(importer, "extract", downloads)
    assert [] == [line for line in result.output.splitlines() if line.startswith(";") and "mode" not in line]


def test_an_event_that_stands_twice_in_a_file_is_marked(importer: ExportImporter, downloads: Path) -> None:
    """The second entry of one event is printed as a comment, the first is not."""
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\ne1,2031-04-01,19.12\n")
    result = call(importer, "extract", downloads)
    assert result.output.count('\n2031-04-01 * "Payment"') == 1
    assert result.output.count('\n; 2031-04-01 * "Payment"') == 1


def test_events_of_the_ledger_are_marked(importer: ExportImporter, downloads: Path, tmp_path: Path) -> None:
    """An event that the ledger has under another date and amount is still the same event; a new one is not."""
    books = tmp_path / "main.beancount"
    books.write_text(
        f"2031-01-01 open {ACCOUNT}\n2031-01-01 open Assets:Clearing:Orders\n"
        '2031-03-01 * "Payment"\n  source: "card-processor"\n  event: "e1"\n'
        f"  {ACCOUNT}  5.00 USD\n  Assets:Clearing:Orders  -5.00 USD\n"
    )
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\ne2,2031-04-01,5.00\n")
    result = call(importer, "extract", "-e", books, downloads)
    assert result.exit_code == 0
    assert f"; duplicate of {books}:3" in result.output
    assert result.output.count('\n2031-04-01 * "Payment"') == 1
    assert '\n  event: "e2"' in result.output


def test_the_same_event_in_two_files_is_marked(importer: ExportImporter, downloads: Path) -> None:
    """Overlapping exports in one run: the later file's copy is a comment."""
    (downloads / "payments-1.csv").write_text("e1,2031-04-01,19.12\n")
    (downloads / "payments-2.csv").write_text("e1,2031-04-01,19.12\ne2,2031-04-02,5.00\n")
    result = call(importer, "extract", downloads)
    assert result.output.count('\n2031-04-01 * "Payment"') == 1
    assert result.output.count('\n; 2031-04-01 * "Payment"') == 1
    assert result.output.count('\n2031-04-02 * "Payment"') == 1


def test_a_refused_file_is_reported(importer: ExportImporter, downloads: Path) -> None:
    """A file that the importers refuse ends with status 1 and the record that is at fault, and prints no entry."""
    (downloads / "payments.csv").write_text("e1,2031-04-01,19.12\ne2,2031\n")
    result = call(importer, "extract", downloads)
    assert result.exit_code == 1
    assert "payments.csv, record 2: found a row that is cut off" in result.output
    assert '* "Payment"' not in result.output


def test_archive_files_under_the_account_and_the_last_day(
    importer: ExportImporter, downloads: Path, tmp_path: Path
) -> None:
    """The archive's name holds the last entry's day, the source and the file's own name, even if that has a date."""
    (downloads / "payments-2031-04.csv").write_text("e1,2031-04-01,19.12\ne2,2031-04-30,5.00\n")
    archive = tmp_path / "documents"
    archive.mkdir()
    result = call(importer, "archive", "-o", archive, downloads)
    assert result.exit_code == 0, result.output
    filed = [path.relative_to(archive).as_posix() for path in archive.rglob("*.csv")]
    assert filed == ["Assets/Processor/CardProcessor/2031-04-30.card-processor.payments-2031-04.csv"]


def test_a_changed_file_is_posted_again(importer: ExportImporter, downloads: Path) -> None:
    """What was posted is kept only while the file is unchanged."""
    path = downloads / "payments.csv"
    path.write_text("e1,2031-04-01,19.12\n")
    assert importer.date(str(path)) == datetime.date(2031, 4, 1)
    path.write_text("e1,2031-04-01,19.12\ne2,2031-04-15,5.00\n")
    assert importer.date(str(path)) == datetime.date(2031, 4, 15)


def test_marks_never_reach_what_is_kept(importer: ExportImporter, downloads: Path) -> None:
    """Marking an extracted entry as a duplicate leaves a later extraction of the same file unmarked."""
    path = downloads / "payments.csv"
    path.write_text("e1,2031-04-01,19.12\n")
    first = importer.extract(str(path), [])
    importer.deduplicate(first, [sale("e1", "2031-04-01", "19.12")])
    assert "__duplicate__" in first[0].meta
    assert "__duplicate__" not in importer.extract(str(path), [])[0].meta


def test_a_file_without_entries_has_no_date(importer: ExportImporter, downloads: Path) -> None:
    """An empty export has no date of its own, so beangulp takes the file's."""
    path = downloads / "payments.csv"
    path.write_text("")
    assert importer.date(str(path)) is None


def test_comparison_is_by_identity() -> None:
    """Two entries are one event if source and event agree; entries without them never are."""
    hand = sale("e1", "2031-04-01", "19.12")._replace(meta=data.new_metadata("hand", 1))
    assert same_event(sale("e1", "2031-04-01", "19.12"), sale("e1", "2031-05-01", "7.00"))
    assert not same_event(sale("e1", "2031-04-01", "19.12"), sale("e2", "2031-04-01", "19.12"))
    assert not same_event(hand, hand)
    assert ExportImporter.cmp is same_event


def test_run_is_beangulps_command_line(
    importer: ExportImporter, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """`run` hands over to beangulp's commands and ends the process as they do."""
    monkeypatch.setattr("sys.argv", ["import.py", "--help"])
    with pytest.raises(SystemExit) as ended:
        run([importer])
    assert ended.value.code == 0
    assert "extract" in capsys.readouterr().out
