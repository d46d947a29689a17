"""The demo shop's `shop.toml` and its mapping files, as commented text."""

from __future__ import annotations

from collections.abc import Iterable

from ledger_tools.demo.bank import RULES
from ledger_tools.demo.layouts import CARD_WORDS, EURO_WORDS, WALLET_WORDS
from ledger_tools.demo.scenario import (
    EURO_RATES,
    GOODS,
    MADE_GOODS,
    MONTHS,
    PARTNER_SHIPPING,
    PLACES,
    RATE_SCALE,
    SHOP_NAME,
    TIME_ZONE,
)
from ledger_tools.money import format_amount

#: From so many orders on, the journal holds one entry a day and kind; one an order would be too much to load.
DAY_DETAIL_FROM = 50_000


def settings_text(order_count: int, stated_balances: Iterable[tuple[str, str, str, str]]) -> str:
    """The settings; stated balances are (source, currency, date, amount as text)."""
    detail = "order" if order_count < DAY_DETAIL_FROM else "day"
    rules = "".join(f'\n[[bank_rule]]\npattern = "{pattern}"\naccount = "{account}"\n' for pattern, account in RULES)
    rates = "".join(
        f'\n[[rate]]\ncurrency = "EUR"\non = "{month}-01"\nrate = "{rate // RATE_SCALE}.{rate % RATE_SCALE:04d}"\n'
        for month, rate in zip(MONTHS, EURO_RATES, strict=True)
    )
    balances = "".join(
        f'\n[[stated_balance]]\nsource = "{source}"\ncurrency = "{currency}"\non = "{day}"\namount = "{amount}"\n'
        for source, currency, day, amount in stated_balances
    )
    return _SETTINGS.format(
        name=SHOP_NAME, zone=TIME_ZONE, detail=detail, rules=rules, rates=rates, card=_rate_card(), balances=balances
    )


def _rate_card() -> str:
    """The partner's prices as it charges them; its spring discount comes on top and is stated with each charge."""
    text = '\n[rate_card]\ncurrency = "USD"\n'
    for good in GOODS[:MADE_GOODS]:
        text += f'\n[[rate_card.production]]\nsku = "{good.sku}"\nprice = "{format_amount(good.production, "USD")}"\n'
    for category in dict.fromkeys(good.category for good in GOODS[:MADE_GOODS]):
        for zone, (first, additional) in enumerate(PARTNER_SHIPPING[category]):
            places = ", ".join(
                f'"{country}"' for country in dict.fromkeys(p.country for p in PLACES[1:] if p.zone == zone)
            )
            text += f'\n[[rate_card.shipping]]\ncategory = "{category}"\ndestination = [{places}]\n'
            text += f'first = "{format_amount(first, "USD")}"\nadditional = "{format_amount(additional, "USD")}"\n'
    return text


_SETTINGS = """\
# Settings of the demo shop. Everything in it is invented: the club, its prices, its partners, its tax rates.

name = "{name}"
currency = "USD"                 # base currency of the books
time_zone = "{zone}"     # whose calendar dates the books use
detail = "{detail}"                 # "order": one entry an event; "day": one a day and kind
gift_card_categories = ["Gift card"]

# Where exports come from. The mapping of each stands in mappings/<name>.toml.

[[source]]
name = "shop"
kind = "orders"
currency = "USD"

[[source]]
name = "card-processor"
kind = "processor"
currency = "USD"

[[source]]
name = "euro-processor"          # holds euros, and dollars between a conversion and its payout
kind = "processor"
currency = "EUR"

[[source]]
name = "fulfilment-wallet"
kind = "wallet"
currency = "USD"

[[source]]
name = "checking"
kind = "bank"
currency = "USD"
payout_pattern = "PROCESSOR SETTLEMENT"   # lines of this kind are payouts

# What other bank lines are: a regular expression on memo and counterparty, and the account of the other side.
{rules}
# Where the shop files sales tax; a return is due on the 20th of the following month, where no due_day stands.

[[registration]]
jurisdiction = "US-CO"
filing = "monthly"
since = "2031-01-01"

[[registration]]
jurisdiction = "US-WA"
filing = "quarterly"
since = "2031-01-01"
due_day = 30

[[registration]]
jurisdiction = "US-MN"
filing = "quarterly"
since = "2031-01-01"
due_day = 30

[[registration]]
jurisdiction = "DE"
filing = "quarterly"
since = "2031-01-01"
due_day = 30

[[registration]]
jurisdiction = "FR"
filing = "quarterly"
since = "2031-01-01"
due_day = 30

[[registration]]
jurisdiction = "NL"
filing = "quarterly"
since = "2031-01-01"
due_day = 30

# Dollars for one euro.
{rates}
# What the fulfilment partner charges by its price list: making a piece, shipping a parcel's first piece and each other.
{card}
# What the processors and the fulfilment partner stated at the end of each month; the bank states its own.
{balances}"""


