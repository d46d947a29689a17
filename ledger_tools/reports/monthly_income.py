"""The income statement's totals month by month, and the steps from revenue down to net income.

Amounts are minor units of the base currency, with the signs of the income statement.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.calendar import Period, month_end
from ledger_tools.reports.statements import IncomeStatement, IncomeTotals, report_income

#: Months that are shown at most, the last of them the one that is asked for.
MONTHS_SHOWN = 12


@dataclass(frozen=True)
class MonthIncome:
    """One month's totals; `month` is such as "2031-04"."""

    month: str
    totals: IncomeTotals


def report_months(connection: duckdb.DuckDBPyConnection, last: datetime.date) -> tuple[MonthIncome, ...]:
    """Income by month, for the months that have postings among the twelve that end with the day's."""
    earliest = datetime.date(last.year - 1, last.month, 1)
    rows = connection.execute(
        """SELECT DISTINCT date_trunc('month', posted_on)::DATE AS first FROM posting
           WHERE posted_on >= ? AND posted_on <= ? ORDER BY first""",
        [earliest, last],
    ).fetchall()
    return tuple(
        MonthIncome(f"{first:%Y-%m}", report_income(connection, Period(first, min(month_end(first), last))).totals)
        for (first,) in rows[-MONTHS_SHOWN:]
    )


@dataclass(frozen=True)
class IncomeStep:
    """One step on the way from revenue to net income, and where its mark stands in a chart.

    Attributes:
        amount: what the step takes (a cost, positive), or is (the two ends).
        base_above, above: the mark's part above zero: where it begins, and how far it reaches up from there.
        base_below, below: the part below zero likewise, reaching down.
    """

    name: str
    amount: int
    base_above: int
    above: int
    base_below: int
    below: int


#: Costs that have a step of their own; the smaller ones share the last.
COSTS_SHOWN = 7
OTHER_COSTS = "Other costs"


def _step(name: str, amount: int, start: int, end: int) -> IncomeStep:
    low, high = min(start, end), max(start, end)
    base_above, base_below = max(low, 0), min(high, 0)
    return IncomeStep(name, amount, base_above, max(high, 0) - base_above, base_below, min(low, 0) - base_below)


def list_steps(statement: IncomeStatement) -> tuple[IncomeStep, ...]:
    """From revenue, cost account by cost account, to net income; what adds (a credit, other income) is a step up."""
    costs = [row for row in statement.rows if row.section != "revenue" and row.amount]
    shown = sorted(costs, key=lambda row: (-abs(row.amount), row.account))[:COSTS_SHOWN]
    left = statement.totals.revenue
    steps = [_step("Revenue", left, 0, left)]
    for row in costs:
        if row in shown:
            steps.append(_step(row.account.partition(":")[2].replace(":", " "), row.balance, left, left - row.balance))
            left -= row.balance
    others = sum(row.balance for row in costs if row not in shown)
    if others:
        steps.append(_step(OTHER_COSTS, others, left, left - others))
        left -= others
    return (*steps, _step("Net income", left, 0, left))
