"""The figures of an order's profit, and the SQL that sums them from the postings.

All figures are minor units of the base currency. Items, shipping charged and tips are positive as credits; discounts,
returns, costs, fees and the tax that the shop collected are positive too, so that profit is plain arithmetic:

    net revenue = items - discounts + shipping charged + tips - returns
    direct cost = production + shipping + supplier tax + reprints, less credits
    payment cost = processing fees + dispute fees + chargebacks
    profit = net revenue - direct cost - payment cost - other costs; margin = profit / net revenue
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

from ledger_tools.accounts import OWN_RESULT, PROFIT_COLUMNS, ROLES, SALES_TAX_ROLE
from ledger_tools.money import format_amount, round_half_up
from ledger_tools.reports.valued import VALUED_POSTINGS

#: Columns whose accounts are credited; all others are debited.
CREDITED_COLUMNS = frozenset({"items", "shipping_charged", "tips", "tax_collected"})

#: Decimals of a margin.
_MARGIN_DIGITS = 4
_MARGIN_SCALE = 10**_MARGIN_DIGITS


class Figures(NamedTuple):
    """The profit columns of an order, a group or a report, in minor units of the base currency."""

    items: int = 0
    discounts: int = 0
    shipping_charged: int = 0
    tips: int = 0
    returns: int = 0
    production: int = 0
    shipping_cost: int = 0
    supplier_tax: int = 0
    reprints: int = 0
    processing_fees: int = 0
    dispute_fees: int = 0
    chargebacks: int = 0
    tax_collected: int = 0
    other_costs: int = 0

    @property
    def net_revenue(self) -> int:
        """What the sale brought, without tax and after returns."""
        return self.items - self.discounts + self.shipping_charged + self.tips - self.returns

    @property
    def direct_cost(self) -> int:
        """What making and sending cost, after credits."""
        return self.production + self.shipping_cost + self.supplier_tax + self.reprints

    @property
    def payment_cost(self) -> int:
        """What being paid cost."""
        return self.processing_fees + self.dispute_fees + self.chargebacks

    @property
    def profit(self) -> int:
        """Net revenue less direct and payment cost, and what a person posted to accounts of their own with the order's link."""
        return self.net_revenue - self.direct_cost - self.payment_cost - self.other_costs

    @property
    def margin(self) -> str | None:
        """Profit over net revenue with four digits, rounded half up; None where there is no net revenue."""
        return _ratio_text(self.profit, self.net_revenue)

    def as_json(self, currency: str) -> dict[str, str | None]:
        """The columns as reports print them, in their fixed order."""
        net_revenue, profit = self.net_revenue, self.profit
        texts = [_amount_text(amount, currency) for amount in self]
        revenue, earned = _amount_text(net_revenue, currency), _amount_text(profit, currency)
        values = (*texts[:5], revenue, *texts[5:12], earned, _ratio_text(profit, net_revenue), texts[12])
        told = dict(zip(FIGURE_NAMES, values, strict=True))
        return {**told, "other_costs": texts[13]} if self.other_costs else told


#: Amounts repeat a great deal from order to order, so their texts are kept.
_amount_text = lru_cache(maxsize=1 << 16)(format_amount)


def _ratio_text(part: int, whole: int) -> str | None:
    if not whole:
        return None
    scaled = round_half_up(part * _MARGIN_SCALE, whole)
    text = f"{abs(scaled) // _MARGIN_SCALE}.{abs(scaled) % _MARGIN_SCALE:0{_MARGIN_DIGITS}d}"
    return f"-{text}" if scaled < 0 else text


#: Names of what a report prints for each order, in this order.
FIGURE_NAMES = (
    *PROFIT_COLUMNS[:5],
    "net_revenue",
    *PROFIT_COLUMNS[5:],
    "profit",
    "margin",
    "tax_collected",
)

assert (*PROFIT_COLUMNS, "tax_collected", "other_costs") == Figures._fields


def add_figures(figures: Iterable[Figures]) -> Figures:
    """Column by column sum."""
    columns = zip(*figures, strict=True)
    return Figures(*(sum(column) for column in columns))


def roles_of_column(column: str) -> tuple[str, ...]:
    """Roles of the accounts that feed a column."""
    if column == "tax_collected":
        return (SALES_TAX_ROLE,)
    if column == "other_costs":
        return (OWN_RESULT,)
    return tuple(role.name for role in ROLES if role.profit_column == column)


def column_sums(value: str = "value", role: str = "role") -> str:
    """SQL select list: each column of `Figures` as the sum over its accounts, with the sign that makes it positive."""
    parts = []
    for column in Figures._fields:
        roles = ", ".join(f"'{name}'" for name in roles_of_column(column))
        sign = "-" if column in CREDITED_COLUMNS else ""
        parts.append(f"{sign}coalesce(sum({value}) FILTER ({role} IN ({roles})), 0)::BIGINT AS {column}")
    return ", ".join(parts)


#: SQL relation: the figures of each order that has postings up to `$as_of`.
ORDER_FIGURES = f"""
    (SELECT order_no, {column_sums()}
     FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
     WHERE order_no IS NOT NULL AND ($as_of IS NULL OR posted_on <= $as_of) GROUP BY order_no)
"""
