"""`sales-tax`: sales, tax collected and tax owed by jurisdiction, and the returns that are due."""

from __future__ import annotations

import datetime
import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option, talk
from ledger_tools.cli.periods import as_of_option, period_name, period_options
from ledger_tools.cli.report_notes import tell_open_items, tell_unvalued

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period
    from ledger_tools.reports.sales_tax import SalesTaxReport
    from ledger_tools.reports.sales_tax_basis import TaxBasis
    from ledger_tools.reports.sales_tax_returns import TaxReturns
    from ledger_tools.reports.sales_tax_thresholds import Thresholds
    from ledger_tools.reports.sales_tax_tie_out import TieOut

CAUTION = "What is taxable, due and when is for local rules and a licensed accountant; these are the books' figures."

#: What each part is called, and the key of its rows.
PARTS = {
    "jurisdictions": "jurisdictions",
    "returns": "returns",
    "thresholds": "thresholds",
    "basis": "jurisdictions",
    "tie-out": "jurisdictions",
}


@click.command("sales-tax")
@period_options
@click.option(
    "--show", "part", type=click.Choice(list(PARTS)), help="Only this part; csv and json show jurisdictions otherwise."
)
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, period: Period, part: str | None, as_of: datetime.date | None, shape: str) -> None:
    """Show sales and sales tax by jurisdiction: sold, collected, refunded, remitted, owed, and the returns due.

    Sales are items less discounts, with shipping, less returns of the period. They are taxable where the shop collected
    tax on the order; what a marketplace collects the tax of stands apart. Due dates and allowances are those of
    [[registration]] in shop.toml. Below stand the progress toward registration thresholds, how tax was worked out on the
    orders, and whether every liability ties out.

    \b
    Example:
      ledger-tools sales-tax --month 2031-04
      ledger-tools sales-tax --quarter 2031-Q1 --show returns --format csv
    """
    from ledger_tools.archive import open_books

    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        show_sales_tax(connection, period, as_of, part=part, shape=shape)
        tell_unvalued(connection, as_of)
        tell_open_items(connection, as_of)
    talk(CAUTION)


def show_sales_tax(
    connection: duckdb.DuckDBPyConnection,
    period: Period,
    as_of: datetime.date | None = None,
    *,
    part: str | None = None,
    shape: str = "table",
) -> None:
    """Print the report, or one part of it."""
    if shape != "table":
        told = _report(connection, period, as_of, part or "jurisdictions").as_json()
        if shape == "json":
            echo_json(told)
        else:
            _echo_rows(told[PARTS[part or "jurisdictions"]])
        return
    shown = [part] if part else list(PARTS)
    for place, name in enumerate(shown):
        if place:
            echo()
        report = _report(connection, period, as_of, name)
        _TABLES[name](report)


def _report(connection: duckdb.DuckDBPyConnection, period: Period, as_of: datetime.date | None, part: str) -> Any:
    from ledger_tools.reports.sales_tax import report_sales_tax
    from ledger_tools.reports.sales_tax_basis import report_basis
    from ledger_tools.reports.sales_tax_entries import last_day
    from ledger_tools.reports.sales_tax_returns import list_returns
    from ledger_tools.reports.sales_tax_thresholds import report_thresholds
    from ledger_tools.reports.sales_tax_tie_out import tie_out

    if part == "thresholds":
        return report_thresholds(connection, last_day(period, as_of))
    reports: dict[str, Callable[..., Any]] = {
        "jurisdictions": report_sales_tax,
        "returns": list_returns,
        "basis": report_basis,
        "tie-out": tie_out,
    }
    return reports[part](connection, period, as_of)


def _echo_rows(rows: list[dict[str, Any]]) -> None:
    names = list(rows[0]) if rows else ["jurisdiction"]
    echo_csv(names, [[row[name] for name in names] for row in rows])


def _numbers(*titles: str) -> list[Column]:
    return [Column(title, is_number=True) for title in titles]


def _show_jurisdictions(report: SalesTaxReport) -> None:
    currency, totals = report.currency, report.totals

    def told(*amounts: int) -> list[str]:
        return [people_amount(amount, currency) for amount in amounts]

    columns = [Column("jurisdiction", is_cut=True), *_numbers("gross", "taxable", "exempt", "by marketplace")]
    columns.append(Column("registered", spared=1))
    rows = [
        [
            row.jurisdiction,
            *told(each.gross_sales, each.taxable_sales, each.exempt_sales, each.marketplace_sales),
            "yes" if row.is_registered else "no",
        ]
        for row, each in ((row, row.figures) for row in report.rows)
    ]
    sold = told(totals.gross_sales, totals.taxable_sales, totals.exempt_sales, totals.marketplace_sales)
    echo_table(f"Sales by jurisdiction, {period_name(report.period)}, {currency}", columns, rows, [["all", *sold, ""]])
    echo()
    beside = report.beside
    columns = [Column("jurisdiction", is_cut=True), *_numbers("collected", "refunded", "due", "remitted")]
    columns += [*_numbers(*beside), *_numbers("owed")]

    def tax(each: Any) -> list[str]:
        more = [getattr(each, name) for name in beside]
        return told(each.collected, each.refunded, each.due, each.remitted, *more, each.owed)

    rows = [
        [row.jurisdiction, *tax(row.figures)]
        for row in report.rows
        if row.is_registered
        or any((row.figures.collected, row.figures.refunded, row.figures.remitted, row.figures.owed))
    ]
    echo_table(f"Sales tax, {period_name(report.period)}, {currency}", columns, rows, [["all", *tax(totals)]])


