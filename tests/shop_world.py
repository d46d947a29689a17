"""A shop's seven weeks, drawn from a seed, with what really happened known beside what its exports tell.

Place: `shop_world` draws what happened and the exports of it, `world_faults` damages the exports, `world_truth` says what
can be told from them, `world_score` holds the program against both. Money is whole minor units until a row is written.
Keys of a row that begin with `_` are the truth and are never exported: `_orders` (which orders a payment or a charge
belongs to), `_movements` (which payouts or top-ups a bank line completes).

Some of what happens is itself at fault (`PLANS`): an order is never paid, two payouts arrive as one deposit, and so on.
Such an event is in the books of processor, partner and bank as it happened, so their stated balances agree with it.
"""

from __future__ import annotations

import datetime
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from random_month import SETTINGS

from ledger_tools.money import format_amount

Row = dict[str, Any]

CARD, EURO, WALLET, BANK, SHOP = "card-processor", "euro-processor", "fulfilment-wallet", "checking", "shop"
FIRST_DAY = datetime.datetime.fromisoformat("2031-03-01T00:00:00")
#: Days after the first: the last order, order with a plan, payout and bank line.
ORDER_DAYS, PLAN_DAYS, PAYOUT_DAYS, LAST_DAY = 40, 30, 45, 55
#: Orders of a region from which on its usual tax rate is known: twenty, and a few that faults may take away.
FEWEST_TAXED = 25
#: Base units for one euro that a deposit is converted at, over 10,000; the settings' rate is 1.0842.
EURO_RATES = (10790, 10880)
_GOODS = {
    "MUG": 1650,
    "MUG-L": 1875,
    "TEE": 2600,
    "TEE-XL": 2900,
    "PRINT": 3200,
    "MAP": 4550,
    "STICKER": 450,
    "CAP": 2400,
}
_COSTS = {"MUG": 595, "MUG-L": 712, "TEE": 1135, "TEE-XL": 1389, "PRINT": 948, "MAP": 1386, "STICKER": 137, "CAP": 1042}
#: Country, region, share, tax in basis points, whether shipping is taxed.
_PLACES = (
    ("US", "CO", 40, 780, False),
    ("US", "WA", 30, 920, True),
    ("US", "TX", 20, 0, False),
    ("US", "OH", 10, 0, False),
)


@dataclass(frozen=True)
class Expected:
    """An open item that the exports must give; `amount` None: not compared."""

    kind: str
    source: str
    key: str
    amount: int | None = None


@dataclass(frozen=True)
class IfOpen:
    """Open items that the exports must give as long as the program has not made these matches (event, order or movement)."""

    links: tuple[tuple[str, str], ...]
    items: tuple[Expected, ...]


@dataclass
class Sale:
    """One order as it happened; `plan` names what goes wrong with it."""

    order_id: str
    at: datetime.datetime
    currency: str
    lines: list[tuple[str, int]]
    place: tuple[str, str, int, int, bool]
    discount: int
    shipping: int
    plan: str = ""

    @property
    def goods(self) -> int:
        """What the lines cost."""
        return sum(_GOODS[sku] * quantity for sku, quantity in self.lines)

    @property
    def tax(self) -> int:
        """Sales tax, a planned oddity included."""
        base = self.goods - self.discount + (self.shipping if self.place[4] else 0)
        return (base * self.place[3] + 5000) // 10000 + (217 if self.plan == "taxed oddly" else 0)

    @property
    def total(self) -> int:
        """What the customer owes."""
        return self.goods - self.discount + self.shipping + self.tax


@dataclass
class World:
    """Rows of each source, stated balances as (source, day, currency, amount), and what must be found open."""

    seed: int
    dice: random.Random
    sales: dict[str, Sale] = field(default_factory=dict)
    rows: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in (SHOP, CARD, EURO, WALLET, BANK)})
    stated: list[tuple[str, datetime.date, str, int]] = field(default_factory=list)
    #: Exports of a source as lists of rows; a source that is missing has one export of all its rows.
    exports: dict[str, list[list[Row]]] = field(default_factory=dict)
    expected: list[Expected] = field(default_factory=list)
    if_open: list[IfOpen] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    #: Orders and events that a fault has not touched yet.
    untouched: set[str] = field(default_factory=set)
    faults_on: set[str] = field(default_factory=set)

    def chance(self, percent: int) -> bool:
        """Whether something happens that does in so many of a hundred cases."""
        return self.dice.randrange(100) < percent

    def event(self, source: str, kind: str, at: datetime.datetime, **values: Any) -> Row:
        """One more event of a processor or the wallet."""
        prefix = {CARD: "ch", EURO: "eu", WALLET: "wl"}[source]
        currency = "EUR" if source == EURO else "USD"
        row = {"event_id": f"{prefix}-{10001 + len(self.rows[source])}", "kind": kind, "at": at.isoformat()}
        self.rows[source].append({**row, "currency": currency, **values})
        return self.rows[source][-1]

    def pay(self, source: str, kind: str, at: datetime.datetime, gross: int, fee: int = 0, **values: Any) -> Row:
        """One more event of a processor."""
        return self.event(source, kind, at, gross=gross, fee=fee, net=gross - fee, **values)

    def line(self, at: datetime.datetime, amount: int, memo: str, party: str, completes: Sequence[str] = ()) -> Row:
        """One more bank line; `completes` holds ids of payouts or top-ups."""
        row: Row = {
            "at": at.date().isoformat(),
            "amount": amount,
            "currency": "USD",
            "memo": memo,
            "counterparty": party,
        }
        self.rows[BANK].append({**row, "_movements": tuple(completes)})
        return self.rows[BANK][-1]

    def expect(self, kind: str, source: str, key: str, amount: int | None = None) -> None:
        """Note an open item that must be found."""
        self.expected.append(Expected(kind, source, key, amount))


