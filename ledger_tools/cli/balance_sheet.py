"""`balance-sheet`: what the shop has, owes and is worth on a day."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option
from ledger_tools.cli.periods import as_of_options
from ledger_tools.cli.report_notes import tell_before_month_end, tell_open_items, tell_unbalanced, tell_unvalued
from ledger_tools.cli.statement_tables import amount_cells, amount_columns, compared_day

if TYPE_CHECKING:
    from ledger_tools.reports.statements import BalanceSheet, OwnerEquity

_SECTIONS = ("assets", "liabilities", "equity")


@click.command("balance-sheet")
@as_of_options
@click.option(
    "--compare", type=click.Choice(["previous", "year"]), help="With the month-end before, or the day a year before."
)
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, compare: str | None, shape: str) -> None:
    """Show assets, liabilities and equity at the end of a day, in the base currency.

    Earnings of earlier years and of the year so far stand as rows of equity; below stands what moved the owner's equity
    in the year so far. --month, --quarter and --year mean their last day.

    \b
    Example:
      ledger-tools balance-sheet --as-of 2031-04-30 --compare previous
      ledger-tools balance-sheet --year 2031 --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period
    from ledger_tools.open_items import last_known_day
    from ledger_tools.reports.owner_equity import year_to
    from ledger_tools.reports.statements import report_balance_sheet, report_owner_equity

    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        last = as_of or last_known_day(connection)
        compared = None if compare is None or last is None else compared_day(last, compare)
        sheet = report_balance_sheet(connection, last, compared)
        _show(sheet, None if last is None else report_owner_equity(connection, year_to(last)), shape)
        tell_unbalanced(sheet.difference, sheet.currency)
        tell_before_month_end(connection, Period(last.replace(day=1) if last else None, last))
        tell_unvalued(connection, as_of)
        tell_open_items(connection, as_of)


def _show(sheet: BalanceSheet, equity: OwnerEquity | None, shape: str) -> None:
    if shape == "json":
        echo_json({**sheet.as_json(), **({"owner_equity": equity.as_json()} if equity else {})})
    elif shape == "csv":
        report = sheet.as_json()
        names = ["account", "amount", *(["compared", "change", "change_percent"] if sheet.compared_as_of else [])]
        rows = [(section, *(row[name] for name in names)) for section in _SECTIONS for row in report[section]]
        echo_csv(["section", *names], rows)
    else:
        _show_table(sheet)
        if equity is not None:
            echo()
            _show_equity(equity)


def _show_table(sheet: BalanceSheet) -> None:
    currency, is_compared = sheet.currency, sheet.compared_as_of is not None
    has_foreign = not is_compared and any(row.held for section in _SECTIONS for row in getattr(sheet, section))
    columns = [Column("account", is_cut=True), *amount_columns(sheet.compared_as_of)]
    blank = [""] * len(columns)
    rows: list[list[str]] = []

    def total(words: str, section: str) -> list[str]:
        compared = sheet.compared_total(section) if is_compared else None
        return [words, *amount_cells(sheet.total(section), compared, currency)]

    foreign: list[str] = []
    for section in _SECTIONS:
        rows.append([section.capitalize(), *blank[1:]])
        foreign.append("")
        for row in getattr(sheet, section):
            rows.append([f"  {row.account}", *amount_cells(row.amount, row.compared, currency)])
            foreign.append(", ".join(f"{people_amount(amount, code)} {code}" for code, amount in row.held))
        rows += [total(f"Total {section}", section), blank]
        foreign += ["", ""]
    footer = [total("Liabilities and equity", "liabilities_and_equity")]
    if has_foreign:
        columns.append(Column("in its own currency", True, 3))
        rows = [[*cells, held] for cells, held in zip(rows, foreign, strict=True)]
        footer = [[*cells, ""] for cells in footer]
    echo_table(f"Balance sheet as of {sheet.as_of}, {currency}", columns, rows[:-1], footer)
    echo()
    if sheet.difference:
        echo(f"Assets differ from liabilities and equity by {people_amount(sheet.difference, currency)}.")
    else:
        echo("Assets equal liabilities and equity.")


def _show_equity(equity: OwnerEquity) -> None:
    """Print what moved the owner's equity."""
    from ledger_tools.cli.periods import period_name

    currency = equity.currency
    rows = [
        ["Opening equity", people_amount(equity.opening, currency)],
        ["  Net income", people_amount(equity.net_income, currency)],
        ["  Put in by the owner", people_amount(equity.contributions, currency)],
        ["  Taken out by the owner", people_amount(equity.draws, currency)],
        *([f"  {name}", people_amount(amount, currency)] for name, amount in equity.other),
    ]
    columns = [Column("owner's equity", is_cut=True), Column("amount", is_number=True)]
    closing = [["Closing equity", people_amount(equity.closing, currency)]]
    echo_table(f"Owner's equity, {period_name(equity.period)}, {currency}", columns, rows, closing)
