"""A month of a shop, drawn from a seed: exports in canonical fields with any mix of events that a shop can have.

Money is whole minor units until `texts` writes a row. Keys that begin with `_` say what the drawer knows and no export
tells: which order a row belongs to, which movement a bank line completes. References are written in the ways that
processors and partners write them; some belong to no order. Amounts of bank lines that complete nothing never equal
those of movements, because a line is matched by amount where its text says nothing.
"""

from __future__ import annotations

import random
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from ledger_tools.money import format_amount
from ledger_tools.records import KINDS, MONEY

Row = dict[str, Any]

SETTINGS = """
name = "Any month"
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "shop"
kind = "orders"
currency = "USD"

[[source]]
name = "card-processor"
kind = "processor"
currency = "USD"

[[source]]
name = "euro-processor"
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

[[bank_rule]]
pattern = "account fee"
account = "Expenses:BankFees"

[[bank_rule]]
pattern = "state revenue"
account = "Liabilities:SalesTax:US-CO"

[[rate]]
currency = "EUR"
on = 2031-01-01
rate = "1.0842"

[[rate]]
currency = "JPY"
on = 2031-01-01
rate = "0.00671"

[[rate]]
currency = "KWD"
on = 2031-01-01
rate = "3.25"
"""

SOURCES = {
    "shop": "orders",
    "card-processor": "processor",
    "euro-processor": "processor",
    "fulfilment-wallet": "wallet",
    "checking": "bank",
}
CATEGORIES = ("Mugs", "T-shirts", "Wall art", "Gift card", "")
REGIONS = (("US", "CO"), ("US", "WA"), ("DE", ""), ("", ""))
REASONS = ("reprint", "sample", "storage", "subscription", "artwork_setup", "mystery")


@dataclass
class Month:
    """Rows of each source; the rows of an order stand together."""

    dice: random.Random
    rows: dict[str, list[Row]] = field(default_factory=lambda: {name: [] for name in SOURCES})
    moments: set[str] = field(default_factory=set)

    def moment(self, first_day: int = 1) -> str:
        """A moment of the month that no other event has."""
        while True:
            day, second = self.dice.randint(min(first_day, 28), 28), self.dice.randrange(86400)
            text = f"2031-04-{day:02}T{second // 3600:02}:{second // 60 % 60:02}:{second % 60:02}"
            if text not in self.moments:
                self.moments.add(text)
                return text

    def chance(self, percent: int) -> bool:
        """Whether something happens that does in so many of a hundred cases."""
        return self.dice.randrange(100) < percent

    def add(self, source: str, kind: str, at: str, **values: Any) -> Row:
        """One more event of a processor or of the wallet."""
        prefix = {"card-processor": "C", "euro-processor": "E", "fulfilment-wallet": "W"}[source]
        row = {"event_id": f"{prefix}{10001 + len(self.rows[source])}", "kind": kind, "at": at, **values}
        self.rows[source].append(row)
        return row

    def pay(self, source: str, kind: str, at: str, gross: int, fee: int = 0, **values: Any) -> Row:
        """One more event of a processor; now and then its net is not gross less fee."""
        currency = values.pop("currency", "EUR" if source == "euro-processor" else "USD")
        wrong = self.dice.choice((-7, 3)) if kind in ("charge", "refund") and self.chance(3) else 0
        return self.add(source, kind, at, currency=currency, gross=gross, fee=fee, net=gross - fee + wrong, **values)


