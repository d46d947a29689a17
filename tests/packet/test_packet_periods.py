"""Packets of closed months, of quarters and years, of many lines, and of months drawn at random: the checks read zero."""

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import duckdb
import openpyxl
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from random_month import SETTINGS, SOURCES, draw_month, texts
from shop_books import DemoBooks, build_books, silent

from ledger_tools.archive import open_books
from ledger_tools.calendar import Period, parse_month, parse_quarter, parse_year
from ledger_tools.cli.periods import period_name
from ledger_tools.closed import Reopening, read_closed_months
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import last_known_day
from ledger_tools.packet import detail_tables
from ledger_tools.packet.close_tables import CREDIT_WORTH, DEBIT_WORTH
from ledger_tools.packet.contents import make_packet
from ledger_tools.packet.document import write_document
from ledger_tools.packet.separated import write_separated
from ledger_tools.packet.table import Packet
from ledger_tools.packet.workbook import write_workbook

ROOT = Path(__file__).resolve().parents[2]


def broken(packet: Packet) -> list[object]:
    """Names of the checks that are not zero."""
    return [line.cells[0] for line in list(packet.table("check").lines)[1:] if line.cells[5]]


@pytest.fixture(scope="module")
def closed_books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[BooksFolder, duckdb.DuckDBPyConnection]]:
    """A copy of the committed books, whose months are closed."""
    target = tmp_path_factory.mktemp("closed") / "books"
    shutil.copytree(ROOT / "books", target, ignore=shutil.ignore_patterns(".cache"))
    folder = BooksFolder(target)
    with open_books(folder, silent) as connection:
        yield folder, connection


def test_a_closed_month_says_so(closed_books: tuple[BooksFolder, duckdb.DuckDBPyConnection], tmp_path: Path) -> None:
    """Of a closed month no sheet says DRAFT; the steps of its close and its month-end entries stand on sheets of their own."""
    folder, connection = closed_books
    packet = make_packet(connection, parse_month("2031-04"), "2031-04", period_name, silent, read_closed_months(folder))
    assert [] == broken(packet)
    assert () == packet.standing.open_months
    write_workbook(tmp_path / "packet.xlsx", packet, tmp_path)
    book = openpyxl.load_workbook(tmp_path / "packet.xlsx", data_only=True)
    for sheet in book:
        assert "Closed" == sheet["A3"].value
        assert "DRAFT" not in str(sheet.oddHeader.center.text)
    states = {line.cells[4] for line in packet.table("close").lines}
    assert {"done", "waived"} == states
    entries = packet.table("month-end-entries")
    titles = {str(line.cells[1]).partition(":")[0] for line in entries.lines if line.weight == "plain"}
    assert {"Month-end", "Month-end reversed"} == titles
    (posted,) = connection.execute(
        """SELECT count(*) FROM posting JOIN event USING (event_no) JOIN source USING (source_no)
           WHERE source.name = 'month-end' AND strftime(posting.posted_on, '%Y-%m') = '2031-04'"""
    ).fetchall()[0]
    assert posted == len(entries.lines) - 1 > 100


def test_the_pages_show_the_weightiest_entries(
    closed_books: tuple[BooksFolder, duckdb.DuckDBPyConnection], tmp_path: Path
) -> None:
    """The PDF has the largest month-end entries whole, no reversal before them, what is left out by kind, and the total."""
    folder, connection = closed_books
    packet = make_packet(connection, parse_month("2031-04"), "2031-04", period_name, silent, read_closed_months(folder))
    whole, pages = packet.table("month-end-entries"), packet.table("month-end-entries").in_document
    assert pages is not None
    assert list(whole.lines)[-1].cells == list(pages.lines)[-1].cells
    plain = [line for line in pages.lines if line.weight == "plain"]
    shown = [line for line in plain if line.cells[0] is not None]
    assert 10 < len(shown) <= 30 < len(whole.lines)
    # an entry is known by its day, title, source and event; what it moves is the sum of the accounts that it raises
    moved: dict[tuple[object, ...], dict[object, int]] = {}
    for line in whole.lines:
        if line.weight == "plain":
            accounts = moved.setdefault((line.cells[0], line.cells[1], line.cells[4], line.cells[5]), {})
            worth = int(str(line.cells[DEBIT_WORTH])) - int(str(line.cells[CREDIT_WORTH]))
            accounts[line.cells[6]] = accounts.get(line.cells[6], 0) + worth
    sizes = {key: sum(max(amount, 0) for amount in accounts.values()) for key, accounts in moved.items()}
    keys = list(dict.fromkeys((line.cells[0], line.cells[1], line.cells[4], line.cells[5]) for line in shown))
    new = sorted((size for key, size in sizes.items() if "reversed" not in str(key[1])), reverse=True)
    assert new[: len(keys)] == [sizes[key] for key in keys]
    assert new[0] > new[-1]
    left_out = {line.cells[1]: line.cells[6] for line in plain if line.cells[0] is None}
    assert len(moved) - len(keys) == sum(int(str(count).partition(" ")[0]) for count in left_out.values())
    for column in (DEBIT_WORTH, CREDIT_WORTH):
        assert list(whole.lines)[-1].cells[column] == sum(int(str(line.cells[column])) for line in plain)
    write_document(tmp_path / "packet.pdf", packet)
    text = " ".join(" ".join(page.extract_text().split()) for page in PdfReader(tmp_path / "packet.pdf").pages)
    assert "Every line stands on the sheet Month-end entries and in csv/month-end-entries.csv." in text
    for title, count in left_out.items():
        assert f"{title} {count}" in text


