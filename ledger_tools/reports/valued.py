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
    """

    currency: str
    events: int
    first_day: datetime.date


def base_currency(connection: duckdb.DuckDBPyConnection) -> str:
    """Base currency of the books."""
    currency = read_fact(connection, "currency")
    assert currency is not None, "a finished build states its currency"
    return currency


def list_unvalued(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> tuple[Unvalued, ...]:
    """What is left out for want of a rate, by currency, among the events dated up to a day."""
    rows = connection.execute(
        """SELECT currency, count(DISTINCT event_no), min(posted_on) FROM posting
           WHERE value IS NULL AND ($as_of IS NULL OR posted_on <= $as_of) GROUP BY currency ORDER BY currency""",
        {"as_of": as_of},
    ).fetchall()
    return tuple(Unvalued(str(currency), int(events), day) for currency, events, day in rows)
