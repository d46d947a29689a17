"""The packet's workbook: what stands in its cells, held against beanquery and against another spreadsheet program."""

import datetime
import os
import re
import shutil
import subprocess
import zipfile
from collections.abc import Iterator
from decimal import Decimal
from pathlib import Path
from typing import Any

import beanquery
import openpyxl
import pytest

from ledger_tools.journal import load_ledger
from ledger_tools.packet.table import Packet

APRIL = "date >= 2031-04-01 AND date <= 2031-04-30"


@pytest.fixture(scope="module")
def workbook(packet_folder: Path) -> Any:
    """The workbook with the values that stand beside its formulas."""
    return openpyxl.load_workbook(packet_folder / "packet-2031-04.xlsx", data_only=True)


@pytest.fixture(scope="module")
def formulas(packet_folder: Path) -> Any:
    """The workbook with its formulas."""
    return openpyxl.load_workbook(packet_folder / "packet-2031-04.xlsx")


@pytest.fixture(scope="module")
def query(packet_folder: Path) -> Any:
    """Runs a query on the journal of the packet."""
    entries, errors, options = load_ledger(str(packet_folder / "journal" / "main.beancount"))
    assert [] == errors
    ledger = beanquery.connect("beancount:", entries=entries, errors=[], options=options)
    return lambda text: ledger.execute(text).fetchall()


def rows_below_headings(sheet: Any, frozen: Any = None) -> Iterator[tuple[Any, ...]]:
    """The lines of a sheet, without title, notes and headings, which end with the frozen pane (of `frozen`, if given)."""
    top = int(re.sub(r"\D", "", (frozen or sheet).freeze_panes))
    yield from sheet.iter_rows(min_row=top, values_only=True)


def worth(rows: list[tuple[str, Any]]) -> dict[str, Decimal]:
    """Weights of accounts in the base currency, in cents."""
    found = {}
    for account, inventory in rows:
        total = sum((pos.units.number for pos in inventory if pos.units.currency == "USD"), Decimal(0))
        found[account] = round(total, 2)
    return found


def money(value: Any) -> Decimal:
    """A cell's number as cents say it."""
    return round(Decimal(str(value or 0)), 2)


def test_trial_balance_is_beanquerys(workbook: Any, query: Any) -> None:
    """Opening balance, debits, credits and closing balance of each account and currency are beanquery's."""

    def sums(condition: str) -> dict[tuple[str, str], Decimal]:
        rows = query(f"SELECT account, currency, sum(number) WHERE {condition} GROUP BY account, currency")
        return {(account, currency): number for account, currency, number in rows}

    opening, closing = sums("date < 2031-04-01"), sums("date <= 2031-04-30")
    debits, credited = sums(f"{APRIL} AND number > 0"), sums(f"{APRIL} AND number < 0")
    shown = [row for row in rows_below_headings(workbook["Trial balance"]) if row[0] != "Total"]
    assert len(shown) > 40
    for account, currency, *amounts in shown:
        key = (account, currency)
        expected = [opening.get(key, 0), debits.get(key, 0), -credited.get(key, Decimal(0)), closing[key]]
        assert [Decimal(number) for number in expected] == [money(cell) for cell in amounts[:4]], key
    missing = {key for key, number in closing.items() if number} - {(row[0], row[1]) for row in shown}
    assert set() == missing


