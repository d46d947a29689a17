"""Events on the prepaid wallet at the fulfilment partner: charges by line, reprints, credits, fees and top-ups.

Fourth stage of the simulator. One table of columns, one element an event, sorted by moment; amounts are positive
cents (USD), the kind gives the direction. The wallet is topped up each morning as far as two days ahead need it, so
that its balance never falls below zero.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields

import numpy as np

from ledger_tools.demo.clock import DAY, HOUR, Whole, days_of, moment_of
from ledger_tools.demo.draft import NEVER, day_number_of
from ledger_tools.demo.orders import END, Flags, Orders, rate_of, story_column
from ledger_tools.demo.scenario import (
    DAYS,
    GOODS,
    MADE_GOODS,
    MONTH_STARTS,
    PARTNER_DISCOUNT,
    PARTNER_SHIPPING,
    PLACES,
    SKU,
    day_number,
)
from ledger_tools.demo.stories import STORIES

KINDS = ("charge", "credit", "top_up", "fee")
KIND = {name: code for code, name in enumerate(KINDS)}
REASONS = ("", "order", "reprint", "sample", "artwork_setup", "storage", "subscription")
REASON = {name: code for code, name in enumerate(REASONS)}
NONE = -1
UNKNOWN_ORDER = -2
UNKNOWN_ORDER_NUMBER = 9_900_882

_MISSING_TOP_UP_FROM = "2031-02-18"
#: A morning's top-up brings the wallet to what two days need, twice over, and this.
_CUSHION = 15_000
#: Fees: kind, reason, day, clock, amount; storage and subscription come every month.
_FEES = (
    ("charge", "sample", "2031-01-02", "14:10", 2431),
    ("fee", "artwork_setup", "2031-01-02", "14:12", 1500),
    ("charge", "sample", "2031-03-05", "09:44", 1874),
    ("fee", "artwork_setup", "2031-04-07", "16:05", 1200),
)
_SUBSCRIPTION, _STORAGE = 2450, (310, 345, 415, 385)


@dataclass(frozen=True)
class WalletEvents:
    """Columns of all events of the wallet.

    Attributes:
        kind, reason: positions in KINDS and REASONS; `at`: moment; `shipped`: moment or NEVER.
        order: position of the order, NONE or UNKNOWN_ORDER; `part`: number of the shipment, 0 where there is one.
        sku: position in GOODS or NONE; `place`: in PLACES, 0 where nothing is shipped.
        production, shipping, discount, tax, total: positive cents.
    """

    kind: Whole
    reason: Whole
    at: Whole
    order: Whole
    part: Whole
    sku: Whole
    quantity: Whole
    production: Whole
    shipping: Whole
    discount: Whole
    tax: Whole
    total: Whole
    place: Whole
    shipped: Whole

    def pick(self, chosen: Flags | Whole) -> WalletEvents:
        """The chosen events, in the order in which they are chosen."""
        return WalletEvents(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})

    @property
    def change(self) -> Whole:
        """Change of the balance, signed."""
        return np.where(np.isin(self.kind, [KIND["top_up"], KIND["credit"]]), self.total, -self.total)

    def is_a(self, kind: str) -> Flags:
        """Which events are of the kind."""
        return np.equal(self.kind, KIND[kind])


def _block(count: int, **columns: Whole | int) -> WalletEvents:
    whole: dict[str, Whole | int] = {"order": NONE, "part": 0, "sku": NONE, "quantity": 0, "place": 0, "shipped": NEVER}
    whole |= {"reason": 0, "production": 0, "shipping": 0, "discount": 0, "tax": 0} | columns
    return WalletEvents(
        **{name: np.broadcast_to(np.asarray(value, dtype=np.int64), (count,)) for name, value in whole.items()}
    )


def _join(blocks: list[WalletEvents]) -> WalletEvents:
    joined = {field.name: np.concatenate([getattr(b, field.name) for b in blocks]) for field in fields(WalletEvents)}
    order = np.argsort(joined["at"], kind="stable")
    return WalletEvents(**{name: values[order] for name, values in joined.items()})


def run_wallet(orders: Orders) -> tuple[WalletEvents, int]:
    """All events of the wallet up to the demo's end, and which top-up (0 = the first) the bank never saw."""
    charges = _order_charges(orders)
    events = _join([charges, *_told_charges(orders, charges), *_fees()])
    events = events.pick(events.at < END)
    top_ups = _top_ups(events)
    days = days_of(top_ups.at)
    missing = int(np.searchsorted(days, day_number_of(_MISSING_TOP_UP_FROM)))
    return _join([top_ups, events]), missing


def _partner_shipping(orders: Orders, made: Whole, zone: Whole) -> Whole:
    """Shipping of each line made: the first piece of the first line at the first rate, others at the additional."""
    draft = orders.draft
    table = np.array([PARTNER_SHIPPING[good.category] for good in GOODS])
    rates = table[draft.line_sku[made], zone]
    line_order = draft.line_order[made]
    first = np.concatenate([[True], line_order[1:] != line_order[:-1]])
    split = story_column(draft, "split_shipments")[line_order] > 0
    quantity = draft.line_quantity[made]
    return np.where(first | split, rates[:, 0] + rates[:, 1] * (quantity - 1), rates[:, 1] * quantity)


