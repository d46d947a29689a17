"""`status`: what is covered, what is open, what to do next."""

from __future__ import annotations

import click

from ledger_tools.cli import Context, two_shapes
from ledger_tools.cli.output import echo, echo_json
from ledger_tools.cli.report_notes import tell_count


@click.command("status")
@two_shapes
@click.pass_obj
def command(context: Context, shape: str) -> None:
    """Show what is covered through which date, by source, what is open, and the next step.

    \b
    Example:
      ledger-tools status
    """
    from ledger_tools.archive import open_books
    from ledger_tools.status import read_status

    with open_books(context.folder(), context.progress) as connection:
        status = read_status(connection)
    context.end_progress()
    for hint in status.hints:
        echo(hint, err=True)
    if shape == "json":
        sources = [
            {
                "source": source.source,
                "kind": source.kind,
                "covered": [{"from": first, "to": last} for first, last in source.covered],
                "last_event": source.last_event,
            }
            for source in status.sources
        ]
        told = {
            "sources": sources,
            "open_items": status.open_items,
            "closed_through": status.closed_through,
            "next_step": status.next_step,
        }
        echo_json(told)
        tell_count(status.open_items)
        return
    closed = f"Closed through {status.closed_through}." if status.closed_through else "No month is closed."
    width = max([len(source.source) for source in status.sources] or [6])
    echo(f"{'source':<{width}}  {'kind':<9}  {'covered':<26}  last event")
    for source in status.sources:
        spans = [f"{first} to {last}" for first, last in source.covered] or ["nothing yet"]
        echo(f"{source.source:<{width}}  {source.kind:<9}  {spans[0]:<26}  {source.last_event or '-'}")
        for span in spans[1:]:
            echo(f"{'':<{width}}  {'':<9}  {span}")
    echo(f"{status.open_items} open item(s). {closed}")
    echo(f"Next: {status.next_step}")
    tell_count(status.open_items)
