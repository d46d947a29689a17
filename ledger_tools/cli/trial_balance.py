"""`trial-balance`: the balance of every account."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option
from ledger_tools.cli.periods import as_of_options
from ledger_tools.cli.report_notes import tell_open_items

if TYPE_CHECKING:
    from ledger_tools.reports.statements import TrialBalance


@click.command("trial-balance")
@as_of_options
@click.option("--post-closing", is_flag=True, help="With income, expenses and draws closed to retained earnings.")
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, post_closing: bool, shape: str) -> None:
    """Show the balance of every account in each currency: the sums of what was posted.

    --month, --quarter and --year mean their last day.

    \b
    Example:
      ledger-tools trial-balance --as-of 2031-04-30
      ledger-tools trial-balance --month 2031-04 --format csv
      ledger-tools trial-balance --year 2031 --post-closing
    """
    from ledger_tools.archive import open_books
    from ledger_tools.money import format_amount
    from ledger_tools.open_items import last_known_day
    from ledger_tools.reports.statements import report_trial_balance
    from ledger_tools.reports.trial_balance import close_results

    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        report = report_trial_balance(connection, as_of or last_known_day(connection))
        if post_closing:
            report = close_results(connection, report)
        if shape == "json":
            echo_json(report.as_json())
        elif shape == "csv":
            rows = [
                (row.account, row.currency, format_amount(row.balance, row.currency))
                for row in report.rows
                if row.balance
            ]
            echo_csv(["account", "currency", "balance"], rows)
        else:
            _show(report, "Trial balance after closing" if post_closing else "Trial balance")
        tell_open_items(connection, as_of)


def _show(report: TrialBalance, title: str) -> None:
    base = report.currency
    rows = (*report.rows, *report.empty_rows)
    has_foreign = any(row.currency != base for row in rows)
    columns = [
        Column("account", is_cut=True),
        Column("currency"),
        Column("debit", is_number=True),
        Column("credit", is_number=True),
        *([Column(f"in {base}", is_number=True, spared=1)] if has_foreign else []),
    ]
    cells = []
    totals: dict[str, list[int]] = {}
    for row in rows:
        side = 0 if row.balance > 0 else 1
        totals.setdefault(row.currency, [0, 0])[side] += abs(row.balance)
        sides = ["", ""]
        sides[side] = people_amount(abs(row.balance), row.currency) if row.balance else ""
        worth = "-" if row.value is None else people_amount(row.value, base)
        cells.append([row.account, row.currency, *sides, *([worth] if has_foreign else [])])
    empty = [""] if has_foreign else []
    footer = [
        ["total", currency, *(people_amount(side, currency) for side in totals[currency]), *empty]
        for currency in totals
    ]
    if has_foreign:
        worth_in_all = sum(row.value or 0 for row in rows)
        footer.append([f"all of it in {base}", base, "", "", people_amount(worth_in_all, base)])
    if not cells:
        echo("Nothing is posted yet: import an export, or write an entry in hand.beancount.")
        return
    echo_table(f"{title} as of {report.as_of}", columns, cells, footer)
    uneven = [currency for currency, (debit, credit) in totals.items() if debit != credit]
    echo()
    if uneven:
        echo(f"Debits and credits of {', '.join(uneven)} differ by what was exchanged.")
        echo(f"In {base} all of it must come to zero.")
        if report.empty_rows:
            echo("What an account that holds nothing is worth is an exchange difference,")
            echo("to be posted at month-end.")
    else:
        echo("Debits and credits are equal in every currency.")
