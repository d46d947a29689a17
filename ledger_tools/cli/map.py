"""`map`: propose how an export's columns are to be read."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import echo

if TYPE_CHECKING:
    from importers.proposal import Proposal


@click.command("map")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@click.option("--source", "name", required=True, help="Name of the source, as in shop.toml.")
@click.option(
    "--kind",
    type=click.Choice(["orders", "processor", "wallet", "bank"]),
    help="Kind of export; else as declared, or guessed.",
)
@click.option("--write", is_flag=True, help="Write the mapping to mappings/SOURCE.toml.")
@click.option("--replace", is_flag=True, help="With --write: replace a mapping that is there.")
@click.pass_obj
def command(context: Context, file: Path, name: str, kind: str | None, write: bool, replace: bool) -> None:
    """Look at an export and propose how its columns are to be read.

    Prints the mapping as TOML with a reason for each column, and on stderr how the first rows would read. What can't be
    known from the file (an ambiguous date order, an unknown word) is asked for, never guessed.

    \b
    Example:
      ledger-tools map ~/Downloads/payments.csv --source card-processor
      ledger-tools map ~/Downloads/payments.csv --source card-processor --write
    """
    from importers.propose import propose_mapping
    from ledger_tools.archive import write_mapping
    from ledger_tools.errors import LedgerError, Problem
    from ledger_tools.settings import read_settings

    folder = context.folder()
    settings = read_settings(folder.root)
    declared = next((source for source in settings.source if source.name == name), None)
    if declared is not None and kind is not None and kind != declared.kind:
        raise LedgerError(
            Problem("--kind", f"{name} is declared as {declared.kind} in shop.toml, found {kind}", "leave --kind out")
        )
    proposal = propose_mapping(
        file,
        source=name,
        kind=kind or (declared.kind if declared else None),
        currency=declared.currency if declared else settings.currency,
        shop_zone=settings.time_zone,
        card=declared is not None and declared.card,
    )
    echo(proposal.toml)
    _tell_unused(proposal)
    _show_reading(file, proposal, declared.currency if declared else settings.currency, settings.time_zone)
    target = folder.mappings / f"{name}.toml"
    if write:
        write_mapping(folder, name, proposal.toml, replace_old=replace)
        echo(f"Written to {target}.", err=True)
    if declared is None:
        echo(
            f'Declare the source in shop.toml: [[source]] name = "{name}", kind = "{proposal.kind}", currency', err=True
        )
    if proposal.questions:
        echo(f"{len(proposal.questions)} question(s) to answer in the mapping before it can be used.", err=True)
        click.get_current_context().exit(1)
    if write:
        echo(f"Next: {shlex.join(['ledger-tools', 'import', str(file), '--source', name])}", err=True)


def _tell_unused(proposal: Proposal) -> None:
    """Name the columns that no field takes: a money column among them may be missing from the books."""
    unused = [use for use in proposal.uses if not use.field]
    if not unused:
        return
    echo("Columns that are not used (look for amounts, gift cards and discounts among them):", err=True)
    for use in unused:
        echo(f"  {use.column}" + (f": {use.reason}" if use.reason else ""), err=True)


def _show_reading(file: Path, proposal: Proposal, currency: str, zone: str) -> None:
    from importers.mapping import parse_mapping
    from importers.preview import render_preview
    from ledger_tools.errors import LedgerError

    for question in proposal.questions:
        echo(str(question), err=True)
    try:
        mapping = parse_mapping(proposal.toml, f"mappings/{proposal.source}.toml")
        rows = render_preview(file, mapping, currency=currency, shop_zone=zone)
    except LedgerError as trouble:
        echo("The first rows can't be shown yet:", err=True)
        for problem in trouble.problems[:10]:
            echo(str(problem), err=True)
        return
    echo("The first rows would read:", err=True)
    for number, row in enumerate(rows, start=1):
        cells = ", ".join(f"{field} {text}" for field, text in row.items())
        echo(click.wrap_text(f"{number}. {cells}", 96, subsequent_indent="   "), err=True)