def _words(words: dict[str, str], skipped: str = "") -> str:
    return "\n".join(f'"{word}" = "{ours}"' for ours, word in words.items() if word != skipped)


def mapping_texts() -> dict[str, str]:
    """Text of each source's mapping."""
    return {
        "shop": _SHOP,
        "card-processor": _CARD.replace("{words}", _words(CARD_WORDS, "Transfer")),
        "euro-processor": _EURO.replace("{words}", _words(EURO_WORDS)),
        "fulfilment-wallet": _WALLET.replace("{words}", _words(WALLET_WORDS)),
        "checking": _BANK,
    }


_SHOP = """\
# Orders of the web shop and the marketplace, one row a line; what belongs to the whole order stands on its first row.
# "Deliver to" and "Letter box" are left out on purpose: no customer belongs in the books.
source = "shop"
kind = "orders"

[file]
delimiter = ","
order_fields = "first-line"

[columns]
order_id = "Order"
placed_at = "Ordered"
shipped_at = "Sent"
cancelled_at = "Called off"
currency = "Money"
sku = "Code"
item = "Description"
category = "Range"
quantity = "Pieces"
unit_price = "Each"
line_discount = "Off line"
order_discount = "Off order"
shipping_charged = "Postage"
tax = "Sales tax"
gift_card_paid = "By gift card"
tip = "Gratuity"
total = "To pay"
ship_country = "Country"
ship_region = "State"
tax_jurisdiction = "Tax area"
tax_collected_by = "Tax sent on by"
prices_include_tax = "Tax is"
channel = "Sold through"
payment_ref = "Payment key"
refunded_items = "Back for goods"
refunded_shipping = "Back for postage"
refunded_tip = "Back for gratuity"
refunded_tax = "Back for tax"
refunded_to_gift_card = "Back as gift card"

[words.tax_collected_by]
"us" = "shop"
"marketplace" = "marketplace"

[words.prices_include_tax]
"inside" = "true"
"on top" = "false"
"""

_CARD = """\
# The card processor: whole cents, times in UTC, costs as negative amounts. The shop's order numbers carry a "#".
source = "card-processor"
kind = "processor"

[file]
delimiter = ";"
amounts_in = "minor"
zone = "UTC"
reference_pattern = "#(\\\\d+)$"

[columns]
event_id = "Entry"
kind = "Type"
at = "Time (UTC)"
available_on = "Free on"
order_ref = "Order no"
payment_ref = "Payment"
currency = "Balance in"
gross = "Amount"
fee = "Cost"
net = "Change"
charged_currency = "Paid in"
charged_amount = "Paid amount"
payout_id = "Transfer"

[signs]
fee = "flip"

[words.kind]
{words}
"Transfer" = { positive = "payout_returned", negative = "payout" }
"""

_EURO = """\
# The processor of euro orders: decimal commas, date and clock apart, as a clock in Berlin shows them.
source = "euro-processor"
kind = "processor"

[file]
delimiter = ";"
decimal_mark = ","
thousands_mark = "."
zone = "Europe/Berlin"
date_formats = ["%d.%m.%Y %H:%M:%S"]
reference_pattern = "SO-(\\\\d+)$"

[columns]
event_id = "No."
kind = "What"
at = ["Date", "Clock"]
order_ref = "Order"
payment_ref = "Payment"
currency = "Balance"
gross = "Before cost"
fee = "Cost"
net = "After cost"
payout_id = "Paid out with"

[words.kind]
{words}
"""

_WALLET = """\
# The fulfilment partner's wallet: a tabbed file, times as in New York. A second parcel of an order is called 10001-2.
source = "fulfilment-wallet"
kind = "wallet"

[file]
delimiter = "\\t"
zone = "America/New_York"
date_formats = ["%m/%d/%Y %H:%M"]
reference_pattern = "^(\\\\d+)(?:-\\\\d+)?$"

[columns]
event_id = "Movement"
kind = "Type"
at = "Booked"
order_ref = "Order reference"
reason = "Purpose"
sku = "Article"
category = "Group"
quantity = "Count"
production = "Making"
shipping = "Posting"
discount = "Reduction"
tax = "Duty"
total = "Sum"
ship_country = "To country"
ship_region = "To state"
shipped_at = "Left on"

[constants]
currency = "USD"

[words.kind]
{words}
"""

_BANK = """\
# The bank's CSV statement, with the balance after each line. Its OFX and camt.053 statements need no mapping.
source = "checking"
kind = "bank"

[file]
delimiter = ","
date_formats = ["%m/%d/%Y"]

[columns]
event_id = "Line"
at = "Booked"
counterparty = "Party"
memo = "Text"
balance = "Balance after"

[split]
amount = { in = "Paid in", out = "Paid out" }

[constants]
currency = "USD"
"""
