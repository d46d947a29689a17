"""Which records of a world's exports belong together, as far as the exports themselves tell it.

Independent of the program: this module reads rows, tries every pair (and every two or three payouts, every two deposits
or orders), and keeps what has one answer. A link is *told* by the data where

- the record names the other one in a way that can be read; or
- payment and order have one currency and one amount, the payment is at most `USUAL` days later, and neither has another
  such partner up to `REACH` days away among what no reference has settled; or
- two such orders, and no other two, sum to a payment that no single order fits (and no other payment fits them); or
- a bank line has the exact amount of one open payout or top-up, from `EARLY` days before it to `REACH` days after, and
  neither has another such partner; failing that, one set of two or three payouts of a processor sums to one deposit, or
  one pair of deposits to one payout; failing that, one euro payout is within 3 % of one deposit at the settings' rate; or
- a charge of the partner has the SKU, quantity and destination of one order line placed before its moment, at most five
  days, and neither has another such partner.

`REACH` is wider than a usual lag, so that a program that looks less far still has every chance, and one that looks
further finds no rival that this module has not seen. An amount that occurs more than once is not told at the edge of what
both sides' exports cover: the true partners may stand in exports that are not there. What is told can be untrue, where a
fault took the true partner away and left one that fits as well: those links are counted by themselves.
"""

from __future__ import annotations

import datetime
import itertools
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from shop_world import BANK, CARD, EURO, SHOP, WALLET, Row, World, day_of, line_key
from world_exports import current

EARLY, USUAL, REACH, MAKING_REACH = 3, 7, 12, 5
EURO_RATE, RATE_OFF = 10842, 300

Link = tuple[str, str]
Left = TypeVar("Left", bound=Hashable)
Right = TypeVar("Right", bound=Hashable)

#: What links are about, in the order of the printed table.
ABOUT = ("payment to order", "payout to deposit", "top-up to bank line", "wallet charge to order")


def only_pairs(
    lefts: Iterable[Left], rights: Sequence[Right], fits: Callable[[Left, Right], bool]
) -> set[tuple[Left, Right]]:
    """Pairs that fit where neither side fits another."""
    pairs = [(left, right) for left in lefts for right in rights if fits(left, right)]
    of_left: dict[Left, int] = defaultdict(int)
    of_right: dict[Right, int] = defaultdict(int)
    for left, right in pairs:
        of_left[left] += 1
        of_right[right] += 1
    return {(left, right) for left, right in pairs if of_left[left] == of_right[right] == 1}


@dataclass(frozen=True)
class Edges:
    """Where a pair of records may have partners in exports that are not there.

    Attributes:
        earlier, later: spans of days that the exports of the two sides cover.
        early, reach: days that the later record may be before and after the earlier one.
    """

    earlier: list[tuple[datetime.date, datetime.date]]
    later: list[tuple[datetime.date, datetime.date]]
    early: int
    reach: int

    def hide_rivals(self, earlier: datetime.date, later: datetime.date) -> bool:
        """Whether both records of these days could belong to others that no export shows."""
        early, reach = datetime.timedelta(days=self.early), datetime.timedelta(days=self.reach)
        first_earlier, last_earlier = _span_of(self.earlier, earlier)
        first_later, last_later = _span_of(self.later, later)
        instead_of_earlier = later - reach < first_earlier or later + early > last_earlier
        instead_of_later = earlier - early < first_later or earlier + reach > last_later
        return instead_of_earlier and instead_of_later


def _span_of(
    spans: list[tuple[datetime.date, datetime.date]], day: datetime.date
) -> tuple[datetime.date, datetime.date]:
    return next((first, last) for first, last in spans if first <= day <= last)


def covered(world: World, *sources: str) -> list[tuple[datetime.date, datetime.date]]:
    """Spans of days without a gap that the exports of some sources cover."""
    spans: list[tuple[datetime.date, datetime.date]] = []
    exports = [export for source in sources for export in world.exports.get(source, [world.rows[source]]) if export]
    for first, last in sorted((min(map(day_of, export)), max(map(day_of, export))) for export in exports):
        if spans and (first - spans[-1][1]).days <= 1:
            spans[-1] = (spans[-1][0], max(last, spans[-1][1]))
        else:
            spans.append((first, last))
    return spans


def true_links(world: World) -> dict[str, set[Link]]:
    """Every link that is true, told or not."""
    links: dict[str, set[Link]] = {about: set() for about in ABOUT}
    known = {row["order_id"] for row in current(world, SHOP)}
    for source in (CARD, EURO, WALLET):
        about = "wallet charge to order" if source == WALLET else "payment to order"
        for row in current(world, source):
            links[about] |= {(row["event_id"], name) for name in row.get("_orders", ()) if name in known}
    payouts = {row["event_id"] for source in (CARD, EURO) for row in current(world, source)}
    top_ups = {row["event_id"] for row in current(world, WALLET)}
    for row in current(world, BANK):
        for name in row.get("_movements", ()):
            if row["amount"] > 0 and name in payouts:
                links["payout to deposit"].add((line_key(row), name))
            elif row["amount"] < 0 and name in top_ups:
                links["top-up to bank line"].add((line_key(row), name))
    return links


