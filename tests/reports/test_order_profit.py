"""The order report of the small shop, figure by figure."""

import datetime
from typing import Any

import duckdb
import pytest

from ledger_tools.calendar import Period, parse_month
from ledger_tools.reports.order_flags import FLAG_NAMES
from ledger_tools.reports.order_profit import OrderProfit, report_orders

#: What each order comes to, worked out by hand from the exports; columns that are zero are left out.
EXPECTED: dict[str, dict[str, Any]] = {
    # 61.00 paid; of 10.00 refunded 8.20 falls to items, 0.98 to shipping, 0.16 to the tip, 0.66 to tax
    "1001": {
        "items": "55.00",
        "discounts": "5.00",
        "shipping_charged": "6.00",
        "tips": "1.00",
        "returns": "9.34",
        "production": "24.00",
        "shipping_cost": "5.75",
        "supplier_tax": "0.75",
        "processing_fees": "2.07",
        "net_revenue": "47.66",
        "profit": "15.09",
        "margin": "0.3166",
        "tax_collected": "3.34",
        "flags": ["split-estimated"],
    },
    "1002": {
        "items": "15.00",
        "shipping_charged": "5.00",
        "returns": "20.00",
        "production": "6.00",
        "shipping_cost": "4.00",
        "processing_fees": "0.88",
        "profit": "-10.88",
        "margin": None,
        "flags": ["cancelled-but-charged"],
    },
    "1003": {
        "items": "20.00",
        "shipping_charged": "5.00",
        "production": "9.00",
        "shipping_cost": "4.00",
        "processing_fees": "1.03",
        "dispute_fees": "15.00",
        "net_revenue": "25.00",
        "profit": "-4.03",
        "margin": "-0.1612",
        "flags": ["in-dispute"],
    },
    "1004": {
        "items": "20.00",
        "shipping_charged": "5.00",
        "net_revenue": "25.00",
        "profit": "25.00",
        "margin": "1.0000",
        "flags": ["no-payment", "no-fulfilment-charge"],
    },
    "1005": {
        "items": "20.00",
        "discounts": "20.00",
        "production": "9.00",
        "shipping_cost": "4.00",
        "profit": "-13.00",
        "margin": None,
        "flags": ["shipping-under-recovered", "promotional"],
    },
    # 50.00 CAD settled at 36.50 USD: 40.00 CAD of items are 29.20
    "1006": {
        "items": "29.20",
        "shipping_charged": "7.30",
        "production": "12.00",
        "shipping_cost": "8.00",
        "processing_fees": "1.36",
        "net_revenue": "36.50",
        "profit": "15.14",
        "margin": "0.4148",
        "flags": ["shipping-under-recovered", "settled-in-another-currency"],
    },
    "1007": {
        "items": "15.00",
        "shipping_charged": "5.00",
        "production": "12.00",
        "shipping_cost": "8.00",
        "processing_fees": "0.88",
        "net_revenue": "20.00",
        "profit": "-0.88",
        "margin": "-0.0440",
        "flags": ["charged-twice", "shipping-under-recovered"],
    },
    # a gift card sold is no revenue; what its payment cost is a cost
    "1009": {"processing_fees": "1.03", "profit": "-1.03", "margin": None, "flags": []},
    "1010": {"margin": None, "flags": ["no-payment", "no-fulfilment-charge"]},
    "1008": {
        "items": "5.00",
        "discounts": "1.00",
        "shipping_charged": "5.00",
        "production": "6.00",
        "shipping_cost": "4.00",
        "reprints": "7.00",
        "processing_fees": "0.56",
        "net_revenue": "9.00",
        "profit": "-8.56",
        "margin": "-0.9511",
        "flags": ["sold-below-cost", "reprinted"],
    },
    "1011": {
        "items": "20.00",
        "shipping_charged": "5.00",
        "production": "9.00",
        "shipping_cost": "4.00",
        "processing_fees": "1.03",
        "dispute_fees": "15.00",
        "chargebacks": "25.00",
        "net_revenue": "25.00",
        "profit": "-29.03",
        "margin": "-1.1612",
        "flags": [],
    },
}

NOT_TIED = {
    "Expenses:Fees:Processing": "10.00",
    "Expenses:Samples": "7.00",
    "Expenses:Subscriptions": "29.00",
    "Expenses:BankFees": "12.00",
    "Expenses:Marketing": "40.00",
}