@pytest.mark.parametrize(
    ("column", "condition"), [(1, APRIL), (2, "date >= 2031-03-01 AND date <= 2031-03-31")], ids=["period", "before"]
)
def test_income_statement_is_beanquerys(column: int, condition: str, workbook: Any, query: Any) -> None:
    """Each account and total of the income statement is beanquery's, and no account is left out."""
    rows = query(f"SELECT account, sum(weight) WHERE {condition} AND account ~ '^(Income|Expenses)' GROUP BY account")
    expected = {
        name: -amount if name.startswith("Income") else amount for name, amount in worth(rows).items() if amount
    }
    shown = {
        row[0]: money(row[column]) for row in rows_below_headings(workbook["Income statement"]) if row[1] is not None
    }
    assert expected == {name: amount for name, amount in shown.items() if ":" in name and amount}
    revenue = sum(amount for name, amount in expected.items() if name.startswith("Income:"))
    goods = sum(amount for name, amount in expected.items() if name.startswith("Expenses:COGS:"))
    result = revenue - sum(amount for name, amount in expected.items() if name.startswith("Expenses:"))
    assert revenue == shown["Total revenue"]
    assert goods == shown["Total cost of goods sold"]
    assert revenue - goods == shown["Gross profit"]
    assert result == shown["Net income"]


def test_balance_sheet_is_beanquerys(workbook: Any, query: Any) -> None:
    """Each account and total of the balance sheet is beanquery's."""
    by_account = worth(query("SELECT account, sum(weight) WHERE date <= 2031-04-30 GROUP BY account"))
    shown = {row[0]: money(row[1]) for row in rows_below_headings(workbook["Balance sheet"]) if row[1] is not None}

    def of(*tops: str) -> Decimal:
        return sum((amount for name, amount in by_account.items() if name.partition(":")[0] in tops), Decimal(0))

    for name in [name for name in shown if ":" in name and not name.endswith("Earnings")]:
        assert by_account[name] * (1 if name.startswith("Assets:") else -1) == shown[name], name
    left_out = [name for name in by_account if name.startswith(("Assets", "Liab", "Equity")) and by_account[name]]
    assert [] == [name for name in left_out if name not in shown]
    assert -of("Income", "Expenses") == shown["Equity:CurrentEarnings"]
    assert of("Assets") == shown["Total assets"]
    assert -of("Liabilities") == shown["Total liabilities"]
    assert -of("Equity", "Income", "Expenses") == shown["Total equity"]
    assert of("Assets") == shown["Total liabilities and equity"]


def test_ledger_is_the_journals_postings(workbook: Any, query: Any) -> None:
    """Each posting of the journal is a line of the general ledger, with its source and event, and no other is."""
    rows = query(f"SELECT account, currency, date, any_meta('source'), any_meta('event'), number WHERE {APRIL}")
    expected = sorted((a, c, d, s or "hand.beancount", e or "", n) for a, c, d, s, e, n in rows if s)
    shown = []
    for account, currency, day, _, _, _, source, event, debit, credit, _, _ in rows_below_headings(
        workbook["General ledger"]
    ):
        if source != "hand.beancount":
            shown.append((account, currency, day.date(), source, event, money(debit) - money(credit)))
    assert expected == sorted(shown)


def recalculated(source: Path, place: Path) -> Any:
    """The workbook as another spreadsheet program works it out, from the formulas without their values."""
    bare = place / "bare.xlsx"
    with zipfile.ZipFile(source) as whole, zipfile.ZipFile(bare, "w", zipfile.ZIP_DEFLATED) as target:
        for name in whole.namelist():
            target.writestr(name, re.sub(rb"</f><v>[^<]*</v>", b"</f>", whole.read(name)))
    profile = f"-env:UserInstallation={(place / 'profile').as_uri()}"
    command = ["soffice", "--headless", profile, "--convert-to", "xlsx", "--outdir", str(place / "out"), str(bare)]
    subprocess.run(command, check=True, capture_output=True, timeout=120)
    return openpyxl.load_workbook(place / "out" / "bare.xlsx", data_only=True)


