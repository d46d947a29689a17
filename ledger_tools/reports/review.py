"""What moved most in a month: income and expense accounts against the month before and the same month a year ago.

Amounts are minor units of the base currency, income positive, expenses positive.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.calendar import Period, month_end
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.valued import VALUED_POSTINGS

#: How many accounts are named for each comparison, and how many orders or events for each account.
_ACCOUNTS, _NAMED = 3, 3


@dataclass(frozen=True)
class Mover:
    """An account that moved: its amount, that of the other month, and the orders and events that made most of it."""

    account: str
    amount: int
    before: int
    compared_with: str
    by: tuple[str, ...]


def list_movers(connection: duckdb.DuckDBPyConnection, month: Period) -> tuple[Mover, ...]:
    """The accounts that moved most against the month before, then against the same month a year ago."""
    assert month.first is not None
    first = month.first
    before = first - datetime.timedelta(days=1)
    movers: list[Mover] = []
    others = [Period(before.replace(day=1), before)]
    if first.year > 1:
        year_ago = first.replace(year=first.year - 1)
        others.append(Period(year_ago, month_end(year_ago)))
    for other in others:
        assert other.first is not None
        report = report_income(connection, month, other)
        if not any(row.compared for row in report.rows):
            continue
        rows = sorted(report.rows, key=lambda row: (-abs(row.amount - (row.compared or 0)), row.account))
        for row in rows[:_ACCOUNTS]:
            if row.amount != row.compared:
                named = _largest(connection, month, row.account)
                movers.append(Mover(row.account, row.amount, row.compared or 0, f"{other.first:%Y-%m}", named))
    return tuple(movers)


def _largest(connection: duckdb.DuckDBPyConnection, month: Period, account: str) -> tuple[str, ...]:
    rows = connection.execute(
        f"""SELECT CASE WHEN head.order_id IS NOT NULL THEN 'order ' || head.order_id ELSE event.event_id END AS name
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
            LEFT JOIN order_head AS head ON head.order_no = event.order_no
            WHERE account.name = ? AND leg.posted_on BETWEEN ? AND ?
            GROUP BY 1 ORDER BY abs(sum(value)) DESC, 1 LIMIT ?""",
        [account, month.first, month.last, _NAMED],
    ).fetchall()
    return tuple(str(row[0]) for row in rows)