def told_links(world: World, *, references: bool) -> dict[str, set[Link]]:
    """Every link that the exports tell, with references or with all of them taken out."""
    payouts, top_ups = _bank_links(world, references)
    return dict(
        zip(ABOUT, (_payment_links(world, references), payouts, top_ups, _wallet_links(world, references)), strict=True)
    )


def _is_read(row: Row) -> bool:
    """Whether a payment's or charge's reference can be read."""
    return bool(row.get("order_ref") or row.get("payment_ref")) and not row.get("_unread")


def _payment_links(world: World, references: bool) -> set[Link]:
    orders = {row["order_id"]: row for row in current(world, SHOP)}
    events = {row["event_id"]: row for source in (CARD, EURO) for row in current(world, source)}
    links: set[Link] = set()
    if references:
        for event_id, row in events.items():
            links |= {(event_id, name) for name in row.get("_orders", ()) if _is_read(row) and name in orders}
    settled = {order for _, order in links}
    charges = [
        name for name, row in events.items()
        if row["kind"] == "charge" and row["gross"] > 0 and not (references and (_is_read(row) or row.get("_unread")))
    ]  # fmt: skip
    waiting = [name for name in orders if name not in settled and orders[name]["total"] > 0]

    def near(charge: str, order: str) -> bool:
        late = (day_of(events[charge]) - day_of(orders[order])).days
        return events[charge]["currency"] == orders[order]["currency"] and 0 <= late <= REACH

    def fits(charge: str, order: str) -> bool:
        return events[charge]["gross"] == int(orders[order]["total"]) and near(charge, order)

    edges = Edges(covered(world, SHOP), covered(world, CARD, EURO), 0, REACH)
    amounts = Counter(int(row["total"]) for row in orders.values())
    links |= {
        (charge, order) for charge, order in only_pairs(charges, waiting, fits)
        if (day_of(events[charge]) - day_of(orders[order])).days <= USUAL
        and (amounts[events[charge]["gross"]] == 1 or not edges.hide_rivals(day_of(orders[order]), day_of(events[charge])))
    }  # fmt: skip
    rest = [name for name in charges if not any(fits(name, order) for order in waiting)]
    free = [name for name in waiting if not any(fits(charge, name) for charge in charges)]
    sums: dict[str, list[tuple[str, str]]] = {}
    for charge in rest:
        close = [name for name in free if near(charge, name)]
        sums[charge] = [
            pair for pair in itertools.combinations(close, 2)
            if sum(int(orders[name]["total"]) for name in pair) == events[charge]["gross"]
        ]  # fmt: skip
    for charge, pairs in sums.items():
        others = {name for other, found in sums.items() if other != charge for pair in found for name in pair}
        if len(pairs) == 1 and not others & set(pairs[0]):
            links |= {(charge, name) for name in pairs[0]}
    return links


def _bank_links(world: World, references: bool) -> tuple[set[Link], set[Link]]:
    moves = {
        row["event_id"]: row for source in (CARD, EURO) for row in current(world, source) if row["kind"] == "payout"
    }
    tops = {row["event_id"]: row for row in current(world, WALLET) if row["kind"] == "top_up"}
    lines = {
        line_key(row): row for row in current(world, BANK)
        if not any(word in row["memo"] for word in ("account fee", "STATE REVENUE"))
    }  # fmt: skip
    named: set[Link] = set()
    if references:
        names = {name: {name, str(row.get("payout_id", name))} for name, row in {**moves, **tops}.items()}
        for key, row in lines.items():
            words = set(row["memo"].lower().split())
            named |= {
                (key, name)
                for name, known in names.items()
                if known & words and _same_way(row, {**moves, **tops}[name])
            }
    used = {key for key, _ in named}, {name for _, name in named}
    deposits = [key for key, row in lines.items() if row["amount"] > 0 and key not in used[0]]
    payments = [key for key, row in lines.items() if row["amount"] < 0 and key not in used[0]]
    found = {link for link in named if link[1] in moves}
    edges = Edges(covered(world, EURO), covered(world, BANK), EARLY, REACH)
    found |= _deposit_links(lines, moves, deposits, [name for name in moves if name not in used[1]], edges)
    waiting = [name for name in tops if name not in used[1]]

    def pays(key: str, name: str) -> bool:
        return bool(-lines[key]["amount"] == tops[name]["total"]) and _in_reach(lines[key], tops[name])

    edges, amounts = (
        Edges(covered(world, WALLET), covered(world, BANK), EARLY, REACH),
        Counter(row["total"] for row in tops.values()),
    )
    paid = {
        (key, name) for key, name in only_pairs(payments, waiting, pays)
        if amounts[tops[name]["total"]] == 1 or not edges.hide_rivals(day_of(tops[name]), day_of(lines[key]))
    }  # fmt: skip
    return found, {link for link in named if link[1] in tops} | paid


