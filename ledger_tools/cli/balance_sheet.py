"""`balance-sheet`: what the shop has, owes and is worth on a day."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo_csv, echo_json, echo_table, people_amount, shape_option, talk
from ledger_tools.cli.periods import as_of_options
from ledger_tools.cli.report_notes import tell_before_month_end, tell_open_items, tell_unvalued

if TYPE_CHECKING:
    from ledger_tools.reports.statements import BalanceSheet

_SECTIONS = ("assets", "liabilities", "equity")


@click.command("balance-sheet")
@as_of_options
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, shape: str) -> None:
    """Show assets, liabilities and equity at the end of a day, in the base currency.

    Earnings of earlier years and of the year so far stand as rows of equity. --month, --quarter and --year mean their
    last day.

    \b
    Example:
      ledger-tools balance-sheet --as-of 2031-04-30
      ledger-tools balance-sheet --year 2031 --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period
    from ledger_tools.open_items import last_known_day
    from ledger_tools.reports.statements import report_balance_sheet

    folder = context.folder()
    with open_books(folder, context.progress) as connection:
        context.end_progress()
        sheet = report_balance_sheet(connection, as_of or last_known_day(connection))
        _show(sheet, shape)
        if sheet.difference:
            talk(f"Entries in hand.beancount leave {people_amount(sheet.difference, sheet.currency)} {sheet.currency}.")
            talk("    → make each entry balance in the base currency, to the minor unit")
        last = sheet.as_of
        tell_before_month_end(connection, folder, Period(last.replace(day=1) if last else None, last))
        tell_unvalued(connection, as_of)
        tell_open_items(connection, as_of)


def _show(sheet: BalanceSheet, shape: str) -> None:
    if shape == "json":
        echo_json(sheet.as_json())
    elif shape == "csv":
        report = sheet.as_json()
        rows = [(section, row["account"], row["amount"]) for section in _SECTIONS for row in report[section]]
        echo_csv(["section", "account", "amount"], rows)
    else:
        _show_table(sheet)


def _show_table(sheet: BalanceSheet) -> None:
    currency = sheet.currency
    columns = [Column("account", is_cut=True), Column("amount", is_number=True), Column("in its own currency", True, 1)]
    rows: list[list[str]] = []
    for section in _SECTIONS:
        rows.append([section.capitalize(), "", ""])
        for row in getattr(sheet, section):
            held = ", ".join(f"{people_amount(amount, code)} {code}" for code, amount in row.held)
            rows.append([f"  {row.account}", people_amount(row.amount, currency), held])
        rows += [[f"Total {section}", people_amount(sheet.total(section), currency), ""], ["", "", ""]]
    if not any(row.held for section in _SECTIONS for row in getattr(sheet, section)):
        columns, rows = columns[:2], [row[:2] for row in rows]
    both = people_amount(sheet.total("liabilities_and_equity"), currency)
    footer = [["Liabilities and equity", both, ""][: len(columns)]]
    echo_table(f"Balance sheet as of {sheet.as_of}, {currency}", columns, rows[:-1], footer)
    click.echo()
    if sheet.difference:
        click.echo(f"Assets differ from liabilities and equity by {people_amount(sheet.difference, currency)}.")
    else:
        click.echo("Assets equal liabilities and equity.")
