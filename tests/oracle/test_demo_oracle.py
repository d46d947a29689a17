"""The demo shop's reports against the simulator's own sums, and its planted faults against the open items.

`demo.Truth` reads no export, mapping or database: it sums what happened. What it knows is compared figure by figure,
for the default demo and for other seeds.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import pytest
from shop_books import DemoBooks, build_demo

from ledger_tools.calendar import ALL_TIME, parse_month
from ledger_tools.demo import FIGURES, planted_faults
from ledger_tools.open_items import OpenItem, list_open_items
from ledger_tools.reports.gross_receipts import report_gross_receipts
from ledger_tools.reports.order_profit import OrderReport, report_orders
from ledger_tools.reports.sales_tax import report_sales_tax
from ledger_tools.reports.sales_tax_tie_out import tie_out
from ledger_tools.reports.statements import report_trial_balance
from ledger_tools.reports.tax_forms import report_form_lines

SEEDS = (7, 1234, 20320229)


@pytest.fixture(scope="module", params=["default", *SEEDS], ids=str)
def demo(
    request: pytest.FixtureRequest, demo_books: DemoBooks, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[DemoBooks]:
    """The default demo, then smaller ones of other seeds."""
    if request.param == "default":
        yield demo_books
        return
    books = build_demo(tmp_path_factory.mktemp("demo"), 250, request.param)
    yield books
    books.connection.close()


def report(demo: DemoBooks) -> OrderReport:
    """The order report over all time."""
    return report_orders(demo.connection)


def test_every_figure_of_every_order(demo: DemoBooks) -> None:
    """Each column of each order is the truth's, and no order is missing or too many."""
    expected = {
        order_id: {name: int(demo.truth.figures[name][place]) for name in FIGURES}
        for place, order_id in enumerate(demo.truth.order_ids)
    }
    found = {order.order_id: {name: getattr(order.figures, name) for name in FIGURES} for order in report(demo).orders}
    assert expected == found


def test_orders_are_placed_on_their_days(demo: DemoBooks) -> None:
    """Each order's local day is the simulator's, whatever zone the export's time stamps have."""
    expected = dict(zip(demo.truth.order_ids, demo.truth.placed_on, strict=True))
    assert expected == {order.order_id: order.placed_on.isoformat() for order in report(demo).orders}


def test_totals(demo: DemoBooks) -> None:
    """The report's totals are the truth's."""
    totals = report(demo).totals
    assert demo.truth.totals == {name: getattr(totals, name) for name in FIGURES}


def test_what_belongs_to_no_order(demo: DemoBooks) -> None:
    """Costs and fees that are tied to no order are the truth's, account by account."""
    assert {name: amount for name, amount in demo.truth.not_tied_to_an_order.items() if amount} == dict(
        report(demo).not_tied
    )


def test_balances_at_each_month_end(demo: DemoBooks) -> None:
    """What is held, under way, in clearing and owed is the truth's at the end of each month, in each currency."""
    assert len(demo.truth.balances) == 4
    for day, accounts in demo.truth.balances.items():
        rows = report_trial_balance(demo.connection, datetime.date.fromisoformat(day)).rows
        found = {(row.account, row.currency): row.balance for row in rows if row.account in accounts}
        expected = {(name, code): amount for name, held in accounts.items() for code, amount in held.items() if amount}
        assert expected == found, day


def test_sales_tax_by_month(demo: DemoBooks) -> None:
    """Each month's movement of each jurisdiction's account is what was collected, refunded and remitted in it."""
    rows = demo.connection.execute(
        """SELECT strftime(posting.posted_on, '%Y-%m'), account.name,
                  coalesce(-sum(value) FILTER (rule = 'sale'), 0)::BIGINT,
                  coalesce(sum(value) FILTER (rule IN ('refund', 'refund_to_gift_card')), 0)::BIGINT,
                  coalesce(sum(value) FILTER (rule NOT IN ('sale', 'refund', 'refund_to_gift_card')), 0)::BIGINT
           FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
           WHERE account.name LIKE 'Liabilities:SalesTax:%' GROUP BY ALL HAVING count(*) FILTER (value <> 0) > 0"""
    ).fetchall()
    found = {
        (month, name): {"collected": got, "refunded": back, "remitted": paid} for month, name, got, back, paid in rows
    }
    expected = {
        (month, f"Liabilities:SalesTax:{place}"): sums
        for month, places in demo.truth.sales_tax.items()
        for place, sums in places.items()
        if any(sums.values())
    }
    assert expected == found