def _order_charges(orders: Orders) -> WalletEvents:
    draft = orders.draft
    made = np.flatnonzero((draft.line_sku < MADE_GOODS) & (draft.charged_after[draft.line_order] != NEVER))
    order, sku, quantity = draft.line_order[made], draft.line_sku[made], draft.line_quantity[made]
    place = draft.place[order]
    zone = np.array([entry.zone for entry in PLACES])[place]
    at = draft.placed[order] + draft.charged_after[order]
    production = np.array([good.production for good in GOODS])[sku] * quantity
    first_day, last_day, rate = PARTNER_DISCOUNT
    day = days_of(at)
    discounted = (day >= day_number(first_day)) & (day <= day_number(last_day))
    discount = np.where(discounted, rate_of(production, rate), 0)
    supplier_tax = np.array([entry.supplier_tax for entry in PLACES])[place]
    tax = rate_of(production - discount, supplier_tax)
    shipping = _partner_shipping(orders, made, zone)
    starts = np.searchsorted(order, order)
    line_number = np.arange(len(order)) - starts
    split = story_column(draft, "split_shipments")[order] > 0
    error = np.where(line_number == 0, story_column(draft, "partner_error")[order], 0)
    shipping = shipping + np.where(line_number == 0, story_column(draft, "shipping_overcharge")[order], 0)
    shipped_after = draft.shipped_after[order] + np.where(split, line_number * 8 * HOUR, 0)
    shipped = np.where(draft.shipped_after[order] == NEVER, NEVER, draft.placed[order] + shipped_after)
    return _block(
        len(made),
        kind=KIND["charge"],
        reason=REASON["order"],
        at=at + line_number,
        order=order,
        part=np.where(split, line_number + 1, 0),
        sku=sku,
        quantity=quantity,
        production=production,
        shipping=shipping,
        discount=discount,
        tax=tax,
        total=production + shipping + tax - discount + error,
        place=place,
        shipped=np.where(shipped < END, shipped, NEVER),
    )


def _told_charges(orders: Orders, charges: WalletEvents) -> Iterator[WalletEvents]:
    """Second charges, credits and reprints of the stories, and the charge of an order that nobody knows."""
    draft = orders.draft
    for place in np.flatnonzero(draft.story >= 0).tolist():
        story, placed = STORIES[draft.story[place]], int(draft.placed[place])
        if story.fulfilment_copies == 1 and story.credited_after is None and story.reprint is None:
            continue
        of_order = charges.pick(charges.order == place)
        if story.fulfilment_copies == 2:
            yield _changed(of_order, at=of_order.at + 9 * HOUR)
        if story.credited_after is not None:
            yield _changed(of_order, kind=KIND["credit"], at=placed + story.credited_after * HOUR, shipped=NEVER)
        if story.reprint is not None:
            at = placed + story.reprint.after * HOUR
            again = _changed(of_order, reason=REASON["reprint"], at=at, shipped=at + 2 * DAY)
            yield again
            if story.reprint.credited_after is not None:
                at = placed + story.reprint.credited_after * HOUR
                yield _changed(again, kind=KIND["credit"], at=at, shipped=NEVER)
    stray = charges.pick(np.flatnonzero(charges.sku == SKU["TOTE-CRESCENT"])[:1])
    at = moment_of(day_number_of("2031-03-22"), "15:15")
    yield _changed(stray, at=at, order=UNKNOWN_ORDER, part=0, shipped=at + DAY, place=4, tax=0, discount=0,
                   quantity=2, production=1646, shipping=654, total=2300)  # fmt: skip


def _changed(block: WalletEvents, **columns: Whole | int) -> WalletEvents:
    count = len(block.at)
    return _block(count, **({field.name: getattr(block, field.name) for field in fields(block)} | columns))


def _fees() -> Iterator[WalletEvents]:
    monthly = [("fee", "subscription", start, "08:00", _SUBSCRIPTION) for start in MONTH_STARTS[:4]]
    monthly += [
        ("fee", "storage", start - 1, "21:00", amount) for start, amount in zip(MONTH_STARTS[1:], _STORAGE, strict=True)
    ]
    single = [(kind, reason, day_number_of(text), clock, amount) for kind, reason, text, clock, amount in _FEES]
    for kind, reason, day, clock, amount in monthly + single:
        yield _block(1, kind=KIND[kind], reason=REASON[reason], at=moment_of(day, clock), total=amount)


def _top_ups(events: WalletEvents) -> WalletEvents:
    spent = np.zeros(DAYS + 1, dtype=np.int64)
    np.add.at(spent, days_of(events.at), np.where(events.is_a("credit"), 0, events.total))
    balance, moments, amounts = 0, [], []
    for day in range(DAYS):
        need = int(spent[day] + spent[day + 1])
        if balance < need + _CUSHION // 3:
            # An odd number of cents, as "fill up to" gives it; what the last days brought in stays in the wallet.
            amount = 2 * need + _CUSHION - balance
            moments.append(moment_of(day, "06:00"))
            amounts.append(amount)
            balance += amount
        balance -= int(spent[day])
    return _block(
        len(moments),
        kind=KIND["top_up"],
        at=np.array(moments, dtype=np.int64),
        total=np.array(amounts, dtype=np.int64),
    )
