"""The command line: one module a command, loaded only when it is called; no logic here.

Data goes to stdout, talk and progress to stderr. Exit status: 0 done, 1 something needs a person, 2 the command line is
wrong. What a user can cause is told in sentences; `--debug` shows the traceback.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from ledger_tools.errors import Problem

#: Every command with the module that holds it, in the order in which the help lists them.
COMMANDS = {
    "demo": "demo",
    "init": "init",
    "map": "map",
    "import": "import_",
    "status": "status",
    "orders": "orders",
    "open-items": "open_items",
    "settle": "settle",
    "reconcile": "reconcile",
    "trial-balance": "trial_balance",
    "income-statement": "income_statement",
    "balance-sheet": "balance_sheet",
    "cash-flow": "cash_flow",
    "account": "account",
    "sales-tax": "sales_tax",
    "tax-forms": "tax_forms",
    "packet": "packet",
    "view": "view",
    "close": "close",
    "reopen": "reopen",
    "check": "check",
}


@dataclass
class Context:
    """What every command gets: how to find the books, and where talk goes."""

    books: str | None
    debug: bool

    def folder(self) -> Any:
        """The books folder.

        Raises:
            LedgerError: there is none.
        """
        from ledger_tools.folder import find_folder

        return find_folder(self.books)

    def progress(self, stage: str) -> None:
        """Show on stderr what is being done, on one line that the next stage overwrites; silent in a pipe."""
        if sys.stderr.isatty():
            print(f"\r\x1b[2K{stage} …", end="", file=sys.stderr, flush=True)

    def end_progress(self) -> None:
        """Clear the progress line."""
        if sys.stderr.isatty():
            print("\r\x1b[2K", end="", file=sys.stderr, flush=True)


class LazyGroup(click.Group):
    """A group that imports a command's module when it is asked for, and turns known trouble into sentences."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Commands in the order of a month's work."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """The command of a name, or None."""
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"ledger_tools.cli.{COMMANDS[cmd_name]}")
        found = module.command
        assert isinstance(found, click.Command)
        return found

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands with their one-line help, without importing any of them."""
        from ledger_tools.cli.summaries import SUMMARIES

        with formatter.section("Commands"):
            formatter.write_dl([(name, SUMMARIES[name]) for name in COMMANDS])

    def invoke(self, ctx: click.Context) -> Any:
        """Run the command; what files, settings or the database refuse becomes sentences and exit status 1."""
        from ledger_tools.errors import LedgerError

        try:
            return super().invoke(ctx)
        except BrokenPipeError:
            raise
        except LedgerError as trouble:
            _tell(ctx, trouble.problems)
        except OSError as trouble:
            from ledger_tools.trouble import file_problem

            _tell(ctx, [file_problem(trouble)])
        except _database_errors() as trouble:
            from ledger_tools.trouble import database_problem

            _tell(ctx, [database_problem(trouble)])


def _database_errors() -> tuple[type[Exception], ...]:
    """What the database raises; nothing where it was never loaded, so that asking doesn't load it."""
    database = sys.modules.get("duckdb")
    return () if database is None else (database.Error,)


def _tell(ctx: click.Context, problems: Iterable[Problem]) -> None:
    """Say what is wrong and leave with status 1; called while the trouble is handled, which `--debug` raises again."""
    if isinstance(ctx.obj, Context):
        ctx.obj.end_progress()
        if ctx.obj.debug:
            raise
    from ledger_tools.cli.output import talk

    for problem in problems:
        talk(str(problem))
    ctx.exit(1)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option("--books", metavar="DIR", help="Books folder; else $LEDGER_BOOKS, ./books or this folder.")
@click.option("--debug", is_flag=True, help="Show a traceback where something fails.")
@click.version_option(package_name="ledger-tools")
@click.pass_context
def group(ctx: click.Context, books: str | None, debug: bool) -> None:
    """Double-entry books and per-order profit for a shop that sells merchandise made on demand.

    \b
    Example:
      ledger-tools init books
      ledger-tools --books books map ~/Downloads/orders.csv --source shop --write
      ledger-tools --books books import ~/Downloads/*.csv
      ledger-tools --books books orders --month 2031-04
    """
    ctx.obj = Context(books, debug)


#: The option of commands that print a table or JSON.
two_shapes = click.option(
    "--format",
    "shape",
    type=click.Choice(["table", "json"]),
    default="table",
    show_default=True,
    help="A table for people; json for programs.",
)


def main() -> None:
    """Entry point of the `ledger-tools` command."""
    try:
        group(prog_name="ledger-tools")
    except BrokenPipeError:
        # whoever read our output has left (`| head`); that is no fault
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(1)


def books_path(text: str) -> Path:
    """A folder named on the command line."""
    return Path(text).expanduser()
