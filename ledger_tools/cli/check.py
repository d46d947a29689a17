"""`check`: prove the books."""

from __future__ import annotations

import click

from ledger_tools.cli import Context, two_shapes
from ledger_tools.cli.output import echo, echo_json


@click.command("check")
@click.option("--rewrite", is_flag=True, help="First build anew from the exports and write the journal again.")
@two_shapes
@click.pass_obj
def command(context: Context, rewrite: bool, shape: str) -> None:
    """Prove the books: every identity, the journal byte for byte, beancount's verdict, reports against beanquery.

    Exit status 1 if a check fails. Beancount's loader takes about a second for a thousand orders.

    \b
    Example:
      ledger-tools check
      ledger-tools check --rewrite --format json
    """
    from ledger_tools.archive import open_books, rewrite_journal
    from ledger_tools.checks import run_checks

    folder = context.folder()
    if rewrite:
        rewrite_journal(folder, context.progress)
    with open_books(folder, context.progress, with_journal=False) as connection:
        checks = run_checks(connection, folder, context.progress)
    context.end_progress()
    if shape == "json":
        rows = [{"check": check.check, "passed": check.passed, "detail": check.detail} for check in checks]
        echo_json({"checks": rows})
    else:
        for check in checks:
            echo(f"{'ok    ' if check.passed else 'FAILED'}  {check.check}: {check.detail}")
    failed = sum(1 for check in checks if not check.passed)
    echo(f"{failed} of {len(checks)} checks failed." if failed else f"All {len(checks)} checks hold.", err=True)
    if failed:
        click.get_current_context().exit(1)
