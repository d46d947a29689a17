"""Statement of owner's equity: from what the business was worth at the start of a period to what it is at its end.

Amounts are minor units of the base currency, positive where they add to equity: draws are negative.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.calendar import Period
from ledger_tools.money import format_amount
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency


@dataclass(frozen=True)
class OwnerEquity:
    """Movements of equity in a period.

    Attributes:
        opening: equity at the end of the day before the period, earnings of all time up to then included.
        other: account and amount of what else moved, such as balances taken over at the start of the books.
    """

    period: Period
    currency: str
    opening: int
    net_income: int
    contributions: int
    draws: int
    other: tuple[tuple[str, int], ...]

    @property
    def closing(self) -> int:
        """Equity at the end of the period: the balance sheet's total of that day."""
        return (
            self.opening + self.net_income + self.contributions + self.draws + sum(amount for _, amount in self.other)
        )

    def as_json(self) -> dict[str, Any]:
        """The statement with decimal texts."""
        names = ("opening", "net_income", "contributions", "draws", "closing")
        figures = {name: format_amount(getattr(self, name), self.currency) for name in names}
        other = [{"account": name, "amount": format_amount(amount, self.currency)} for name, amount in self.other]
        return {"period": self.period.as_json(), "currency": self.currency, **figures, "other": other}


def report_owner_equity(connection: duckdb.DuckDBPyConnection, period: Period) -> OwnerEquity:
    """What the owner's equity was, what moved it in the period, and what it is."""
    rows = connection.execute(
        f"""SELECT account.name, role, coalesce(-sum(value) FILTER (posted_on < $first), 0)::BIGINT,
                   coalesce(-sum(value) FILTER ($first IS NULL OR posted_on >= $first), 0)::BIGINT
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
            WHERE regexp_matches(account.name, '^(Equity|Income|Expenses):') AND ($last IS NULL OR posted_on <= $last)
            GROUP BY account_no, account.name, role ORDER BY account_no""",
        {"first": period.first, "last": period.last},
    ).fetchall()
    moved = dict.fromkeys(("net_income", "owner_contributions", "owner_draws"), 0)
    other = []
    for name, role, _, amount in rows:
        kind = role if name.startswith("Equity:") else "net_income"
        if kind in moved:
            moved[kind] += int(amount)
        elif amount:
            other.append((str(name), int(amount)))
    return OwnerEquity(
        period,
        base_currency(connection),
        sum(int(before) for _, _, before, _ in rows),
        moved["net_income"],
        moved["owner_contributions"],
        moved["owner_draws"],
        tuple(other),
    )


def year_to(as_of: datetime.date) -> Period:
    """The calendar year of a day, up to it."""
    return Period(datetime.date(as_of.year, 1, 1), as_of)
