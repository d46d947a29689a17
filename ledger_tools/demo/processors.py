"""Events on the balances that the two processors hold: charges, refunds, disputes, fees, reserve, payouts, conversion.

Third stage of the simulator. One table of columns, one element an event, sorted by moment. Signs as in the records:
`gross` and `net` change the balance, `fee` is positive where it costs; minor units of the balance's currency.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, replace

import numpy as np

from ledger_tools.demo.clock import HOUR, Whole, days_of, moment_of
from ledger_tools.demo.draft import day_number_of
from ledger_tools.demo.orders import END, Orders, Refunds, rate_of, story_column
from ledger_tools.demo.scenario import (
    CAD,
    CANADA_RATES,
    CARD,
    CARD_FEE,
    CARD_MONTHLY_FEE,
    CONVERSION_RATES,
    DAYS,
    DISPUTE_FEE,
    EUR,
    EURO,
    EURO_FEE,
    EURO_MONTHLY_FEE,
    MARKETPLACE,
    MARKETPLACE_FEE,
    MONTH_STARTS,
    RATE_SCALE,
    RESERVE,
    USD,
)
from ledger_tools.demo.stories import STORIES

KINDS = (
    "charge",
    "refund",
    "dispute",
    "dispute_won",
    "dispute_lost",
    "fee",
    "reserve_hold",
    "reserve_release",
    "tax_withheld",
    "conversion",
    "payout",
    "payout_returned",
)
KIND = {name: code for code, name in enumerate(KINDS)}
#: Events of a dispute: their fees are dispute fees.
DISPUTE_KINDS = ("dispute", "dispute_won", "dispute_lost")
NONE = -1
#: An order position that stands for the reference of an order that the shop does not know.
UNKNOWN_ORDER = -2
UNKNOWN_ORDER_NUMBER = 9_900_417
#: From so many orders on, payouts are daily instead of twice a week.
DAILY_PAYOUTS_FROM = 5000

_PAYMENT_WITHOUT_ORDER = ("2031-02-19", "13:24", 6137)
_RETURNED_PAYOUT_FROM = "2031-03-03"
_MISSING_PAYOUT_FROM = "2031-04-10"
_RESERVE_DAYS = ("2031-02-10", "2031-03-12")


@dataclass(frozen=True)
class ProcessorEvents:
    """Columns of all events of both processors.

    Attributes:
        source: position in SOURCES; `kind`: in KINDS; `at`: moment; `currency`: of the balance.
        available: day number on which the money can be paid out; NONE for payouts and conversions.
        order: position of the order, NONE or UNKNOWN_ORDER.
        payment: number of the payment or conversion, NONE where there is none.
        charged_currency, charged: what the customer paid, where it differs.
        payout: number of the payout that the event is or is part of, NONE where it is in none yet.
    """

    source: Whole
    kind: Whole
    at: Whole
    available: Whole
    order: Whole
    payment: Whole
    currency: Whole
    gross: Whole
    fee: Whole
    net: Whole
    charged_currency: Whole
    charged: Whole
    payout: Whole

    def pick(self, chosen: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] | Whole) -> ProcessorEvents:
        """The chosen events, in the order in which they are chosen."""
        return ProcessorEvents(**{field.name: getattr(self, field.name)[chosen] for field in fields(self)})

    def of_kind(self, *kinds: str) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """Which events are of the kinds."""
        return np.isin(self.kind, [KIND[kind] for kind in kinds])


@dataclass(frozen=True)
class SpecialPayouts:
    """Numbers of the card processor's payouts that do not go the common way."""

    returned: int
    missing: int


def _block(count: int, **columns: Whole | int) -> ProcessorEvents:
    whole: dict[str, Whole | int] = {"available": NONE, "order": NONE, "payment": NONE, "fee": 0, "payout": NONE}
    whole |= {"charged_currency": NONE, "charged": 0} | columns
    whole.setdefault("net", np.asarray(whole["gross"]) - np.asarray(whole["fee"]))
    return ProcessorEvents(
        **{name: np.broadcast_to(np.asarray(value, dtype=np.int64), (count,)) for name, value in whole.items()}
    )


def _join(blocks: list[ProcessorEvents]) -> ProcessorEvents:
    joined = {field.name: np.concatenate([getattr(b, field.name) for b in blocks]) for field in fields(ProcessorEvents)}
    order = np.argsort(joined["at"], kind="stable")
    return ProcessorEvents(**{name: values[order] for name, values in joined.items()})


