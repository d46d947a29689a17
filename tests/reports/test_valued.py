"""What reports in the base currency leave out."""

import datetime
from pathlib import Path

import duckdb
import small_books

from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.statements import report_balance_sheet, report_income
from ledger_tools.reports.valued import Unvalued, list_unvalued


def test_listed(books: duckdb.DuckDBPyConnection) -> None:
    """An event without a rate is counted with its currency and the first day that a rate is needed for."""
    assert (Unvalued("GBP", 1, datetime.date(2031, 4, 11)),) == list_unvalued(books, None)
    assert () == list_unvalued(books, datetime.date(2031, 4, 10))


def test_a_rate_brings_it_in(tmp_path: Path) -> None:
    """With a rate in the settings nothing is left out, and all reports count the order: 18.00 GBP at 1.25."""
    rate = '\n[[rate]]\ncurrency = "GBP"\non = 2031-04-01\nrate = "1.25"\n'
    with small_books.build_small_books(tmp_path, small_books.SETTINGS + rate, hand="") as books:
        assert () == list_unvalued(books, None)
        figures = {order.order_id: order.figures for order in report_orders(books).orders}
        assert 2250 == figures["1010"].items
        assert -7018 + 2250 + 75 == report_income(books).totals.net_income
        assert 0 == report_balance_sheet(books, None).difference


def test_half_known_event_is_left_out_whole(tmp_path: Path) -> None:
    """An event with one leg without a value counts in no report, so that the rest still balances."""
    with small_books.build_small_books(tmp_path, hand="") as books:
        before = report_income(books).totals.net_income
        books.execute("UPDATE posting SET value = NULL WHERE leg = 1 AND event_no IN (SELECT event_no FROM event "
                      "WHERE event_id = 'ch-1')")  # fmt: skip
        assert before + 207 == report_income(books).totals.net_income
        assert 0 == report_balance_sheet(books, None).difference
