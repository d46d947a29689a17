"""Who orders what, when and where: drawn by chance for the bulk, told by the stories for the named orders.

First stage of the simulator; nothing here is money yet, apart from tips. Arrays have one element an order, sorted by
the moment it was placed; the stories stand among the bulk. Delays are seconds, -1 where the thing never happens.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, fields

import numpy as np

from ledger_tools.demo.chance import Dice
from ledger_tools.demo.clock import HOUR, Whole, days_of, moment_of, moments_of
from ledger_tools.demo.scenario import (
    DAYS,
    GIFT_SKUS,
    GOODS,
    MADE_GOODS,
    MARKETPLACE,
    MARKETPLACE_PLACES,
    NOWHERE,
    ORDER_CAMPAIGN,
    PLACE,
    PLACES,
    SKU,
    USD,
    VIRAL_DAY,
    VIRAL_WEIGHT,
    WEB,
    day_number,
)
from ledger_tools.demo.stories import ALL, AMOUNT, SHARE, STORIES

NEVER = -1
#: `refund_part` of an order whose money is not given back by chance.
NO_REFUND = -1

#: An order's name in the shop's export: clearly invented, and never to reach the books.
FIRST_NAMES = ("Astra", "Borealis", "Comet", "Dusk", "Ember", "Fathom", "Gibbous", "Halo", "Indigo", "Juniper")
LAST_NAMES = ("Quillfeather", "Nightjar", "Starling", "Moonraker", "Farsight", "Dewdrop", "Lampwick", "Skylark")

_GIFT_CARD_ASKED = 2500
_BULK_SHARE = 4000
_GOODWILL = 500


@dataclass(frozen=True)
class Draft:
    """Orders before any amount is known.

    Attributes:
        placed: moment; `place` and `channel`: positions in the scenario's tables; `name`: number of an invented name.
        discount_rate: of the whole order, basis points.
        gift_asked: the most that the customer pays by gift card.
        charged_after, shipped_after, cancelled_after, refund_after: seconds after `placed`.
        refund_part, refund_size: as in the stories; drawn for the bulk only.
        story: position in STORIES; -1 for the bulk.
        line_order, line_sku, line_quantity: the lines of all orders, sorted by order.
    """

    placed: Whole
    place: Whole
    channel: Whole
    name: Whole
    tip: Whole
    discount_rate: Whole
    free_shipping: Whole
    gift_asked: Whole
    charged_after: Whole
    shipped_after: Whole
    cancelled_after: Whole
    refund_after: Whole
    refund_part: Whole
    refund_size: Whole
    story: Whole
    line_order: Whole
    line_sku: Whole
    line_quantity: Whole

    @property
    def count(self) -> int:
        """Number of orders."""
        return len(self.placed)

    def positions(self) -> dict[str, int]:
        """Name of each story and the position of its order."""
        return {STORIES[self.story[place]].name: int(place) for place in np.flatnonzero(self.story >= 0)}


def draw_orders(count: int, seed: int) -> Draft:
    """So many orders over the demo's four months, stories included."""
    dice = Dice(seed)
    bulk = _draw_bulk(dice, count - len(STORIES))
    told = _tell_stories(count - len(STORIES))
    joined = {field.name: np.concatenate([bulk[field.name], told[field.name]]) for field in fields(Draft)}
    return _sorted(joined)


def _sorted(columns: dict[str, Whole]) -> Draft:
    order = np.argsort(columns["placed"], kind="stable")
    rank = np.empty_like(order)
    rank[order] = np.arange(len(order))
    line_order = rank[columns["line_order"]]
    by_order = np.argsort(line_order, kind="stable")
    of_lines = {
        "line_order": line_order[by_order],
        "line_sku": columns["line_sku"][by_order],
        "line_quantity": columns["line_quantity"][by_order],
    }
    return Draft(**{name: of_lines[name] if name in of_lines else values[order] for name, values in columns.items()})


def _draw_moments(dice: Dice, count: int) -> Whole:
    weights = [VIRAL_WEIGHT if day == day_number(VIRAL_DAY) else 1 for day in range(DAYS)]
    days = np.concatenate([np.arange(DAYS, dtype=np.int64), dice.weighted(count - DAYS, weights)])
    return moments_of(days, 7 * HOUR + dice.below(count, 16 * HOUR))


