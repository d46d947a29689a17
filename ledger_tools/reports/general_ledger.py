"""The general ledger of a period: every posting, account by account, and what each account held before and after.

Amounts are minor units of their own currency. `value` is the same in the base currency, debit positive; it is None for
all postings of an event that lacks a rate, which no report in the base currency counts (see `valued`). Postings stand by
account, currency and day, then as in the journal: kind of event, source, event id.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from typing import NamedTuple

import duckdb

from ledger_tools.addresses import without_addresses
from ledger_tools.calendar import Period
from ledger_tools.reports.order_story import HAND_SOURCE, RULE_ORDER, event_title

#: Postings that are fetched at once while the ledger is walked.
_AT_ONCE = 50_000


class LedgerRow(NamedTuple):
    """One posting, or all of a day, kind and source; of `debit` and `credit` one is None; `balance` is what follows."""

    account: str
    currency: str
    day: datetime.date
    title: str
    memo: str | None
    order_id: str | None
    source: str
    event_id: str | None
    debit: int | None
    credit: int | None
    balance: int
    value: int | None


@dataclass(frozen=True)
class Activity:
    """One account and currency over the period; the balances are debit positive.

    Attributes:
        closing_value: the closing balance's worth in the base currency, of the events that have one.
    """

    account: str
    currency: str
    opening: int
    debits: int
    credits: int
    closing: int
    closing_value: int
    postings: int


@dataclass(frozen=True)
class GeneralLedger:
    """All accounts over a period; the postings are read anew each time that they are walked."""

    connection: duckdb.DuckDBPyConnection
    period: Period
    activity: tuple[Activity, ...]

    @property
    def count(self) -> int:
        """Number of postings in the period."""
        return sum(account.postings for account in self.activity)

    @property
    def debit_worth(self) -> int:
        """Worth of all closing balances that are debits, in the base currency."""
        return sum(max(account.closing_value, 0) for account in self.activity)

    @property
    def credit_worth(self) -> int:
        """Worth of all closing balances that are credits; the same, where every entry balances."""
        return sum(max(-account.closing_value, 0) for account in self.activity)

    def rows(self) -> Iterator[LedgerRow]:
        """Every posting of the period."""
        for account, code, day, rule, memo, order_id, source, event_id, amount, balance, value in self._walk(_ROWS):
            yield LedgerRow(
                account, code, day, event_title(rule), without_addresses(memo), order_id, source or HAND_SOURCE,
                event_id, amount if amount > 0 else None, -amount if amount <= 0 else None, balance, value,
            )  # fmt: skip

    def daily_rows(self) -> Iterator[LedgerRow]:
        """The postings of each day, kind of event and source summed, debits and credits apart."""
        for account, code, day, rule, source, is_debit, events, amount, balance, value in self._walk(_DAILY_ROWS):
            title = f"{event_title(rule)}, {events} posting(s)"
            debit, credit = (amount, None) if is_debit else (None, -amount)
            about = (account, code, day, title, None, None, source or HAND_SOURCE, None)
            yield LedgerRow(*about, debit, credit, balance, value)

    def count_daily_rows(self) -> int:
        """How many rows `daily_rows` has."""
        row = self.connection.execute(f"SELECT count(*) FROM ({_DAILY_ROWS})", self._days()).fetchone()
        assert row is not None
        return int(row[0])

    def _days(self) -> dict[str, datetime.date | None]:
        return {"first": self.period.first, "last": self.period.last}

    def _walk(self, query: str) -> Iterator[tuple]:  # type: ignore[type-arg]
        result = self.connection.execute(query, self._days())
        while rows := result.fetchmany(_AT_ONCE):
            yield from rows


#: SQL relation: the postings up to `$last`, with a value only where the whole event has one.
_POSTINGS = """
    (SELECT * EXCLUDE (value),
            CASE WHEN event_no NOT IN (SELECT event_no FROM posting WHERE value IS NULL) THEN value END AS value
     FROM posting WHERE ($last IS NULL OR posted_on <= $last))
"""

_OPENING = """
    (SELECT account_no, currency, sum(amount)::BIGINT AS held FROM posting
     WHERE posted_on < $first GROUP BY account_no, currency)
"""

_ROWS = f"""
    SELECT account.name, leg.currency, leg.posted_on, event.rule, event.memo, head.order_id, source.name, event.event_id,
           leg.amount,
           (coalesce(opening.held, 0) + sum(leg.amount) OVER (
               PARTITION BY leg.account_no, leg.currency ORDER BY leg.posted_on, {RULE_ORDER}, source.name, event.event_id,
                        event.event_no, leg.leg, leg.amount ROWS UNBOUNDED PRECEDING))::BIGINT AS balance,
           leg.value
    FROM {_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
    LEFT JOIN source ON source.source_no = event.source_no
    LEFT JOIN order_head AS head ON head.order_no = leg.order_no
    LEFT JOIN {_OPENING} AS opening ON opening.account_no = leg.account_no AND opening.currency = leg.currency
    WHERE ($first IS NULL OR leg.posted_on >= $first)
    ORDER BY leg.account_no, leg.currency, leg.posted_on, {RULE_ORDER}, source.name, event.event_id, event.event_no,
             leg.leg, leg.amount
"""

_DAILY_ROWS = f"""
    SELECT account.name, told.currency, told.posted_on, told.rule, source.name, told.is_debit, told.events, told.amount,
           (coalesce(opening.held, 0) + sum(told.amount) OVER (
               PARTITION BY told.account_no, told.currency ORDER BY told.posted_on, told.place, source.name, told.is_debit DESC
               ROWS UNBOUNDED PRECEDING))::BIGINT AS balance,
           told.value
    FROM (
        SELECT leg.account_no, leg.currency, leg.posted_on, event.rule, {RULE_ORDER} AS place, event.source_no,
               leg.amount > 0 AS is_debit, count(*) AS events, sum(leg.amount)::BIGINT AS amount,
               sum(leg.value)::BIGINT AS value
        FROM {_POSTINGS} AS leg JOIN event USING (event_no)
        WHERE ($first IS NULL OR leg.posted_on >= $first) GROUP BY ALL
    ) AS told JOIN account USING (account_no)
    LEFT JOIN source ON source.source_no = told.source_no
    LEFT JOIN {_OPENING} AS opening ON opening.account_no = told.account_no AND opening.currency = told.currency
    ORDER BY told.account_no, told.currency, told.posted_on, told.place, source.name, told.is_debit DESC
"""

_ACTIVITY = f"""
    SELECT account.name, leg.currency,
           coalesce(sum(amount) FILTER (posted_on < $first), 0)::BIGINT,
           coalesce(sum(amount) FILTER (amount > 0 AND ($first IS NULL OR posted_on >= $first)), 0)::BIGINT,
           coalesce(-sum(amount) FILTER (amount <= 0 AND ($first IS NULL OR posted_on >= $first)), 0)::BIGINT,
           sum(amount)::BIGINT,
           coalesce(sum(value), 0)::BIGINT,
           count(*) FILTER ($first IS NULL OR posted_on >= $first)
    FROM {_POSTINGS} AS leg JOIN account USING (account_no)
    GROUP BY account_no, account.name, leg.currency ORDER BY account_no, leg.currency
"""


def report_general_ledger(connection: duckdb.DuckDBPyConnection, period: Period) -> GeneralLedger:
    """Every account that has been posted to by the end of a period, with what moved in it."""
    values = {"first": period.first, "last": period.last}
    rows = connection.execute(_ACTIVITY, values).fetchall()
    return GeneralLedger(connection, period, tuple(Activity(*row) for row in rows))
