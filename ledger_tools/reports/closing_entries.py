"""What a close has posted: the month-end entries of a period with their reversals, and its prior-period entries.

Amounts are minor units of their own currency; `value` is the same in the base currency, debit positive, None for all
postings of an event that lacks a rate.
"""

from __future__ import annotations

import datetime
from collections import Counter
from dataclasses import dataclass
from typing import NamedTuple

import duckdb

from ledger_tools.calendar import Period
from ledger_tools.posting.month_end import MONTH_END_RULES, MONTH_END_TITLES
from ledger_tools.reports.order_story import HAND_SOURCE, event_title
from ledger_tools.store import within_period

_REVERSALS = frozenset(MONTH_END_TITLES[rule.reversal] for rule in MONTH_END_RULES)


class ClosingPosting(NamedTuple):
    """One line of such an entry; `belongs_on` is the day in a closed month that a prior-period entry belongs to."""

    day: datetime.date
    title: str
    belongs_on: datetime.date | None
    order_id: str | None
    source: str
    event_id: str
    account: str
    amount: int
    currency: str
    value: int | None

    @property
    def is_reversal(self) -> bool:
        """Whether the entry takes back a month-end entry of the month before."""
        return self.title in _REVERSALS


@dataclass(frozen=True)
class ClosingEntry:
    """One entry with its lines."""

    title: str
    rows: tuple[ClosingPosting, ...]

    @property
    def worth(self) -> int:
        """Worth of its debits in the base currency."""
        return sum(max(row.value or 0, 0) for row in self.rows)

    @property
    def moved(self) -> int:
        """What it moves from account to account; a balance that goes out and comes in again at another rate does not count."""
        by_account: Counter[str] = Counter()
        for row in self.rows:
            by_account[row.account] += row.value or 0
        return sum(amount for amount in by_account.values() if amount > 0)

    @property
    def credit_worth(self) -> int:
        """Worth of its credits in the base currency."""
        return sum(max(-(row.value or 0), 0) for row in self.rows)


@dataclass(frozen=True)
class ClosingEntries:
    """Lines by day, entry and place in it; the worth of all debits is that of all credits."""

    currency: str
    rows: tuple[ClosingPosting, ...]

    @property
    def debit_worth(self) -> int:
        """Worth of all debits in the base currency."""
        return sum(max(row.value or 0, 0) for row in self.rows)

    @property
    def credit_worth(self) -> int:
        """Worth of all credits in the base currency."""
        return sum(max(-(row.value or 0), 0) for row in self.rows)

    def by_weight(self) -> tuple[ClosingEntry, ...]:
        """The entries, those that take others back after all others, what moves most first."""
        grouped: dict[tuple[object, ...], list[ClosingPosting]] = {}
        for row in self.rows:
            grouped.setdefault((row.day, row.title, row.belongs_on, row.source, row.event_id), []).append(row)
        entries = [ClosingEntry(rows[0].title, tuple(rows)) for rows in grouped.values()]
        return tuple(sorted(entries, key=lambda entry: (entry.rows[0].is_reversal, -entry.moved)))


_ROWS = f"""
    SELECT leg.posted_on, event.rule, event.belongs_on, head.order_id, source.name, event.event_id, account.name,
           leg.amount, leg.currency,
           CASE WHEN leg.event_no NOT IN (SELECT event_no FROM posting WHERE value IS NULL) THEN leg.value END
    FROM posting AS leg JOIN event USING (event_no) JOIN account USING (account_no)
    LEFT JOIN source ON source.source_no = event.source_no
    LEFT JOIN order_head AS head ON head.order_no = event.order_no
    WHERE {within_period("leg.posted_on")} AND {{condition}}
    ORDER BY leg.posted_on, event.rule, source.name, event.event_id, event.event_no, leg.leg, account.account_no, leg.amount
"""

#: Which events each list holds.
_MONTH_END = "list_contains($rules::VARCHAR[], event.rule)"
_PRIOR_PERIOD = "event.belongs_on IS NOT NULL"


def _list(
    connection: duckdb.DuckDBPyConnection, period: Period, condition: str, **values: list[str]
) -> tuple[ClosingPosting, ...]:
    bound = {"first": period.first, "last": period.last, **values}
    return tuple(
        ClosingPosting(day, event_title(rule), belongs_on, order_id, source or HAND_SOURCE, *rest)
        for day, rule, belongs_on, order_id, source, *rest in connection.execute(
            _ROWS.format(condition=condition), bound
        ).fetchall()
    )


def list_month_end_entries(connection: duckdb.DuckDBPyConnection, period: Period, currency: str) -> ClosingEntries:
    """Month-end entries dated in a period, and the reversals of the month before."""
    return ClosingEntries(currency, _list(connection, period, _MONTH_END, rules=list(MONTH_END_TITLES)))


def list_prior_period_entries(connection: duckdb.DuckDBPyConnection, period: Period, currency: str) -> ClosingEntries:
    """Entries of a period that belong to a month which was closed before they came."""
    return ClosingEntries(currency, _list(connection, period, _PRIOR_PERIOD))


def list_months_before_month_end(connection: duckdb.DuckDBPyConnection, period: Period) -> tuple[str, ...]:
    """Months of a period with events and without month-end entries, as they are not closed, such as "2031-04"."""
    rows = connection.execute(
        f"""SELECT DISTINCT strftime(posted_on, '%Y-%m') AS month FROM event
            WHERE {within_period("posted_on")} AND month NOT IN (SELECT month FROM closed_month) ORDER BY month""",
        {"first": period.first, "last": period.last},
    ).fetchall()
    return tuple(str(month) for (month,) in rows)
