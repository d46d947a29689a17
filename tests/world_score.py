"""A world's books, built from its exports, against its truth: matches and open items that are right, wrong or missing.

A *deviation* is a text that names what differs; with the world's seed it can be replayed. Open items that depend on a match
(a payment without a reference stays open until its order is found) are expected only where the program did not make it.
"""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import duckdb
from shop_books import ShopBooks, silent, write_export
from shop_world import (
    BANK,
    CARD,
    EURO,
    SHOP,
    WALLET,
    World,
    draw_sale,
    list_orders,
    plan_orders,
    run_wallet,
    settings_of,
    take_payment,
)
from world_bank import pay_out, run_bank
from world_exports import written
from world_faults import damage
from world_truth import ABOUT, Link, told_links, true_links

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.new_books import write_books
from ledger_tools.open_items import OpenItem, list_open_items

KINDS_OF_SOURCES = {SHOP: "orders", CARD: "processor", EURO: "processor", WALLET: "wallet", BANK: "bank"}

#: Matches that a world does not make are counted, and so many of them named.
NOT_MADE_SHOWN = 4


@dataclass
class Tally:
    """Counts by what they are about. `misled`: wrong, but the only answer that the data leaves."""

    right: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)
    misled: Counter[str] = field(default_factory=Counter)
    missing: Counter[str] = field(default_factory=Counter)

    def add(self, other: Tally) -> None:
        """Add the counts of another world."""
        for mine, theirs in zip(self._counters(), other._counters(), strict=True):
            mine.update(theirs)

    def _counters(self) -> tuple[Counter[str], ...]:
        return self.right, self.wrong, self.misled, self.missing


@dataclass
class Score:
    """What one world gives: `told` counts the links that the data tells, `found` those of them that were made."""

    matches: Tally = field(default_factory=Tally)
    told: Counter[str] = field(default_factory=Counter)
    found: Counter[str] = field(default_factory=Counter)
    items: Tally = field(default_factory=Tally)
    deviations: list[str] = field(default_factory=list)


def draw_world(seed: int, orders: int) -> World:
    """What happened in the world of a seed with so many orders, exported without a fault."""
    world = World(seed, random.Random(seed))
    for number in range(orders):
        draw_sale(world, str(2001 + number))
    plan_orders(world)
    for sale in list(world.sales.values()):
        take_payment(world, sale)
    for source in (CARD, EURO):
        world.rows[source].sort(key=lambda row: row["at"])
    run_wallet(world)
    pay_out(world)
    run_bank(world)
    list_orders(world)
    return world


def make_world(seed: int, orders: int) -> World:
    """The damaged world of a seed."""
    return damage(draw_world(seed, orders))


@contextmanager
def books_of(world: World, root: Path, *, references: bool = True) -> Iterator[ShopBooks]:
    """The books of a world's exports, below a new folder."""
    folder = write_books(root / "books", settings_of(world))
    for source, exports in written(world, references=references).items():
        (folder.exports / source).mkdir(parents=True, exist_ok=True)
        for number, rows in enumerate(exports, start=1):
            if rows:
                write_export(folder.exports / source / f"{source}-{number}.csv", KINDS_OF_SOURCES[source], rows)
    connection = open_books(folder, silent)
    try:
        yield ShopBooks(folder, connection)
    finally:
        connection.close()


def made_links(connection: duckdb.DuckDBPyConnection) -> dict[str, set[Link]]:
    """Every match that the books made."""

    def pairs(statement: str) -> set[Link]:
        return {(str(left), str(right)) for left, right in connection.execute(statement).fetchall()}

    # a payment for several orders is a row for each of them, EVENT/ORDER
    to_order = "SELECT replace(event_id, '/' || order_id, ''), order_id FROM {}_row JOIN order_head USING (order_no)"
    to_move = (
        "SELECT key, movement.event_id FROM bank_match JOIN movement USING (movement_no) "
        "WHERE movement.kind {} IN ('top_up', 'withdrawal')"
    )
    found = (to_order.format("processor"), to_move.format("NOT"), to_move.format(""), to_order.format("wallet"))
    return dict(zip(ABOUT, map(pairs, found), strict=True))


def failed_checks(world: World, books: ShopBooks) -> list[str]:
    """Checks that fail, apart from the one of stated balances where the world holds balances that differ."""
    expected = (
        {"stated balances are the books'"} if any(item.kind == "balance-differs" for item in world.expected) else set()
    )
    return [
        f"check failed: {check.check}: {check.detail}"
        for check in run_checks(books.connection, books.folder, silent)
        if not check.passed and check.check not in expected
    ]


def score_matches(world: World, made: dict[str, set[Link]], *, references: bool, score: Score) -> None:
    """Count the matches of one setting."""
    true, told = true_links(world), told_links(world, references=references)
    for about in ABOUT:
        wrong = made[about] - true[about]
        misled = wrong & told[about]
        tell = told[about] & true[about]
        score.matches.right[about] += len(made[about] & true[about])
        score.matches.wrong[about] += len(wrong - misled)
        score.matches.misled[about] += len(misled)
        score.told[about] += len(tell)
        score.found[about] += len(tell & made[about])
        score.deviations += [f"wrong match, {about}: {left} to {right}" for left, right in sorted(wrong - misled)]
        score.deviations += [f"misled match, {about}: {left} to {right}" for left, right in sorted(misled)]
        not_made = sorted(tell - made[about])
        score.deviations += [f"match not made, {about}: {left} to {right}" for left, right in not_made[:NOT_MADE_SHOWN]]
        if len(not_made) > NOT_MADE_SHOWN:
            score.deviations.append(f"matches not made, {about}: {len(not_made) - NOT_MADE_SHOWN} more")


def score_items(world: World, made: dict[str, set[Link]], connection: duckdb.DuckDBPyConnection, score: Score) -> None:
    """Count the open items, and compare their amounts."""
    links = set().union(*made.values())
    expected = list(world.expected)
    for rest in world.if_open:
        if not set(rest.links) <= links:
            expected += rest.items
    wanted = {(item.kind, item.source, item.key): item.amount for item in expected}
    found = {_key(item): item for item in list_open_items(connection, None)}
    for key, item in found.items():
        if key not in wanted:
            score.items.wrong[key[0]] += 1
            score.deviations.append(f"item too many: {' '.join(key)} {item.amount} ({item.cause})")
            continue
        score.items.right[key[0]] += 1
        amount = wanted[key]
        if amount is not None and amount != abs(item.amount or 0):
            score.deviations.append(f"other amount: {' '.join(key)} is {item.amount}, expected {amount}")
    for key in wanted:
        if key not in found:
            score.items.missing[key[0]] += 1
            score.deviations.append(f"item missing: {' '.join(key)} {wanted[key]}")


def _key(item: OpenItem) -> tuple[str, str, str]:
    """What tells an open item apart: its event for sums of events, else its order, else its event."""
    order, event = item.order_id or "", item.event_id or ""
    return item.kind, item.source or "", (event or order) if item.kind == "event-does-not-add-up" else (order or event)
