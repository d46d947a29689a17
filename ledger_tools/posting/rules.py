"""The posting rules, as values: for each event its debit and credit lines.

A rule reads one row of a facts table for each event. The amount of a line is an SQL expression over that row, in minor
units of the line's currency, debit positive; a line whose amount is zero is left out. The same values are compiled to
SQL, printed as the posting table of the docs, and drive the tests. Lines of an event sum to zero.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Line:
    """One debit or credit of an entry.

    Attributes:
        role: the account's role (`accounts.ROLES`), or `rule` / `reason` for an account that the settings name.
        amount: SQL expression over the facts row; a debit is positive.
        words: the amount in words, for the docs; a leading "Cr" marks what is usually a credit.
        parameter: SQL expression of the role's parameter (source, category, jurisdiction …).
        currency: SQL expression of the line's currency.
        facts: another facts table with rows of the same event, for lines that an event can have many of.
    """

    role: str
    amount: str
    words: str
    parameter: str = "NULL"
    currency: str = "currency"
    facts: str | None = None


@dataclass(frozen=True)
class Rule:
    """What one kind of event posts.

    Attributes:
        name: short name, kept with each event.
        title: what the journal calls the entry.
        facts: the facts table that it reads.
        when: SQL condition on the facts row.
        lines: the entry's lines. A closed month is frozen with their numbers: a new line goes to the end.
    """

    name: str
    title: str
    facts: str
    lines: tuple[Line, ...]
    when: str = "true"


_SOURCE = "source_name"

#: Entries of a person's decisions about open items.
DECISION = "decision"

_PROCESSOR = Line("processor", "net", "change of the balance", _SOURCE)
_FEE = Line("processing_fees", "fee", "fee")
_DISPUTE_FEE = Line("dispute_fees", "fee", "fee")
_ODD = Line("suspense", "difference", "what does not add up")

_EXCHANGE = Line("exchange_differences", "-exchange", "Cr what a foreign amount brought more than it was worth")

_SALE = (
    Line("clearing", "total - gift_card_paid", "total less gift card"),
    Line("gift_cards", "gift_card_paid", "gift card used"),
    Line("discounts", "discounts", "discounts"),
    Line("sales", "-amount", "Cr quantity × unit price, tax taken out", "category", facts="fact_sale_category"),
    Line("gift_cards", "-gift_cards_sold", "Cr gift cards sold"),
    Line("shipping_income", "-shipping_net", "Cr shipping charged"),
    Line("tips", "-tip", "Cr tip"),
    Line("sales_tax", "-tax_shop", "Cr tax that the shop collects", "jurisdiction"),
    Line("marketplace_tax", "-tax_marketplace", "Cr tax that a marketplace collects"),
    _ODD,
)

_REFUND = (
    Line("returns", "items", "items' part", currency="order_currency"),
    Line("returns", "shipping", "shipping's part", currency="order_currency"),
    Line("returns", "tip", "tip's part", currency="order_currency"),
    Line("gift_cards", "gift_cards", "gift cards' part", currency="order_currency"),
    Line("sales_tax", "tax_shop", "tax's part", "jurisdiction", "order_currency"),
    Line("marketplace_tax", "tax_marketplace", "tax's part", currency="order_currency"),
    Line("suspense", "excess", "more than the order held", currency="order_currency"),
)

_OVERPAID = Line("clearing", "overpaid", "what was paid beyond the order's total", currency="order_currency")

_WALLET = Line("wallet", "-total", "Cr total", _SOURCE)

RULES: tuple[Rule, ...] = (
    Rule("sale", "Sale", "fact_sale", _SALE),
    Rule(
        "charge",
        "Payment",
        "fact_processor",
        (
            _PROCESSOR,
            _FEE,
            Line("clearing", "-charged", "Cr gross, or what the customer paid", currency="charged_currency"),
            _ODD,
        ),
        "kind = 'charge'",
    ),
    Rule("refund", "Refund", "fact_refund", (*_REFUND, _FEE, _PROCESSOR, _ODD, _OVERPAID)),
    Rule(
        "refund_unknown",
        "Refund of an unknown order",
        "fact_processor",
        (
            Line("clearing", "-charged", "gross, or what the customer got", currency="charged_currency"),
            _FEE,
            _PROCESSOR,
            _ODD,
        ),
        "kind = 'refund' AND NOT split",
    ),
    Rule(
        "refund_to_gift_card",
        "Refund as gift card",
        "fact_gift_refund",
        (*_REFUND, Line("gift_cards", "-refunded", "Cr value of the card", currency="order_currency")),
    ),
    Rule(
        "dispute",
        "Dispute opened",
        "fact_processor",
        (Line("disputed", "-gross", "amount in dispute"), _DISPUTE_FEE, _PROCESSOR, _ODD),
        "kind = 'dispute'",
    ),
    Rule(
        "dispute_won",
        "Dispute won",
        "fact_processor",
        (
            _PROCESSOR,
            Line("disputed", "regained - gross - not_won", "Cr amount in dispute"),
            _DISPUTE_FEE,
            _ODD,
            Line("suspense", "not_won", "what was not given back of it"),
            Line("chargebacks", "-regained", "Cr what had been lost before"),
        ),
        "kind = 'dispute_won'",
    ),
    Rule(
        "dispute_lost",
        "Dispute lost",
        "fact_processor",
        (
            Line("chargebacks", "lost - gross", "amount lost"),
            Line("disputed", "-lost", "Cr amount in dispute"),
            _DISPUTE_FEE,
            _PROCESSOR,
            _ODD,
        ),
        "kind = 'dispute_lost'",
    ),
    Rule(
        "fee",
        "Processor's fee",
        "fact_processor",
        (Line("processing_fees", "-net", "fee"), _PROCESSOR),
        "kind = 'fee'",
    ),
    Rule(
        "adjustment",
        "Processor's adjustment",
        "fact_processor",
        (
            _PROCESSOR,
            _FEE,
            Line("rule", "CASE WHEN rule_no > 0 THEN -gross ELSE 0 END", "Cr by the user's rule", "rule_no::VARCHAR"),
            Line("suspense", "CASE WHEN rule_no > 0 THEN 0 ELSE -gross END", "Cr where no rule fits"),
            _ODD,
        ),
        "kind = 'adjustment'",
    ),
    Rule(
        "reserve",
        "Reserve held or released",
        "fact_processor",
        (Line("reserve", "-gross", "amount held; Cr when released", _SOURCE), _FEE, _PROCESSOR, _ODD),
        "kind IN ('reserve_hold', 'reserve_release')",
    ),
    Rule(
        "tax_withheld",
        "Tax withheld by the marketplace",
        "fact_processor",
        (Line("marketplace_tax", "-gross", "tax withheld"), _FEE, _PROCESSOR, _ODD),
        "kind = 'tax_withheld'",
    ),
    Rule(
        "payout",
        "Payout",
        "fact_processor",
        (Line("payouts_in_transit", "-gross", "amount paid out; Cr when returned"), _FEE, _PROCESSOR, _ODD),
        "kind IN ('payout', 'payout_returned')",
    ),
    Rule(
        "conversion",
        "Conversion",
        "fact_conversion",
        (
            Line("processor", "bought_net", "amount bought", _SOURCE, "bought_currency"),
            Line("processing_fees", "bought_fee", "fee", currency="bought_currency"),
            Line("processor", "sold_net", "Cr amount sold", _SOURCE),
            Line("processing_fees", "sold_fee", "fee"),
            Line("suspense", "sold_difference", "what does not add up"),
            Line("suspense", "bought_difference", "what does not add up", currency="bought_currency"),
        ),
    ),
    Rule(
        "conversion_single",
        "Conversion without its other half",
        "fact_processor",
        (_PROCESSOR, _FEE, Line("suspense", "-gross", "Cr the half that is missing"), _ODD),
        "kind = 'conversion' AND NOT paired",
    ),
    Rule(
        "fulfilment",
        "Fulfilment",
        "fact_wallet",
        (
            Line("production", "production_net", "production less discount"),
            Line("shipping_cost", "shipping", "shipping"),
            Line("supplier_tax", "tax_cost", "tax"),
            Line("recoverable_tax", "tax_recoverable", "tax that can be reclaimed", "recoverable_jurisdiction"),
            _ODD,
            _WALLET,
        ),
        "posting = 'fulfilment'",
    ),
    Rule(
        "wallet_cost",
        "Charge by reason",
        "fact_wallet",
        (Line("reason", "total - difference", "the account of its reason", "reason"), _ODD, _WALLET),
        "posting = 'reason'",
    ),
    Rule(
        "wallet_unknown",
        "Charge for an unknown reason",
        "fact_wallet",
        (Line("suspense", "total", "total"), _WALLET),
        "posting = 'unknown'",
    ),
    Rule(
        "wallet_credit",
        "Credit",
        "fact_credit",
        (
            Line("wallet", "total", "total", _SOURCE),
            Line("production", "-production", "Cr production's part"),
            Line("shipping_cost", "-shipping", "Cr shipping's part"),
            Line("supplier_tax", "-tax_cost", "Cr tax's part"),
            Line("recoverable_tax", "-tax_recoverable", "Cr tax's part", "recoverable_jurisdiction"),
            Line("reason", "-by_reason", "Cr the account of its reason", "reason"),
            Line("suspense", "-unknown", "Cr what no charge explains or does not add up"),
        ),
    ),
    Rule(
        "top_up",
        "Top-up",
        "fact_wallet",
        (Line("wallet", "total", "total", _SOURCE), Line("top_ups_in_transit", "-total", "Cr total")),
        "posting = 'top_up'",
    ),
    Rule(
        "withdrawal",
        "Withdrawal",
        "fact_wallet",
        (Line("top_ups_in_transit", "total", "total"), _WALLET),
        "posting = 'withdrawal'",
    ),
    Rule(
        "deposit",
        "Payout in the bank",
        "fact_bank",
        (
            Line("bank", "amount", "amount; Cr when returned", _SOURCE),
            Line("payouts_in_transit", "-moved", "Cr the payout", currency="moved_currency"),
            _EXCHANGE,
        ),
        "posting = 'payout'",
    ),
    Rule(
        "top_up_paid",
        "Top-up paid from the bank",
        "fact_bank",
        (
            Line("top_ups_in_transit", "-moved", "the top-up", currency="moved_currency"),
            Line("bank", "amount", "Cr amount", _SOURCE),
            _EXCHANGE,
        ),
        "posting = 'top_up'",
    ),
    Rule(
        "transfer",
        "Transfer between own accounts",
        "fact_bank",
        (
            Line("bank", "amount", "amount", _SOURCE),
            Line("transfers_in_transit", "-amount", "Cr amount, until the other account has it"),
        ),
        "posting = 'transfer'",
    ),
    Rule(
        "bank_rule",
        "Bank line",
        "fact_bank",
        (
            Line("bank", "amount", "amount", _SOURCE),
            Line("rule", "-amount", "Cr the account of the user's rule", "rule_no::VARCHAR"),
        ),
        "posting = 'rule'",
    ),
    Rule(
        "bank_unknown",
        "Bank line without a rule",
        "fact_bank",
        (Line("bank", "amount", "amount", _SOURCE), Line("suspense", "-amount", "Cr amount")),
        "posting = 'unknown'",
    ),
    Rule(
        DECISION,
        "Decision",
        "fact_decision",
        (
            Line("decided", "amount", "what was open", "account"),
            Line("decided", "-amount", "Cr what was open", "balance_account"),
        ),
    ),
)

#: Entries that a person writes in hand.beancount; they are read, not posted by a rule.
HAND = "hand"

#: Rules with lines on an account that a person named, which can be any: records say nothing of these lines.
BY_PERSON = (HAND, DECISION, "bank_rule", "adjustment", "wallet_cost")

TITLES = {rule.name: rule.title for rule in RULES}