@pytest.mark.skipif(
    shutil.which("soffice") is None and not os.environ.get("CI"), reason="needs a spreadsheet program: libreoffice-calc"
)
def test_another_program_works_out_the_same(packet_folder: Path, workbook: Any, formulas: Any, tmp_path: Path) -> None:
    """A spreadsheet program that sees the formulas alone comes to every value, and to zero on the check sheet."""
    there = recalculated(packet_folder / "packet-2031-04.xlsx", tmp_path)
    cells = [cell for sheet in formulas for row in sheet.iter_rows() for cell in row if cell.data_type == "f"]
    assert len(cells) > 400
    for cell in cells:
        told, found = (book[cell.parent.title][cell.coordinate].value for book in (workbook, there))
        assert money(told) == money(found), f"{cell.parent.title} {cell.coordinate} {cell.value}"
    checks = list(rows_below_headings(there["Check"], workbook["Check"]))
    assert 0 == checks[0][5]
    assert len(checks) > 80
    assert {0} == {row[4] for row in checks[1:]}


def test_sheets_are_ready_to_read_and_print(formulas: Any, april: Packet) -> None:
    """Every sheet says DRAFT, has a frozen head, a print area, repeated headings and page x of y; lists have a filter."""
    assert [table.title for table in april.tables] == formulas.sheetnames
    for table in april.tables:
        sheet = formulas[table.title]
        assert "DRAFT: 2031-04 is not closed, figures may change" == sheet["A3"].value
        assert "DRAFT" in sheet.oddHeader.center.text
        assert "Page &P of &N" in sheet.oddFooter.right.text.replace("&[Page]", "&P").replace("&[Pages]", "&N")
        assert sheet.freeze_panes is not None
        assert sheet.print_area
        assert sheet.print_title_rows
        assert table.is_list == bool(sheet.auto_filter.ref), table.title


def test_headings_fit_their_columns(formulas: Any, april: Packet) -> None:
    """No word of a heading is cut: bold, indented and beside a filter's button it needs two characters more than it has."""
    for table in april.tables:
        sheet = formulas[table.title]
        top = int(re.sub(r"\D", "", sheet.freeze_panes)) - 1
        for column in table.columns:
            longest = max(len(word) for word in column.heading.split())
            assert longest + 2 <= column.width, f"{table.title}: {column.heading}"
            if len(column.heading) + 2 > column.width:
                assert sheet.row_dimensions[top].height > 15, f"{table.title}: {column.heading}"


def test_the_widest_sheet_prints_on_two_pages_side_by_side(formulas: Any) -> None:
    """The orders have twenty columns: two pages wide, the order on both; the others are one page wide."""
    orders = formulas["Orders"]
    assert (2, "$A:$A") == (orders.page_setup.fitToWidth, orders.print_title_cols)
    notes = [str(merged) for merged in orders.merged_cells.ranges]
    assert ["A4:I4"] == notes, "a note ends with the first page"
    assert {1} == {int(sheet.page_setup.fitToWidth or 1) for sheet in formulas if sheet.title != "Orders"}


def test_charts_draw_cells(packet_folder: Path) -> None:
    """The charts are the spreadsheet's own, drawn from cells of the sheets."""
    with zipfile.ZipFile(packet_folder / "packet-2031-04.xlsx") as archive:
        drawn = [
            archive.read(name).decode() for name in sorted(archive.namelist()) if name.startswith("xl/charts/chart")
        ]
    assert len(drawn) >= 2
    for chart in drawn:
        assert re.search(r"<c:f>'?[A-Z][A-Za-z ]+'?!\$[B-F]\$\d+:\$[B-F]\$\d+</c:f>", chart)
        assert "<c:title>" in chart


def test_numbers_are_exact(workbook: Any, april: Packet) -> None:
    """Dates are dates, and an amount in the sheet is the table's, to the last digit."""
    table = april.table("general-ledger")
    shown = list(rows_below_headings(workbook["General ledger"]))
    assert len(table.lines) == len(shown)
    for line, row in zip(table.lines, shown, strict=True):
        for place in (8, 9, 11):
            assert line.cells[place] == (None if row[place] is None else round(row[place] * 100)), line
        assert isinstance(row[2], datetime.datetime)