def test_reopened_months_are_told(closed_books: tuple[BooksFolder, duckdb.DuckDBPyConnection]) -> None:
    """A month that was opened again stands on the sheet of the close with who, when and why."""
    folder, connection = closed_books
    again = Reopening("2031-04", datetime.date(2031, 5, 20), "R. Vale", "the bank corrected its statement")
    packet = make_packet(
        connection, parse_month("2031-04"), "2031-04", period_name, silent, read_closed_months(folder), [again]
    )
    assert [("2031-04", again.on, "R. Vale", "opened again", "reopened", again.reason)] == [
        line.cells for line in packet.table("close").lines if line.cells[4] == "reopened"
    ]


@pytest.mark.parametrize(
    ("period", "open_months"),
    [
        (parse_quarter("2031-Q1"), ("2031-01", "2031-02", "2031-03")),
        (parse_year("2031"), tuple(f"2031-{month:02d}" for month in range(1, 13))),
    ],
    ids=["quarter", "year"],
)
def test_longer_periods(period: Period, open_months: tuple[str, ...], demo_books: DemoBooks) -> None:
    """A quarter and a year check to zero; a year that is not over is a draft up to what is known."""
    packet = make_packet(demo_books.connection, period, period_name(period), period_name, silent)
    assert [] == broken(packet)
    assert open_months == packet.standing.open_months
    assert len(packet.table("check").lines) > 100
    assert (
        min(period.last or packet.standing.last_day, last_known_day(demo_books.connection)) == packet.standing.last_day
    )


def test_too_many_lines_are_summed(demo_books: DemoBooks, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """With more lines than a sheet shall have, the workbook has sums by day and month, CSV has each, checks still hold."""
    monkeypatch.setattr(detail_tables, "MOST_LINES", 50)
    packet = make_packet(demo_books.connection, parse_month("2031-04"), "2031-04", period_name, silent)
    assert [] == broken(packet)
    write_workbook(tmp_path / "packet.xlsx", packet, tmp_path)
    book = openpyxl.load_workbook(tmp_path / "packet.xlsx", data_only=True)
    for name, title, of in (("general-ledger", "General ledger", "By day"), ("orders", "Orders", "By month")):
        table = packet.table(name)
        assert table.in_workbook is not None
        assert str(book[title]["A4"].value).startswith(of)
        write_separated(tmp_path / f"{name}.csv", table)
        lines = (tmp_path / f"{name}.csv").read_text(encoding="utf-8-sig").splitlines()
        assert len(table.lines) == len(lines) - 1 > len(table.in_workbook.lines)
    assert 0 == book["Check"].cell(row=8, column=6).value


@settings(max_examples=2, suppress_health_check=list(HealthCheck))
@given(st.integers(0, 2**32 - 1), st.integers(1, 30))
def test_any_month_checks_to_zero(tmp_path_factory: pytest.TempPathFactory, seed: int, orders: int) -> None:
    """Whatever a month holds, the packet can be written and its checks read zero."""
    month = draw_month(seed, orders)
    root = tmp_path_factory.mktemp("any")
    books = build_books(
        root, SETTINGS, {name: [texts(row, kind) for row in month.rows[name]] for name, kind in SOURCES.items()}
    )
    known = last_known_day(books.connection)
    assert known is not None
    packet = make_packet(books.connection, parse_month(f"{known:%Y-%m}"), "month", period_name, silent)
    assert [] == broken(packet)
    write_workbook(root / "packet.xlsx", packet, root)
    write_document(root / "packet.pdf", packet)
    books.connection.close()
