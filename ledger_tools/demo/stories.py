"""The demo's named orders as values: the cases that a shop's books must get right, and the faults planted in them.

The simulator mixes these orders into the bulk and treats them like any other order, apart from what a story says.
Units: amounts are minor units of the order's currency; delays are hours after the order was placed.
"""

from __future__ import annotations

from dataclasses import dataclass

#: A refund's `part`: all that remains, or a share of the goods in basis points, or an amount in minor units.
ALL, SHARE, AMOUNT = range(3)


@dataclass(frozen=True)
class StoryRefund:
    """Money given back on a story's order.

    Attributes:
        after: hours after the order.
        part: ALL, SHARE (of goods and their tax) or AMOUNT (spread over everything).
        size: basis points or minor units.
        split_given: the shop's export says what was refunded.
        fee_back: the processor gives its fee back.
        to_gift_card: credited as gift-card value, nothing moves on the processor's balance.
    """

    after: int
    part: int = ALL
    size: int = 0
    split_given: bool = True
    fee_back: bool = False
    to_gift_card: bool = False


@dataclass(frozen=True)
class StoryDispute:
    """A payment that the customer's bank took back; outcome "lost", "won" or "open"."""

    after: int
    outcome: str
    decided_after: int = 0


@dataclass(frozen=True)
class StoryReprint:
    """A second making at the shop's cost; `credited_after` None: the partner gave nothing back."""

    after: int
    credited_after: int | None = None


@dataclass(frozen=True)
class Story:
    """One order that is told rather than drawn.

    Attributes:
        name: what the story shows; unique.
        day, clock: when it was placed, on the shop's clock.
        lines: (sku, quantity) of each line.
        order_discount: of the goods in basis points.
        charged_after: hours to the fulfilment charge; None: there is none.
        shipped_after: hours to the shipment; None: not known to the shop.
        shipping_extra_at_first: what the first export of the order stated too much for shipping (amended later).
        vanishes: a later export of the same span no longer holds it.
        payment_error, total_error, tax_error: added to the payment, the stated total, the tax.
        net_error, partner_error: added to the processor's net, the partner's total.
        shipping_overcharge: what the partner charges for shipping beyond its rate card.
        fault: kind of open item that the tool shall find, if the story is a planted fault.
    """

    name: str
    day: str
    clock: str
    place: str
    lines: tuple[tuple[str, int], ...]
    marketplace: bool = False
    tip: int = 0
    order_discount: int = 0
    free_shipping: bool = False
    gift_paid: int = 0
    paid: bool = True
    charged_after: int | None = 20
    shipped_after: int | None = 70
    fulfilment_copies: int = 1
    credited_after: int | None = None
    split_shipments: bool = False
    cancelled_after: int | None = None
    refunds: tuple[StoryRefund, ...] = ()
    dispute: StoryDispute | None = None
    reprint: StoryReprint | None = None
    shipping_extra_at_first: int = 0
    vanishes: bool = False
    payment_error: int = 0
    total_error: int = 0
    tax_error: int = 0
    net_error: int = 0
    partner_error: int = 0
    shipping_overcharge: int = 0
    fault: str = ""


_MUG, _LARGE_MUG, _SHIRT, _PRINT, _MAP = "MUG-AURORA", "MUG-ECLIPSE", "TEE-ORION-L", "PRINT-NEBULA", "PRINT-MOONMAP"
_STICKER, _CAP, _TOTE, _BLANKET = "STICK-PLANETS", "CAP-POLARIS", "TOTE-CRESCENT", "BLANKET-MILKYWAY"

