"""Cheques and deposits by hand that carry a number: which line of the bank completes which of them."""

from __future__ import annotations

import datetime
import shlex
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from shop_books import Row, ShopBooks, build_books, silent

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.decisions import add_decisions
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import OpenItem, list_open_items
from ledger_tools.reports.controls import list_controls
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.settlement import Verdict, decide, stale_decisions

SETTINGS = """
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "checking"
kind = "bank"
currency = "USD"

[[stated_balance]]
source = "checking"
on = 2031-03-26
amount = "-1196.00"
"""


def line(on: str, amount: str, memo: str) -> Row:
    """A bank line of the first quarter."""
    return {"at": f"2031-{on}", "amount": amount, "currency": "USD", "memo": memo}


def cheque(on: str, words: str, amount: str) -> str:
    """An entry by hand of rent that is paid by a cheque; `words` are its one or two strings."""
    return f"2031-{on} * {words}\n  Expenses:Rent  {amount} USD\n  Assets:InTransit:Transfers  -{amount} USD\n"


EXPORTS: dict[str, list[Row]] = {
    "checking": [
        line("01-06", "-210.00", "CHECK 1092"),
        line("02-07", "-330.00", "CHECK 0214"),
        line("03-05", "-90.00", "WITHDRAWAL"),
        line("03-20", "-45.00", "CHECK 0300"),
        line("03-25", "-500.00", "CHECK 0400"),
        line("03-26", "-21.00", "CHECK 0401"),
    ]
}
HAND = "".join(
    (
        cheque("01-03", '"Cheque 1091" "rent"', "210.00"),  # the bank paid another cheque of the same amount
        cheque("02-03", '"Cheque 213" "rent"', "330.00"),  # the numbers tell two cheques of one amount apart
        cheque("02-03", '"Cheque 214" "rent of the store"', "330.00"),
        cheque("03-03", '"Cheque 250"', "90.00"),  # the bank names no number, so the amount ties them
        cheque("03-18", '"rent, not numbered"', "45.00"),  # the person names no number
        cheque("03-21", '"Cheque 400" "rent"', "50.00"),  # paid with another amount
        cheque("03-22", '"Cheque 401"', "12.00"),  # written with another amount, put right on a later day
        cheque("04-02", '"Cheque 401, put right"', "9.00"),
    )
)


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """Cheques of the same amounts, told apart by their numbers."""
    built = build_books(tmp_path_factory.mktemp("cheques"), SETTINGS, EXPORTS, HAND)
    yield built
    built.connection.close()


def test_numbers_tell_cheques_apart(books: ShopBooks) -> None:
    """A number counts wherever it is written; two that differ are two cheques, and one that is unknown rules out nothing."""
    rows = books.connection.execute(
        """SELECT list(text ORDER BY end_no) FROM transfer_end GROUP BY coalesce(pair_no, end_no)
           ORDER BY min(moved_on), min(end_no)"""
    ).fetchall()
    assert [
        ["Cheque 1091, rent"],
        ["Cheque 214, rent of the store", "CHECK 0214 "],
        ["Cheque 213, rent"],
        ["Cheque 250", "WITHDRAWAL "],
        ["rent, not numbered", "CHECK 0300 "],
        ["Cheque 400, rent", "CHECK 0400 "],
        ["Cheque 401, put right", "Cheque 401", "CHECK 0401 "],
    ] == [row[0] for row in rows]


@pytest.mark.parametrize(
    ("words", "text", "tied"),
    [
        ("Deposit 30 Jan", "DEPOSIT 2031-01-30", 1),
        ("deposit 30th January", "DEPOSIT 117", 1),
        ("Deposit 116 marketing", "DEPOSIT 117", 0),
        ("Deposit 117", "DEPOSIT 0117", 1),
    ],
)
def test_a_day_is_no_number(tmp_path: Path, words: str, text: str, tied: int) -> None:
    """A day after the word for a deposit is not taken for the number of its slip."""
    entry = f'2031-01-30 * "{words}"\n  Assets:InTransit:Transfers  60.00 USD\n  Income:Other  -60.00 USD\n'
    built = build_books(tmp_path, SETTINGS, {"checking": [line("01-31", "60.00", text)]}, entry)
    rows = built.connection.execute("SELECT count(DISTINCT pair_no) FROM transfer_end").fetchall()
    built.connection.close()
    assert [(tied,)] == rows


def test_a_line_of_another_cheque_is_not_explained(books: ShopBooks) -> None:
    """What the bank paid by a cheque that nobody wrote down stays unexplained, whatever its amount."""
    rows = books.connection.execute("SELECT event_id FROM fact_bank WHERE posting = 'unknown'").fetchall()
    assert [("20310106:-21000:1",)] == rows


DAY = datetime.date(2031, 3, 31)
PAID_WITH_ANOTHER = "20310325:-50000:1"


def other_amount(books: ShopBooks, day: datetime.date = DAY) -> OpenItem:
    """The open item about the cheque that the bank paid with another amount."""
    (item,) = [item for item in list_open_items(books.connection, day) if item.event_id == PAID_WITH_ANOTHER]
    return item


def test_another_amount_is_open(books: ShopBooks) -> None:
    """What a cheque and its line differ by is an item that names both; a cheque that was put right is none."""
    item = other_amount(books)
    assert ("bank-line-without-rule", 45000, 45000) == (item.kind, item.amount, item.balance)
    assert item.cause.startswith("cheque or deposit 400 is 50.00 by hand (line ")
    assert ") and 500.00 at the bank: mend the entry" in item.cause
    assert ["20310106:-21000:1", PAID_WITH_ANOTHER] == [
        item.event_id for item in list_open_items(books.connection, DAY)
    ]
    assert PAID_WITH_ANOTHER not in {
        item.event_id for item in list_open_items(books.connection, DAY - datetime.timedelta(days=7))
    }


@pytest.mark.parametrize(
    ("account", "in_transit", "not_booked"),
    [
        pytest.param(None, 45000, [-45000], id="accepted, as the command proposes"),
        pytest.param("Expenses:Rent", 0, [], id="moved to the rent"),
    ],
)
def test_another_amount_is_settled(
    account: str | None, in_transit: int, not_booked: list[int], books: ShopBooks, tmp_path: Path
) -> None:
    """A decision takes the item off the list for good: the cheque stays tied to its line, and both sides still agree."""
    item = other_amount(books)
    assert ["ledger-tools", "settle", item.id, "--accept"] == shlex.split(item.next_step)[:4]
    folder = BooksFolder(tmp_path / "books")
    shutil.copytree(books.folder.root, folder.root)
    verdict = Verdict(account=account, accept=account is None)
    add_decisions(folder.decisions, decide(books.connection, item, verdict, "the bank's slip", "Ada", DAY))
    settled = ShopBooks(folder, open_books(folder, silent))
    assert [] == [each for each in list_open_items(settled.connection, DAY) if each.event_id == item.event_id]
    assert [] == stale_decisions(settled.connection)
    (control,) = list_controls(settled.connection, ("transfers_in_transit",), datetime.date(2031, 4, 30))
    items = {each.name: each.amount for each in control.items}
    assert in_transit == items.get(f"checking {PAID_WITH_ANOTHER}", 0)
    assert [] == [each.detail for each in run_checks(settled.connection, folder, silent) if not each.passed]
    (sides,) = report_reconciliation(settled.connection, datetime.date(2031, 3, 26)).sides
    assert 0 == sides.remaining
    assert not_booked == [each.amount for each in sides.book_lines if each.event_id == item.event_id]
    settled.connection.close()