def _draw_bulk(dice: Dice, count: int) -> dict[str, Whole]:
    placed = _draw_moments(dice, count)
    place = dice.weighted(count, [entry.weight for entry in PLACES])
    taxed_here = np.isin(place, MARKETPLACE_PLACES)
    channel = np.where(taxed_here & dice.percent(count, 25), MARKETPLACE, WEB)
    in_dollars = np.array([entry.currency == USD for entry in PLACES])[place]
    is_gift = in_dollars & (channel == WEB) & dice.percent(count, 3)
    place = np.where(is_gift, NOWHERE, place)
    common = (channel == WEB) & ~is_gift
    days = days_of(placed)
    first, last, campaign_rate = ORDER_CAMPAIGN
    in_campaign = common & (days >= day_number(first)) & (days <= day_number(last)) & dice.percent(count, 60)
    # Cards are sold in January before any is used.
    uses_gift = common & in_dollars & ~in_campaign & (days >= 45) & dice.percent(count, 2)
    refunded = common & ~uses_gift & dice.percent(count, 4)
    part = np.array([ALL, SHARE, SHARE, AMOUNT])[dice.below(count, 4)]
    size = np.array([0, _BULK_SHARE, _GOODWILL])[part]
    charged = HOUR + dice.below(count, 35 * HOUR)
    shipped = charged + 20 * HOUR + dice.below(count, 55 * HOUR)
    tips = np.array([100, 200, 200, 300, 500])[dice.below(count, 5)]
    return {
        "placed": placed,
        "place": place,
        "channel": channel,
        "name": dice.below(count, len(FIRST_NAMES) * len(LAST_NAMES)),
        "tip": np.where(common & dice.percent(count, 6), tips, 0),
        "discount_rate": np.where(in_campaign, campaign_rate, 0),
        "free_shipping": np.zeros(count, dtype=np.int64),
        "gift_asked": np.where(uses_gift, _GIFT_CARD_ASKED, 0),
        "charged_after": np.where(is_gift, NEVER, charged),
        "shipped_after": np.where(is_gift, NEVER, shipped),
        "cancelled_after": np.full(count, NEVER, dtype=np.int64),
        "refund_after": np.where(refunded, 150 * HOUR + dice.below(count, 150 * HOUR), NEVER),
        "refund_part": np.where(refunded, part, NO_REFUND),
        "refund_size": np.where(refunded, size, 0),
        "story": np.full(count, -1, dtype=np.int64),
        **_draw_lines(dice, is_gift),
    }


def _draw_lines(dice: Dice, is_gift: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> dict[str, Whole]:
    """One to three lines an order, no variant twice in an order; a gift card comes alone."""
    count = len(is_gift)
    line_counts = np.where(is_gift, 1, 1 + dice.weighted(count, (60, 28, 12)))
    first = dice.weighted(count, [good.weight for good in GOODS[:MADE_GOODS]])
    # The two steps together stay below the number of goods, so no variant comes round again.
    second = (first + 1 + dice.below(count, MADE_GOODS // 2)) % MADE_GOODS
    third = (second + 1 + dice.below(count, MADE_GOODS // 2 - 1)) % MADE_GOODS
    gift = np.array(GIFT_SKUS)[dice.below(count, len(GIFT_SKUS))]
    choices = np.stack([np.where(is_gift, gift, first), second, third], axis=1)
    kept = np.arange(3) < line_counts[:, None]
    line_order = np.repeat(np.arange(count, dtype=np.int64), line_counts)
    quantity = 1 + dice.weighted(len(line_order), (82, 14, 4))
    return {
        "line_order": line_order,
        "line_sku": choices[kept].astype(np.int64),
        "line_quantity": np.where(is_gift[line_order], 1, quantity),
    }


def _tell_stories(first_position: int) -> dict[str, Whole]:
    def column(values: list[int]) -> Whole:
        return np.array(values, dtype=np.int64)

    def delay(hours: int | None) -> int:
        return NEVER if hours is None else hours * HOUR

    lines = [(first_position + place, line) for place, story in enumerate(STORIES) for line in story.lines]
    count = len(STORIES)
    return {
        "placed": column([moment_of(day_number_of(story.day), story.clock) for story in STORIES]),
        "place": column([PLACE.get(story.place, NOWHERE) for story in STORIES]),
        "channel": column([MARKETPLACE if story.marketplace else WEB for story in STORIES]),
        "name": column([place % (len(FIRST_NAMES) * len(LAST_NAMES)) for place in range(count)]),
        "tip": column([story.tip for story in STORIES]),
        "discount_rate": column([story.order_discount for story in STORIES]),
        "free_shipping": column([int(story.free_shipping) for story in STORIES]),
        "gift_asked": column([story.gift_paid for story in STORIES]),
        "charged_after": column([delay(story.charged_after) for story in STORIES]),
        "shipped_after": column([delay(story.shipped_after) for story in STORIES]),
        "cancelled_after": column([delay(story.cancelled_after) for story in STORIES]),
        "refund_after": np.full(count, NEVER, dtype=np.int64),
        "refund_part": np.full(count, NO_REFUND, dtype=np.int64),
        "refund_size": np.zeros(count, dtype=np.int64),
        "story": np.arange(count, dtype=np.int64),
        "line_order": column([position for position, _ in lines]),
        "line_sku": column([SKU[sku] for _, (sku, _) in lines]),
        "line_quantity": column([quantity for _, (_, quantity) in lines]),
    }


def day_number_of(text: str) -> int:
    """Day number of an ISO 8601 date."""
    return day_number(datetime.date.fromisoformat(text))
