"""The exports of a generated shop: which rows stand in which file, which of them count, and how they are written."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable

from random_month import texts
from shop_world import BANK, CARD, EURO, FIRST_DAY, SHOP, WALLET, Row, World, day_of

#: The shop and the card processor export twice; these days (counted from the first) stand in both exports.
BOTH_EXPORTS = (15, 20)


def change(row: Row) -> int:
    """What a row adds to the balance of its source."""
    if "total" in row:
        return int(row["total"]) * (1 if row["kind"] in ("top_up", "credit") else -1)
    return int(row["net"] if "net" in row else row["amount"])


def lay_out(world: World) -> None:
    first, last = ((FIRST_DAY + datetime.timedelta(days=number)).date() for number in BOTH_EXPORTS)
    for source in (SHOP, CARD):
        rows = world.rows[source]
        early = [dict(row) for row in rows if day_of(row) <= last]
        world.exports[source] = [early, [row for row in rows if day_of(row) >= first]]


def current(world: World, source: str) -> list[Row]:
    """The rows that count: those of the last export, and those of earlier ones whose id it does not hold.

    Exports of the bank never overlap.
    """
    found: dict[str, list[Row]] = {}
    exports = world.exports.get(source, [world.rows[source]])
    if source == BANK:
        return [row for export in exports for row in export]
    for export in exports:
        of_export: dict[str, list[Row]] = {}
        for row in export:
            of_export.setdefault(str(row.get("event_id") or row["order_id"]), []).append(row)
        found |= of_export
    return [row for rows in found.values() for row in rows]


def everywhere(world: World, source: str) -> list[list[Row]]:
    """The exports of a source as lists that may be changed."""
    return world.exports.setdefault(source, [world.rows[source]])


def rows_where(world: World, source: str, fits: Callable[[Row], bool]) -> list[Row]:
    return [row for export in everywhere(world, source) for row in export if fits(row)]


def drop_where(world: World, source: str, fits: Callable[[Row], bool]) -> None:
    world.exports[source] = [[row for row in export if not fits(row)] for export in everywhere(world, source)]


def add_row(world: World, source: str, row: Row) -> None:
    """A row more, in the last export that covers its day."""
    everywhere(world, source)
    last = world.exports[source][-1]
    target = last if not last or day_of(last[0]) <= day_of(row) else world.exports[source][0]
    target.append(row)


def written(world: World, *, references: bool = True) -> dict[str, list[list[dict[str, str]]]]:
    """The exports of each source as texts; without references nothing says what belongs together."""
    kinds = {SHOP: "orders", CARD: "processor", EURO: "processor", WALLET: "wallet", BANK: "bank"}
    return {
        source: [
            [texts({**row, **({} if references else _bare(row, kind))} | ({"at": None} if kind == "orders" else {}), kind)
             for row in export]
            for export in world.exports.get(source, [world.rows[source]])
        ]
        for source, kind in kinds.items()
    }  # fmt: skip


def _bare(row: Row, kind: str) -> Row:
    """What a row says once every reference is taken out of it."""
    if kind == "bank":
        known: Iterable[str] = row.get("_movements", ())
        return {"memo": str(row["counterparty"])} if known else {}
    return {name: "" for name in ("order_ref", "payment_ref") if name in row}
