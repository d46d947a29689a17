"""`open-items`: everything that does not tie out."""

from __future__ import annotations

import datetime
import itertools
import textwrap
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import echo_json, shape_option
from ledger_tools.cli.periods import as_of_option

if TYPE_CHECKING:
    from ledger_tools.open_items import OpenItem

#: Keys of an item in JSON and CSV, in their order.
COLUMNS = (
    "id", "kind", "date", "age_days", "amount", "currency", "order_id", "event_id", "source", "cause", "next_step",
)  # fmt: skip


@click.command("open-items")
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, shape: str) -> None:
    """List everything that does not tie out, with age, amount, likely cause and next step.

    Exit status 1 while anything is open.

    \b
    Example:
      ledger-tools open-items
      ledger-tools open-items --as-of 2031-04-30 --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.open_items import last_known_day, list_open_items
    from ledger_tools.settlement import stale_decisions
    from ledger_tools.store import read_fact

    with open_books(context.folder(), context.progress) as connection:
        as_of = as_of or last_known_day(connection)
        items = list_open_items(connection, as_of)
        currency = read_fact(connection, "currency")
        stale = stale_decisions(connection)
    context.end_progress()
    rows = [_as_json(item) for item in items]
    if shape == "json":
        told = {"as_of": as_of.isoformat() if as_of else None, "currency": currency, "items": rows}
        echo_json(told)
    elif shape == "csv":
        from ledger_tools.cli.output import echo_csv

        echo_csv(COLUMNS, [list(row.values()) for row in rows])
    else:
        _show(items, as_of)
    for problem in stale:
        click.echo(str(problem), err=True)
    if items or stale:
        click.get_current_context().exit(1)


def _as_json(item: OpenItem) -> dict[str, Any]:
    from ledger_tools.money import format_amount

    amount = None if item.amount is None or item.currency is None else format_amount(item.amount, item.currency)
    values = (
        item.id, item.kind, item.date.isoformat(), item.age_days, amount, item.currency, item.order_id, item.event_id,
        item.source, item.cause, item.next_step,
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _show(items: list[OpenItem], as_of: datetime.date | None) -> None:
    from ledger_tools.open_items import KINDS

    means = {kind.name: kind for kind in KINDS}
    for kind, members in itertools.groupby(items, key=lambda item: item.kind):
        click.echo(f"{kind}: {means[kind].means}")
        for item in members:
            told = _as_json(item)
            amount = f"{told['amount']} {told['currency']}" if told["amount"] is not None else ""
            subject = f"order {item.order_id}" if item.order_id else (item.event_id or "")
            where = f"{subject} ({item.source})" if subject else f"({item.source})"
            click.echo(f"  {item.id}  {item.date}  {item.age_days:>4} d  {amount:>14}  {where}")
            for line in textwrap.wrap(item.cause, 74):
                click.echo(f"      {line}")
        for line in textwrap.wrap(f"settled by: {means[kind].settled_by}; or by ledger-tools settle ID", 76):
            click.echo(f"  {line}")
        click.echo()
    count = f"{len(items)} open item(s)" if items else "Nothing is open"
    click.echo(f"{count} as of {as_of}." if as_of else "The books are empty.")
