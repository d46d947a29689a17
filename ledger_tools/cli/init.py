"""`init`: a new set of books, empty or with the balances of a trial balance."""

from __future__ import annotations

import datetime
import shlex
from pathlib import Path

import click

from ledger_tools.cli import Context, books_path
from ledger_tools.cli.output import echo
from ledger_tools.cli.periods import DATE


@click.command("init")
@click.argument("directory", metavar="DIR")
@click.option("--name", help="Title of the books.")
@click.option("--currency", help="Base currency, such as USD.")
@click.option("--time-zone", help="Zone whose calendar days the books use, such as America/Denver.")
@click.option("--yes", is_flag=True, help="Ask nothing; take what is not given as My shop, USD, UTC.")
@click.option(
    "--trial-balance",
    "trial_balance",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="CSV of the accountant's trial balance, whose balances the books begin with; needs --as-of.",
)
@click.option("--as-of", type=DATE, metavar="DATE", help="The day at whose end the trial balance holds.")
@click.pass_obj
def command(
    context: Context,
    directory: str,
    name: str | None,
    currency: str | None,
    time_zone: str | None,
    yes: bool,
    trial_balance: Path | None,
    as_of: datetime.date | None,
) -> None:
    """Start a new set of books in DIR.

    Writes commented settings, a chart of accounts that beancount loads, and the folders that exports and mappings go to.
    What is not given as an option is asked.

    With --trial-balance the books begin with an accountant's balances: a CSV with the columns account, and debit and
    credit or balance. An account that has no name of ours needs a column type (asset, liability, equity, income,
    expense) or our_account. The balances become one entry in hand.beancount.

    \b
    Example:
      ledger-tools init books --name "Night sky goods" --currency USD --time-zone America/Denver
      ledger-tools init books --yes --trial-balance closing.csv --as-of 2030-12-31
    """
    from ledger_tools.archive import open_books
    from ledger_tools.money import format_amount
    from ledger_tools.new_books import settings_text, write_books
    from ledger_tools.opening_balances import read_trial_balance
    from ledger_tools.settings import parse_settings

    if (trial_balance is None) != (as_of is None):
        raise click.UsageError("--trial-balance and --as-of go together: give both, or neither.")

    def answer(given: str | None, question: str, usual: str) -> str:
        if given is not None:
            return given
        return usual if yes else str(click.prompt(question, default=usual, err=True))

    text = settings_text(
        answer(name, "Name of the shop", "My shop"),
        answer(currency, "Base currency (ISO 4217 code)", "USD").upper(),
        answer(time_zone, "Time zone (IANA name, such as America/Denver)", "UTC"),
    )
    opening = None
    if trial_balance is not None and as_of is not None:
        opening = read_trial_balance(trial_balance.expanduser(), as_of, parse_settings(text).currency)
    folder = write_books(books_path(directory), text, opening.as_entry() if opening else "")
    open_books(folder, context.progress).close()
    context.end_progress()
    program = f"ledger-tools --books {shlex.quote(directory)}"
    if opening is not None:
        told = f"{format_amount(opening.total, opening.currency)} {opening.currency}"
        echo(f"{len(opening.lines)} balances as of {as_of} are taken over, {told} on either side:", err=True)
        echo(f"  {program} trial-balance --as-of {as_of}", err=True)
    echo(f"New books in {directory}. Look through {directory}/shop.toml, then bring in an export:", err=True)
    echo(f"  {program} map FILE --source shop --write", err=True)
    echo(f"  {program} import FILE", err=True)
