"""The orders page: what each order earned, chosen, sorted and summed; and what that comes to in charts."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import flask

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import people_amount
from ledger_tools.reports.order_figures import Figures
from ledger_tools.reports.order_flags import FLAG_NAMES, FLAGS
from ledger_tools.reports.order_groups import Group
from ledger_tools.reports.order_rows import (
    SORTS,
    OrderChoice,
    OrderPage,
    count_flags,
    list_groups,
    list_orders,
    margin_bands,
)
from ledger_tools.reports.waterfall import waterfall_steps
from ledger_tools.web.charts import Bar, Chart, draw_bars
from ledger_tools.web.page import BooksPage, asked_period

PAGE_ORDERS = 100

#: The parts of the page, each at an address of its own.
PARTS = (("list", "Orders"), ("groups", "By group"), ("charts", "Charts"))

GROUPINGS = (
    ("sku", "SKU"),
    ("category", "category"),
    ("region", "region"),
    ("channel", "channel"),
    ("discount", "discount"),
    ("month", "month"),
)

#: Columns of the list: what it is sorted by, heading, and whether it is a figure.
COLUMNS = (
    ("order", "order", False),
    ("placed", "placed", False),
    ("net_revenue", "net revenue", True),
    ("direct_cost", "direct cost", True),
    ("payment_cost", "fees", True),
    ("profit", "profit", True),
    ("margin", "margin", True),
)


@dataclass(frozen=True)
class Asked:
    """What the address of the page asks for."""

    choice: OrderChoice
    part: str
    by: str
    sort: str
    descending: bool
    page: int


@dataclass(frozen=True)
class OrdersView:
    """What the orders page shows; `groups` and `charts` only in their parts."""

    asked: Asked
    currency: str
    page: OrderPage
    pages: int
    flags: tuple[tuple[str, str, int], ...]
    groups: tuple[Group, ...]
    charts: tuple[Chart, ...]


def _one_of(name: str, allowed: tuple[str, ...], default: str) -> str:
    text = flask.request.args.get(name, "") or default
    if text not in allowed:
        raise LedgerError(
            Problem(f"{name} {text!r}", "is not known", f"choose one of {', '.join(filter(None, allowed))}")
        )
    return text


def _asked() -> Asked:
    given = flask.request.args
    flag = _one_of("flag", ("", *FLAG_NAMES), "")
    names = tuple(name for name, _ in GROUPINGS)
    within, _, group = given.get("only", "").partition(":")
    if within and within not in names:
        raise LedgerError(Problem(f"group {within!r}", "is not known", f"choose one of {', '.join(names)}"))
    number = given.get("page", "1")
    if not number.isascii() or not number.isdigit() or not 1 <= int(number) <= 10**9:
        raise LedgerError(Problem(f"page {number!r}", "is no number of a page", "go to page 1"))
    choice = OrderChoice(
        period=asked_period(),
        flag=flag or None,
        search=given.get("search", "")[:200],
        group=(within, group) if within else None,
        losses=given.get("losses", "") == "yes",
    )
    return Asked(
        choice,
        part=_one_of("show", tuple(name for name, _ in PARTS), "list"),
        by=_one_of("by", names, "sku"),
        sort=_one_of("sort", tuple(SORTS), "placed"),
        descending=_one_of("dir", ("up", "down"), "down") == "down",
        page=int(number),
    )


class Orders(BooksPage):
    """Profit of each order."""

    report_title = "Orders"
    lead = "What each order earned, over its whole life, by the day it was placed."
    parts = PARTS
    groupings = GROUPINGS
    columns = COLUMNS
    all_flags = FLAGS

    def view(self, connection: duckdb.DuckDBPyConnection) -> OrdersView:
        """The chosen orders, a page of them, or their groups or charts."""
        asked = _asked()
        page = list_orders(
            connection,
            asked.choice,
            sort=asked.sort,
            descending=asked.descending,
            skip=(asked.page - 1) * PAGE_ORDERS,
            limit=PAGE_ORDERS if asked.part == "list" else 0,
        )
        counts = count_flags(connection, asked.choice)
        flags = tuple((flag.name, flag.means, counts[flag.name]) for flag in FLAGS if flag.name in counts)
        groups = list_groups(connection, asked.choice, asked.by) if asked.part == "groups" else ()
        charts = _draw(connection, asked.choice, page) if asked.part == "charts" else ()
        pages = max(-(-page.found // PAGE_ORDERS), 1)
        return OrdersView(asked, page.currency, page, pages, flags, groups, charts)

    def sort_link(self, sort: str, asked: Asked) -> str:
        """Address of the list sorted by a column: the other way round where it is sorted by it already."""
        down = not asked.descending if asked.sort == sort else sort not in ("order", "placed")
        return self.here(sort=sort, dir="down" if down else "up", page=None)


def _draw(connection: duckdb.DuckDBPyConnection, choice: OrderChoice, page: OrderPage) -> tuple[Chart, ...]:
    if not page.found:
        return ()
    months = list_groups(connection, choice, "month")
    return (_waterfall(page), _margins(connection, choice, page.found), _shipping(months, page.totals, page.currency))


def _waterfall(page: OrderPage) -> Chart:
    currency = page.currency

    def kind(step: Any) -> str:
        if step.name == "paid":
            return "plain"
        if step.name == "profit":
            return "plain" if step.change >= 0 else "loss"
        return "less" if step.change < 0 else "plain"

    steps = waterfall_steps(page.totals)
    bars = [Bar(step.words, step.start, step.end, people_amount(step.change, currency), kind(step)) for step in steps]
    paid, left = people_amount(steps[0].change, currency), people_amount(steps[-1].change, currency)
    return draw_bars(
        "waterfall",
        "From what customers paid to what is left",
        f"{currency}, all chosen orders",
        f"Customers paid {paid} {currency}; {left} {currency} of it are left as profit.",
        ("step", currency),
        bars,
        lambda value: people_amount(value, currency).partition(".")[0],
        (("less", "takes away"), ("loss", "a loss")),
    )


def _margins(connection: duckdb.DuckDBPyConnection, choice: OrderChoice, found: int) -> Chart:
    bands = margin_bands(connection, choice)
    while len(bands) > 1 and not bands[-1].orders:
        bands = bands[:-1]
    while len(bands) > 1 and not bands[0].orders:
        bands = bands[1:]
    bars = []
    for band in bands:
        if band.low is None:
            name = f"below {band.high} %"
        elif band.high is None:
            name = f"{band.low} % and more"
        else:
            name = f"{band.low} to {band.high} %"
        losing = band.high is not None and band.high <= 0
        bars.append(Bar(name, 0, band.orders, f"{band.orders:,}", "loss" if losing else "plain"))
    losing_orders = sum(band.orders for band in bands if band.high is not None and band.high <= 0)
    return draw_bars(
        "margins",
        "How the margin is spread",
        "number of orders, by profit as a share of net revenue",
        f"{losing_orders:,} of {found:,} orders lost money on what they brought.",
        ("margin", "orders"),
        bars,
        lambda value: f"{value:,}",
        (("loss", "orders that lost money"),),
    )


def _shipping(months: tuple[Group, ...], totals: Figures, currency: str) -> Chart:
    in_all = [people_amount(amount, currency) for amount in (totals.shipping_charged, totals.shipping_cost)]
    bars = []
    for month in months[-12:]:
        charged, paid = month.figures.shipping_charged, month.figures.shipping_cost
        bars.append(Bar(f"{month.name} charged", 0, charged, people_amount(charged, currency)))
        bars.append(Bar(f"{month.name} paid", 0, paid, people_amount(paid, currency), "less"))
    return draw_bars(
        "shipping",
        "Shipping charged and shipping paid",
        f"{currency}, by the month that orders were placed in; the last twelve months",
        f"Customers were charged {in_all[0]} {currency} for shipping; the partner charged {in_all[1]} {currency}.",
        ("month", currency),
        bars,
        lambda value: people_amount(value, currency).partition(".")[0],
        (("less", "paid to the partner"),),
    )
