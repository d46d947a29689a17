"""The layouts of the demo's export files as SQL selects over columns of whole numbers, one a source.

Column names, words and number formats are the files' own, invented for the demo; `mapping_texts` explains them to
the importer. `rows` is the table that `exports` registers; positions in the scenario's tables become texts here.
"""

from __future__ import annotations

from collections.abc import Iterable

from ledger_tools.demo.draft import FIRST_NAMES, LAST_NAMES
from ledger_tools.demo.processors import KINDS as PROCESSOR_KINDS
from ledger_tools.demo.scenario import CHANNELS, CURRENCIES, GOODS, PLACES, jurisdiction_of
from ledger_tools.demo.wallet import KINDS as WALLET_KINDS
from ledger_tools.demo.wallet import REASONS

CARD_WORDS = {
    "charge": "Payment",
    "refund": "Repayment",
    "dispute": "Claim opened",
    "dispute_won": "Claim won",
    "dispute_lost": "Claim lost",
    "fee": "Service fee",
    "reserve_hold": "Held back",
    "reserve_release": "Let go",
    "tax_withheld": "Tax kept",
    "payout": "Transfer",
    "payout_returned": "Transfer",
}
EURO_WORDS = {
    "charge": "Sale",
    "refund": "Sale reversed",
    "fee": "Account fee",
    "conversion": "Exchange",
    "payout": "Paid out",
}
WALLET_WORDS = {"charge": "Made and sent", "credit": "Credited", "top_up": "Filled up", "fee": "Service"}


def _texts(values: Iterable[str], position: str) -> str:
    """SQL expression: the text at a position; NULL for position -1 and for empty texts."""
    listed = ", ".join("'" + value.replace("'", "''") + "'" for value in values)
    return f"nullif([{listed}][{position} + 1], '')"


def _once(expression: str, name: str) -> str:
    """An order-level column: it stands on the order's first line only."""
    return f'CASE WHEN first = 1 THEN {expression} END AS "{name}"'


_MINUTE = "'%Y-%m-%d %H:%M'"
_FIRST, _LAST = _texts(FIRST_NAMES, "first_name"), _texts(LAST_NAMES, "last_name")

SHOP_SELECT = "SELECT " + ", ".join(
    [
        'number AS "Order"',
        _once(f"clock_text(placed, {_MINUTE})", "Ordered"),
        _once(f"clock_text(shipped, {_MINUTE})", "Sent"),
        _once(f"clock_text(cancelled, {_MINUTE})", "Called off"),
        _once(_texts(CURRENCIES, "currency"), "Money"),
        f"{_texts([good.sku for good in GOODS], 'sku')} AS \"Code\"",
        f"{_texts([good.item for good in GOODS], 'sku')} AS \"Description\"",
        f"{_texts([good.category for good in GOODS], 'sku')} AS \"Range\"",
        'quantity AS "Pieces"',
        'dollars(price) AS "Each"',
        'some_dollars(line_discount) AS "Off line"',
        _once("some_dollars(order_discount)", "Off order"),
        _once("dollars(shipping)", "Postage"),
        _once("dollars(tax)", "Sales tax"),
        _once("some_dollars(gift_paid)", "By gift card"),
        _once("some_dollars(tip)", "Gratuity"),
        _once("dollars(total)", "To pay"),
        _once(f"{_FIRST} || ' ' || {_LAST}", "Deliver to"),
        _once(f"lower({_LAST}) || '.' || number || '@post.invalid'", "Letter box"),
        _once(_texts([place.country for place in PLACES], "place"), "Country"),
        _once(_texts([place.region for place in PLACES], "place"), "State"),
        _once(_texts([jurisdiction_of(place) for place in PLACES], "place"), "Tax area"),
        _once(_texts(("us", "marketplace"), "channel"), "Tax sent on by"),
        _once("CASE WHEN currency = 1 THEN 'inside' ELSE 'on top' END", "Tax is"),
        _once(_texts(CHANNELS, "channel"), "Sold through"),
        _once("CASE WHEN payment <> -1 THEN 'PM' || payment END", "Payment key"),
        _once("some_dollars(back_items)", "Back for goods"),
        _once("some_dollars(back_shipping)", "Back for postage"),
        _once("some_dollars(back_tip)", "Back for gratuity"),
        _once("some_dollars(back_tax)", "Back for tax"),
        _once("some_dollars(back_gift)", "Back as gift card"),
    ]
) + " FROM rows"  # fmt: skip

