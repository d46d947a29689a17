"""Gross receipts as a payment processor reports them on an information return, reconciled with the books' revenue.

Amounts are minor units of the base currency. The gross amount is what customers were charged, by the processor's own day
of the charge: before fees, refunds, discounts given later and payouts, with shipping, sales tax and gift cards sold. It is
no income and no tax base. From it, line by line, to the revenue of the income statement. The books post a charge that came
after its month was closed in a later month; two lines tell what this moves into the period and out of it, and all further
lines are sums over what is posted in the period.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount, parse_amount
from ledger_tools.posting.rules import BY_PERSON
from ledger_tools.reports.sales_tax_entries import last_day
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.tax_data import listed
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency
from ledger_tools.store import within_period


@dataclass(frozen=True)
class Receipts:
    """What one processor charged customers.

    Attributes:
        currency: of the balance that the processor holds; the amounts are in the base currency all the same.
        months: (first day of the month that the processor dates them in, gross amount, number of payments), only months with
            any.
    """

    processor: str
    currency: str
    months: tuple[tuple[datetime.date, int, int], ...]

    @property
    def gross(self) -> int:
        """Gross amount of all months."""
        return sum(amount for _, amount, _ in self.months)

    @property
    def transactions(self) -> int:
        """Number of payments; refunds are none."""
        return sum(count for _, _, count in self.months)


@dataclass(frozen=True)
class Step:
    """One line of the reconciliation: its name for programs, its words, and what it adds to the lines above it."""

    name: str
    words: str
    amount: int


@dataclass(frozen=True)
class ReportingRule:
    """When a processor has to report: over an amount (minor units) and over a number of payments, both."""

    kind: str
    from_year: int
    amount_over: int
    transactions_over: int
    as_of: str
    source: str

    def is_met(self, receipts: Receipts) -> bool:
        """Whether the year's receipts are over both figures."""
        return receipts.gross > self.amount_over and receipts.transactions > self.transactions_over


@dataclass(frozen=True)
class GrossReceipts:
    """Receipts by processor and month, and the way from their sum to the revenue.

    Attributes:
        steps: the first is the gross receipts; their sum is the revenue.
        revenue: of the income statement, computed apart.
        rules: reporting rules that hold in the period's last year, as far as they are on file.
    """

    period: Period
    currency: str
    receipts: tuple[Receipts, ...]
    steps: tuple[Step, ...]
    revenue: int
    rules: tuple[ReportingRule, ...]

    @property
    def difference(self) -> int:
        """What the lines leave unexplained; zero when all is well."""
        return self.revenue - sum(step.amount for step in self.steps)

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""

        def text(amount: int) -> str:
            return format_amount(amount, self.currency)

        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "processors": [
                {
                    "processor": each.processor,
                    "balance_currency": each.currency,
                    "gross": text(each.gross),
                    "transactions": each.transactions,
                    "months": [
                        {"month": f"{month:%Y-%m}", "gross": text(amount), "transactions": count}
                        for month, amount, count in each.months
                    ],
                    "reported_under": [rule.kind for rule in self.rules if rule.is_met(each)],
                }
                for each in self.receipts
            ],
            "reconciliation": [
                {"line": step.name, "words": step.words, "amount": text(step.amount)} for step in self.steps
            ],
            "revenue": text(self.revenue),
            "difference": text(self.difference),
        }


_POSTED = within_period("leg.posted_on")
_CHARGED = within_period("charge.charged_on")

#: SQL relation: what is posted of charges up to `$as_of`, with the day that the processor gives them.
_CHARGES = f"""(
    SELECT event_no, source_no, event_id, leg.posted_on, coalesce(belongs_on, leg.posted_on) AS charged_on, -value AS amount
    FROM {VALUED_POSTINGS} AS leg JOIN event USING (event_no) JOIN account USING (account_no)
    WHERE rule = 'charge' AND role = 'clearing' AND ($as_of IS NULL OR leg.posted_on <= $as_of)
)"""

#: A charge that changed after its month was closed has several entries and is one payment; none where they cancel out.
_RECEIPTS = f"""
    SELECT source.name, source.currency, month, sum(amount)::BIGINT, count(*) FILTER (amount <> 0)
    FROM (
        SELECT source_no, date_trunc('month', charged_on)::DATE AS month, event_id, sum(amount) AS amount
        FROM {_CHARGES} AS charge WHERE {_CHARGED} GROUP BY ALL
    ) JOIN source USING (source_no) GROUP BY ALL HAVING bool_or(amount <> 0) ORDER BY 1, 3
"""

