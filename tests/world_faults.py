"""Faults of exports: rows lost, doubled, changed or amended, references damaged, days that no export covers.

Each fault of `FAULTS` damages the exports of a world that was drawn without one and notes the open items that the shop
must be told of. No two faults touch the same order, payout or top-up, so each can be replayed and judged by itself.
Stated balances are of what happened: where a fault changes what the exports sum to, a `balance-differs` is expected.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable

from shop_world import (
    BANK,
    CARD,
    EURO,
    FIRST_DAY,
    LAST_DAY,
    PLAN_DAYS,
    SHOP,
    WALLET,
    Expected,
    IfOpen,
    Row,
    World,
    day_of,
    line_key,
)
from world_exports import BOTH_EXPORTS, add_row, change, current, drop_where, everywhere, lay_out, rows_where

#: Days at whose end processors and partner state their balance.
STATED_DAYS = (25, 40, LAST_DAY)
#: In how many of a hundred worlds a fault happens.
LIKELIHOOD = 45


def damage(world: World) -> World:
    """State the balances, then let faults happen, each at most once, and lay out the exports."""
    for source in (CARD, EURO, WALLET):
        for number in STATED_DAYS:
            day = (FIRST_DAY + datetime.timedelta(days=number)).date()
            rows = [row for row in world.rows[source] if day_of(row) <= day]
            world.stated.append((source, day, "EUR" if source == EURO else "USD", sum(map(change, rows))))
    balance = 0
    for row in world.rows[BANK]:
        balance += row["amount"]
        row["balance"] = balance
    lay_out(world)
    for fault in FAULTS:
        if world.chance(LIKELIHOOD) and fault(world):
            world.faults.append(fault.__name__.strip("_").replace("_", " "))
    _expect_differences(world)
    return world


def _take_order(world: World, fits: Callable[[str], bool] = lambda order_id: True) -> str | None:
    """An order that no fault has touched, paid once in full in one charge and never refunded."""
    refunded = {name for row in world.rows[CARD] if row["kind"] == "refund" for name in row["_orders"]}
    fitting = sorted(name for name in world.untouched if name not in refunded and fits(name))
    if not fitting:
        return None
    chosen = world.dice.choice(fitting)
    world.untouched.discard(chosen)
    return chosen


def _charges(world: World, order_id: str) -> list[Row]:
    """The charge of an order on the card processor, once for each export that holds it."""
    return rows_where(world, CARD, lambda row: row["kind"] == "charge" and order_id in row.get("_orders", ()))


def _makings(world: World, order_id: str) -> list[Row]:
    return rows_where(world, WALLET, lambda row: order_id in row.get("_orders", ()))


def _take_deposit(world: World) -> tuple[Row, Row] | None:
    """A card payout of the first weeks and the one line that it arrived in whole."""
    for line in world.rows[BANK]:
        for payout in world.rows[CARD]:
            early = day_of(payout) < (FIRST_DAY + datetime.timedelta(days=PLAN_DAYS)).date()
            if (payout["event_id"],) == line.get("_movements") and early and -payout["net"] == line["amount"]:
                mark = f"movement {payout['event_id']}"
                if mark not in world.faults_on and world.chance(60):
                    world.faults_on.add(mark)
                    return payout, line
    return None


def _charge_lost(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        drop_where(world, CARD, lambda row: order_id in row.get("_orders", ()))
        world.expect("order-without-payment", SHOP, order_id, world.sales[order_id].total)
    return order_id is not None


def _charge_doubled(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        row = _charges(world, order_id)[-1]
        add_row(world, CARD, {**row, "event_id": f"{row['event_id']}9"})
        world.expect("payment-differs", SHOP, order_id, world.sales[order_id].total)
    return order_id is not None


def _charge_of_other_amount(world: World) -> bool:
    order_id, delta = _take_order(world), world.dice.choice((-150, -1, 5, 400))
    if order_id:
        for row in _charges(world, order_id):
            row["gross"] += delta
            row["net"] += delta
        world.expect("payment-differs", SHOP, order_id, abs(delta))
    return order_id is not None


def _charge_of_other_sign(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        for row in _charges(world, order_id):
            row["gross"] = -row["gross"]
            row["net"] = row["gross"] - row["fee"]
        world.expect("payment-differs", SHOP, order_id, 2 * world.sales[order_id].total)
    return order_id is not None


def _unread(world: World, order_id: str, changes: Row) -> None:
    """Damage the references of an order's payment beyond reading; the items stay open while no match is made."""
    rows = _charges(world, order_id)
    for row in rows:
        row |= {**changes, "_unread": bool(changes["order_ref"])}
    event_id = rows[0]["event_id"]
    total = world.sales[order_id].total
    items = (
        Expected("order-without-payment", SHOP, order_id, total), Expected("payment-without-order", CARD, event_id, total)
    )  # fmt: skip
    world.if_open.append(IfOpen(((event_id, order_id),), items))


