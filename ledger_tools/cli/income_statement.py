"""`income-statement`: revenue, costs and net income of a period."""

from __future__ import annotations

import datetime
from collections.abc import Callable
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
from ledger_tools.cli.report_notes import tell_before_month_end, tell_open_items, tell_unvalued
from ledger_tools.cli.statement_tables import (
    amount_cells,
    amount_columns,
    compare_option,
    compared_period,
    echo_notes,
)

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period
    from ledger_tools.reports.statements import IncomeRow, IncomeStatement, IncomeTotals


@click.command("income-statement")
@period_options
@compare_option
@click.option(
    "--basis",
    type=click.Choice(["accrual", "cash"]),
    default="accrual",
    show_default=True,
    help="When things count: sold and charged, or received and paid.",
)
@as_of_option
@shape_option
@click.pass_obj
def command(
    context: Context, period: Period, compare: str | None, basis: str, as_of: datetime.date | None, shape: str
) -> None:
    """Show revenue, cost of goods sold, expenses and net income of a period.

    Income counts on the day of sale, costs on the day they were charged; on the cash basis both count when the processor
    or the bank received or paid them, and the rule stands below. Discounts and returns are negative within revenue. In a
    closed month the month-end entries count too, but for the cash basis: what was paid and not shipped is put off.

    \b
    Example:
      ledger-tools income-statement --month 2031-04 --compare previous
      ledger-tools income-statement --year 2031 --basis cash
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period

    compared = compared_period(period, compare)
    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        period = Period(period.first, min((day for day in (period.last, as_of) if day is not None), default=None))
        show_income_statement(connection, period, compared, shape, basis)
        if basis == "accrual":
            tell_before_month_end(connection, period)
        tell_unvalued(connection, period.last)
        tell_open_items(connection, as_of)


def show_income_statement(
    connection: duckdb.DuckDBPyConnection,
    period: Period,
    compared: Period | None = None,
    shape: str = "table",
    basis: str = "accrual",
) -> None:
    """Print the income statement of a period, beside another where one is given."""
    from ledger_tools.reports.statements import report_income

    statement = report_income(connection, period, compared, basis)
    if shape == "json":
        echo_json(statement.as_json())
    elif shape == "csv":
        names = ["account", "amount", *(["compared", "change", "change_percent"] if compared else [])]
        echo_csv(names, [[row[name] for name in names] for row in statement.as_json()["rows"]])
    else:
        _show_table(statement)


def _show_table(statement: IncomeStatement) -> None:
    currency, totals, other = statement.currency, statement.totals, statement.compared_totals
    columns = [Column("account", is_cut=True), *amount_columns(statement.compared_period)]
    blank = [""] * len(columns)
    rows: list[list[str]] = []

    def heading(words: str) -> None:
        rows.append([words, *blank[1:]])

    def accounts(choice: Callable[[IncomeRow], bool], indent: str = "  ") -> list[IncomeRow]:
        chosen = [row for row in statement.rows if choice(row)]
        rows.extend([f"{indent}{row.account}", *amount_cells(row.amount, row.compared, currency)] for row in chosen)
        return chosen

    def total(words: str, amount_of: Callable[[IncomeTotals], int]) -> None:
        compared = None if other is None else amount_of(other)
        rows.append([words, *amount_cells(amount_of(totals), compared, currency)])

    heading("Revenue")
    accounts(lambda row: row.section == "revenue" and not row.is_contra)
    if any(row.is_contra for row in statement.rows):
        total("Gross sales", lambda told: told.gross_sales)
        accounts(lambda row: row.is_contra)
    total("Total revenue (net sales)", lambda told: told.revenue)
    rows.append(blank)
    heading("Cost of goods sold")
    accounts(lambda row: row.section == "cost_of_goods_sold")
    total("Total cost of goods sold", lambda told: told.cost_of_goods_sold)
    rows.append(blank)
    total("Gross profit", lambda told: told.gross_profit)
    rows.append(blank)
    heading("Expenses")
    _add_groups(statement, rows)
    total("Total operating expenses", lambda told: told.operating_expenses)
    if any(row.section in ("other_income", "other_expenses") for row in statement.rows):
        rows.append(blank)
        total("Income from operations", lambda told: told.operating_income)
        rows.append(blank)
        heading("Other income and expenses")
        accounts(lambda row: row.section == "other_income")
        accounts(lambda row: row.section == "other_expenses")
        total("Other income less other expenses", lambda told: told.other_income - told.other_expenses)
    body, footer = rows, [["Net income", *_net_income(statement)]]
    basis = ", cash basis" if statement.basis == "cash" else ""
    echo_table(f"Income statement{basis}, {period_name(statement.period)}, {currency}", columns, body, footer)
    echo()
    echo(_summary(totals, currency))
    if statement.rule:
        echo()
        echo_notes(statement.rule)


def _net_income(statement: IncomeStatement) -> list[str]:
    compared = None if statement.compared_totals is None else statement.compared_totals.net_income
    return amount_cells(statement.totals.net_income, compared, statement.currency)


def _add_groups(statement: IncomeStatement, rows: list[list[str]]) -> None:
    """Add the operating expenses, with the sum of each group that has several accounts."""
    import itertools

    expenses = [row for row in statement.rows if row.section == "expenses"]
    for group, members in itertools.groupby(expenses, key=lambda row: row.group):
        chosen = list(members)
        rows.extend([f"  {row.account}", *amount_cells(row.amount, row.compared, statement.currency)] for row in chosen)
        if len(chosen) > 1:
            compared = None if statement.compared_period is None else sum(row.compared or 0 for row in chosen)
            amount = sum(row.amount for row in chosen)
            rows.append([f"  All of Expenses:{group}", *amount_cells(amount, compared, statement.currency)])


def _summary(totals: IncomeTotals, currency: str) -> str:
    from ledger_tools.money import round_half_up

    if totals.revenue <= 0:
        return f"Net income {people_amount(totals.net_income, currency)} {currency}."
    tenths = round_half_up(1000 * totals.net_income, totals.revenue)
    share = f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10}"
    return (
        f"Gross margin {people_percent(totals.gross_margin)}; net income "
        f"{people_amount(totals.net_income, currency)} {currency} is {share} % of revenue."
    )