#: What can go wrong with an order in life; each happens in most worlds to one order.
PLANS = (
    "never paid", "paid too little", "paid late", "one payment for two", "never charged", "charged twice",
    "charged twice, credited", "charged twice, credited in part", "cancelled, yet charged", "cancelled and credited",
    "refunded before it shipped", "taxed oddly", "paid, unknown to the shop",
)  # fmt: skip


def day_of(row: Row) -> datetime.date:
    """The local day of a row."""
    return datetime.date.fromisoformat(str(row["at"])[:10])


def draw_sale(world: World, order_id: str) -> None:
    dice = world.dice
    at = FIRST_DAY + datetime.timedelta(seconds=dice.randrange(ORDER_DAYS * 86400))
    skus = dice.sample(sorted(_GOODS), dice.choice((1, 1, 1, 2)))
    lines = [(sku, dice.choice((1, 1, 1, 2, 3))) for sku in skus]
    euro = world.chance(12)
    place = ("DE", "", 0, 0, False) if euro else dice.choices(_PLACES, [each[2] for each in _PLACES])[0]
    sale = Sale(order_id, at, "EUR" if euro else "USD", lines, place, 0, dice.choice((0, 550, 690)))
    if world.chance(20):
        sale.discount = sale.goods // 10
    world.sales[order_id] = sale


def plan_orders(world: World) -> None:
    """Give orders of the first weeks their plans; the others are untouched."""
    early = [sale for sale in world.sales.values() if sale.currency == "USD" and (sale.at - FIRST_DAY).days < PLAN_DAYS]
    world.dice.shuffle(early)
    regions = Counter(sale.place[1] for sale in world.sales.values())
    taxed = [sale for sale in early if sale.place[3] and regions[sale.place[1]] >= FEWEST_TAXED]
    for plan in PLANS:
        fitting = [each for each in (taxed if plan == "taxed oddly" else early) if not each.plan]
        if world.chance(65) and fitting:
            sale = fitting[0]
            sale.plan = plan
            world.faults.append(plan)
            if plan == "one payment for two":
                twin = min((each for each in early if not each.plan), key=lambda each: abs(each.at - sale.at))
                twin.plan = "paid with another"
    world.untouched = {sale.order_id for sale in early if not sale.plan}


