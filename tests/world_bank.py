"""Payouts, top-ups and the bank account of a generated shop, with what goes wrong on the way.

Place: after `shop_world` has drawn orders, payments and charges. A fault here is one of life: a deposit that never comes, two
payouts in one deposit, a line whose text names nothing.
"""

from __future__ import annotations

import datetime

from shop_world import (
    BANK,
    CARD,
    EURO,
    EURO_RATES,
    FIRST_DAY,
    LAST_DAY,
    PAYOUT_DAYS,
    PLAN_DAYS,
    WALLET,
    Expected,
    IfOpen,
    Row,
    World,
    day_of,
    line_key,
)

#: What can go wrong with a payout or a top-up in life.
MOVES = ("never arrives", "merged", "split", "short", "top-up unpaid", "top-up by another name", "named both", "stray deposit",
         "stray line")  # fmt: skip


def pay_out(world: World) -> None:
    """Card payouts on two days of the week, euro payouts on one: all that the balance holds by then."""
    for source, weekdays in ((CARD, (0, 3)), (EURO, (1,))):
        earned = sorted(world.rows[source], key=lambda row: row["at"])
        paid = 0
        for day in range(2, PAYOUT_DAYS):
            at = FIRST_DAY + datetime.timedelta(days=day, hours=6)
            amount = sum(row["net"] for row in earned if row["at"] < at.isoformat()) - paid
            if at.weekday() in weekdays and amount > 0:
                reference = f"po-{source[:4]}-{day:03}"
                world.pay(source, "payout", at, -amount, payout_id=reference)
                paid += amount
        world.rows[source].sort(key=lambda row: row["at"])


def run_bank(world: World) -> None:
    """What reaches and leaves the bank account, with the faults of movements."""
    dice = world.dice
    wanted = {move for move in MOVES if world.chance(60)}
    cards = [row for row in world.rows[CARD] if row["kind"] == "payout"]
    taken: dict[str, str] = {}
    places = dice.sample(range(1, len(cards) - 4, 3), 3) if len(cards) > 13 else [1, 4, 7]
    for move, place in zip(("merged", "named both"), places, strict=False):
        if move in wanted:
            _merge(world, cards[place : place + 2], named=move == "named both")
            taken |= {row["event_id"]: move for row in cards[place : place + 2]}
    for row in cards + [row for row in world.rows[EURO] if row["kind"] == "payout"]:
        if row["event_id"] in taken:
            continue
        move = next((each for each in ("never arrives", "split", "short") if each in wanted and row in cards), "")
        early = day_of(row) < FIRST_DAY.date() + datetime.timedelta(days=PLAN_DAYS)
        if early and move and world.chance(35):
            wanted.discard(move)
        else:
            move = ""
        _deposit(world, row, move)
    _pay_top_ups(world, wanted)
    _other_lines(world, wanted)


def _arrival(world: World, row: Row) -> datetime.datetime:
    return datetime.datetime.fromisoformat(row["at"]) + datetime.timedelta(days=world.dice.randint(1, 3))


def _merge(world: World, rows: list[Row], named: bool) -> None:
    amount = -sum(row["net"] for row in rows)
    ids = tuple(row["event_id"] for row in rows)
    memo = "CARD SALES " + (" ".join(row["payout_id"] for row in rows) if named else "BATCH")
    line = world.line(_arrival(world, rows[-1]), amount, memo, "Card Processor", ids)
    items = [Expected("payout-not-in-bank", CARD, row["event_id"], -row["net"]) for row in rows]
    items.append(Expected("deposit-without-payout", BANK, line_key(line), amount))
    world.if_open.append(IfOpen(tuple((line_key(line), each) for each in ids), tuple(items)))
    world.faults.append("named both" if named else "merged")


def _deposit(world: World, row: Row, move: str) -> None:
    """The bank line of a payout; with a fault, several, another, or none."""
    dice, source = world.dice, EURO if row["currency"] == "EUR" else CARD
    amount, key, at = -row["net"], row["event_id"], _arrival(world, row)
    if source == EURO:
        amount = (amount * dice.randint(*EURO_RATES) + 5000) // 10000
    memo, party = f"SALES {row['payout_id'].upper()}", "Card Processor" if source == CARD else "Euro Processor"
    if move:
        world.faults.append(move)
    if move == "never arrives":
        world.expect("payout-not-in-bank", CARD, key, amount)
    elif move == "short":
        world.line(at, amount - 1500, memo, party, (key,))
        world.expect("payout-not-in-bank", CARD, key, 1500)
    elif move == "split":
        first = amount * dice.randint(30, 70) // 100
        first -= 2 * first == amount  # two equal lines of a day have keys that only the bank's order tells apart
        lines = [world.line(at, part, "SALES PART", party, (key,)) for part in (first, amount - first)]
        items = [Expected("payout-not-in-bank", CARD, key, amount)]
        items += [Expected("deposit-without-payout", BANK, line_key(line), line["amount"]) for line in lines]
        world.if_open.append(IfOpen(tuple((line_key(line), key) for line in lines), tuple(items)))
    else:
        world.line(at, amount, memo, party, (key,))


def _pay_top_ups(world: World, wanted: set[str]) -> None:
    for row in [each for each in world.rows[WALLET] if each["kind"] == "top_up"]:
        early = day_of(row) < FIRST_DAY.date() + datetime.timedelta(days=PLAN_DAYS)
        move = next((each for each in ("top-up unpaid", "top-up by another name") if each in wanted), "")
        if not (early and move and world.chance(30)):
            move = ""
        wanted.discard(move)
        if move:
            world.faults.append(move)
        missing = Expected("top-up-without-bank-line", WALLET, row["event_id"], row["total"])
        if move == "top-up unpaid":
            world.expected.append(missing)
            continue
        memo, party = f"WALLET {row['event_id']}", "Print Partner"
        if move:
            memo, party = "DEBIT ORDER", "Collecting Agent"
        at = datetime.datetime.fromisoformat(row["at"]) + datetime.timedelta(days=world.dice.randint(0, 3))
        line = world.line(at, -row["total"], memo, party, (row["event_id"],))
        if move:
            other = Expected("bank-line-without-rule", BANK, line_key(line), row["total"])
            world.if_open.append(IfOpen(((line_key(line), row["event_id"]),), (missing, other)))


def _other_lines(world: World, wanted: set[str]) -> None:
    """Lines that complete nothing: fees and tax that a rule knows, and now and then what nothing knows."""
    for day in (9, 37, LAST_DAY):
        world.line(FIRST_DAY + datetime.timedelta(days=day), -1203, "Monthly account fee", "")
    world.line(FIRST_DAY + datetime.timedelta(days=20), -8807, "STATE REVENUE return", "")
    at = FIRST_DAY + datetime.timedelta(days=world.dice.randint(3, PLAN_DAYS))
    if "stray deposit" in wanted:
        line = world.line(at, 77_707, "SALES UNKNOWN", "Card Processor")
        world.expect("deposit-without-payout", BANK, line_key(line), 77_707)
        world.faults.append("stray deposit")
    if "stray line" in wanted:
        line = world.line(at, -6613, "HARDWARE STORE", "")
        world.expect("bank-line-without-rule", BANK, line_key(line), 6613)
        world.faults.append("stray line")
    world.rows[BANK].sort(key=lambda row: row["at"])