#: What each line of the reconciliation adds, over the entries of the period. A sale's income is what its other legs are, so
#: its clearing leg is taken back to the charges: paid in this period, in another, or not at all.
_STEPS = f"""
    WITH leg AS (
        SELECT leg.*, rule, role, account.name LIKE 'Income:%' AS is_income
        FROM {VALUED_POSTINGS} AS leg JOIN event USING (event_no) JOIN account USING (account_no) WHERE {_POSTED}
    ), dated AS (
        SELECT amount, {_CHARGED} AS is_charged, {within_period("charge.posted_on")} AS is_posted
        FROM {_CHARGES} AS charge
), charged AS (
        SELECT order_no, -sum(value) AS amount FROM leg WHERE rule = 'charge' AND role = 'clearing' GROUP BY order_no
    ), sold AS (
        SELECT order_no, sum(value) AS amount FROM leg WHERE rule = 'sale' AND role = 'clearing' GROUP BY order_no
    ), by_order AS (
        SELECT CASE WHEN charged.order_no IS NULL AND sold.order_no IS NULL THEN 'unknown'
                    WHEN charged.amount IS NULL THEN 'not_charged'
                    WHEN sold.amount IS NULL THEN 'other' ELSE 'both' END AS kind,
               coalesce(sold.amount, 0) - coalesce(charged.amount, 0) AS amount
        FROM charged FULL JOIN sold ON charged.order_no = sold.order_no
    )
    SELECT coalesce((SELECT sum(amount) FROM dated WHERE is_charged), 0)::BIGINT AS gross,
           coalesce((SELECT sum(amount) FROM dated WHERE is_posted AND NOT is_charged), 0)::BIGINT AS charged_before,
           coalesce((SELECT -sum(amount) FROM dated WHERE is_charged AND NOT is_posted), 0)::BIGINT AS posted_after,
           {
    ", ".join(
        f"coalesce((SELECT sum(amount) FROM by_order WHERE kind = '{kind}'), 0)::BIGINT AS {kind}"
        for kind in ("other", "unknown", "not_charged", "both")
    )
},
           coalesce(sum(value) FILTER (rule = 'sale' AND NOT is_income AND role = 'gift_cards' AND value > 0), 0)::BIGINT,
           coalesce(sum(value) FILTER (rule = 'sale' AND NOT is_income AND role = 'gift_cards' AND value < 0), 0)::BIGINT,
           coalesce(sum(value) FILTER (rule = 'sale' AND NOT is_income AND role = 'sales_tax'), 0)::BIGINT,
           coalesce(sum(value) FILTER (rule = 'sale' AND NOT is_income AND role = 'marketplace_tax'), 0)::BIGINT,
           coalesce(sum(value) FILTER (rule = 'sale' AND NOT is_income
               AND role NOT IN ('clearing', 'gift_cards', 'sales_tax', 'marketplace_tax')), 0)::BIGINT,
           coalesce(-sum(value) FILTER (rule IN ('refund', 'refund_to_gift_card') AND is_income), 0)::BIGINT,
           coalesce(-sum(value) FILTER (rule IN {BY_PERSON!r} AND is_income), 0)::BIGINT,
           coalesce(-sum(value) FILTER (rule NOT IN ('sale', 'refund', 'refund_to_gift_card')
               AND rule NOT IN {BY_PERSON!r} AND is_income), 0)::BIGINT
    FROM leg
"""

#: Names and words of the lines, in the order in which the query gives their amounts.
_LINES = (
    ("gross_receipts", "gross receipts: what customers were charged"),
    ("charged_before_the_period", "plus charged in closed months before, posted in this period"),
    ("posted_after_the_period", "less charged in this period, posted after its close"),
    ("charged_for_other_periods", "less charged for orders placed in other periods"),
    ("charged_without_order", "less charged where no order is known"),
    ("not_charged_in_period", "plus orders placed and not charged in the period"),
    ("charged_more_or_less", "plus what orders total beyond their charges"),
    ("gift_cards_used", "plus paid with gift cards"),
    ("gift_cards_sold", "less gift cards sold"),
    ("sales_tax", "less sales tax that the shop collects"),
    ("marketplace_tax", "less sales tax that a marketplace collects"),
    ("not_income", "plus what does not add up, or is no income account"),
    ("returns", "less refunded to customers, without tax"),
    ("by_hand", "plus income entered by hand or by a rule"),
    ("month_end", "plus month-end entries"),
)


def report_gross_receipts(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> GrossReceipts:
    """Receipts of a period by processor and month, and each line that leads from them to the revenue.

    A charge of the period that is posted after it counts all the same, where it is known by `as_of`.
    """
    last = last_day(period, as_of)
    ends: dict[str, datetime.date | None] = {"first": period.first, "last": last, "as_of": as_of}
    found: dict[tuple[str, str], list[tuple[datetime.date, int, int]]] = {}
    for processor, held, month, amount, count in connection.execute(_RECEIPTS, ends).fetchall():
        found.setdefault((processor, held), []).append((month, amount, count))
    amounts = connection.execute(_STEPS, ends).fetchone()
    assert amounts is not None
    steps = tuple(Step(name, words, amount) for (name, words), amount in zip(_LINES, amounts, strict=True))
    currency = base_currency(connection)
    return GrossReceipts(
        period,
        currency,
        tuple(Receipts(*key, tuple(months)) for key, months in found.items()),
        steps,
        report_income(connection, Period(period.first, last)).totals.revenue,
        _rules(last.year if last else None, currency),
    )


def _rules(year: int | None, currency: str) -> tuple[ReportingRule, ...]:
    """The rules on file that hold in a year, the latest of each kind; they are in US dollars and said of no other."""
    if year is None or currency != "USD":
        return ()
    latest: dict[str, ReportingRule] = {}
    for row in listed("information_return_rules.toml", "rule"):
        if row["from_year"] <= year:
            amount = parse_amount(row["amount_over"], currency)
            latest[row["kind"]] = ReportingRule(**{**row, "amount_over": amount})
    return tuple(latest.values())