def _show_returns(report: TaxReturns) -> None:
    def told(amount: int) -> str:
        return people_amount(amount, report.currency)

    has_allowance = any(each.allowance for each in report.returns)
    columns = [
        Column("due on"),
        Column("jurisdiction", is_cut=True),
        Column("period"),
        *_numbers("to pay", *(["allowance"] if has_allowance else []), "paid", "open"),
        Column("state"),
    ]
    rows = [
        [
            each.due_on.isoformat(), each.jurisdiction, period_name(each.period), told(each.payable),
            *([told(each.allowance)] if has_allowance else []), told(each.paid), told(each.open), each.state,
        ]
        for each in report.returns
    ]  # fmt: skip
    echo_table(f"Returns of the registrations, as of {report.as_of}, {report.currency}", columns, rows)
    echo("Dates are those of the settings; weekends and holidays are not considered.")
    overdue = [each for each in report.returns if each.state == "overdue"]
    if overdue:
        which = ", ".join(f"{each.jurisdiction} {period_name(each.period)}" for each in overdue)
        talk(f"{len(overdue)} return(s) are past their date and not paid in these books: {which}")


def _show_thresholds(report: Thresholds) -> None:
    columns = [
        Column("sent to", is_cut=True),
        *_numbers("sales", "orders", "threshold", "%"),
        Column("counted", spared=1),
        Column("passed on"),
        Column("registered", spared=2),
    ]
    rows = []
    unknown = []
    for row in report.rows:
        rule = row.threshold
        if rule is None or row.limit is None:
            unknown.append(row.jurisdiction)
            continue
        limit = people_amount(row.limit, report.currency)
        if rule.transactions is not None:
            limit += f" {rule.joined} {rule.transactions:,}"
        rows.append(
            [
                row.jurisdiction, people_amount(row.sales, report.currency), f"{row.transactions:,}", limit, f"{row.percent}",
                f"{rule.measure}, {rule.window}", str(row.crossed_on or "-"), "yes" if row.is_registered else "no",
            ]
        )  # fmt: skip
    echo_table(f"Registration thresholds, as of {report.as_of}, {report.currency}", columns, rows)
    if unknown:
        echo(textwrap.fill(f"No threshold on file: {', '.join(unknown)}.", 80, subsequent_indent="  "))
    echo("Check each at the tax authority. [[threshold]] in shop.toml comes first.")
    for row in report.rows:
        if row.crossed_on and not row.is_registered:
            talk(
                f"{row.jurisdiction}: the threshold was passed on {row.crossed_on}, and no registration is in shop.toml."
            )


def _show_basis(report: TaxBasis) -> None:
    columns = [Column("jurisdiction", is_cut=True), *_numbers("rate %"), Column("taxed")]
    columns += _numbers("orders", "invoice", "item", "cent off", "other")
    rows = [
        [
            row.jurisdiction, row.rate or "-", row.base, f"{row.orders:,}", f"{row.on_invoice:,}", f"{row.by_item:,}",
            f"{row.one_off:,}", f"{row.other:,}",
        ]
        for row in report.rows
    ]  # fmt: skip
    echo_table(f"How tax was worked out, {period_name(report.period)}: orders that fit the usual rate", columns, rows)


def _show_tie_out(report: TieOut) -> None:
    def told(amount: int) -> str:
        return people_amount(amount, report.currency)

    if report.holds:
        echo(f"{len(report.rows)} liability account(s) tie out, period and orders.")
        return
    columns = [Column("jurisdiction", is_cut=True), *_numbers("opening", "closing", "balance", "difference")]
    rows = [
        [row.jurisdiction, told(row.opening), told(row.closing), told(row.balance), told(row.difference)]
        for row in report.rows
    ]
    echo_table(f"What does NOT tie out, {period_name(report.period)}, {report.currency}", columns, rows)
    for misfit in report.misfits:
        recorded, posted = (people_amount(each, misfit.currency) for each in (misfit.recorded, misfit.posted))
        echo(f"  order {misfit.order_id}, {misfit.jurisdiction}: records say {recorded}, books {posted}")


_TABLES: dict[str, Callable[[Any], None]] = {
    "jurisdictions": _show_jurisdictions,
    "returns": _show_returns,
    "thresholds": _show_thresholds,
    "basis": _show_basis,
    "tie-out": _show_tie_out,
}