_PAYMENT = (
    "CASE WHEN payment = -1 THEN NULL WHEN kind = {} THEN 'CV' || (70000001 - payment) ELSE 'PM' || payment END"
).format(PROCESSOR_KINDS.index("conversion"))

CARD_SELECT = "SELECT " + ", ".join(
    [
        "'{prefix}' || id AS \"Entry\"",
        f"{_texts([CARD_WORDS.get(kind, '') for kind in PROCESSOR_KINDS], 'kind')} AS \"Type\"",
        "clock_text(wall, '%Y-%m-%d %H:%M:%S') AS \"Time (UTC)\"",
        "CASE WHEN available <> -1 THEN strftime(DATE '2031-01-01' + available::INTEGER, '%Y-%m-%d') END"
        ' AS "Free on"',
        "CASE WHEN order_number <> -1 THEN '#' || order_number END AS \"Order no\"",
        f'{_PAYMENT} AS "Payment"',
        f"{_texts(CURRENCIES, 'currency')} AS \"Balance in\"",
        'gross AS "Amount"',
        '-fee AS "Cost"',
        'net AS "Change"',
        f"{_texts(CURRENCIES, 'charged_currency')} AS \"Paid in\"",
        'CASE WHEN charged_currency <> -1 THEN charged END AS "Paid amount"',
        "CASE WHEN payout <> -1 THEN 'PO-' || (1001 + payout) END AS \"Transfer\"",
    ]
) + " FROM rows"  # fmt: skip

EURO_SELECT = "SELECT " + ", ".join(
    [
        "'{prefix}' || id AS \"No.\"",
        "clock_text(wall, '%d.%m.%Y') AS \"Date\"",
        "clock_text(wall, '%H:%M:%S') AS \"Clock\"",
        f"{_texts([EURO_WORDS.get(kind, '') for kind in PROCESSOR_KINDS], 'kind')} AS \"What\"",
        "CASE WHEN order_number <> -1 THEN 'SO-' || order_number END AS \"Order\"",
        f'{_PAYMENT} AS "Payment"',
        f"{_texts(CURRENCIES, 'currency')} AS \"Balance\"",
        'comma_amount(gross) AS "Before cost"',
        'comma_amount(fee) AS "Cost"',
        'comma_amount(net) AS "After cost"',
        "CASE WHEN payout <> -1 THEN 'EP-' || (501 + payout) END AS \"Paid out with\"",
    ]
) + " FROM rows"  # fmt: skip

_ALMANAC = "'%m/%d/%Y %H:%M'"
_TOP_UP = WALLET_KINDS.index("top_up")
WALLET_SELECT = "SELECT " + ", ".join(
    [
        f"CASE WHEN kind = {_TOP_UP} THEN 'TU-' ELSE 'W' END || id AS \"Movement\"",
        f"{_texts([WALLET_WORDS[kind] for kind in WALLET_KINDS], 'kind')} AS \"Type\"",
        f'clock_text(wall, {_ALMANAC}) AS "Booked"',
        "CASE WHEN order_number <> -1 THEN order_number || CASE WHEN part > 0 THEN '-' || part ELSE '' END END"
        ' AS "Order reference"',
        f"{_texts(REASONS, 'reason')} AS \"Purpose\"",
        f"{_texts([good.sku for good in GOODS], 'sku')} AS \"Article\"",
        f"{_texts([good.category for good in GOODS], 'sku')} AS \"Group\"",
        'CASE WHEN sku <> -1 THEN quantity END AS "Count"',
        *(f'CASE WHEN sku <> -1 THEN dollars({field}) END AS "{name}"' for field, name in (
            ("production", "Making"), ("shipping", "Posting"), ("discount", "Reduction"), ("tax", "Duty"))),
        'dollars(total) AS "Sum"',
        f"{_texts([place.country for place in PLACES], 'place')} AS \"To country\"",
        f"{_texts([place.region for place in PLACES], 'place')} AS \"To state\"",
        f'clock_text(shipped, {_ALMANAC}) AS "Left on"',
    ]
) + " FROM rows"  # fmt: skip