_CALENDAR = (
    Story("last minute of January", "2031-01-31", "23:30", "US-CA", ((_PRINT, 1), (_MUG, 1)), shipped_after=34),
    Story("last minute of February", "2031-02-28", "23:30", "US-WA", ((_SHIRT, 2),), shipped_after=40),
    Story("last minute of March", "2031-03-31", "23:30", "US-CO", ((_MAP, 1),), charged_after=26, shipped_after=44),
    Story("last minute of April", "2031-04-30", "23:30", "US-TX", ((_CAP, 1), (_TOTE, 1))),
    Story("first morning of January", "2031-01-01", "08:05", "US-CO", ((_MUG, 2),)),
    Story("first morning of February", "2031-02-01", "08:10", "US-MN", ((_TOTE, 1),)),
    Story("first morning of March", "2031-03-01", "08:15", "US-CO", ((_CAP, 1),)),
    Story(
        "first morning of April, shipping above the rate card",
        "2031-04-01",
        "08:20",
        "US-WA",
        ((_LARGE_MUG, 1),),
        shipping_overcharge=265,
        fault="cost-above-rate-card",
    ),
    Story("late in the evening abroad", "2031-01-31", "22:40", "DE-BE", ((_MUG, 2),)),
    Story("made slowly", "2031-01-27", "10:12", "US-OR", ((_BLANKET, 1),), charged_after=200, shipped_after=336),
)
_PAYMENT = (
    Story("settled in another currency", "2031-01-14", "12:31", "CA-ON", ((_SHIRT, 1), (_STICKER, 2))),
    Story("refunded in another currency", "2031-02-11", "13:02", "CA-BC", ((_PRINT, 1),), refunds=(StoryRefund(90),)),
    Story("another currency in the last month", "2031-04-09", "18:45", "CA-ON", ((_MUG, 4),)),
    Story("euro order refunded in part", "2031-02-12", "14:20", "FR-IDF", ((_MAP, 1), (_MUG, 1)),
          refunds=(StoryRefund(140, SHARE, 4000),)),
    Story("euro order from the first days", "2031-01-02", "11:11", "NL-NH", ((_CAP, 1),)),
    Story("paid by gift card alone", "2031-02-06", "15:45", "US-CO", ((_LARGE_MUG, 1),), gift_paid=1_000_000),
    Story("paid by gift card in part", "2031-02-21", "19:20", "US-NY", ((_BLANKET, 1),), gift_paid=2500),
    Story("gift card sold", "2031-01-04", "16:01", "-", (("GIFT-50", 1),), charged_after=None, shipped_after=None),
    Story("two gift cards sold", "2031-01-09", "20:14", "-", (("GIFT-25", 2),), charged_after=None, shipped_after=None),
    Story("generous tip", "2031-01-18", "21:09", "US-AZ", ((_MUG, 1),), tip=2000),
    Story("sold for nothing", "2031-03-06", "09:30", "US-CO", ((_SHIRT, 1),), order_discount=10_000,
          free_shipping=True),
    Story("sold below cost", "2031-03-20", "17:17", "US-GA", ((_BLANKET, 2),), order_discount=3000,
          free_shipping=True),
)  # fmt: skip
_AFTER_SALE = (
    Story("split given for a part", "2031-01-20", "10:40", "US-CO", ((_SHIRT, 2), (_MUG, 1)),
          refunds=(StoryRefund(150, SHARE, 5000),)),
    Story("split estimated", "2031-02-03", "12:12", "US-WA", ((_PRINT, 1), (_CAP, 1)), tip=300,
          refunds=(StoryRefund(170, AMOUNT, 1000, split_given=False),)),
    Story("refunded in two steps", "2031-03-02", "12:52", "US-MN", ((_MAP, 1), (_STICKER, 2)),
          refunds=(StoryRefund(130, SHARE, 2500), StoryRefund(220))),
    Story("refunded with the fee", "2031-03-24", "18:18", "US-CO", ((_TOTE, 2),),
          refunds=(StoryRefund(160, fee_back=True),)),
    Story("refunded to a gift card", "2031-01-23", "09:26", "US-TX", ((_CAP, 1), (_MUG, 1)),
          refunds=(StoryRefund(144, SHARE, 3000, to_gift_card=True),)),
    Story("marketplace order refunded", "2031-02-16", "14:44", "US-WA", ((_SHIRT, 1),), marketplace=True,
          refunds=(StoryRefund(150),)),
    Story("cancelled before it was made", "2031-02-24", "11:35", "US-CO", ((_PRINT, 2),), charged_after=None,
          shipped_after=None, cancelled_after=3, refunds=(StoryRefund(4),)),
    Story("cancelled, charged and credited", "2031-03-26", "13:13", "US-CA", ((_BLANKET, 1),), shipped_after=None,
          cancelled_after=26, refunds=(StoryRefund(27),), credited_after=75),
    Story("dispute lost", "2031-01-15", "16:36", "US-NY", ((_BLANKET, 1), (_CAP, 1)),
          dispute=StoryDispute(480, "lost", 1100)),
    Story("dispute won", "2031-02-05", "19:57", "US-TX", ((_MAP, 2),), dispute=StoryDispute(500, "won", 1050)),
    Story("dispute open", "2031-04-02", "20:02", "US-OH", ((_SHIRT, 2),), dispute=StoryDispute(470, "open")),
    Story("two shipments", "2031-01-11", "10:03", "US-CO", ((_MUG, 2), (_PRINT, 1)), split_shipments=True),
    Story("two shipments in spring", "2031-04-10", "10:09", "US-WA", ((_CAP, 1), (_SHIRT, 1)), split_shipments=True),
    *(
        Story(f"misprinted batch {number}", "2031-02-13", f"{9 + number:02d}:{7 * number:02d}", place, ((_PRINT, 1),),
              reprint=StoryReprint(264 + number, 430 if number <= 3 else None))
        for number, place in enumerate(("US-CO", "US-WA", "US-CA", "US-MN", "US-NY", "US-CO"), start=1)
    ),
)  # fmt: skip
_FAULTS = (
    Story("no payment", "2031-03-05", "10:50", "US-CO", ((_MAP, 1), (_CAP, 2)), paid=False,
          fault="order-without-payment"),
    Story("paid too little", "2031-02-07", "15:05", "US-CA", ((_SHIRT, 3),), payment_error=-425,
          fault="payment-differs"),
    Story("shipped, never charged", "2031-03-18", "09:41", "US-WA", ((_MUG, 3),), charged_after=None,
          fault="order-without-fulfilment"),
    Story("charged twice", "2031-04-03", "11:58", "US-CO", ((_PRINT, 1), (_TOTE, 1)), fulfilment_copies=2,
          fault="charged-twice"),
    Story("cancelled, yet charged", "2031-03-11", "13:46", "US-MN", ((_SHIRT, 1), (_LARGE_MUG, 1)),
          shipped_after=None, cancelled_after=8, refunds=(StoryRefund(9),), fault="charged-though-cancelled"),
    Story("total too high", "2031-01-22", "17:29", "US-AZ", ((_TOTE, 2), (_MUG, 1)), total_error=315,
          fault="order-does-not-add-up"),
    Story("net too low", "2031-04-08", "08:53", "US-OR", ((_PRINT, 1),), net_error=-41, fault="event-does-not-add-up"),
    Story("partner's total too high", "2031-02-26", "14:07", "US-CO", ((_BLANKET, 1), (_MUG, 1)), partner_error=113,
          fault="event-does-not-add-up"),
    Story("shipping corrected later", "2031-01-28", "16:22", "US-CO", ((_CAP, 2),), shipping_extra_at_first=300,
          fault="amended"),
    Story("gone from the later export", "2031-01-29", "12:00", "US-WA", ((_LARGE_MUG, 2),), vanishes=True,
          fault="vanished"),
    Story("taxed too much", "2031-04-06", "15:33", "US-CO", ((_BLANKET, 1), (_SHIRT, 1)), tax_error=231,
          fault="tax-rate-unusual"),
)  # fmt: skip

STORIES: tuple[Story, ...] = (*_CALENDAR, *_PAYMENT, *_AFTER_SALE, *_FAULTS)