def process_payments(orders: Orders, refunds: Refunds) -> tuple[ProcessorEvents, SpecialPayouts]:
    """All events of both processors up to the demo's end, and which payouts go astray."""
    charges, by_order = _charges(orders)
    blocks = [charges, *_refunded(orders, refunds, by_order), *_disputes(orders, by_order), *_single_events()]
    events = _join(blocks)
    events = events.pick(events.at < END)
    return _pay_out(events, daily=orders.draft.count >= DAILY_PAYOUTS_FROM)


def _charges(orders: Orders) -> tuple[ProcessorEvents, Whole]:
    """The charges, and the gross of each order's charge in its balance's currency."""
    draft = orders.draft
    due = orders.total - orders.gift_paid + story_column(draft, "payment_error")
    unpaid = np.array([0 if story.paid else 1 for story in STORIES])[draft.story] * (draft.story >= 0)
    order = np.flatnonzero((due > 0) & (unpaid == 0))
    charged, currency = due[order], orders.currency[order]
    month = np.searchsorted(np.array(MONTH_STARTS), orders.day[order], side="right") - 1
    gross = np.where(currency == CAD, rate_of(charged, np.array(CANADA_RATES)[month], RATE_SCALE), charged)
    on_euro, marketplace = currency == EUR, draft.channel[order] == MARKETPLACE
    fee_table = np.array([CARD_FEE, MARKETPLACE_FEE, EURO_FEE])[np.where(on_euro, 2, np.where(marketplace, 1, 0))]
    fee = rate_of(gross, fee_table[:, 0]) + fee_table[:, 1]
    at = draft.placed[order] + 20
    charges = _block(
        len(order),
        source=np.where(on_euro, EURO, CARD),
        kind=KIND["charge"],
        at=at,
        available=days_of(at) + 2,
        order=order,
        payment=order,
        currency=np.where(on_euro, EUR, USD),
        gross=gross,
        fee=fee,
        net=gross - fee + story_column(draft, "net_error")[order],
        charged_currency=np.where(currency == CAD, CAD, NONE),
        charged=np.where(currency == CAD, charged, 0),
    )
    by_order = np.zeros(draft.count, dtype=np.int64)
    by_order[order] = gross
    withheld = marketplace & (orders.tax[order] > 0)
    return _join([charges, _tax_withheld(order[withheld], at[withheld] + 1, -orders.tax[order][withheld])]), by_order


def _tax_withheld(order: Whole, at: Whole, gross: Whole) -> ProcessorEvents:
    return _block(
        len(order),
        source=CARD,
        kind=KIND["tax_withheld"],
        at=at,
        available=days_of(at) + 2,
        order=order,
        payment=order,
        currency=USD,
        gross=gross,
    )


def _refunded(orders: Orders, refunds: Refunds, charge_by_order: Whole) -> Iterator[ProcessorEvents]:
    moved = refunds.to_gift_card == 0
    order, at, amount = refunds.order[moved], refunds.at[moved], refunds.amount[moved]
    currency = orders.currency[order]
    # Refunded at the rate that the order settled at, so that a full refund gives the whole gross back.
    charged = np.maximum(orders.total[order] - orders.gift_paid[order], 1)
    gross = np.where(currency == CAD, rate_of(amount, charge_by_order[order], charged), amount)
    fee_back = np.where(refunds.fee_back[moved] > 0, rate_of(gross, CARD_FEE[0]) + CARD_FEE[1], 0)
    on_euro = currency == EUR
    yield _block(
        len(order),
        source=np.where(on_euro, EURO, CARD),
        kind=KIND["refund"],
        at=at,
        available=days_of(at) + 1,
        order=order,
        payment=order,
        currency=np.where(on_euro, EUR, USD),
        gross=-gross,
        fee=-fee_back,
        charged_currency=np.where(currency == CAD, CAD, NONE),
        charged=np.where(currency == CAD, -amount, 0),
    )
    marketplace = (orders.draft.channel[order] == MARKETPLACE) & (refunds.tax[moved] > 0)
    yield _tax_withheld(order[marketplace], at[marketplace] + 1, refunds.tax[moved][marketplace])


def _disputes(orders: Orders, charge_by_order: Whole) -> Iterator[ProcessorEvents]:
    draft = orders.draft
    for place in np.flatnonzero(draft.story >= 0).tolist():
        dispute = STORIES[draft.story[place]].dispute
        if dispute is None:
            continue
        amount, placed = int(charge_by_order[place]), int(draft.placed[place])
        steps = [("dispute", dispute.after, -amount, DISPUTE_FEE)]
        if dispute.outcome == "won":
            steps.append(("dispute_won", dispute.decided_after, amount, -DISPUTE_FEE))
        elif dispute.outcome == "lost":
            steps.append(("dispute_lost", dispute.decided_after, 0, 0))
        for kind, after, gross, fee in steps:
            at = np.array([placed + after * HOUR], dtype=np.int64)
            yield _block(
                1, source=CARD, kind=KIND[kind], at=at, available=days_of(at) + 1, order=place, payment=place,
                currency=USD, gross=gross, fee=fee,
            )  # fmt: skip


