"""From gross receipts to revenue, where payments and sales fall apart in time or do not meet at all."""

from pathlib import Path

import duckdb
from shop_books import build_shop, payment

from ledger_tools.calendar import ALL_TIME, Period, parse_month, parse_year
from ledger_tools.reports.gross_receipts import report_gross_receipts
from ledger_tools.reports.tax_forms import report_form_lines

_MUG = {"category": "Mugs", "quantity": "1"}

ORDERS = [
    {"order_id": "1", "placed_at": "2030-12-31", "unit_price": "10.00", "total": "10.00", **_MUG},
    {"order_id": "2", "placed_at": "2031-12-31", "unit_price": "20.00", "total": "20.00", **_MUG},
    {"order_id": "3", "placed_at": "2031-05-01", "unit_price": "30.00", "total": "30.00", "gift_card_paid": "5.00", **_MUG},
    {
        "order_id": "4", "placed_at": "2031-05-02", "unit_price": "25.00", "total": "25.00", "category": "Gift card",
        "quantity": "1",
    },
    {
        "order_id": "5", "placed_at": "2031-05-03", "unit_price": "40.00", "tax": "3.00", "total": "43.00",
        "tax_collected_by": "marketplace", **_MUG,
    },
]  # fmt: skip

PAYMENTS = [
    payment("a", "2031-01-01", "1", "10.00"),
    payment("b", "2032-01-01", "2", "20.00"),
    payment("c", "2031-05-01", "3", "24.00"),
    payment("d", "2031-05-02", "4", "25.00"),
    payment("e", "2031-05-03", "5", "43.00"),
    payment("f", "2031-05-04", "99", "7.00"),
]


def test_every_line_of_a_year(tmp_path: Path) -> None:
    """What was charged for another year, without order, later or not at all, each has its line; the sum is the revenue."""
    hand = '\n2031-06-01 * "Sold at a fair"\n  Assets:Bank:Checking  8.00 USD\n  Income:Tips  -8.00 USD\n'
    with build_shop(tmp_path, {"shop": ORDERS, "card-processor": PAYMENTS}, hand=hand).connection as connection:
        report = report_gross_receipts(connection, parse_year("2031"))
    assert {
        "gross_receipts": 10900,
        "charged_for_other_periods": -1000,
        "charged_without_order": -700,
        "not_charged_in_period": 2000,
        "charged_more_or_less": 100,
        "gift_cards_used": 500,
        "gift_cards_sold": -2500,
        "marketplace_tax": -300,
        "by_hand": 800,
    } == {step.name: step.amount for step in report.steps if step.amount}
    assert (9800, 0) == (report.revenue, report.difference)


def test_small_shop_ties(books: duckdb.DuckDBPyConnection) -> None:
    """Any period of the small shop ties, with its foreign order, dispute and entry that has no rate."""
    for period in (ALL_TIME, parse_month("2031-04"), parse_month("2031-05"), Period(None, parse_month("2031-04").last)):
        assert 0 == report_gross_receipts(books, period).difference, period
        assert 0 == report_form_lines(books, period).difference, period
