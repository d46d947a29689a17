"""`reopen`: open the last closed month again."""

from __future__ import annotations

import click

from ledger_tools.cli import Context
from ledger_tools.cli.login import signing_name
from ledger_tools.cli.output import echo


@click.command("reopen")
@click.argument("month", metavar="MONTH")
@click.option("--reason", required=True, help="Why, in your words.")
@click.option("--by", help="Who opens it; else your login name.")
@click.pass_obj
def command(context: Context, month: str, reason: str, by: str | None) -> None:
    """Open MONTH again, if it is the last closed one.

    Its month-end entries are taken back; the freeze and your reason are kept in closed/reopened/ and shown in the
    accountant's packet.

    Closed again with later data, the month may differ from before: where an order's own charge has come since, it
    takes the place of the estimated cost, and what was posted late as prior-period entries goes into the month itself.

    \b
    Example:
      ledger-tools reopen 2031-04 --reason "the bank corrected its statement"
    """
    import datetime

    from ledger_tools.close import reopen_month
    from ledger_tools.closed import Reopening

    if not reason.strip():
        raise click.UsageError("give a reason: --reason TEXT")
    folder = context.folder()
    reopening = Reopening(month, datetime.date.today(), signing_name(by), reason.strip())
    reopen_month(folder, reopening, context.progress)
    context.end_progress()
    echo(
        f"{month} is open again. Close it with: ledger-tools close {month}\n"
        "What has come since counts then: an actual charge may take the place of an estimated one.",
        err=True,
    )