def draw_month(seed: int, orders: int) -> Month:
    """The month of a seed with so many orders."""
    month = Month(random.Random(seed))
    for number in range(orders):
        _draw_order(month, str(1001 + number))
    for _ in range(1 + orders // 3):
        month.dice.choice(_LOOSE_EVENTS)(month)
    return month


def _draw_lines(month: Month, currency: str) -> list[Row]:
    dice = month.dice
    lines = []
    for _ in range(dice.randint(1, 3)):
        quantity, price = dice.randint(1, 4), dice.choice((0, dice.randint(1, 300), dice.randint(300, 9999)))
        discount = dice.choice((0, 0, 0, dice.randint(0, quantity * price)))
        category = dice.choice(CATEGORIES)
        lines.append(
            {"sku": f"SKU-{dice.randint(1, 6)}", "category": category, "quantity": quantity, "unit_price": price,
             "line_discount": discount, "currency": currency}
        )  # fmt: skip
    return lines


def _draw_order(month: Month, order_id: str) -> None:
    dice = month.dice
    currency = dice.choice(("USD", "USD", "USD", "EUR", "EUR", "JPY", "KWD"))
    lines = _draw_lines(month, currency)
    goods = sum(line["quantity"] * line["unit_price"] - line["line_discount"] for line in lines)
    taxable = sum(
        line["quantity"] * line["unit_price"] - line["line_discount"]
        for line in lines
        if line["category"] != "Gift card"
    )
    shipping, tip = dice.choice((0, dice.randint(1, 1500))), dice.choice((0, 0, dice.randint(1, 500)))
    discount = dice.choice((0, 0, dice.randint(0, goods)))
    tax = dice.choice((0, dice.randint(0, (taxable + shipping) // 4)))
    inclusive = month.chance(30)
    total = goods - discount + shipping + tip + (0 if inclusive else tax)
    if month.chance(5):
        total = max(0, total + dice.choice((-100, 1, 250)))
    elif month.chance(5) and total > tax:
        lines = [{**lines[0], "category": "Mugs", "unit_price": None, "line_discount": 0, "quantity": 1}]
        shipping = tip = discount = 0
    country, region = dice.choice(REGIONS)
    head = {
        "order_id": order_id, "placed_at": month.moment(), "order_discount": discount, "shipping_charged": shipping,
        "tip": tip, "tax": tax, "total": total, "prices_include_tax": "true" if inclusive else "false",
        "gift_card_paid": dice.randint(0, total) if month.chance(15) else 0, "ship_country": country,
        "ship_region": region,
        "tax_jurisdiction": "GB-VAT" if month.chance(10) else "",
        "tax_collected_by": dice.choice(("", "shop", "marketplace")), "payment_ref": f"pay-{order_id}",
    }  # fmt: skip
    _draw_money(month, head, currency)
    month.rows["shop"] += [{**head, **line} for line in lines]
    for _ in range(dice.choice((0, 1, 1, 2))):
        _draw_making(month, order_id, head["placed_at"])


def _references(month: Month, order_id: str) -> Row:
    """How a processor refers to an order: by its number in some writing, or by the payment only."""
    texts = (order_id, f"#{order_id}", f" {order_id} ", f"SO-{order_id}", "")
    return {"order_ref": month.dice.choice(texts), "payment_ref": f"pay-{order_id}", "_order": order_id}


def _draw_money(month: Month, head: Row, currency: str) -> None:
    """Payment, refunds and dispute of an order, on the euro processor where it is in euros and chance says so."""
    dice, due, known = month.dice, head["total"] - head["gift_card_paid"], _references(month, head["order_id"])
    day = int(head["placed_at"][8:10])
    source = "euro-processor" if currency == "EUR" and month.chance(50) else "card-processor"
    held = "EUR" if source == "euro-processor" else "USD"
    rate = 1 if held == currency else dice.choice((2, 3, 7))

    def pay(kind: str, amount: int, fee: int) -> None:
        foreign = {} if held == currency else {"charged_currency": currency, "charged_amount": amount}
        # A refund in another currency than the balance's goes back at another rate than the payment came at.
        gross = amount * (rate + (1 if foreign and kind == "refund" else 0))
        month.pay(source, kind, month.moment(day), gross, fee, **foreign, **known)

    paid = 0
    if due and month.chance(92):
        paid = due if month.chance(85) else dice.choice((dice.randint(1, due), due + dice.randint(1, 900), 2 * due))
        first = dice.randint(1, paid) if month.chance(10) else paid
        for amount in (first, paid - first):
            if amount:
                pay("charge", amount, dice.randint(0, 90))
    refunds: list[int] = []
    if paid and month.chance(35):
        for _ in range(dice.choice((1, 1, 2))):
            left = max(paid - sum(refunds), 0)
            amount = dice.choice((left, max(paid - due, 0), dice.randint(0, left), dice.randint(0, left), left + 50))
            if amount and (left or not refunds):
                refunds.append(amount)
                pay("refund", -amount, dice.choice((0, 0, -dice.randint(1, 90))))
    given = dice.randint(1, head["total"]) if head["total"] and month.chance(6) else 0
    if given:
        head["refunded_to_gift_card"] = given
    _draw_stated_split(month, head, sum(refunds) + given)
    if paid and not refunds and month.chance(10):
        pay("dispute", -paid, dice.choice((0, 1500)))
        known["_lost"] = paid * rate
        outcome = dice.choice(("open", "won", "lost"))
        if outcome == "won":
            month.pay(source, "dispute_won", "2031-04-29T10:00:00", paid * rate, dice.choice((0, -1500)), **known)
        elif outcome == "lost":
            month.pay(source, "dispute_lost", "2031-04-29T11:00:00", 0, 0, **known)


def _draw_stated_split(month: Month, head: Row, refunded: int) -> None:
    """The shop's own split of all refunds: true, of another sum, or none; parts are within what was charged."""
    if not refunded or month.chance(50):
        return
    shipping, tip, tax = (
        month.dice.randint(0, head[name]) for name in ("shipping_charged", "tip", "tax")
    )  # fmt: skip
    if head["prices_include_tax"] == "true":
        shipping = 0
    items = refunded - shipping - tip - tax + (1 if month.chance(20) else 0)
    if items >= 0:
        head |= {"refunded_items": items, "refunded_shipping": shipping, "refunded_tip": tip, "refunded_tax": tax}


def _draw_making(month: Month, order_id: str, placed_at: str) -> None:
    dice = month.dice
    day = int(placed_at[8:10])
    reference = dice.choice((order_id, f"#{order_id}", f"{order_id}-2"))
    known = {"order_ref": reference, "_order": order_id, "currency": "USD"}
    making, sending, tax = (
        dice.randint(1, 3000),
        dice.choice((0, dice.randint(1, 900))),
        dice.choice((0, dice.randint(1, 99))),
    )
    off = dice.choice((0, dice.randint(0, making)))
    total = making + sending + tax - off
    parts = {"production": making, "shipping": sending, "tax": tax, "discount": off}
    if month.chance(10):
        parts = {}
    elif month.chance(3):
        total += 5
    reason = dice.choice(("order", "", "ORDER ")) if month.chance(85) else "reprint"
    month.add("fulfilment-wallet", "charge", month.moment(day), reason=reason, total=total, **parts, **known)
    for _ in range(dice.choice((1, 1, 2)) if reason != "reprint" and month.chance(15) else 0):
        back = dice.randint(1, total)
        split = {"production": back} if month.chance(40) else {}
        month.add(
            "fulfilment-wallet",
            "credit",
            month.moment(day),
            reason=dice.choice(("order", "")),
            total=back,
            **split,
            **known,
        )


def _stray_payment(month: Month) -> None:
    number = month.dice.randint(9001, 9099)
    amount = month.dice.randint(1, 9999) * month.dice.choice((1, 1, -1))
    month.pay(
        "card-processor", "charge" if amount > 0 else "refund", month.moment(), amount, month.dice.randint(0, 50),
        order_ref=f"#{number}", payment_ref=f"pay-{number}",
    )  # fmt: skip


def _stray_making(month: Month) -> None:
    making = month.dice.randint(1, 3000)
    month.add(
        "fulfilment-wallet", "charge", month.moment(), order_ref=str(month.dice.randint(9101, 9199)), reason="order",
        production=making, shipping=100, total=making + 100, currency="USD",
    )  # fmt: skip


def _cost_by_reason(month: Month) -> None:
    kind, reason = month.dice.choice(("charge", "fee")), month.dice.choice(REASONS)
    month.add(
        "fulfilment-wallet", kind, month.moment(), reason=reason, total=month.dice.randint(1, 5000), currency="USD"
    )


def _stray_credit(month: Month) -> None:
    reason = month.dice.choice(("sample", ""))
    month.add(
        "fulfilment-wallet", "credit", month.moment(), reason=reason, total=month.dice.randint(1, 900), currency="USD"
    )


def _fee(month: Month) -> None:
    amount, source = month.dice.randint(1, 900), month.dice.choice(("card-processor", "euro-processor"))
    gross, fee = month.dice.choice(((-amount, 0), (0, amount)))
    month.pay(source, "fee", month.moment(), gross, fee)


def _adjustment(month: Month) -> None:
    memo = month.dice.choice(("an account fee", "who knows"))
    month.pay("card-processor", "adjustment", month.moment(), month.dice.randint(-900, 900), memo=memo)


def _reserve(month: Month) -> None:
    amount = month.dice.randint(1, 9000)
    month.pay("card-processor", "reserve_hold", month.moment(), -amount)
    if month.chance(50):
        month.pay("card-processor", "reserve_release", month.moment(), amount)


def _withheld(month: Month) -> None:
    month.pay("card-processor", "tax_withheld", month.moment(), -month.dice.randint(1, 900))


def _conversion(month: Month) -> None:
    at, reference = month.moment(), f"conv-{len(month.moments)}"
    sold = month.dice.randint(100, 90000)
    pair = {"payment_ref": reference, "_pair": month.chance(80)}
    month.pay("euro-processor", "conversion", at, -sold, month.dice.choice((0, 25)), **pair)
    if pair["_pair"]:
        bought = sold * 108 // 100
        month.pay("euro-processor", "conversion", at, bought, month.dice.choice((0, 30)), currency="USD", **pair)


def _line(month: Month, at: str, amount: int, memo: str, completes: Row | None = None) -> None:
    row = {"at": at[:10], "amount": amount, "currency": "USD", "memo": memo, "_completes": completes}
    month.rows["checking"].append(row)


def _payout(month: Month) -> None:
    dice, at = month.dice, month.moment()
    source = dice.choice(("card-processor", "card-processor", "euro-processor"))
    amount = 10 * dice.randint(10, 9999)
    reference = f"po-{source[:3]}-{len(month.moments)}"
    sent = month.pay(source, "payout", at, -amount, payout_id=reference)
    arrives = amount * 108 // 100 if source == "euro-processor" else amount + (0 if month.chance(90) else -3)
    if month.chance(75):
        _line(month, "2031-04-29", arrives, f"PAYOUT {reference.upper()}", sent)
        if month.chance(20):
            back = month.pay(source, "payout_returned", "2031-04-29T12:00:00", amount, payout_id=reference)
            _line(month, "2031-04-30", -arrives, f"RETURNED {reference}", back)


def _top_up(month: Month) -> None:
    amount, kind = 10 * month.dice.randint(10, 9999), month.dice.choice(("top_up", "top_up", "withdrawal"))
    row = month.add("fulfilment-wallet", kind, month.moment(), total=amount, currency="USD")
    if month.chance(75):
        _line(month, "2031-04-30", -amount if kind == "top_up" else amount, f"wallet {row['event_id']}", row)


def _bank_line(month: Month) -> None:
    memo = month.dice.choice(("monthly account fee", "STATE REVENUE return", "whatever"))
    at, amount = month.moment(), 10 * month.dice.randint(-900, 900) + 3
    for _ in range(month.dice.choice((1, 1, 2))):  # two lines may be alike in all that a bank says
        _line(month, at, amount, memo)


_LOOSE_EVENTS: tuple[Callable[[Month], None], ...] = (
    _stray_payment,
    _stray_making,
    _cost_by_reason,
    _stray_credit,
    _fee,
    _adjustment,
    _reserve,
    _withheld,
    _conversion,
    _payout,
    _payout,
    _top_up,
    _bank_line,
    _bank_line,
)


def texts(row: Row, kind: str) -> dict[str, str]:
    """A row as an export writes it: amounts as decimals of their currency, nothing of what only the drawer knows."""
    money = {entry.name for entry in KINDS[kind] if entry.type == MONEY}
    written = {}
    for name, value in row.items():
        if name.startswith("_") or value is None:
            continue
        currency = row["charged_currency"] if name == "charged_amount" else row["currency"]
        written[name] = format_amount(value, currency) if name in money else str(value)
    return written
