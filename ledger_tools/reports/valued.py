"""What reports in the base currency count: every event whose postings all have a value, and what had to be left out.

A foreign posting has no value where no exchange rate is known. The whole event is then left out, so that every report
in the base currency still balances and all of them count the same. `list_unvalued` says what is missing.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.store import read_fact

#: SQL relation with the columns of `posting`: the postings that reports in the base currency count.
VALUED_POSTINGS = """
    (SELECT * FROM posting WHERE event_no NOT IN (SELECT event_no FROM posting WHERE value IS NULL))
"""

#: SQL condition on `account`: it is one of income or expenses, so that it has a part in the net income.
IS_RESULT = "regexp_matches(account.name, '^(Income|Expenses):')"


@dataclass(frozen=True)
class Unvalued:
    """Events that no report in the base currency counts, for want of a rate of one currency.

    Attributes:
        first_day: the earliest day that a rate is needed for.
        is_frozen: a rate has come since, but that day's month was closed before; reports of it stay as they were, and the
            value is posted in the first open month.
    """

    currency: str
    events: int
    first_day: datetime.date
    is_frozen: bool = False


def base_currency(connection: duckdb.DuckDBPyConnection) -> str:
    """Base currency of the books."""
    currency = read_fact(connection, "currency")
    assert currency is not None, "a finished build states its currency"
    return currency


def list_unvalued(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> tuple[Unvalued, ...]:
    """What is left out for want of a rate, by currency, among the events dated up to a day.

    A record that was frozen without a value and taken out again by a prior-period entry is not left out: its rate came.
    """
    rows = connection.execute(
        """WITH unvalued AS (
               SELECT source_no, coalesce(event_id, event_no::VARCHAR) AS record, rule, posting.currency, account_no, sum(amount) AS amount,
                      count(DISTINCT event_no) AS events, min(coalesce(belongs_on, event.posted_on)) AS day
               FROM posting JOIN event USING (event_no)
               WHERE value IS NULL AND ($as_of IS NULL OR event.posted_on <= $as_of) GROUP BY ALL
           ), left_out AS (
               SELECT currency, max(events) AS events, min(day) AS day FROM unvalued
               WHERE amount <> 0 GROUP BY source_no, record, rule, currency
           )
           SELECT currency, sum(events)::BIGINT, min(day), (
               SELECT max(last_day) FROM closed_month) >= min(day) AND currency IN (SELECT currency FROM market_rate)
           FROM left_out GROUP BY currency ORDER BY currency""",
        {"as_of": as_of},
    ).fetchall()
    return tuple(Unvalued(str(currency), int(events), day, bool(frozen)) for currency, events, day, frozen in rows)
