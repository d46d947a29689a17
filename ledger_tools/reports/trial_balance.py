"""Trial balance: the sums of what was posted, account by account and currency by currency.

Amounts are minor units of their own currency, debit positive. Rows stand in the order of the chart of accounts.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.money import format_amount
from ledger_tools.reports.balance_sheet import RETAINED_EARNINGS
from ledger_tools.reports.valued import base_currency


@dataclass(frozen=True)
class TrialRow:
    """Balance of one account in one currency, debit positive; `value` is its worth in the base currency where known."""

    account: str
    currency: str
    balance: int
    value: int | None


@dataclass(frozen=True)
class TrialBalance:
    """Balances of all accounts that are not zero.

    Attributes:
        empty_rows: accounts that hold nothing and yet have a worth in the base currency: exchange differences that are
            not posted yet.
    """

    as_of: datetime.date | None
    currency: str
    rows: tuple[TrialRow, ...]
    empty_rows: tuple[TrialRow, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it."""
        return {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            "rows": [
                {"account": row.account, "currency": row.currency, "balance": format_amount(row.balance, row.currency)}
                for row in self.rows
            ],
        }


def report_trial_balance(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> TrialBalance:
    """Sums of the amounts posted up to a day."""
    rows = connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT,
                  CASE WHEN coalesce(sum(amount) FILTER (value IS NULL), 0) = 0 THEN coalesce(sum(value), 0)::BIGINT END
           FROM posting JOIN account USING (account_no)
           WHERE ($as_of IS NULL OR posted_on <= $as_of)
           GROUP BY account_no, account.name, currency HAVING sum(amount) <> 0 OR sum(value) <> 0 ORDER BY account_no, currency""",
        {"as_of": as_of},
    ).fetchall()
    told = [TrialRow(*row) for row in rows]
    return TrialBalance(
        as_of,
        base_currency(connection),
        tuple(row for row in told if row.balance),
        tuple(row for row in told if not row.balance),
    )


def close_results(connection: duckdb.DuckDBPyConnection, report: TrialBalance) -> TrialBalance:
    """The trial balance after closing: income, expenses and the owner's draws have gone to retained earnings.

    What they are worth in the base currency moves; an amount whose worth is not known stays where it is.
    """
    draws = {
        str(name) for (name,) in connection.execute("SELECT name FROM account WHERE role = 'owner_draws'").fetchall()
    }

    def is_closed(row: TrialRow) -> bool:
        is_result = row.account.startswith(("Income:", "Expenses:")) or row.account in draws
        return row.value is not None and (is_result or row.account == RETAINED_EARNINGS)

    rows = (*report.rows, *report.empty_rows)
    earned = sum(row.value or 0 for row in rows if is_closed(row))
    kept = [row for row in report.rows if not is_closed(row)]
    if earned:
        kept.append(TrialRow(RETAINED_EARNINGS, report.currency, earned, earned))
    return TrialBalance(
        report.as_of, report.currency, tuple(kept), tuple(row for row in report.empty_rows if not is_closed(row))
    )