def _payment_without_reference(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        _unread(world, order_id, {"order_ref": "", "payment_ref": ""})
    return order_id is not None


def _payment_with_unknown_reference(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        _unread(world, order_id, {"order_ref": f"9{order_id[::-1]}7", "payment_ref": ""})
    return order_id is not None


def _payment_with_mangled_reference(world: World) -> bool:
    """Writings that can be read; nothing may stay open."""
    order_id = _take_order(world)
    if order_id:
        text = world.dice.choice(
            (f"#{order_id}", f" {order_id} ", f"SO-{order_id}", f"{order_id}-2", f"order {order_id}")
        )
        for row in _charges(world, order_id):
            row |= {"order_ref": text, "payment_ref": ""}
    return order_id is not None


def _making_lost(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        drop_where(world, WALLET, lambda row: order_id in row.get("_orders", ()))
        world.expect("order-without-fulfilment", SHOP, order_id)
    return order_id is not None


def _making_doubled(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        rows = _makings(world, order_id)
        for row in rows:
            add_row(world, WALLET, {**row, "event_id": f"{row['event_id']}9"})
        world.expect("charged-twice", WALLET, order_id, sum(row["total"] for row in rows))
    return order_id is not None


def _making_without_reference(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        rows = _makings(world, order_id)
        items = [Expected("order-without-fulfilment", SHOP, order_id)]
        for row in rows:
            row["order_ref"] = ""
            items.append(Expected("fulfilment-without-order", WALLET, row["event_id"], row["total"]))
        world.if_open.append(IfOpen(tuple((row["event_id"], order_id) for row in rows), tuple(items)))
    return order_id is not None


def _payout_lost(world: World) -> bool:
    found = _take_deposit(world)
    if found:
        payout, line = found
        drop_where(world, CARD, lambda row: row["event_id"] == payout["event_id"])
        world.expect("deposit-without-payout", BANK, line_key(line), line["amount"])
    return found is not None


def _payout_of_other_amount(world: World) -> bool:
    found = _take_deposit(world)
    if found:
        for row in rows_where(world, CARD, lambda row: row["event_id"] == found[0]["event_id"]):
            row["gross"] -= 1000
            row["net"] -= 1000
        world.expect("payout-not-in-bank", CARD, found[0]["event_id"], 1000)
    return found is not None


def _deposit_lost(world: World) -> bool:
    found = _take_deposit(world)
    if found:
        drop_where(world, BANK, lambda row: row is found[1])
        world.expect("payout-not-in-bank", CARD, found[0]["event_id"], found[1]["amount"])
    return found is not None


def _deposit_of_other_sign(world: World) -> bool:
    found = _take_deposit(world)
    if found:
        payout, line = found
        world.expect("payout-not-in-bank", CARD, payout["event_id"], line["amount"])
        line["amount"] = -line["amount"]
        world.expect("bank-line-without-rule", BANK, line_key(line), abs(line["amount"]))
    return found is not None


def _order_lost(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        drop_where(world, SHOP, lambda row: row["order_id"] == order_id)
        world.expect(
            "payment-without-order", CARD, _charges(world, order_id)[0]["event_id"], world.sales[order_id].total
        )
        for row in _makings(world, order_id):
            world.expect("fulfilment-without-order", WALLET, row["event_id"], row["total"])
    return order_id is not None


def _order_doubled(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        for export in everywhere(world, SHOP):
            export += [{**row, "order_id": f"7{order_id}"} for row in export if row["order_id"] == order_id]
        world.expect("order-without-payment", SHOP, f"7{order_id}", world.sales[order_id].total)
        world.expect("order-without-fulfilment", SHOP, f"7{order_id}")
    return order_id is not None


def _placed_in_both(world: World) -> Callable[[str], bool]:
    """Whether an order stands in both exports of the shop, on no day that either of them might cover in part only."""
    early, late = world.exports[SHOP]
    first, last = min(map(day_of, late)), max(map(day_of, early))
    return lambda order_id: first < world.sales[order_id].at.date() < last


def _order_amended(world: World) -> bool:
    order_id = _take_order(world, _placed_in_both(world))
    if order_id:
        for row in world.exports[SHOP][0]:
            if row["order_id"] == order_id:
                row["shipping_charged"] += 300
                row["total"] += 300
        world.expect("amended", SHOP, order_id)
    return order_id is not None


def _order_vanished(world: World) -> bool:
    order_id = _take_order(world, _placed_in_both(world))
    if order_id:
        world.exports[SHOP][1] = [row for row in world.exports[SHOP][1] if row["order_id"] != order_id]
        world.expect("vanished", SHOP, order_id)
    return order_id is not None


def _payment_amended(world: World) -> bool:
    first, last = BOTH_EXPORTS
    order_id = _take_order(world, lambda name: first <= (world.sales[name].at - FIRST_DAY).days < last)
    if order_id:
        for row in world.exports[CARD][0]:
            if order_id in row.get("_orders", ()):
                row["fee"] += 10
                row["net"] -= 10
        world.expect("amended", CARD, _charges(world, order_id)[0]["event_id"])
    return order_id is not None


def _order_of_other_sum(world: World) -> bool:
    order_id = _take_order(world, lambda name: not world.sales[name].place[3])
    if order_id:
        for row in rows_where(world, SHOP, lambda row: row["order_id"] == order_id):
            row["shipping_charged"] += 315
        world.expect("order-does-not-add-up", SHOP, order_id, 315)
    return order_id is not None


def _payment_of_other_sum(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        rows = _charges(world, order_id)
        for row in rows:
            row["net"] -= 41
        world.expect("event-does-not-add-up", CARD, rows[0]["event_id"], 41)
    return order_id is not None


def _making_of_other_sum(world: World) -> bool:
    order_id = _take_order(world)
    if order_id:
        row = _makings(world, order_id)[0]
        row["total"] += 113
        world.expect("event-does-not-add-up", WALLET, row["event_id"], 113)
    return order_id is not None


def _stated_balance_off(world: World) -> bool:
    place = world.dice.randrange(len(world.stated))
    source, day, currency, amount = world.stated[place]
    world.stated[place] = (source, day, currency, amount + 500)
    return True


def _gap_in_bank(world: World) -> bool:
    """The bank's lines come in two exports; the days between hold no line, but nobody can know that."""
    rows = world.rows[BANK]
    for place in range(len(rows) // 3, len(rows) - 1):
        days = (day_of(rows[place + 1]) - day_of(rows[place])).days
        if days >= 2:
            world.exports[BANK] = [rows[: place + 1], rows[place + 1 :]]
            world.expect("coverage-gap", BANK, "")
            return True
    return False


def _gap_in_wallet(world: World) -> bool:
    """A day of the partner's events is in no export, so its orders seem never charged."""
    days = sorted({day_of(row) for row in world.rows[WALLET]})
    for day in days[len(days) // 3 : len(days) // 2]:
        lost = [row for row in world.rows[WALLET] if day_of(row) == day]
        orders = {name for row in lost for name in row.get("_orders", ())}
        whole = all(
            day_of(row) == day for name in orders for row in world.rows[WALLET] if name in row.get("_orders", ())
        )
        if whole and orders <= world.untouched and all(row["kind"] == "charge" for row in lost):
            world.untouched -= orders
            parts = ([row for row in world.rows[WALLET] if day_of(row) < day],
                     [row for row in world.rows[WALLET] if day_of(row) > day])  # fmt: skip
            world.exports[WALLET] = list(parts)
            world.expect("coverage-gap", WALLET, "")
            for name in orders:
                world.expect("order-without-fulfilment", SHOP, name)
            return True
    return False


#: Gaps first: they lay out the exports anew.
FAULTS: tuple[Callable[[World], bool], ...] = (
    _gap_in_bank, _gap_in_wallet, _charge_lost, _charge_doubled, _charge_of_other_amount, _charge_of_other_sign,
    _payment_without_reference, _payment_with_unknown_reference, _payment_with_mangled_reference, _making_lost,
    _making_doubled, _making_without_reference, _payout_lost, _payout_of_other_amount, _deposit_lost,
    _deposit_of_other_sign, _order_lost, _order_doubled, _order_amended, _order_vanished, _payment_amended,
    _order_of_other_sum, _payment_of_other_sum, _making_of_other_sum, _stated_balance_off,
)  # fmt: skip


def _expect_differences(world: World) -> None:
    """A source whose stated balance is not the sum of its exports, on any stated day."""
    last = world.rows[BANK][-1]
    stated = [*world.stated, (BANK, day_of(last), "USD", last["balance"])]
    differing = set()
    for source, day, currency, amount in stated:
        if amount != sum(change(row) for row in current(world, source) if day_of(row) <= day):
            differing.add((source, currency))
    for source, _ in sorted(differing):
        world.expect("balance-differs", source, "")