def _single_events() -> Iterator[ProcessorEvents]:
    """Fees of the month, the reserve, and the payment that belongs to no order."""
    for start in MONTH_STARTS[1:4]:
        # One processor shows a fee as a negative gross, the other in the fee column.
        yield _block(1, source=CARD, kind=KIND["fee"], at=moment_of(start, "09:00"), available=start + 1, currency=USD,
                     gross=-CARD_MONTHLY_FEE)  # fmt: skip
        yield _block(1, source=EURO, kind=KIND["fee"], at=moment_of(start, "09:00"), available=start + 1, currency=EUR,
                     gross=0, fee=EURO_MONTHLY_FEE)  # fmt: skip
    for kind, text, gross in zip(("reserve_hold", "reserve_release"), _RESERVE_DAYS, (-RESERVE, RESERVE), strict=True):
        day = day_number_of(text)
        yield _block(1, source=CARD, kind=KIND[kind], at=moment_of(day, "12:00"), available=day + 1, currency=USD,
                     gross=gross)  # fmt: skip
    text, clock, gross = _PAYMENT_WITHOUT_ORDER
    day = day_number_of(text)
    fee = int(rate_of(np.int64(gross), CARD_FEE[0])) + CARD_FEE[1]  # type: ignore[arg-type]
    yield _block(1, source=CARD, kind=KIND["charge"], at=moment_of(day, clock), available=day + 2, order=UNKNOWN_ORDER,
                 payment=UNKNOWN_ORDER, currency=USD, gross=gross, fee=fee)  # fmt: skip


def _pay_out(events: ProcessorEvents, daily: bool) -> tuple[ProcessorEvents, SpecialPayouts]:
    """Add payouts, the returned one among them, and the conversions; number the payouts."""
    days = np.array([day for day in range(DAYS) if daily or day % 7 in (1, 5)])  # Thursdays and Mondays
    on_card = np.flatnonzero(events.source == CARD)
    batch = np.searchsorted(days, events.available[on_card])
    sums = np.zeros(len(days) + 1, dtype=np.int64)
    np.add.at(sums, batch, events.net[on_card])
    number_of_batch = np.full(len(days) + 1, NONE, dtype=np.int64)
    blocks: list[ProcessorEvents] = []
    number, carried, waiting = 0, 0, []
    special: dict[str, int] = {}
    for position, day in enumerate(days.tolist()):
        waiting.append(position)
        amount = carried + int(sums[position])
        if amount <= 0:
            carried = amount
            continue
        number_of_batch[waiting] = number
        at = moment_of(day, "10:00")
        blocks.append(_block(1, source=CARD, kind=KIND["payout"], at=at, currency=USD, gross=-amount, payout=number))
        if "returned" not in special and day >= day_number_of(_RETURNED_PAYOUT_FROM):
            special["returned"] = number
            back = day + 3
            blocks.append(_block(1, source=CARD, kind=KIND["payout_returned"], at=moment_of(back, "11:30"),
                                 available=back + 1, currency=USD, gross=amount, payout=number))  # fmt: skip
            sums[np.searchsorted(days, back + 1)] += amount
        elif "missing" not in special and day >= day_number_of(_MISSING_PAYOUT_FROM):
            special["missing"] = number
        number, carried, waiting = number + 1, 0, []
    payout = events.payout.copy()
    payout[on_card] = number_of_batch[batch]
    whole = _join([replace(events, payout=payout), *blocks, *_convert(events)])
    return whole, SpecialPayouts(special["returned"], special["missing"])


def _convert(events: ProcessorEvents) -> Iterator[ProcessorEvents]:
    """On the evening of each month's last day all euros become dollars, which are paid out at once."""
    on_euro = events.source == EURO
    converted = 0
    for month, rate in enumerate(CONVERSION_RATES):
        moment = moment_of(MONTH_STARTS[month + 1] - 1, "20:00")
        balance = int(events.net[on_euro & (events.at < moment)].sum()) - converted
        bought = int(rate_of(np.int64(balance), rate, RATE_SCALE))  # type: ignore[arg-type]
        converted += balance
        for currency, gross in ((EUR, -balance), (USD, bought)):
            yield _block(1, source=EURO, kind=KIND["conversion"], at=moment, currency=currency, gross=gross,
                         payment=-10 - month)  # fmt: skip
        yield _block(1, source=EURO, kind=KIND["payout"], at=moment + HOUR, currency=USD, gross=-bought, payout=month)
