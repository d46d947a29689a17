"""What each order comes to: discounts, shipping, tax, total, and the parts that a refund gives back.

Second stage of the simulator: amounts from the draft, by plain array arithmetic. Units: minor units of the order's
currency, one element an order (or a line, or a refund). Every rounding is half up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger_tools.demo.clock import HOUR, Whole, days_of, moment_of
from ledger_tools.demo.draft import NEVER, NO_REFUND, Draft
from ledger_tools.demo.scenario import (
    CATEGORIES,
    DAYS,
    EUR,
    FREE_SHIPPING_FROM,
    GOODS,
    MADE_GOODS,
    MONTH_STARTS,
    PLACES,
    SHIPPING_PRICES,
    SHIRT_CAMPAIGN,
    WEB,
    day_number,
)
from ledger_tools.demo.stories import ALL, AMOUNT, SHARE, STORIES
from ledger_tools.money import allocate

Flags = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]

#: The moment at which the demo ends: nothing that happens from then on is in any export.
END = moment_of(DAYS)
#: When each month's exports were made: on the sixth of the next month, the last ones right at the end.
EXPORTED = (*(moment_of(MONTH_STARTS[month] + 5) for month in (1, 2, 3)), END)
#: The shop's second export reaches back to this day and so repeats the last days of January.
OVERLAP_FROM = 24
#: Parts of an order that a refund gives back, in the order in which it is spread.
PARTS = ("items", "shipping", "tip", "tax")


@dataclass(frozen=True)
class Orders:
    """The amounts of all orders.

    Attributes:
        goods: quantity x price of what is made, without gift cards; `gift_cards`: of the gift cards sold.
        line_discount, order_discount: positive.
        shipping, tip, tax: as the customer paid them; `inclusive`: goods and shipping contain the tax.
        tax_in_items, tax_in_shipping: the parts of an included tax, zero where tax is added.
        total: as the shop states it; `gift_paid`: the part paid by gift card.
        shipped, cancelled: moments, NEVER where it did not happen by the end.
        last_export: the month whose file is the last to hold the order.
    """

    draft: Draft
    day: Whole
    currency: Whole
    line_price: Whole
    line_discount_by_line: Whole
    goods: Whole
    gift_cards: Whole
    line_discount: Whole
    order_discount: Whole
    shipping: Whole
    tip: Whole
    tax: Whole
    inclusive: Flags
    tax_in_items: Whole
    tax_in_shipping: Whole
    total: Whole
    gift_paid: Whole
    shipped: Whole
    cancelled: Whole
    last_export: Whole

    @property
    def items_net(self) -> Whole:
        """Goods after discounts, without tax and gift cards: what a refund of items can give back."""
        return self.goods - self.line_discount - self.order_discount - self.tax_in_items

    @property
    def shipping_net(self) -> Whole:
        """Shipping charged, without tax."""
        return self.shipping - self.tax_in_shipping


def rate_of(amounts: Whole, basis_points: Whole | int, whole: Whole | int = 10_000) -> Whole:
    """Amounts that are not negative, times basis points over a whole, each rounded half up."""
    return (2 * amounts * basis_points + whole) // (2 * whole)


def sum_by_order(draft: Draft, values: Whole) -> Whole:
    """Sums of the lines of each order; every order has a line."""
    starts = np.searchsorted(draft.line_order, np.arange(draft.count))
    return np.add.reduceat(values, starts)


def story_column(draft: Draft, name: str) -> Whole:
    """A whole number that stories state, for all orders; zero for the bulk."""
    values = np.zeros(draft.count, dtype=np.int64)
    told = np.flatnonzero(draft.story >= 0)
    values[told] = [int(getattr(STORIES[draft.story[place]], name)) for place in told]
    return values


def _shipping_charged(draft: Draft, net_goods: Whole, currency: Whole) -> Whole:
    made = draft.line_sku < MADE_GOODS
    ships_free = np.array([good.ships_free for good in GOODS])[draft.line_sku]
    pieces = sum_by_order(draft, np.where(made, draft.line_quantity, 0))
    charged_for = sum_by_order(draft, np.where(made & ~ships_free, 1, 0)) > 0
    zone = np.array([place.zone for place in PLACES])[draft.place]
    prices = np.array(SHIPPING_PRICES)[zone]
    free = (draft.free_shipping > 0) | ~charged_for | (net_goods >= np.array(FREE_SHIPPING_FROM)[currency])
    return np.where(free, 0, prices[:, 0] + prices[:, 1] * np.maximum(pieces - 1, 0))


def _spread_included_tax(
    draft: Draft, lines_after_discount: Whole, shipping: Whole, tax: Whole, inclusive: Flags
) -> Whole:
    """The part of an included tax that sits in the shipping: largest remainder over the lines, then shipping."""
    in_shipping = np.zeros(draft.count, dtype=np.int64)
    starts = np.searchsorted(draft.line_order, np.arange(draft.count + 1)).tolist()
    amounts, shipping_amounts, taxes = lines_after_discount.tolist(), shipping.tolist(), tax.tolist()
    for place in np.flatnonzero(inclusive & (tax > 0) & (shipping > 0)).tolist():
        weights = [*amounts[starts[place] : starts[place + 1]], shipping_amounts[place]]
        in_shipping[place] = allocate(taxes[place], weights)[-1]
    return in_shipping


def price_orders(draft: Draft) -> Orders:
    """Every amount of every order."""
    day = days_of(draft.placed)
    currency = np.array([place.currency for place in PLACES])[draft.place]
    line_price = np.array([good.prices for good in GOODS])[draft.line_sku, currency[draft.line_order]]
    line_amount = draft.line_quantity * line_price
    made = draft.line_sku < MADE_GOODS
    first, last, shirt_rate = SHIRT_CAMPAIGN
    shirts = np.array([CATEGORIES.index(good.category) for good in GOODS])[draft.line_sku] == CATEGORIES.index("Shirts")
    in_campaign = (day >= day_number(first)) & (day <= day_number(last)) & (draft.channel == WEB) & (draft.story < 0)
    discount_by_line = np.where(shirts & in_campaign[draft.line_order], rate_of(line_amount, shirt_rate), 0)
    goods = sum_by_order(draft, np.where(made, line_amount, 0))
    gift_cards = sum_by_order(draft, np.where(made, 0, line_amount))
    line_discount = sum_by_order(draft, discount_by_line)
    order_discount = rate_of(goods - line_discount, draft.discount_rate)
    net_goods = goods - line_discount - order_discount
    shipping = _shipping_charged(draft, net_goods, currency)
    tax_rate = np.array([place.tax for place in PLACES])[draft.place]
    on_shipping = np.array([place.tax_on_shipping for place in PLACES])[draft.place]
    inclusive = currency == EUR
    base = net_goods + np.where(on_shipping, shipping, 0)
    tax = rate_of(base, tax_rate, np.where(inclusive, 10_000 + tax_rate, 10_000)) + story_column(draft, "tax_error")
    tax_in_shipping = _spread_included_tax(draft, line_amount - discount_by_line, shipping, tax, inclusive)
    total = net_goods + gift_cards + shipping + draft.tip + np.where(inclusive, 0, tax)
    total = total + story_column(draft, "total_error")
    return Orders(
        draft=draft,
        day=day,
        currency=currency,
        line_price=line_price,
        line_discount_by_line=discount_by_line,
        goods=goods,
        gift_cards=gift_cards,
        line_discount=line_discount,
        order_discount=order_discount,
        shipping=shipping,
        tip=draft.tip,
        tax=tax,
        inclusive=inclusive,
        tax_in_items=np.where(inclusive, tax - tax_in_shipping, 0),
        tax_in_shipping=tax_in_shipping,
        total=total,
        gift_paid=np.minimum(draft.gift_asked, total),
        shipped=_by_the_end(draft.placed, draft.shipped_after),
        cancelled=_by_the_end(draft.placed, draft.cancelled_after),
        last_export=_last_export(draft, day),
    )


def _by_the_end(placed: Whole, after: Whole) -> Whole:
    return np.where((after >= 0) & (placed + after < END), placed + after, NEVER)


def _last_export(draft: Draft, day: Whole) -> Whole:
    month = np.searchsorted(np.array(MONTH_STARTS), day, side="right") - 1
    repeated = (day >= OVERLAP_FROM) & (day < MONTH_STARTS[1]) & (story_column(draft, "vanishes") == 0)
    return np.where(repeated, 1, month)


@dataclass(frozen=True)
class Refunds:
    """Money given back, one element a refund, sorted by moment.

    Attributes:
        order: position of the order; `at`: moment.
        items, shipping, tip, tax: the parts, minor units of the order's currency, positive.
        to_gift_card: 1 where gift-card value was given and nothing moved at the processor.
        fee_back: 1 where the processor gave its fee back.
        given: 1 where the shop's exports state the split, once they are made after the refund.
        stated: 1 where the shop's last export of the order states it.
    """

    order: Whole
    at: Whole
    items: Whole
    shipping: Whole
    tip: Whole
    tax: Whole
    to_gift_card: Whole
    fee_back: Whole
    given: Whole
    stated: Whole

    @property
    def amount(self) -> Whole:
        """What the refund gives back in all."""
        return self.items + self.shipping + self.tip + self.tax


def _part_amounts(part: int, size: int, stated: bool, remaining: list[int]) -> list[int]:
    """The parts of one refund: what the shop states, or the whole rest, or pro rata of what remains."""
    if part == ALL:
        return remaining
    if part == SHARE:
        by_shop = [int(rate_of(np.int64(remaining[0]), size)), 0, 0, int(rate_of(np.int64(remaining[3]), size))]  # type: ignore[arg-type]
        return by_shop if stated else allocate(sum(by_shop), remaining)
    return allocate(min(size, sum(remaining)), remaining)


def give_back(orders: Orders) -> Refunds:
    """All refunds, by chance and by story; an estimated split is what remains, pro rata."""
    draft = orders.draft
    remaining = np.stack([orders.items_net, orders.shipping_net, orders.tip, orders.tax], axis=1)
    exported = np.array(EXPORTED)[orders.last_export]
    rows: list[tuple[int, ...]] = []
    for place in np.flatnonzero((draft.refund_part != NO_REFUND) | (draft.story >= 0)).tolist():
        left = remaining[place].tolist()
        for after, part, size, given, fee_back, to_gift_card in _refunds_of(draft, place):
            at = int(draft.placed[place]) + after
            if at >= END:
                continue
            stated = given and at <= exported[place]
            parts = _part_amounts(part, size, stated, left)
            left = [rest - taken for rest, taken in zip(left, parts, strict=True)]
            rows.append((place, at, *parts, int(to_gift_card), int(fee_back), int(given), int(stated)))
    rows.sort(key=lambda row: (row[1], row[0]))
    columns = np.array(rows, dtype=np.int64).reshape(-1, 10).T
    return Refunds(*columns)


def _refunds_of(draft: Draft, place: int) -> list[tuple[int, int, int, bool, bool, bool]]:
    if draft.story[place] < 0:
        part, size = int(draft.refund_part[place]), int(draft.refund_size[place])
        return [(int(draft.refund_after[place]), part, size, part != AMOUNT, False, False)]
    return [
        (refund.after * HOUR, refund.part, refund.size, refund.split_given, refund.fee_back, refund.to_gift_card)
        for refund in STORIES[draft.story[place]].refunds
    ]