def _same_way(line: Row, move: Row) -> bool:
    return bool((line["amount"] > 0) == (move["kind"] == "payout"))


def _in_reach(line: Row, move: Row) -> bool:
    return -EARLY <= (day_of(line) - day_of(move)).days <= REACH


def _deposit_links(
    lines: dict[str, Row], moves: dict[str, Row], deposits: list[str], waiting: list[str], edges: Edges
) -> set[Link]:
    def fits(key: str, name: str) -> bool:
        same = moves[name]["currency"] == "USD" and lines[key]["amount"] == -moves[name]["net"]
        return same and _in_reach(lines[key], moves[name])

    links = only_pairs(deposits, waiting, fits)
    rest = [key for key in deposits if not any(fits(key, name) for name in waiting)]
    free = [name for name in waiting if not any(fits(key, name) for key in deposits)]
    sums: list[tuple[tuple[str, ...], tuple[str, ...]]] = []
    for key in rest:
        close = [name for name in free if moves[name]["currency"] == "USD" and _in_reach(lines[key], moves[name])]
        sums += [
            ((key,), names) for count in (2, 3) for names in itertools.combinations(close, count)
            if -sum(moves[name]["net"] for name in names) == lines[key]["amount"]
        ]  # fmt: skip
    for name in (name for name in free if moves[name]["currency"] == "USD"):
        close = [key for key in rest if _in_reach(lines[key], moves[name])]
        sums += [
            (keys, (name,)) for keys in itertools.combinations(close, 2)
            if sum(lines[key]["amount"] for key in keys) == -moves[name]["net"]
        ]  # fmt: skip
    for place, (keys, names) in enumerate(sums):
        rivals = [other for number, other in enumerate(sums) if number != place]
        if not any(set(keys) & set(other[0]) or set(names) & set(other[1]) for other in rivals):
            links |= set(itertools.product(keys, names))
    summed = {key for keys, _ in sums for key in keys}, {name for _, names in sums for name in names}
    euros = [name for name in free if moves[name]["currency"] == "EUR"]

    def worth(key: str, name: str) -> bool:
        value = -moves[name]["net"] * EURO_RATE
        return abs(lines[key]["amount"] * 10000 - value) * 10000 <= value * RATE_OFF and _in_reach(
            lines[key], moves[name]
        )

    sent = Counter(name for name in euros for other in euros if _alike(moves[name]["net"], moves[other]["net"]))
    return links | {
        (key, name) for key, name in only_pairs([key for key in rest if key not in summed[0]], euros, worth)
        if sent[name] == 1 or not edges.hide_rivals(day_of(moves[name]), day_of(lines[key]))
    }  # fmt: skip


def _alike(one: int, other: int) -> bool:
    """Whether two euro amounts could be one deposit's worth."""
    return abs(one - other) * 10000 <= 2 * RATE_OFF * abs(one)


def _wallet_links(world: World, references: bool) -> set[Link]:
    orders = current(world, SHOP)
    known = {row["order_id"] for row in orders}
    charges = {row["event_id"]: row for row in current(world, WALLET) if row.get("_orders")}
    links: set[Link] = set()
    if references:
        for event_id, row in charges.items():
            links |= {(event_id, name) for name in row["_orders"] if _is_read(row) and name in known}
    lines = {(row["order_id"], row["sku"]): row for row in orders}
    settled = {(order, charges[event_id].get("sku")) for event_id, order in links}
    waiting = [name for name in lines if name not in settled]
    loose = [name for name, row in charges.items() if row["kind"] == "charge" and not (references and _is_read(row))]

    def fits(charge: str, line: tuple[str, str]) -> bool:
        made, sold = charges[charge], lines[line]
        what = ("sku", "quantity", "ship_country", "ship_region")
        late = (day_of(made) - datetime.date.fromisoformat(sold["placed_at"][:10])).days
        ordered = "T" not in made["at"] or made["at"] >= sold["placed_at"]
        return all(made[name] == sold[name] for name in what) and 0 <= late <= MAKING_REACH and ordered

    edges = Edges(covered(world, SHOP), covered(world, WALLET), 0, MAKING_REACH)
    goods = Counter((row["sku"], row["quantity"], row["ship_country"], row["ship_region"]) for row in orders)

    def is_single(line: tuple[str, str]) -> bool:
        return goods[tuple(lines[line][name] for name in ("sku", "quantity", "ship_country", "ship_region"))] == 1

    return links | {
        (charge, line[0]) for charge, line in only_pairs(loose, waiting, fits)
        if is_single(line) or not edges.hide_rivals(day_of(lines[line]), day_of(charges[charge]))
    }  # fmt: skip
