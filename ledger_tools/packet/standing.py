"""Whether the months of a packet are closed: while one is open, every sheet and page says DRAFT."""

from __future__ import annotations

import datetime

import duckdb

from ledger_tools.calendar import Period, next_month
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.open_items import last_known_day
from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Standing
from ledger_tools.reports.valued import base_currency
from ledger_tools.store import read_fact


def list_closed_months(connection: duckdb.DuckDBPyConnection) -> frozenset[str]:
    """Months that are closed, such as "2031-04"."""
    return frozenset(str(month) for (month,) in connection.execute("SELECT month FROM closed_month").fetchall())


def list_months(first: datetime.date, last: datetime.date) -> tuple[str, ...]:
    """Every month from that of one day to that of another, such as "2031-04"."""
    day, months = first.replace(day=1), []
    while day <= last:
        months.append(f"{day:%Y-%m}")
        day = next_month(day)
    return tuple(months)


def find_standing(connection: duckdb.DuckDBPyConnection, period: Period, name: str) -> Standing:
    """What a packet of a period is of, and which of its months are open; months before the books began don't count.

    Raises:
        LedgerError: the books hold nothing of the period.
    """
    assert period.first is not None
    assert period.last is not None
    known = last_known_day(connection)
    row = connection.execute("SELECT min(posted_on) FROM posting").fetchone()
    begun = row[0] if row else None
    if known is None or begun is None or known < period.first or period.last < begun:
        span = f"go from {begun} to {known}" if begun else "are empty"
        raise LedgerError(
            Problem(f"period {name}", f"is not in the books, which {span}", "import the exports of these days first")
        )
    closed = list_closed_months(connection)
    months = tuple(month for month in list_months(max(period.first, begun), period.last) if month not in closed)
    shop = harmless(read_fact(connection, "name") or "")
    return Standing(shop, base_currency(connection), name, period.first, min(period.last, known), months)
