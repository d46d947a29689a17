"""`reconcile`: stated balances against the books."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo_csv, echo_json, echo_table, people_amount, shape_option, talk
from ledger_tools.cli.periods import as_of_option
from ledger_tools.cli.report_notes import count_open_items, tell_count

if TYPE_CHECKING:
    from ledger_tools.reports.reconciliation import BankSides, Reconciled, Reconciliation


@click.command("reconcile")
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, shape: str) -> None:
    """Compare each stated balance with the books, and show what is in the control accounts.

    A balance is stated by a bank statement, a running balance, or [[stated_balance]] in shop.toml; the latest up to the
    day counts. For the bank both sides are shown. Exit status 1 while a difference is unexplained.

    \b
    Example:
      ledger-tools reconcile --as-of 2031-04-30
    """
    from ledger_tools.archive import open_books
    from ledger_tools.open_items import last_known_day
    from ledger_tools.reports.reconciliation import report_reconciliation

    with open_books(context.folder(), context.progress) as connection:
        report = report_reconciliation(connection, as_of or last_known_day(connection))
        items = count_open_items(connection, as_of)
    context.end_progress()
    if shape == "json":
        echo_json(report.as_json())
    elif shape == "csv":
        rows = report.as_json()["accounts"]
        echo_csv(
            ["account", "currency", "stated", "books", "difference", "explained_by"],
            [[*list(row.values())[:-1], " ".join(row["explained_by"])] for row in rows],
        )
    else:
        _show(report)
    unexplained = [row for row in report.accounts if row.is_unexplained]
    for row in unexplained:
        difference = people_amount(row.difference or 0, row.currency)
        talk(
            f"{row.account}: {difference} {row.currency} on {row.stated_on} is unexplained: is an export missing, or an opening balance?"
        )
    tell_count(items)
    if unexplained:
        click.get_current_context().exit(1)


def _cells(row: Reconciled) -> list[str]:
    def text(amount: int | None) -> str:
        return "-" if amount is None else people_amount(amount, row.currency)

    return [
        row.account, row.currency, str(row.stated_on or "-"), text(row.stated), text(row.books), text(row.difference),
        ", ".join(row.explained_by),
    ]  # fmt: skip


def _show(report: Reconciliation) -> None:
    columns = [
        Column("account", is_cut=True),
        Column("", spared=2),
        Column("stated on", spared=1),
        Column("stated", is_number=True),
        Column("books", is_number=True),
        Column("difference", is_number=True),
        Column("explained by", goes_below=True),
    ]
    echo_table(f"Balances against the books as of {report.as_of}", columns, [_cells(row) for row in report.accounts])
    for bank in report.banks:
        _show_bank(bank)
    stated = sum(1 for row in report.accounts if row.stated is not None)
    differing = sum(1 for row in report.accounts if row.difference)
    click.echo()
    click.echo(f"{stated} stated balance(s), {differing} differ, as of {report.as_of}.")


def _show_bank(bank: BankSides) -> None:
    click.echo()
    click.echo(f"{bank.account} on {bank.on}, {bank.currency}")
    lines = [("statement", bank.statement)]
    lines += [(f"  {day} {name}", amount) for day, name, amount in bank.under_way]
    lines += [("statement with what is under way", bank.adjusted_statement), ("", 0)]
    lines += [
        ("books", bank.books),
        ("  in transit", bank.in_transit),
        ("books with what is in transit", bank.adjusted_books),
    ]
    for label, amount in lines:
        click.echo(f"  {label:<44}{people_amount(amount, bank.currency):>16}" if label else "")
    agree = bank.adjusted_statement == bank.adjusted_books
    difference = people_amount(bank.adjusted_statement - bank.adjusted_books, bank.currency)
    click.echo("  Both sides agree." if agree else f"  The sides differ by {difference}.")
