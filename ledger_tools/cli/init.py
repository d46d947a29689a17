"""`init`: a new, empty set of books."""

from __future__ import annotations

import click

from ledger_tools.cli import Context, books_path


@click.command("init")
@click.argument("directory", metavar="DIR")
@click.option("--name", help="Title of the books.")
@click.option("--currency", help="Base currency, such as USD.")
@click.option("--time-zone", help="Zone whose calendar days the books use, such as America/Denver.")
@click.option("--yes", is_flag=True, help="Ask nothing; take what is not given as My shop, USD, UTC.")
@click.pass_obj
def command(
    context: Context, directory: str, name: str | None, currency: str | None, time_zone: str | None, yes: bool
) -> None:
    """Start a new, empty set of books in DIR.

    Writes commented settings, a chart of accounts that beancount loads, and the folders that exports and mappings go to.
    What is not given as an option is asked.

    \b
    Example:
      ledger-tools init books --name "Night sky goods" --currency USD --time-zone America/Denver
    """
    from ledger_tools.archive import open_books
    from ledger_tools.new_books import settings_text, write_books

    def answer(given: str | None, question: str, usual: str) -> str:
        if given is not None:
            return given
        return usual if yes else str(click.prompt(question, default=usual, err=True))

    text = settings_text(
        answer(name, "Name of the shop", "My shop"),
        answer(currency, "Base currency (ISO 4217 code)", "USD").upper(),
        answer(time_zone, "Time zone (IANA name, such as America/Denver)", "UTC"),
    )
    folder = write_books(books_path(directory), text)
    open_books(folder, context.progress).close()
    context.end_progress()
    click.echo(f"New books in {directory}. Look through {directory}/shop.toml, then bring in an export:", err=True)
    click.echo(f"  ledger-tools --books {directory} map FILE --source shop --write", err=True)
    click.echo(f"  ledger-tools --books {directory} import FILE", err=True)
