"""`account`: every posting of one account with its running balance."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option
from ledger_tools.cli.periods import as_of_option, period_name, period_options

if TYPE_CHECKING:
    from ledger_tools.calendar import Period
    from ledger_tools.reports.register import Register


@click.command("account")
@click.argument("name", metavar="NAME")
@period_options
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, name: str, period: Period, as_of: datetime.date | None, shape: str) -> None:
    """Show every posting of an account, with what it held before, after each, and at the end.

    NAME is the account's whole name, or a part of it that no other account has.

    \b
    Example:
      ledger-tools account Assets:Clearing:Orders --month 2031-04
      ledger-tools account salestax:us-co --format csv
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period
    from ledger_tools.reports.register import find_account, report_register

    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        period = Period(period.first, min((day for day in (period.last, as_of) if day is not None), default=None))
        register = report_register(connection, find_account(connection, name), period)
    if shape == "json":
        echo_json(register.as_json())
    elif shape == "csv":
        _echo_csv(register)
    else:
        _show_table(register)


_NAMES = ("date", "title", "memo", "source", "event_id", "order_id", "amount", "currency", "balance")


def _echo_csv(register: Register) -> None:
    postings = register.as_json()["postings"]
    echo_csv(_NAMES, [[posting[name] for name in _NAMES] for posting in postings])


def _show_table(register: Register) -> None:
    if not register.rows and not register.balances:
        echo(f"Nothing is posted to {register.account} in {period_name(register.period)}.")
        return
    columns = [
        Column("date"),
        Column("what", is_cut=True),
        Column("order", spared=1),
        Column("source", spared=3),
        Column("event", spared=2),
        Column("amount", is_number=True),
        Column("balance", is_number=True),
        Column(""),
    ]
    rows = [
        ["", "opening balance", "", "", "", "", people_amount(held.opening, held.currency), held.currency]
        for held in register.balances
    ]
    for row in register.rows:
        what = f"{row.title}: {row.memo}" if row.memo else row.title
        amounts = [people_amount(row.amount, row.currency), people_amount(row.balance, row.currency)]
        rows.append([row.day.isoformat(), what, row.order_id or "", row.source, row.event_id, *amounts, row.currency])
    footer = [
        ["", "closing balance", "", "", "", "", people_amount(held.closing, held.currency), held.currency]
        for held in register.balances
    ]
    echo_table(f"{register.account}, {period_name(register.period)}", columns, rows, footer)
    echo()
    echo(f"{len(register.rows)} posting(s); debits are positive.")
