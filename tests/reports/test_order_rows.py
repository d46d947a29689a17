"""Orders a page at a time: what the database chooses, sorts and splits is what the whole report says."""

import datetime

import duckdb
import pytest
from shop_books import DemoBooks

from ledger_tools.calendar import Period
from ledger_tools.reports.order_figures import add_figures
from ledger_tools.reports.order_groups import GROUPINGS, group_orders
from ledger_tools.reports.order_profit import OrderProfit, report_orders
from ledger_tools.reports.order_rows import (
    SORTS,
    Band,
    OrderChoice,
    count_flags,
    list_groups,
    list_orders,
    margin_bands,
)
from ledger_tools.reports.waterfall import waterfall_steps

APRIL = Period(datetime.date(2031, 4, 1), datetime.date(2031, 4, 30))


def ids(orders: tuple[OrderProfit, ...]) -> list[str]:
    """Ids of orders, in their order."""
    return [order.order_id for order in orders]


@pytest.mark.parametrize("by", GROUPINGS)
def test_groups_are_the_reports(by: str, books: duckdb.DuckDBPyConnection, demo_books: DemoBooks) -> None:
    """Grouped by the database, figure by figure and in the same order, the groups are those of the whole report."""
    for connection in (books, demo_books.connection):
        assert group_orders(connection, report_orders(connection), by).groups == list_groups(
            connection, OrderChoice(), by
        )


def test_pages_are_the_report(demo_books: DemoBooks) -> None:
    """The pages, one after the other, are the whole report, and each tells the totals of all."""
    report = report_orders(demo_books.connection, APRIL)
    pages = [
        list_orders(demo_books.connection, OrderChoice(period=APRIL), skip=skip, limit=30) for skip in (0, 30, 60, 90)
    ]
    assert report.orders == tuple(order for page in pages for order in page.orders)
    assert [(len(report.orders), report.totals)] * 4 == [(page.found, page.totals) for page in pages]


@pytest.mark.parametrize("sort", SORTS)
def test_sorting(sort: str, books: duckdb.DuckDBPyConnection) -> None:
    """Sorted either way, the same orders stand in the order of that figure, those without one last."""
    figures = {
        "placed": lambda order: order.placed_on,
        "order": lambda order: order.order_id,
        "margin": lambda order: None if order.figures.margin is None else int(order.figures.margin.replace(".", "")),
    }
    key = figures.get(sort, lambda order: getattr(order.figures, sort))
    for descending in (False, True):
        found = [key(order) for order in list_orders(books, OrderChoice(), sort=sort, descending=descending).orders]
        known = [value for value in found if value is not None]
        assert sorted(known, reverse=descending) + [None] * (len(found) - len(known)) == found
        assert 11 == len(found)


@pytest.mark.parametrize(
    ("choice", "expected"),
    [
        (OrderChoice(search="card"), ["1009"]),
        (OrderChoice(search="NIGHT TEE"), ["1001", "1003", "1004", "1005", "1010", "1011"]),
        (OrderChoice(search="%"), []),
        (OrderChoice(flag="promotional"), ["1005"]),
        (OrderChoice(group=("category", "Mugs"), period=APRIL), ["1001", "1002", "1006", "1007", "1008"]),
        (OrderChoice(group=("region", "US-CO")), ["1001", "1007", "1008"]),
        (OrderChoice(group=("month", "2031-05")), ["1011"]),
        (OrderChoice(group=("discount", "over 25 %")), ["1005"]),
        (OrderChoice(group=("sku", "' OR 1=1 --")), []),
    ],
)
def test_choosing(choice: OrderChoice, expected: list[str], books: duckdb.DuckDBPyConnection) -> None:
    """Text, flag, group and period choose orders; a text is never a pattern or a statement."""
    page = list_orders(books, choice)
    assert expected == ids(page.orders)
    assert len(expected) == page.found
    assert add_figures(order.figures for order in page.orders) == page.totals or not expected


def test_losses(books: duckdb.DuckDBPyConnection) -> None:
    """Only orders that lost money are left, and they are those of the report."""
    losing = [order.order_id for order in report_orders(books).orders if order.figures.profit < 0]
    assert losing == ids(list_orders(books, OrderChoice(losses=True)).orders)
    assert losing


def test_flags_are_counted(books: duckdb.DuckDBPyConnection) -> None:
    """Each flag is counted as often as the report's orders bear it."""
    flags = [flag for order in report_orders(books).orders for flag in order.flags]
    assert {flag: flags.count(flag) for flag in flags} == count_flags(books, OrderChoice())


def test_margins_are_banded(books: duckdb.DuckDBPyConnection) -> None:
    """Every order with a margin falls into the one band that its margin lies in."""
    margins = [order.figures.margin for order in report_orders(books).orders]
    exact = [int(margin.replace(".", "")) for margin in margins if margin is not None]  # hundredths of a per cent

    def lies_in(band: Band, margin: int) -> bool:
        return (band.low is None or band.low * 100 <= margin) and (band.high is None or margin < band.high * 100)

    bands = margin_bands(books, OrderChoice())
    assert [sum(1 for margin in exact if lies_in(band, margin)) for band in bands] == [band.orders for band in bands]
    assert len(exact) == sum(band.orders for band in bands)


def test_waterfall_leads_to_the_profit(books: duckdb.DuckDBPyConnection) -> None:
    """Each step begins where the one before ended, from what customers paid to the profit."""
    totals = report_orders(books).totals
    paid, *steps, profit = waterfall_steps(totals)
    assert [paid.end, *[step.end for step in steps[:-1]]] == [step.start for step in steps]
    assert (steps[-1].end, totals.profit) == (profit.end, profit.change)
    assert totals.profit == paid.change + sum(step.change for step in steps)
