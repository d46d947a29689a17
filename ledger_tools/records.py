"""What one export says: the canonical fields of the four kinds of export, as values.

The importers type a file's columns after these tables, the mapping proposer and the docs read them, and the database
has one column for each field under the same name. Units: `MONEY` is an integer of the minor unit of the row's
`currency`; a `MOMENT` is a timestamp in the shop's own time zone (its date is the accounting date).
"""

from __future__ import annotations

from dataclasses import dataclass

TEXT, MONEY, WHOLE, MOMENT, FLAG, CHOICE = "text", "money", "whole", "moment", "flag", "choice"

SQL_TYPES = {
    TEXT: "VARCHAR",
    MONEY: "BIGINT",
    WHOLE: "BIGINT",
    MOMENT: "TIMESTAMP",
    FLAG: "BOOLEAN",
    CHOICE: "VARCHAR",
}


@dataclass(frozen=True)
class Field:
    """One canonical field of an export.

    Attributes:
        name: its name, the same in mappings, SQL, JSON and docs.
        type: one of the type words of this module.
        means: what it holds, in words, with its sign.
        required: a row without it is refused.
        order_level: it belongs to the order and may be repeated on each line or stand only on the first.
        choices: the words that it may hold, where it is a CHOICE.
    """

    name: str
    type: str
    means: str
    required: bool = False
    order_level: bool = False
    choices: tuple[str, ...] = ()


def _order(name: str, type: str, means: str, required: bool = False, choices: tuple[str, ...] = ()) -> Field:
    return Field(name, type, means, required, True, choices)


ORDERS: tuple[Field, ...] = (
    _order("order_id", TEXT, "the shop's number of the order", required=True),
    _order("placed_at", MOMENT, "when the customer ordered", required=True),
    _order("cancelled_at", MOMENT, "when the order was cancelled"),
    _order("shipped_at", MOMENT, "when all of the order had shipped"),
    _order("currency", TEXT, "ISO 4217 code of all amounts of the order; else the source's"),
    Field("sku", TEXT, "the shop's code of the variant sold"),
    Field("item", TEXT, "what the variant is called"),
    Field("category", TEXT, "kind of merchandise; decides the income account"),
    Field("quantity", WHOLE, "pieces on this line"),
    Field("unit_price", MONEY, "price of one piece before discounts"),
    Field("line_discount", MONEY, "discount on the whole line, positive"),
    _order("order_discount", MONEY, "discount on the whole order, positive"),
    _order("shipping_charged", MONEY, "shipping that the customer paid"),
    _order("tax", MONEY, "sales tax that the customer paid"),
    _order("gift_card_paid", MONEY, "part of the total that was paid by gift card, positive"),
    _order("tip", MONEY, "tip that the customer added"),
    _order("total", MONEY, "what the customer owed, gift card included", required=True),
    _order("ship_country", TEXT, "ISO 3166-1 code of the destination"),
    _order("ship_region", TEXT, "ISO 3166-2 code of the destination, without the country"),
    _order("tax_jurisdiction", TEXT, "who the tax is owed to; else country-region"),
    _order("tax_collected_by", CHOICE, "who remits the tax; else the shop", choices=("shop", "marketplace")),
    _order("prices_include_tax", FLAG, "unit prices and shipping contain the tax"),
    _order("payment_ref", TEXT, "the processor's reference of the payment"),
    _order("channel", TEXT, "where the order came from"),
    _order("refunded_items", MONEY, "refunded so far for items, positive"),
    _order("refunded_shipping", MONEY, "refunded so far for shipping, positive"),
    _order("refunded_tip", MONEY, "refunded so far of the tip, positive"),
    _order("refunded_tax", MONEY, "refunded so far of the tax, positive"),
    _order("refunded_to_gift_card", MONEY, "refunded so far as gift-card value, positive"),
)

PROCESSOR: tuple[Field, ...] = (
    Field("event_id", TEXT, "the processor's id of the event", required=True),
    Field(
        "kind",
        CHOICE,
        "what happened on the balance",
        required=True,
        choices=(
            "charge",
            "refund",
            "dispute",
            "dispute_won",
            "dispute_lost",
            "fee",
            "adjustment",
            "reserve_hold",
            "reserve_release",
            "tax_withheld",
            "conversion",
            "payout",
            "payout_returned",
        ),
    ),
    Field("at", MOMENT, "when it happened", required=True),
    Field("available_on", MOMENT, "when the money can be paid out"),
    Field("order_ref", TEXT, "the shop's order number, as the processor holds it"),
    Field("payment_ref", TEXT, "the payment that the event belongs to"),
    Field("currency", TEXT, "ISO 4217 code of the balance", required=True),
    Field("gross", MONEY, "change of the balance before the fee; a refund or payout is negative", required=True),
    Field("fee", MONEY, "fee, positive where it costs"),
    Field("net", MONEY, "change of the balance: gross - fee", required=True),
    Field("charged_currency", TEXT, "what the customer paid in, where it differs"),
    Field("charged_amount", MONEY, "what the customer paid, signed like gross, in charged_currency"),
    Field("payout_id", TEXT, "the payout that the event belongs to"),
    Field("memo", TEXT, "the processor's own words"),
)

WALLET: tuple[Field, ...] = (
    Field("event_id", TEXT, "the partner's id of the event", required=True),
    Field(
        "kind",
        CHOICE,
        "what happened on the wallet",
        required=True,
        choices=("charge", "credit", "top_up", "withdrawal", "fee"),
    ),
    Field("at", MOMENT, "when it happened", required=True),
    Field("order_ref", TEXT, "the shop's order number, as the partner holds it"),
    Field("reason", TEXT, "order, reprint, sample, artwork_setup, storage, subscription, …"),
    Field("sku", TEXT, "the variant made"),
    Field("category", TEXT, "kind of merchandise, as the partner's shipping rates know it"),
    Field("quantity", WHOLE, "pieces made"),
    Field("production", MONEY, "price of production, positive"),
    Field("shipping", MONEY, "price of shipping, positive"),
    Field("discount", MONEY, "discount on production, positive"),
    Field("tax", MONEY, "tax that the partner charged, positive"),
    Field("total", MONEY, "amount of the event, positive; the kind gives the direction", required=True),
    Field("currency", TEXT, "ISO 4217 code of the wallet", required=True),
    Field("ship_country", TEXT, "ISO 3166-1 code of the destination"),
    Field("ship_region", TEXT, "ISO 3166-2 code of the destination, without the country"),
    Field("shipped_at", MOMENT, "when the parcel left"),
    Field("memo", TEXT, "the partner's own words"),
)

BANK: tuple[Field, ...] = (
    Field("event_id", TEXT, "the bank's own id of the line, kept as an attribute"),
    Field("at", MOMENT, "booking date", required=True),
    Field("amount", MONEY, "money in positive, money out negative", required=True),
    Field("currency", TEXT, "ISO 4217 code of the account", required=True),
    Field("memo", TEXT, "the bank's text of the line"),
    Field("counterparty", TEXT, "who paid or was paid, as the bank names them"),
    Field("balance", MONEY, "balance after the line, where the bank gives it"),
)

KINDS: dict[str, tuple[Field, ...]] = {"orders": ORDERS, "processor": PROCESSOR, "wallet": WALLET, "bank": BANK}


def column(name: str) -> str:
    """A field's name as an SQL identifier (`at` is a word of SQL)."""
    return f'"{name}"'


#: The field that dates a record of each kind, and so the span that an export covers.
DATED_BY = {"orders": "placed_at", "processor": "at", "wallet": "at", "bank": "at"}
