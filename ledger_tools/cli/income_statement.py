"""`income-statement`: revenue, costs and net income of a period."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo_csv, echo_json, echo_table, people_amount, shape_option
from ledger_tools.cli.periods import as_of_option, period_name, period_options
from ledger_tools.cli.report_notes import tell_before_month_end, tell_open_items, tell_unvalued

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period
    from ledger_tools.reports.statements import IncomeStatement, IncomeTotals


@click.command("income-statement")
@period_options
@click.option("--compare", type=click.Choice(["previous", "year"]), help="With the period before, or a year before.")
@click.option(
    "--basis", type=click.Choice(["accrual"]), default="accrual", show_default=True, help="When things count."
)
@as_of_option
@shape_option
@click.pass_obj
def command(
    context: Context, period: Period, compare: str | None, basis: str, as_of: datetime.date | None, shape: str
) -> None:
    """Show revenue, cost of goods sold, expenses and net income of a period.

    Income counts on the day of sale, costs on the day they were charged. Discounts and returns are negative within
    revenue.

    \b
    Example:
      ledger-tools income-statement --month 2031-04 --compare previous
      ledger-tools income-statement --year 2031 --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period
    from ledger_tools.reports.comparison import period_a_year_before, period_before

    del basis  # there is one choice
    compared = None
    if compare is not None:
        if period.first is None or period.last is None:
            raise click.UsageError("--compare needs a period: give --month, --quarter, --year, or --from and --to.")
        compared = (period_before if compare == "previous" else period_a_year_before)(period.first, period.last)
    folder = context.folder()
    with open_books(folder, context.progress) as connection:
        context.end_progress()
        period = Period(period.first, min((day for day in (period.last, as_of) if day is not None), default=None))
        show_income_statement(connection, period, compared, shape)
        tell_before_month_end(connection, folder, period)
        tell_unvalued(connection, period.last)
        tell_open_items(connection, as_of)


def show_income_statement(
    connection: duckdb.DuckDBPyConnection, period: Period, compared: Period | None = None, shape: str = "table"
) -> None:
    """Print the income statement of a period, beside another where one is given."""
    from ledger_tools.reports.statements import report_income

    statement = report_income(connection, period, compared)
    if shape == "json":
        echo_json(statement.as_json())
    elif shape == "csv":
        report = statement.as_json()
        names = list(report["rows"][0]) if report["rows"] else ["account", "amount"]
        echo_csv(names, [list(row.values()) for row in report["rows"]])
    else:
        _show_table(statement)


_HEADINGS = {"revenue": "Revenue", "cost_of_goods_sold": "Cost of goods sold", "expenses": "Expenses"}


def _show_table(statement: IncomeStatement) -> None:
    from ledger_tools.reports.statements import SECTIONS

    currency, other = statement.currency, statement.compared_totals
    columns = [Column("account", is_cut=True), Column("amount", is_number=True)]
    if statement.compared_period is not None:
        columns += [
            Column(period_name(statement.compared_period), is_number=True),
            Column("change", is_number=True, spared=1),
        ]

    def amounts(amount: int, compared: int | None) -> list[str]:
        told = [people_amount(amount, currency)]
        if compared is not None:
            told += [people_amount(compared, currency), people_amount(amount - compared, currency)]
        return told

    def total(name: str, words: str) -> list[str]:
        return [words, *amounts(getattr(statement.totals, name), None if other is None else getattr(other, name))]

    blank = [""] * len(columns)
    rows: list[list[str]] = []
    for section in SECTIONS:
        rows.append([_HEADINGS[section], *blank[1:]])
        rows += [
            [f"  {row.account}", *amounts(row.amount, row.compared)] for row in statement.rows if row.section == section
        ]
        rows.append(total(section, f"Total {_HEADINGS[section].lower()}"))
        rows.append(blank)
        if section == "cost_of_goods_sold":
            rows += [total("gross_profit", "Gross profit"), blank]
    echo_table(
        f"Income statement, {period_name(statement.period)}, {currency}",
        columns,
        rows[:-1],
        [total("net_income", "Net income")],
    )
    click.echo()
    click.echo(_summary(statement.totals, currency))


def _summary(totals: IncomeTotals, currency: str) -> str:
    from ledger_tools.money import round_half_up

    if totals.revenue <= 0:
        return f"Net income {people_amount(totals.net_income, currency)} {currency}."
    tenths = round_half_up(1000 * totals.net_income, totals.revenue)
    share = f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10}"
    return f"Net income {people_amount(totals.net_income, currency)} {currency} is {share} % of revenue."
