"""Cheques and deposits by hand that carry a number: which line of the bank completes which of them."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from shop_books import Row, ShopBooks, build_books

SETTINGS = """
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "checking"
kind = "bank"
currency = "USD"
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
    ]
}
HAND = "".join(
    (
        cheque("01-03", '"Cheque 1091" "rent"', "210.00"),  # the bank paid another cheque of the same amount
        cheque("02-03", '"Cheque 213" "rent"', "330.00"),  # the numbers tell two cheques of one amount apart
        cheque("02-03", '"Cheque 214" "rent of the store"', "330.00"),
        cheque("03-03", '"Cheque 250"', "90.00"),  # the bank names no number, so the amount ties them
        cheque("03-18", '"rent, not numbered"', "45.00"),  # the person names no number
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
    ] == [row[0] for row in rows]


def test_a_line_of_another_cheque_is_not_explained(books: ShopBooks) -> None:
    """What the bank paid by a cheque that nobody wrote down stays unexplained, whatever its amount."""
    rows = books.connection.execute("SELECT event_id FROM fact_bank WHERE posting = 'unknown'").fetchall()
    assert [("20310106:-21000:1",)] == rows
