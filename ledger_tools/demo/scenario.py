"""The invented shop as values: goods, places, prices, rate tables, fees and the demo's calendar.

Everything here is made up for the demo: names, prices, costs and tax rates describe no real shop, partner or law.
Units: amounts are whole minor units of the named currency, rates of tax and fees are basis points (1/100 of a
percent), exchange rates are integers over `RATE_SCALE`.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

SHOP_NAME = "Lantern Hill Sky Club"
TIME_ZONE = "America/Denver"
CURRENCIES = ("USD", "EUR", "CAD")
USD, EUR, CAD = range(3)

FIRST_DAY = datetime.date(2031, 1, 1)
MONTHS = ("2031-01", "2031-02", "2031-03", "2031-04")
MONTH_DAYS = (31, 28, 31, 30)
DAYS = sum(MONTH_DAYS)
#: Day number (0 = FIRST_DAY) of each month's first day, and of the day after the last.
MONTH_STARTS = tuple(sum(MONTH_DAYS[:month]) for month in range(5))

FIRST_ORDER_NUMBER = 10001
CHANNELS = ("web", "marketplace")
WEB, MARKETPLACE = range(2)
SOURCES = ("card-processor", "euro-processor")
CARD, EURO = range(2)
WALLET_SOURCE, BANK_SOURCE, SHOP_SOURCE = "fulfilment-wallet", "checking", "shop"


@dataclass(frozen=True)
class Good:
    """One variant that the shop sells.

    Attributes:
        prices: of one piece in USD, EUR (tax included) and CAD.
        production: what the fulfilment partner charges for one piece, USD.
        weight: how often it is bought, relative to the others.
        ships_free: the customer pays no shipping where an order holds nothing else.
    """

    sku: str
    item: str
    category: str
    prices: tuple[int, int, int]
    production: int
    weight: int
    ships_free: bool = False


GOODS: tuple[Good, ...] = (
    Good("MUG-AURORA", "Mug, Aurora, small", "Mugs", (1650, 1690, 2200), 595, 14),
    Good("MUG-ECLIPSE", "Mug, Eclipse, large", "Mugs", (1875, 1890, 2500), 712, 10),
    Good("TEE-ORION-M", "Shirt, Orion, M", "Shirts", (2600, 2690, 3500), 1135, 12),
    Good("TEE-ORION-L", "Shirt, Orion, L", "Shirts", (2600, 2690, 3500), 1135, 13),
    Good("TEE-ORION-XXL", "Shirt, Orion, XXL", "Shirts", (2900, 2990, 3900), 1389, 5),
    Good("PRINT-NEBULA", "Print, Nebula, 30 x 40 cm", "Wall art", (3200, 3290, 4300), 948, 9),
    Good("PRINT-MOONMAP", "Print, Map of the Moon, 50 x 70 cm", "Wall art", (4550, 4590, 6100), 1386, 6),
    Good("STICK-PLANETS", "Sticker sheet, Planets", "Stickers", (450, 490, 600), 137, 16, ships_free=True),
    Good("STICK-COMET", "Sticker, Comet", "Stickers", (325, 350, 450), 98, 10, ships_free=True),
    Good("CAP-POLARIS", "Cap, Polaris", "Caps", (2400, 2450, 3200), 1042, 8),
    Good("TOTE-CRESCENT", "Tote bag, Crescent", "Bags", (1995, 2050, 2700), 823, 7),
    Good("BLANKET-MILKYWAY", "Blanket, Milky Way", "Blankets", (5400, 5490, 7200), 3865, 3),
    Good("GIFT-25", "Gift card 25", "Gift card", (2500, 2500, 2500), 0, 0),
    Good("GIFT-50", "Gift card 50", "Gift card", (5000, 5000, 5000), 0, 0),
)
SKU = {good.sku: code for code, good in enumerate(GOODS)}
GIFT_SKUS = (SKU["GIFT-25"], SKU["GIFT-50"])
#: Goods that are made and shipped; the gift cards follow them in the table.
MADE_GOODS = len(GOODS) - len(GIFT_SKUS)
CATEGORIES = tuple(dict.fromkeys(good.category for good in GOODS))

UNITED_STATES, CANADA, EUROPE = range(3)


@dataclass(frozen=True)
class Place:
    """A destination, and the tax on what is shipped there.

    Attributes:
        jurisdiction: as the shop names it; None: country-region.
        tax: rate that an order shipped there bears, basis points; 0 where the shop collects none.
        tax_on_shipping: shipping is taxed too.
        supplier_tax: rate that the fulfilment partner adds to production, basis points.
    """

    country: str
    region: str
    zone: int
    currency: int
    weight: int
    tax: int = 0
    tax_on_shipping: bool = False
    supplier_tax: int = 0
    jurisdiction: str | None = None


#: The first place is nowhere: gift cards are sent by mail and taxed when they are used.
PLACES: tuple[Place, ...] = (
    Place("", "", UNITED_STATES, USD, 0),
    Place("US", "CO", UNITED_STATES, USD, 26, 780, supplier_tax=400),
    Place("US", "WA", UNITED_STATES, USD, 17, 920, tax_on_shipping=True),
    Place("US", "MN", UNITED_STATES, USD, 11, 690),
    Place("US", "CA", UNITED_STATES, USD, 9),
    Place("US", "TX", UNITED_STATES, USD, 8),
    Place("US", "NY", UNITED_STATES, USD, 7),
    Place("US", "AZ", UNITED_STATES, USD, 5),
    Place("US", "OR", UNITED_STATES, USD, 5),
    Place("US", "GA", UNITED_STATES, USD, 4),
    Place("US", "OH", UNITED_STATES, USD, 4),
    Place("CA", "ON", CANADA, CAD, 1),
    Place("CA", "BC", CANADA, CAD, 1),
    Place("DE", "BE", EUROPE, EUR, 5, 1900, tax_on_shipping=True, jurisdiction="DE"),
    Place("FR", "IDF", EUROPE, EUR, 3, 2000, tax_on_shipping=True, jurisdiction="FR"),
    Place("NL", "NH", EUROPE, EUR, 3, 2100, tax_on_shipping=True, jurisdiction="NL"),
)
PLACE = {f"{place.country}-{place.region}": code for code, place in enumerate(PLACES)}
NOWHERE = 0
#: Where the marketplace sends orders: states in which its tax rate is the shop's own.
MARKETPLACE_PLACES = (PLACE["US-CO"], PLACE["US-WA"], PLACE["US-MN"])


def jurisdiction_of(place: Place) -> str:
    """Who the tax of an order shipped to a place is owed to; empty for nowhere."""
    return place.jurisdiction or (f"{place.country}-{place.region}" if place.country else "")


#: What the customer pays for shipping by zone, in the zone's currency: the first piece, each other piece.
SHIPPING_PRICES = ((550, 150), (1100, 250), (690, 200))
#: Goods worth this much after discounts ship free, by currency.
FREE_SHIPPING_FROM = (7500, 7900, 11000)
#: What the partner charges for shipping, USD, by category and zone: the first piece, each other piece.
PARTNER_SHIPPING = {
    "Mugs": ((579, 265), (1049, 480), (1189, 545)),
    "Shirts": ((475, 190), (899, 395), (1075, 440)),
    "Wall art": ((689, 210), (1299, 420), (1475, 515)),
    "Stickers": ((239, 25), (319, 40), (369, 55)),
    "Caps": ((449, 185), (849, 370), (999, 425)),
    "Bags": ((459, 195), (869, 385), (1019, 435)),
    "Blankets": ((875, 540), (1799, 1150), (2350, 1525)),
    "Gift card": ((0, 0), (0, 0), (0, 0)),
}
#: The partner's spring discount on production: days (first and last) and basis points.
PARTNER_DISCOUNT = (datetime.date(2031, 3, 1), datetime.date(2031, 3, 31), 1000)

#: Campaigns: days (first and last), rate in basis points; the first on whole orders, the second on shirts.
ORDER_CAMPAIGN = (datetime.date(2031, 2, 10), datetime.date(2031, 2, 20), 1000)
SHIRT_CAMPAIGN = (datetime.date(2031, 4, 12), datetime.date(2031, 4, 19), 2000)
VIRAL_DAY = datetime.date(2031, 3, 14)
#: How much likelier the viral day is than a common one.
VIRAL_WEIGHT = 36

#: Fees: basis points of what was charged, and a fixed part in the balance's currency.
CARD_FEE = (290, 30)
MARKETPLACE_FEE = (650, 25)
EURO_FEE = (190, 25)
DISPUTE_FEE = 1500
CARD_MONTHLY_FEE = 900
EURO_MONTHLY_FEE = 300
RESERVE = 12_000

RATE_SCALE = 10_000
#: USD for one EUR as the shop states it on the first day of each month, and what the month-end conversion gave.
EURO_RATES = (10842, 10915, 10768, 10887)
CONVERSION_RATES = (10871, 10793, 10822, 10902)
#: USD for one CAD as the card processor settled it, by month.
CANADA_RATES = (7215, 7248, 7193, 7231)


def day_number(day: datetime.date) -> int:
    """Days since the demo's first day."""
    return (day - FIRST_DAY).days


def date_of(number: int) -> datetime.date:
    """The date of a day number."""
    return FIRST_DAY + datetime.timedelta(days=int(number))
