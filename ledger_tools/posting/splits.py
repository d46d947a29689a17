"""How a refund is split over what an order still holds, and a wallet credit over what was charged: plain arithmetic.

Amounts are non-negative minor units of one currency. Splits use the largest-remainder method, so parts sum to the
whole; ties go to the earlier part (items, shipping, tip, tax, gift cards).
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from ledger_tools.money import allocate

Parts = tuple[int, int, int, int, int]


@dataclass(frozen=True)
class RefundSplit:
    """One refund's parts.

    Attributes:
        parts: items, shipping, tip, tax, gift cards.
        excess: what is more than the order still held.
        estimated: the parts are pro rata, not the shop's own.
    """

    parts: Parts
    excess: int
    estimated: bool


def _minus(left: Sequence[int], right: Sequence[int]) -> Parts:
    a, b, c, d, e = (one - other for one, other in zip(left, right, strict=True))
    return (a, b, c, d, e)


def _shared_out(amount: int, held: Parts) -> Parts:
    """Part of an amount for each part held, pro rata; the amount is at most what is held."""
    a, b, c, d, e = allocate(amount, held)
    return (a, b, c, d, e)


def _count_covered(refunds: Sequence[int], stated: Parts) -> int:
    """How many of the refunds, earliest first, the shop's own split sums to."""
    covered = 0
    if sum(stated) and all(part >= 0 for part in stated):
        for place, running in enumerate(itertools.accumulate(refunds), start=1):
            if running == sum(stated):
                covered = place
    return covered


def give_back_overpaid(refunds: Sequence[int], overpaid: int, due: int, stated: Parts) -> list[int]:
    """How much of each refund gives back what was paid beyond the order's total; the rest returns goods, shipping, tax.

    A refund of exactly what was overpaid is taken for that, wherever it stands; else the earliest give it back, but for
    one of all that was due, which is a return. What the shop's own split sums to are returns. Common practice: no
    export says what a refund is for, and so tax is never given back on money that was not the price of anything.

    Args:
        refunds: amounts refunded, earliest first.
        overpaid: what all payments are more than what was due, at least 0.
        due: the order's total less gift card.
        stated: the shop's own cumulative split, all zero where it gives none.
    """
    back = [0] * len(refunds)
    free = range(_count_covered(refunds, stated), len(refunds))
    exact = [place for place in free if refunds[place] == overpaid]
    for place in exact[:1] or [place for place in free if refunds[place] != due]:
        back[place] = min(overpaid - sum(back), refunds[place])
    return back


def split_refunds(held: Parts, refunds: Sequence[int], stated: Parts) -> list[RefundSplit]:
    """Split the refunds of one order, in the order in which they happened.

    Args:
        held: what the order was worth, part by part.
        refunds: amounts refunded, earliest first; a refund as gift-card value comes last.
        stated: the shop's own cumulative split, all zero where it gives none. It is used for the refunds that it sums
            to (all of them, or the earliest ones), else everything is pro rata.
    """
    covered = _count_covered(refunds, stated)
    remaining = held
    still_stated = stated
    splits = []
    for place, amount in enumerate(refunds):
        if place < covered:
            parts = _shared_out(amount, still_stated)
            still_stated = _minus(still_stated, parts)
            excess, estimated = 0, False
        else:
            possible = min(amount, sum(remaining))
            parts = _shared_out(possible, remaining)
            excess = amount - possible
            estimated = 0 < possible < sum(remaining) and sum(1 for part in remaining if part) > 1
        after = _minus(remaining, parts)
        remaining = (max(after[0], 0), max(after[1], 0), max(after[2], 0), max(after[3], 0), max(after[4], 0))
        splits.append(RefundSplit(parts, excess, estimated))
    return splits


@dataclass(frozen=True)
class Credit:
    """A wallet credit.

    Attributes:
        total: what came back, its parts summed where it states them.
        stated: its own production, shipping and tax, all zero where it states none.
        by_reason: it names a reason that has an account of its own.
    """

    total: int
    stated: Sequence[int]
    by_reason: bool


@dataclass(frozen=True)
class CreditSplit:
    """What a credit gives back: of production, shipping and tax, of charges by reason, and of nothing that is known."""

    parts: tuple[int, int, int] = (0, 0, 0)
    by_reason: int = 0
    unknown: int = 0


def split_credits(charged: Sequence[int], charged_by_reason: int, credits: Sequence[Credit]) -> list[CreditSplit]:
    """Split the wallet credits of one order over what it was charged, whenever that was; together they give back no more.

    Args:
        charged: production, shipping and tax of all its charges.
        charged_by_reason: what was charged for other reasons, such as reprints. What a credit is more than the
            production, shipping and tax that earlier ones left is of these.
        credits: the earliest first.
    """
    made = sum(charged)
    left = made + charged_by_reason
    splits = []
    for credit in credits:
        known = min(credit.total, max(left, 0))
        left -= known
        of_made = 0 if credit.by_reason else min(known, max(made, 0))
        made -= of_made
        splits.append(CreditSplit(_credited(of_made, credit.stated, charged), known - of_made, credit.total - known))
    return splits


def split_loose_credit(credit: Credit) -> CreditSplit:
    """Split a wallet credit that names no known order: by its reason, else by its own parts; else nothing says how."""
    if credit.by_reason:
        return CreditSplit(by_reason=credit.total)
    if not _is_split(credit.stated):
        return CreditSplit(unknown=credit.total)
    return CreditSplit(_credited(credit.total, credit.stated, credit.stated))


def _is_split(stated: Sequence[int]) -> bool:
    return any(stated) and all(part >= 0 for part in stated)


def _credited(amount: int, stated: Sequence[int], charged: Sequence[int]) -> tuple[int, int, int]:
    """An amount by a credit's own split where it has one, else in the proportions of what was charged."""
    if not amount:
        return (0, 0, 0)
    production, shipping, tax = allocate(amount, stated if _is_split(stated) else [max(part, 0) for part in charged])
    return (production, shipping, tax)