def without_zeros(order: dict[str, Any]) -> dict[str, Any]:
    """An order's figures without id, day and what is zero."""
    return {name: told for name, told in order.items() if told != "0.00" and name not in ("order_id", "placed_on")}


def named(orders: tuple[OrderProfit, ...]) -> list[str]:
    """Ids of orders, as they stand."""
    return [order.order_id for order in orders]


def test_every_figure(books: duckdb.DuckDBPyConnection) -> None:
    """Orders stand by the moment placed, each with the figures and flags that its events give."""
    report = report_orders(books).as_json()
    assert EXPECTED == {order["order_id"]: without_zeros(order) for order in report["orders"]}
    assert list(EXPECTED) == [order["order_id"] for order in report["orders"]]


def test_shape(books: duckdb.DuckDBPyConnection) -> None:
    """Keys, totals and what is tied to no order are as the interface fixes them."""
    report = report_orders(books).as_json()
    assert ["period", "currency", "orders", "totals", "not_tied_to_an_order"] == list(report)
    assert ("USD", {"from": None, "to": None}) == (report["currency"], report["period"])
    columns = [name for name in report["orders"][0] if name not in ("order_id", "placed_on", "flags")]
    assert columns == list(report["totals"])
    assert {"net_revenue": "188.16", "profit": "-12.18", "margin": "-0.0647", "tax_collected": "3.34"} == {
        name: report["totals"][name] for name in ("net_revenue", "profit", "margin", "tax_collected")
    }
    assert NOT_TIED == report["not_tied_to_an_order"]


def test_period_selects_by_day_placed(books: duckdb.DuckDBPyConnection) -> None:
    """An order placed at 23:30 on the 30th is April's, with all that happened to it later."""
    april = report_orders(books, parse_month("2031-04"))
    assert "1008" == april.orders[-1].order_id
    assert 700 == april.orders[-1].figures.reprints
    assert ["1011"] == named(report_orders(books, parse_month("2031-05")).orders)
    assert () == report_orders(books, parse_month("2031-06")).orders


def test_what_belongs_to_no_order_is_of_the_period(books: duckdb.DuckDBPyConnection) -> None:
    """What is tied to no order counts by the day posted: last year's cards are not in April."""
    april = report_orders(books, parse_month("2031-04")).as_json()
    assert {name: told for name, told in NOT_TIED.items() if name != "Expenses:Marketing"} == april[
        "not_tied_to_an_order"
    ]


def test_as_of(books: duckdb.DuckDBPyConnection) -> None:
    """As of the evening of 30 April neither the refund, nor 1008's costs and payment, nor May's order are known."""
    report = report_orders(books, as_of=datetime.date(2031, 4, 30))
    found = {order.order_id: order for order in report.orders}
    assert "1011" not in found
    assert (0, ()) == (found["1001"].figures.returns, found["1001"].flags)
    assert 900 == found["1008"].figures.profit
    assert ("no-payment", "no-fulfilment-charge") == found["1008"].flags


def test_cancelled_later_than_the_day_seen(books: duckdb.DuckDBPyConnection) -> None:
    """A cancellation is not known before its day."""
    known = {order.order_id: order.flags for order in report_orders(books, as_of=datetime.date(2031, 4, 2)).orders}
    assert {"1001": ("no-fulfilment-charge",)} == known


@pytest.mark.parametrize("flag", FLAG_NAMES)
def test_flag_filters(flag: str, books: duckdb.DuckDBPyConnection) -> None:
    """Each flag is borne by some order of the small shop, and filtering by it lists just those."""
    expected = [order_id for order_id, told in EXPECTED.items() if flag in told["flags"]]
    assert expected
    report = report_orders(books, flag=flag)
    assert expected == named(report.orders)
    assert sum(order.figures.profit for order in report.orders) == report.totals.profit


def test_open_period(books: duckdb.DuckDBPyConnection) -> None:
    """A period may be open at one end."""
    assert ["1008", "1011"] == named(report_orders(books, Period(datetime.date(2031, 4, 12), None)).orders)
    assert ["1001"] == named(report_orders(books, Period(None, datetime.date(2031, 4, 2))).orders)
