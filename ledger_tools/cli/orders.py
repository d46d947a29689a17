"""`orders`: what each order earned; one order's whole story; profit by group."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import (
    Column,
    echo,
    echo_csv,
    echo_json,
    echo_table,
    people_amount,
    people_percent,
    shape_option,
)
from ledger_tools.cli.periods import as_of_option, period_name, period_options
from ledger_tools.cli.report_notes import tell_open_items, tell_unvalued
from ledger_tools.reports.order_flags import FLAG_NAMES

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period
    from ledger_tools.reports.order_figures import Figures
    from ledger_tools.reports.order_groups import GroupedReport
    from ledger_tools.reports.order_profit import OrderReport

_GROUPINGS = ("sku", "category", "region", "channel", "month", "discount")


@click.command("orders")
@period_options
@click.option("--order", "order_text", metavar="ID", help="The whole story of one order.")
@click.option("--by", type=click.Choice(_GROUPINGS), help="Sum the orders by group.")
@click.option("--flag", type=click.Choice(FLAG_NAMES), metavar="FLAG", help="Only the orders that bear this flag.")
@as_of_option
@shape_option
@click.pass_obj
def command(
    context: Context,
    period: Period,
    order_text: str | None,
    by: str | None,
    flag: str | None,
    as_of: datetime.date | None,
    shape: str,
) -> None:
    """Show what each order earned: revenue, costs, fees, profit and margin, and what is worth a look.

    A period selects orders by the day they were placed; each shows its whole life up to --as-of.

    \b
    Flags:
      no-payment, no-fulfilment-charge, charged-twice, cancelled-but-charged,
      shipping-under-recovered, sold-below-cost, split-estimated, in-dispute,
      reprinted, promotional, settled-in-another-currency

    \b
    Example:
      ledger-tools orders --month 2031-04
      ledger-tools orders --order 1001
      ledger-tools orders --by category --year 2031 --format csv
      ledger-tools orders --flag sold-below-cost
    """
    from ledger_tools.archive import open_books

    if order_text is not None and (by or flag or period.first or period.last):
        raise click.UsageError("--order shows one order whole; leave out the period, --by and --flag.")
    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        if order_text is not None:
            from ledger_tools.cli.order_story import show_story
            from ledger_tools.matching.order_lookup import find_order
            from ledger_tools.reports.order_story import tell_story

            show_story(tell_story(connection, find_order(connection, order_text), as_of), shape)
        else:
            show_orders(connection, period, as_of, by=by, flag=flag, shape=shape)
        tell_unvalued(connection, as_of)
        tell_open_items(connection, as_of)


def show_orders(
    connection: duckdb.DuckDBPyConnection,
    period: Period,
    as_of: datetime.date | None = None,
    *,
    by: str | None = None,
    flag: str | None = None,
    shape: str = "table",
) -> None:
    """Print the order report of a period, order by order or by group."""
    from ledger_tools.reports.order_groups import group_orders
    from ledger_tools.reports.order_profit import report_orders

    report = report_orders(connection, period, as_of, flag=flag)
    if by is not None:
        _show_groups(group_orders(connection, report, by), len(report.orders), shape)
    elif shape == "json":
        echo_json(report.as_json())
    elif shape == "csv":
        _echo_order_csv(report)
    else:
        _show_table(connection, report, flag)


def _echo_order_csv(report: OrderReport) -> None:
    from ledger_tools.reports.order_figures import FIGURE_NAMES

    names = [*FIGURE_NAMES, *(["other_costs"] if any(order.figures.other_costs for order in report.orders) else [])]
    rows = []
    for order in report.orders:
        figures = order.figures.as_json(report.currency)
        told = [figures.get(name, "0") for name in names]
        rows.append([order.order_id, order.placed_on.isoformat(), *told, " ".join(order.flags)])
    echo_csv(["order_id", "placed_on", *names, "flags"], rows)


_FIGURE_COLUMNS = (
    Column("net revenue", is_number=True),
    Column("direct cost", is_number=True, spared=2),
    Column("fees", is_number=True, spared=3),
    Column("profit", is_number=True),
    Column("margin", is_number=True, spared=1),
)


def _figure_cells(figures: Figures, margin: str | None, currency: str) -> list[str]:
    amounts = (figures.net_revenue, figures.direct_cost, figures.payment_cost, figures.profit)
    return [*[people_amount(amount, currency) for amount in amounts], people_percent(margin)]


def _show_table(connection: duckdb.DuckDBPyConnection, report: OrderReport, flag: str | None) -> None:
    columns = [Column("order"), Column("placed", spared=4), *_FIGURE_COLUMNS, Column("flags", goes_below=True)]
    currency = report.currency
    rows = [
        [
            order.order_id,
            order.placed_on.isoformat(),
            *_figure_cells(order.figures, order.known_margin, currency),
            ", ".join(order.flags),
        ]
        for order in report.orders
    ]
    footer = [[f"{len(rows)} order(s)", "", *_figure_cells(report.totals, report.totals.margin, currency), ""]]
    title = f"Profit by order, {period_name(report.period)}, {currency}"
    echo_table(title if flag is None else f"{title}, only {flag}", columns, rows, footer if rows else [])
    echo()
    if not rows:
        echo("No order was placed in this period." if flag is None else f"No order bears the flag {flag}.")
    _tell_flags(report)
    if flag is None:
        _show_proof(connection, report)


def _tell_flags(report: OrderReport) -> None:
    counts = {name: sum(1 for order in report.orders if name in order.flags) for name in FLAG_NAMES}
    told = [f"  {count:>6,}  {name}" for name, count in counts.items() if count]
    if told:
        echo("Worth a look (orders by flag; --flag NAME lists them):")
        echo("\n".join([*told, ""]))


def _show_proof(connection: duckdb.DuckDBPyConnection, report: OrderReport) -> None:
    """Print how the orders' profit leads to the net income, and whether it does."""
    from ledger_tools.reports.order_proof import prove_orders

    proof = prove_orders(connection, report)
    steps = [("profit of these orders", proof.orders_profit)]
    if report.period.first or report.period.last:
        steps += [
            ("less posted in other periods for these orders", -proof.in_other_periods),
            ("plus posted in this period for other orders", proof.of_other_orders),
        ]
    steps += [("income and expenses not tied to an order", proof.not_tied), ("net income", proof.net_income)]
    figures = [people_amount(amount, report.currency) for _, amount in steps]
    width = max(map(len, figures))
    echo("From the orders to the income statement:")
    for (words, _), figure in zip(steps, figures, strict=True):
        echo(f"  {words:<46}{figure:>{width}}")
    if proof.holds:
        echo("  They agree, column by column.")
    else:
        which = ", ".join(proof.differing_columns) or "the total"
        echo(f"  They DIFFER by {people_amount(proof.difference, report.currency)} ({which}).")


def _show_groups(grouped: GroupedReport, orders: int, shape: str) -> None:
    from ledger_tools.reports.order_figures import FIGURE_NAMES

    currency = grouped.currency
    if shape == "json":
        echo_json(grouped.as_json())
    elif shape == "csv":
        names = [*FIGURE_NAMES, *(["other_costs"] if grouped.totals.other_costs else [])]
        told = [(group, group.figures.as_json(currency)) for group in grouped.groups]
        rows = [[group.name, group.orders, *(figures.get(name, "0") for name in names)] for group, figures in told]
        echo_csv(["group", "orders", *names], rows)
    else:
        columns = [Column(grouped.by, is_cut=True), Column("orders", is_number=True, spared=4), *_FIGURE_COLUMNS]
        cells = [
            [group.name, f"{group.orders:,}", *_figure_cells(group.figures, group.figures.margin, currency)]
            for group in grouped.groups
        ]
        footer = [["all", f"{orders:,}", *_figure_cells(grouped.totals, grouped.totals.margin, currency)]]
        echo_table(f"Profit by {grouped.by}, {period_name(grouped.period)}, {currency}", columns, cells, footer)
