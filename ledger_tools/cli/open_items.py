"""`open-items`: everything that does not tie out, what is only under way, and what was decided."""

from __future__ import annotations

import datetime
import itertools
import shlex
import textwrap
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import echo_csv, echo_json, plain, shape_option
from ledger_tools.cli.periods import as_of_option

if TYPE_CHECKING:
    from ledger_tools.open_item_finders.lags import Usual
    from ledger_tools.open_items import OpenItem
    from ledger_tools.settlement import Settled

#: Keys of an item in JSON and CSV, in their order.
COLUMNS = (
    "id", "kind", "date", "age_days", "amount", "currency", "order_id", "event_id", "source", "cause", "next_step",
)  # fmt: skip


@click.command("open-items")
@as_of_option
@click.option("--all", "with_under_way", is_flag=True, help="Also what is under way, and what is usual in this shop.")
@click.option("--settled", "settled", is_flag=True, help="What was decided instead: who, when and why.")
@shape_option
@click.pass_obj
def command(context: Context, as_of: datetime.date | None, with_under_way: bool, settled: bool, shape: str) -> None:
    """List everything that does not tie out, with age, amount, likely cause and next step.

    The command under an item takes it off the list as it is printed; give your own reason, or change --accept to
    --account or --match. Exit status 1 while anything is open.

    \b
    Example:
      ledger-tools open-items
      ledger-tools open-items --as-of 2031-04-30 --all
      ledger-tools open-items --settled --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.open_items import find_items, last_known_day, settled_ids
    from ledger_tools.settlement import list_settled
    from ledger_tools.store import read_fact

    with open_books(context.folder(), context.progress) as connection:
        as_of = as_of or last_known_day(connection)
        found = find_items(connection, as_of)
        decided = settled_ids(connection)
        items = [item for item in found.late if item.id not in decided]
        under_way = [item for item in found.under_way if item.id not in decided]
        usual = found.usuals.all_learnt() if found.usuals and with_under_way else []
        currency = read_fact(connection, "currency")
        record = list_settled(connection)
    context.end_progress()
    stale = [decision.problem for decision in record if decision.problem is not None]
    as_json = _json_of_books(context.books)
    told: dict[str, Any] = {"as_of": as_of.isoformat() if as_of else None, "currency": currency}
    if settled:
        _show_settled(record, shape, told)
        items = []
    elif shape == "json":
        told["items"] = [as_json(item) | _candidates_as_json(item, context.books) for item in items]
        if with_under_way:
            told["under_way"] = [as_json(item) | _candidates_as_json(item, context.books) for item in under_way]
            told["usual"] = [_usual_as_json(one) for one in usual]
        echo_json(told)
    elif shape == "csv":
        echo_csv(COLUMNS, [list(as_json(item).values()) for item in items + (under_way if with_under_way else [])])
    else:
        _show(items, under_way if with_under_way else [], usual, as_json, context.books)
        _tell_count(len(items), len(under_way), as_of)
    for problem in stale:
        click.echo(str(problem), err=True)
    if items or stale:
        click.get_current_context().exit(1)


def _json_of_books(named: str | None) -> Callable[[OpenItem], dict[str, Any]]:
    """How an item is told; its command names the books where the person named them."""
    from ledger_tools.money import format_amount

    books = "" if named is None else f" --books {shlex.quote(named)}"

    def as_json(item: OpenItem) -> dict[str, Any]:
        amount = None if item.amount is None or item.currency is None else format_amount(item.amount, item.currency)
        step = item.next_step.replace("ledger-tools", f"ledger-tools{books}", 1)
        values = (
            item.id, item.kind, item.date.isoformat(), item.age_days, amount, item.currency, item.order_id,
            item.event_id, item.source, item.cause, step,
        )  # fmt: skip
        return dict(zip(COLUMNS, values, strict=True))

    return as_json


def _candidates_as_json(item: OpenItem, named: str | None) -> dict[str, Any]:
    """Records that could belong to an item, each with the command that says so; no key where there are none."""
    from ledger_tools.money import format_amount

    books = "" if named is None else f" --books {shlex.quote(named)}"
    rows = []
    for one in item.candidates:
        amount = None if one.amount is None or one.currency is None else format_amount(one.amount, one.currency)
        command = item.match_command(one)
        if command is not None:
            command = command.replace("ledger-tools", f"ledger-tools{books}", 1)
        rows.append(
            {"match": one.match, "date": one.day.isoformat(), "amount": amount, "currency": one.currency, "why": one.why,
             "next_step": command}
        )  # fmt: skip
    return {"candidates": rows} if rows else {}


def _usual_as_json(usual: Usual) -> dict[str, Any]:
    return {
        "step": usual.lag,
        "source": usual.source,
        "at_most_days": usual.took_at_most,
        "within": usual.within,
        "of": usual.of,
        "late_after_days": usual.allowed,
    }


def _show(
    items: list[OpenItem],
    under_way: list[OpenItem],
    usual: list[Usual],
    as_json: Callable[[OpenItem], dict[str, Any]],
    named: str | None,
) -> None:
    from ledger_tools.open_items import KINDS

    means = {kind.name: kind.means for kind in KINDS}
    for name, members in itertools.groupby(items, key=lambda item: item.kind):
        click.echo(f"{name}: {means[name]}")
        settled_by = ""
        for item in members:
            _show_item(item, as_json(item))
            for candidate in _candidates_as_json(item, named).get("candidates", ()):
                if candidate["match"] is None:
                    _wrap(candidate["why"], "      ")
                    continue
                told = f"{candidate['amount'] or ''} {candidate['currency'] or ''}".strip()
                _wrap(f"could be {candidate['match']} of {candidate['date']}, {told}: {candidate['why']}", "      ")
                click.echo(f"    {candidate['next_step']}")
            click.echo(f"    {as_json(item)['next_step']}")
            settled_by = item.settled_by
        _wrap(f"settled by: {settled_by}; or by the command above, with your own reason", "  ")
        click.echo()
    if under_way:
        click.echo("under way: not late yet")
        for item in under_way:
            _show_item(item, as_json(item))
        click.echo()
    if usual:
        click.echo("usual in this shop")
        for one in usual:
            _wrap(f"{one.source}: {one.rule}; later than {one.allowed} is late", "  ")
        click.echo()


def _show_item(item: OpenItem, told: dict[str, Any]) -> None:
    amount = f"{told['amount']} {told['currency']}" if told["amount"] is not None else ""
    subject = f"order {item.order_id}" if item.order_id else (item.event_id or "")
    where = f"{subject} ({item.source})" if subject else f"({item.source})"
    click.echo(f"  {item.id}  {item.date}  {item.age_days:>4} d  {amount:>14}  {where}")
    _wrap(item.cause, "      ")


def _wrap(text: str, indent: str) -> None:
    for line in textwrap.wrap(plain(text), 80, initial_indent=indent, subsequent_indent=indent, break_on_hyphens=False):
        click.echo(line)


def _tell_count(items: int, under_way: int, as_of: datetime.date | None) -> None:
    count = f"{items} open item(s)" if items else "Nothing is open"
    more = f"; {under_way} under way, see --all" if under_way else ""
    click.echo(f"{count} as of {as_of}{more}." if as_of else "The books are empty.")


def _show_settled(record: list[Settled], shape: str, told: dict[str, Any]) -> None:
    rows = [decision.as_json() for decision in record]
    if shape == "json":
        echo_json({**told, "settled": rows})
    elif shape == "csv":
        names = (
            "id",
            "kind",
            "date",
            "about",
            "action",
            "target",
            "amount",
            "currency",
            "reason",
            "by",
            "decided_on",
            "fits",
        )
        echo_csv(names, [list(row.values()) for row in rows])
    else:
        for row in rows:
            amount = f"  {row['amount']} {row['currency']}" if row["amount"] else ""
            action = f"{row['action']} {row['target']}" if row["target"] else f"{row['action']}ed"
            click.echo(f"  {row['id']}  {row['date']}  {row['kind']}  {row['about']}")
            _wrap(f"{action}{amount}, by {row['by']} on {row['decided_on']}: {row['reason']}", "      ")
        click.echo(f"{len(rows)} item(s) settled by a decision.")
