"""`open-items`: everything that does not tie out, what is only under way, and what was decided."""

from __future__ import annotations

import datetime
import itertools
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import echo, echo_csv, echo_json, shape_option, with_books, wrapped
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
    from ledger_tools.open_items import find_items, last_known_day, without_settled
    from ledger_tools.settlement import list_settled
    from ledger_tools.store import read_fact

    with open_books(context.folder(), context.progress) as connection:
        as_of = as_of or last_known_day(connection)
        found = without_settled(connection, find_items(connection, as_of))
        items, under_way = found.late, found.under_way
        usual = found.usuals.all_learnt() if found.usuals and with_under_way else []
        currency = read_fact(connection, "currency")
        record = list_settled(connection)
    context.end_progress()
    stale = [decision.problem for decision in record if decision.problem is not None]
    told: dict[str, Any] = {"as_of": as_of.isoformat() if as_of else None, "currency": currency}
    if settled:
        _show_settled(record, shape, told)
        items = []
    elif shape == "json":
        told["items"] = [_as_json(item) | _candidates_as_json(item) for item in items]
        if with_under_way:
            told["under_way"] = [_as_json(item) | _candidates_as_json(item) for item in under_way]
            told["usual"] = [_usual_as_json(one) for one in usual]
        echo_json(told)
    elif shape == "csv":
        echo_csv(COLUMNS, [list(_as_json(item).values()) for item in items + (under_way if with_under_way else [])])
    else:
        _show(items, under_way if with_under_way else [], usual)
        _tell_count(len(items), len(under_way), as_of)
    for problem in stale:
        echo(str(problem), err=True)
    if items or stale:
        click.get_current_context().exit(1)


def _as_json(item: OpenItem) -> dict[str, Any]:
    """How an item is told."""
    from ledger_tools.money import format_amount

    amount = None if item.amount is None or item.currency is None else format_amount(item.amount, item.currency)
    values = (
        item.id, item.kind, item.date.isoformat(), item.age_days, amount, item.currency, item.order_id,
        item.event_id, item.source, item.cause, with_books(item.next_step),
    )  # fmt: skip
    return dict(zip(COLUMNS, values, strict=True))


def _candidates_as_json(item: OpenItem) -> dict[str, Any]:
    """Records that could belong to an item, each with the command that says so; no key where there are none."""
    from ledger_tools.money import format_amount

    rows = []
    for one in item.candidates:
        amount = None if one.amount is None or one.currency is None else format_amount(one.amount, one.currency)
        rows.append(
            {"match": one.match, "date": one.day.isoformat(), "amount": amount, "currency": one.currency, "why": one.why,
             "next_step": item.match_command(one)}
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
) -> None:
    from ledger_tools.open_items import KINDS

    means = {kind.name: kind.means for kind in KINDS}
    for name, members in itertools.groupby(items, key=lambda item: item.kind):
        echo(f"{name}: {means[name]}")
        settled_by = ""
        for item in members:
            _show_item(item)
            for candidate in _candidates_as_json(item).get("candidates", ()):
                if candidate["match"] is None:
                    _wrap(candidate["why"], "      ")
                    continue
                told = f"{candidate['amount'] or ''} {candidate['currency'] or ''}".strip()
                _wrap(f"could be {candidate['match']} of {candidate['date']}, {told}: {candidate['why']}", "      ")
                echo(f"    {candidate['next_step']}")
            echo(f"    {item.next_step}")
            settled_by = item.settled_by
        _wrap(f"settled by: {settled_by}; or by the command above, with your own reason", "  ")
        echo()
    if under_way:
        echo("under way: not late yet")
        for item in under_way:
            _show_item(item)
        echo()
    if usual:
        echo("usual in this shop")
        for one in usual:
            _wrap(f"{one.source}: {one.rule}; later than {one.allowed} is late", "  ")
        echo()


def _show_item(item: OpenItem) -> None:
    told = _as_json(item)
    amount = f"{told['amount']} {told['currency']}" if told["amount"] is not None else ""
    subject = f"order {item.order_id}" if item.order_id else (item.event_id or "")
    where = f"{subject} ({item.source})" if subject else f"({item.source})"
    echo(f"  {item.id}  {item.date}  {item.age_days:>4} d  {amount:>14}  {where}")
    _wrap(item.cause, "      ")


def _wrap(text: str, indent: str) -> None:
    if text:
        echo(wrapped(text, 80, indent, indent))


def _tell_count(items: int, under_way: int, as_of: datetime.date | None) -> None:
    count = f"{items} open item(s)" if items else "Nothing is open"
    more = f"; {under_way} under way, see --all" if under_way else ""
    echo(f"{count} as of {as_of}{more}." if as_of else "The books are empty.")


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
            echo(f"  {row['id']}  {row['date']}  {row['kind']}  {row['about']}")
            _wrap(f"{action}{amount}, by {row['by']} on {row['decided_on']}: {row['reason']}", "      ")
        echo(f"{len(rows)} item(s) settled by a decision.")