def take_payment(world: World, sale: Sale) -> None:
    dice, source = world.dice, EURO if sale.currency == "EUR" else CARD
    known = {"order_ref": sale.order_id, "payment_ref": f"pay-{sale.order_id}", "_orders": (sale.order_id,)}
    at, amount = sale.at + datetime.timedelta(minutes=dice.randint(1, 20)), sale.total
    if sale.plan == "never paid":
        world.expect("order-without-payment", SHOP, sale.order_id, amount)
        return
    if sale.plan == "paid with another":
        return
    if sale.plan == "paid too little":
        amount -= dice.randint(100, 400)
        world.expect("payment-differs", SHOP, sale.order_id, sale.total - amount)
    elif sale.plan == "paid late":
        at += datetime.timedelta(days=dice.randint(11, 15))
    elif sale.plan == "one payment for two":
        twin = min(
            (each for each in world.sales.values() if each.plan == "paid with another"), key=lambda each: each.order_id
        )
        at, amount = max(at, twin.at + datetime.timedelta(minutes=3)), amount + twin.total
        known = {"_orders": (sale.order_id, twin.order_id)}
    charge = world.pay(source, "charge", at, amount, amount * 29 // 1000 + 30, **known)
    if sale.plan == "one payment for two":
        items = [Expected("order-without-payment", SHOP, each.order_id, each.total) for each in (sale, twin)]
        items.append(Expected("payment-without-order", CARD, charge["event_id"], amount))
        world.if_open.append(IfOpen(tuple((charge["event_id"], each) for each in charge["_orders"]), tuple(items)))
    if sale.plan == "paid, unknown to the shop":
        world.expect("payment-without-order", CARD, charge["event_id"], amount)
    whole = sale.plan in ("cancelled, yet charged", "cancelled and credited", "refunded before it shipped")
    if whole or (not sale.plan and world.chance(8)):
        back = amount if whole or world.chance(50) else dice.randint(1, amount)
        later = datetime.timedelta(hours=2) if whole else datetime.timedelta(days=dice.randint(9, 14))
        world.pay(source, "refund", at + later, -back, **known)


def run_wallet(world: World) -> None:
    """The partner's charges, and the credits for some; the wallet is topped up where it would run low."""
    dice, drafts = world.dice, list[tuple[datetime.datetime, str, Row]]()
    for sale in world.sales.values():
        if sale.plan == "never charged":
            world.expect("order-without-fulfilment", SHOP, sale.order_id)
            continue
        at = sale.at + datetime.timedelta(hours=dice.randint(2, 60))
        if sale.plan in ("cancelled, yet charged", "cancelled and credited", "refunded before it shipped"):
            at = sale.at + datetime.timedelta(hours=5)
        shipped = "" if sale.plan.startswith("cancelled") else (at + datetime.timedelta(days=2)).isoformat()
        rows = []
        for place, (sku, quantity) in enumerate(sale.lines):
            parts = {"production": _COSTS[sku] * quantity, "shipping": 0 if place else 479, "tax": 0}
            row = {"order_ref": sale.order_id, "reason": "order", "sku": sku, "quantity": quantity, **parts,
                   "total": sum(parts.values()), "ship_country": sale.place[0], "ship_region": sale.place[1],
                   "shipped_at": shipped, "_orders": (sale.order_id,)}  # fmt: skip
            rows.append(row)
        copies = 2 if sale.plan.startswith("charged twice") else 1
        drafts += [(at + datetime.timedelta(hours=copy), "charge", dict(row)) for copy in range(copies) for row in rows]
        drafts += _credits(world, sale, at, sum(row["total"] for row in rows))
    balance = 0
    for at, kind, row in sorted(drafts, key=lambda draft: (draft[0], draft[2].get("sku", ""))):
        if kind == "charge" and balance - row["total"] < 5000:
            amount = 100 * dice.choice((250, 300, 300, 400)) + (0 if world.chance(40) else dice.randint(1, 9900))
            world.event(WALLET, "top_up", at - datetime.timedelta(minutes=1), total=amount)
            balance += amount
        balance += row["total"] if kind == "credit" else -row["total"]
        event = world.event(WALLET, kind, at, **row)
        if kind == "charge" and world.sales[row["_orders"][0]].plan == "paid, unknown to the shop":
            world.expect("fulfilment-without-order", WALLET, event["event_id"], row["total"])


def _credits(world: World, sale: Sale, at: datetime.datetime, total: int) -> list[tuple[datetime.datetime, str, Row]]:
    """What the partner gives back, and what stays open of it."""
    back = {
        "charged twice, credited": total,
        "charged twice, credited in part": total - 150,
        "cancelled and credited": total,
    }
    given = back.get(sale.plan, 0)
    if sale.plan.startswith("charged twice") and given < total:
        world.expect("charged-twice", WALLET, sale.order_id, total - given)
    if sale.plan in ("cancelled, yet charged", "refunded before it shipped"):
        world.expect("charged-though-cancelled", WALLET, sale.order_id, total)
    row = {"order_ref": sale.order_id, "reason": "order", "total": given, "_orders": (sale.order_id,)}
    return [(at + datetime.timedelta(days=3), "credit", row)] if given else []


def line_key(row: Row) -> str:
    """What the books call a bank line that has no equal on its day."""
    return f"{str(row['at']).replace('-', '')}:{row['amount']}:1"


def list_orders(world: World) -> None:
    """The shop's export: an order line a row; the shop's clock makes no order without a shipping day but cancelled ones."""
    for sale in sorted(world.sales.values(), key=lambda each: each.at):
        if sale.plan == "paid, unknown to the shop":
            continue
        if sale.plan == "taxed oddly":
            world.expect("tax-rate-unusual", SHOP, sale.order_id)
        cancelled = sale.plan.startswith("cancelled")
        head = {
            "order_id": sale.order_id, "placed_at": sale.at.isoformat(), "currency": sale.currency,
            "order_discount": sale.discount, "shipping_charged": sale.shipping, "tax": sale.tax, "total": sale.total,
            "ship_country": sale.place[0], "ship_region": sale.place[1], "payment_ref": f"pay-{sale.order_id}",
            "cancelled_at": (sale.at + datetime.timedelta(hours=1)).isoformat() if cancelled else "",
            "shipped_at": "" if cancelled else (sale.at + datetime.timedelta(days=5)).isoformat(), "at": sale.at.isoformat(),
        }  # fmt: skip
        world.rows[SHOP] += [
            {**head, "sku": sku, "category": "Mugs", "quantity": quantity, "unit_price": _GOODS[sku]}
            for sku, quantity in sale.lines
        ]


def settings_of(world: World) -> str:
    """The settings of a world's books, with the balances that were stated."""
    stated = "".join(
        f'\n[[stated_balance]]\nsource = "{source}"\non = {day}\namount = "{format_amount(amount, currency)}"\n'
        f'currency = "{currency}"\n'
        for source, day, currency, amount in world.stated
    )
    return SETTINGS + stated
