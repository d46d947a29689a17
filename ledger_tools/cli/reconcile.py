"""`reconcile`: stated balances against the books."""

from __future__ import annotations

import datetime
import itertools
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
    plain,
    shape_option,
    talk,
)
from ledger_tools.cli.periods import as_of_option
from ledger_tools.cli.report_notes import count_open_items, tell_count

if TYPE_CHECKING:
    from ledger_tools.reports.reconciliation_form import Control, Reconciled, Reconciliation, SideLine, Sides

#: Items of one control account that the table shows, the oldest; JSON has all of them.
_ITEMS_SHOWN = 12
_LABEL, _AMOUNT = 62, 16


@click.command("reconcile")
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, shape: str) -> None:
    """Compare each stated balance with the books, say what makes up a difference, and list what the control accounts hold.

    A balance is stated by a bank statement, a running balance, or [[stated_balance]] in shop.toml; the latest up to the
    day counts. Each account with a stated balance is shown from both sides. Exit status 1 while a difference is unexplained.

    \b
    Example:
      ledger-tools reconcile --as-of 2031-04-30
    """
    from ledger_tools.archive import open_books
    from ledger_tools.reports.reconciliation import report_reconciliation

    with open_books(context.folder(), context.progress) as connection:
        report = report_reconciliation(connection, as_of)
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
        left = people_amount(row.unexplained, row.currency)
        talk(f"{row.account}: {left} {row.currency} on {row.stated_on} is unexplained")
    tell_count(items)
    if unexplained:
        click.get_current_context().exit(1)


def _cells(row: Reconciled) -> list[str]:
    def text(amount: int | None) -> str:
        return "-" if amount is None else people_amount(amount, row.currency)

    return [
        row.account, row.currency, str(row.stated_on or "-"), text(row.stated), text(row.books), text(row.difference),
    ]  # fmt: skip


def _show(report: Reconciliation) -> None:
    columns = [
        Column("account", is_cut=True),
        Column("", spared=2),
        Column("stated on", spared=1),
        Column("stated", is_number=True),
        Column("books", is_number=True),
        Column("difference", is_number=True),
    ]
    echo_table(f"Balances against the books as of {report.as_of}", columns, [_cells(row) for row in report.accounts])
    for row in report.accounts:
        if row.explanations:
            _show_difference(row)
    for each in report.disagreements:
        used, other = people_amount(each.used, each.currency), people_amount(each.other, each.currency)
        echo()
        echo(f"{each.account} on {each.on}: {used} {each.currency} ({each.used_by}) counts,")
        echo(f"  {other} {each.currency} ({each.other_by}) is stated as well.")
    for sides in report.sides:
        _show_sides(sides)
    for control in report.controls:
        _show_control(control)
    stated = sum(1 for row in report.accounts if row.stated is not None)
    differing = sum(1 for row in report.accounts if row.disagrees)
    unexplained = sum(1 for row in report.accounts if row.is_unexplained)
    echo()
    echo(f"{stated} stated balance(s), {differing} differ, {unexplained} unexplained, as of {report.as_of}.")


def _show_difference(row: Reconciled) -> None:
    echo()
    echo(f"{row.account} differs by {people_amount(row.difference or 0, row.currency)} {row.currency}")
    for part in row.explanations:
        _echo_line(f"  {part.kind}, arose {part.arose}", part.amount, row.currency)
        for event_id in part.event_ids:
            echo(f"    {plain(event_id)}")
        echo(f"    {plain(part.what)}")


def _echo_line(label: str, amount: int, currency: str) -> None:
    text = plain(label)
    shown = text if len(text) <= _LABEL else f"{text[: _LABEL - 1]}…"
    echo(f"{shown:<{_LABEL}}{people_amount(amount, currency):>{_AMOUNT}}")


def _show_sides(sides: Sides) -> None:
    echo()
    if not (sides.statement_lines or sides.book_lines or sides.remaining):
        _echo_line(f"{sides.account} on {sides.on}, {sides.currency}", sides.books, sides.currency)
        echo("  Nothing is under way, both sides agree.")
        return
    echo(f"{sides.account} on {sides.on}, {sides.currency}, from both sides")
    _echo_line("  stated balance", sides.statement, sides.currency)
    _show_lines(sides.statement_lines, sides.currency)
    _echo_line("  stated balance, adjusted", sides.adjusted_statement, sides.currency)
    echo()
    _echo_line("  books, with what they hold as under way", sides.books, sides.currency)
    _show_lines(sides.book_lines, sides.currency)
    _echo_line("  books, adjusted", sides.adjusted_books, sides.currency)
    if sides.remaining:
        _echo_line("  remaining difference", sides.remaining, sides.currency)
    else:
        echo("  Both sides agree.")


def _show_lines(lines: tuple[SideLine, ...], currency: str) -> None:
    ordered = sorted(lines, key=lambda line: line.heading)
    for heading, group in itertools.groupby(ordered, lambda line: line.heading):
        echo(f"    {heading}")
        for line in group:
            _echo_line(f"      {line.day} {line.age_days:>4} d  {line.name}", line.amount, currency)
            if line.what:
                echo(f"        {plain(line.what)}")


def _show_control(control: Control) -> None:
    echo()
    _echo_line(f"{control.account}, {control.currency}", control.balance, control.currency)
    for item in control.items[:_ITEMS_SHOWN]:
        _echo_line(f"  {item.day} {item.age_days:>4} d  {item.name}", item.amount, control.currency)
    left = control.items[_ITEMS_SHOWN:]
    if left:
        amount = sum(item.amount for item in left)
        _echo_line(f"  {len(left)} younger item(s), see --format json", amount, control.currency)
    ages = ", ".join(
        f"{name} d {people_amount(amount, control.currency)}" for name, amount in control.buckets if amount
    )
    if ages:
        echo(f"  by age: {ages}")