def test_sales_tax_report_by_month(demo: DemoBooks) -> None:
    """The report of each month is the truth's, what is owed runs on from month to month, and all of it ties out."""
    owed: dict[str, int] = {}
    for month, places in demo.truth.sales_tax.items():
        figures = {row.jurisdiction: row.figures for row in report_sales_tax(demo.connection, parse_month(month)).rows}
        for place, sums in places.items():
            owed[place] = owed.get(place, 0) + sums["collected"] - sums["refunded"] - sums["remitted"]
            found = figures[place]
            assert sums == {name: getattr(found, name) for name in sums}, (month, place)
            assert (owed[place], 0) == (found.owed, found.adjusted), (month, place)
        assert tie_out(demo.connection, parse_month(month)).holds, month


def test_sales_are_the_revenue_but_for_tips(demo: DemoBooks) -> None:
    """Sales of all jurisdictions are items less discounts and returns, with shipping: net revenue less tips kept."""
    sales, totals = report_sales_tax(demo.connection).totals.gross_sales, demo.truth.totals
    tips_back = demo.connection.execute(
        "SELECT coalesce(sum(value), 0)::BIGINT FROM posting JOIN event USING (event_no) WHERE rule = 'refund' AND leg = 3"
    ).fetchone()
    assert tips_back is not None
    assert totals["net_revenue"] - totals["tips"] + tips_back[0] == sales


def test_tax_forms_tie(demo: DemoBooks) -> None:
    """Gross receipts lead to the revenue and the form's lines to the net income, in every month and over all."""
    for period in (ALL_TIME, *map(parse_month, demo.truth.sales_tax)):
        assert 0 == report_gross_receipts(demo.connection, period).difference, period
        assert 0 == report_form_lines(demo.connection, period).difference, period


def test_planted_faults_are_found_and_nothing_else(demo: DemoBooks) -> None:
    """The open items are the planted faults: as many of each kind, each with its record and its amount, none extra."""
    items = list_open_items(demo.connection, None)
    faults = planted_faults(demo.truth)
    assert sorted(fault.kind for fault in faults) == sorted(item.kind for item in items)
    for fault in faults:
        (item,) = (
            item for item in items if item.kind == fault.kind and names_same(item, fault.order_id, fault.event_id)
        )
        assert (fault.source, fault.date) == (item.source, item.date.isoformat())
        # An amended or vanished record has no amount of its own, and a bank line's id is made by the program.
        if item.amount is not None:
            assert (fault.amount, fault.currency) == (abs(item.amount), item.currency), fault


def names_same(item: OpenItem, order_id: str | None, event_id: str | None) -> bool:
    """Whether an open item names the record that a fault does: its event, else its order, where the fault names one."""
    if event_id is not None:
        return item.event_id == event_id and item.order_id in (order_id, None)
    return order_id is None or item.order_id == order_id


@pytest.mark.parametrize(("told", "flag"), [("reprinted", "reprinted"), ("promotional", "promotional")])
def test_flags(told: str, flag: str, demo: DemoBooks) -> None:
    """The orders that the simulator knows to bear a flag are those that the report flags."""
    assert sorted(demo.truth.flags[told]) == flagged(demo, flag)


def test_estimated_splits(demo: DemoBooks) -> None:
    """Flagged are the orders whose refund the shop does not split, where there is more than one part to split over."""
    rows = demo.connection.execute(
        "SELECT order_id FROM order_head WHERE coalesce(shipping_charged, 0) + coalesce(tip, 0) + coalesce(tax, 0) = 0"
    ).fetchall()
    of_one_part = {str(order_id) for (order_id,) in rows}
    assert sorted(set(demo.truth.flags["split estimated"]) - of_one_part) == flagged(demo, "split-estimated")


def flagged(demo: DemoBooks, flag: str) -> list[str]:
    """Ids of the orders that bear a flag in the report."""
    return sorted(order.order_id for order in report(demo).orders if flag in order.flags)
