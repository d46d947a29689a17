"""Gross receipts across a year's end: a charge that comes after December was closed is of the year that the processor says."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from april_shop import WAIVABLE, close
from kept_books import Books, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.calendar import Period, parse_month, parse_year
from ledger_tools.cli.periods import period_name
from ledger_tools.packet.contents import make_packet
from ledger_tools.reports.gross_receipts import GrossReceipts, report_gross_receipts


def charge(event_id: str, day: str, amount: str, order_ref: str) -> dict[str, object]:
    """A payment without a fee."""
    return processor(event_id, "charge", day, amount, amount, order_ref=order_ref)


@pytest.fixture
def late(tmp_path: Path) -> Books:
    """December, closed with one payment of 10.00; then one of 23.00 comes late for it, and January has one of 7.00."""
    books = Books(tmp_path)
    books.put(
        orders=[
            order("1", "2031-12-10", "10.00", shipped_at="2031-12-12T09:00:00"),
            order("2", "2031-12-30", "23.00", shipped_at="2031-12-31T09:00:00"),
            order("3", "2032-01-05", "7.00", shipped_at="2032-01-06T09:00:00"),
        ],
        processor=[charge("c1", "2031-12-10", "10.00", "1")],
    )
    assert close(books, "2031-12", *WAIVABLE).closed
    return books.put(processor=[charge("c2", "2031-12-30", "23.00", "2"), charge("c3", "2032-01-05", "7.00", "3")])


def receipts(books: Books, period: Period, as_of: str | None = None) -> GrossReceipts:
    """The report of a period; it has to lead to the revenue."""
    with open_books(books.folder, silent) as connection:
        report = report_gross_receipts(connection, period, datetime.date.fromisoformat(as_of) if as_of else None)
    assert 0 == report.difference
    return report


def by_month(report: GrossReceipts) -> dict[str, tuple[int, int]]:
    """Gross amount and number of payments by month, of the only processor."""
    return {f"{month:%Y-%m}": (amount, count) for each in report.receipts for month, amount, count in each.months}


def told(report: GrossReceipts) -> dict[str, int]:
    """Lines of the reconciliation that have an amount."""
    return {step.name: step.amount for step in report.steps if step.amount}


def test_each_year_has_its_own_charges(late: Books) -> None:
    """The late payment counts in December, and each year has the line that leads from there to what is posted in it."""
    old, new = receipts(late, parse_year("2031")), receipts(late, parse_year("2032"))
    assert {"2031-12": (3300, 2)} == by_month(old)
    assert {"gross_receipts": 3300, "posted_after_the_period": -2300, "not_charged_in_period": 2300} == told(old)
    assert {"2032-01": (700, 1)} == by_month(new)
    assert {
        "gross_receipts": 700,
        "charged_before_the_period": 2300,
        "charged_for_other_periods": -2300,
    } == told(new)
    both = receipts(late, Period(parse_year("2031").first, parse_year("2032").last))
    assert {"2031-12": (3300, 2), "2032-01": (700, 1)} == by_month(both)
    assert {"gross_receipts": 4000} == told(both)


def test_as_of_the_years_end(late: Books) -> None:
    """As of the last of December the late payment was not known."""
    assert {"2031-12": (1000, 1)} == by_month(receipts(late, parse_year("2031"), "2031-12-31"))


def test_packet_of_the_closed_month(late: Books) -> None:
    """The packet of December counts the late payment too, and its checks come to zero."""
    with open_books(late.folder, silent) as connection:
        packet = make_packet(connection, parse_month("2031-12"), "2031-12", period_name, silent)
    table = next(table for table in packet.tables if table.name == "gross-receipts")
    amounts = {line.cells[0]: line.cells[1] for line in table.lines}
    assert 3300 == amounts["Gross receipts, card-processor"]
    assert -2300 == amounts["Less charged in this period, posted after its close"]
    assert 0 == packet.broken_checks


def test_a_corrected_charge_is_one_payment(late: Books) -> None:
    """A charge that a later export corrects has two entries, counts once, and in its own month."""
    late.put(processor=[charge("c1", "2031-12-10", "12.00", "1"), charge("c9", "2032-01-20", "1.00", "99")])
    assert {"2031-12": (3500, 2)} == by_month(receipts(late, parse_year("2031")))
