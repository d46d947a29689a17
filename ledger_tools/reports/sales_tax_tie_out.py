"""Identity 5: each jurisdiction's liability ties out, period by period and order by order.

    opening owed + collected - refunded - remitted ± adjusted ± revalued = closing owed = the account's balance

Amounts are minor units of the base currency, those of orders in the order's own. Movements are classified one by one from
the entries, the balance is the plain sum of the account, and what each order should have posted is read from its records,
so that the three are found apart. What does not fit is listed.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.accounts import SALES_TAX_ROLE
from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount
from ledger_tools.reports.sales_tax import TaxFigures, sum_days
from ledger_tools.reports.sales_tax_entries import (
    accounts_of_jurisdictions,
    last_day,
    list_days,
    tax_settings,
)
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency


@dataclass(frozen=True)
class TieOutRow:
    """One jurisdiction in one period; what is owed is positive."""

    jurisdiction: str
    account: str
    opening: int
    figures: TaxFigures
    balance: int

    @property
    def closing(self) -> int:
        """What the movements lead to."""
        return self.opening + self.figures.due - self.figures.remitted + self.figures.adjusted + self.figures.revalued

    @property
    def difference(self) -> int:
        """What the account holds beyond that; zero when all is well."""
        return self.balance - self.closing


@dataclass(frozen=True)
class Misfit:
    """An order whose records and entries disagree on the tax owed, in the order's currency, up to the period's end."""

    order_id: str
    jurisdiction: str
    currency: str
    recorded: int
    posted: int


@dataclass(frozen=True)
class TieOut:
    """The liability accounts of a period, and the orders that do not fit."""

    period: Period
    currency: str
    rows: tuple[TieOutRow, ...]
    misfits: tuple[Misfit, ...]

    @property
    def holds(self) -> bool:
        """Whether every account and every order ties out."""
        return not self.misfits and not any(row.difference for row in self.rows)

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""

        def told(row: TieOutRow) -> dict[str, str]:
            amounts = {
                "opening": row.opening,
                "collected": row.figures.collected,
                "refunded": row.figures.refunded,
                "remitted": row.figures.remitted,
                "adjusted": row.figures.adjusted,
                "revalued": row.figures.revalued,
                "closing": row.closing,
                "balance": row.balance,
                "difference": row.difference,
            }
            told_amounts = {name: format_amount(amount, self.currency) for name, amount in amounts.items()}
            return {"jurisdiction": row.jurisdiction, "account": row.account, **told_amounts}

        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "jurisdictions": [told(row) for row in self.rows],
            "misfits": [
                {
                    "order_id": misfit.order_id,
                    "jurisdiction": misfit.jurisdiction,
                    "currency": misfit.currency,
                    "recorded": format_amount(misfit.recorded, misfit.currency),
                    "posted": format_amount(misfit.posted, misfit.currency),
                }
                for misfit in self.misfits
            ],
        }


def tie_out(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> TieOut:
    """The proof for one period, seen as of a day."""
    return tie_out_each(connection, [Period(period.first, last_day(period, as_of))])[0]


def tie_out_each(connection: duckdb.DuckDBPyConnection, periods: Iterable[Period]) -> list[TieOut]:
    """The proof for several periods, from one reading of the books."""
    accounts = accounts_of_jurisdictions(connection, tax_settings(connection))
    days = list_days(connection, None)
    balances = connection.execute(
        f"""SELECT account.name, posted_on, -sum(value)::BIGINT FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
            WHERE account.name IN (SELECT unnest(?::VARCHAR[])) GROUP BY ALL""",
        [list(accounts)],
    ).fetchall()
    currency = base_currency(connection)
    found = []
    for period in periods:
        known = [day for day in days if period.last is None or day.day <= period.last]
        figures = sum_days(known, period.first)
        rows = []
        for account, jurisdiction in sorted(accounts.items(), key=lambda pair: pair[1]):
            opening = sum(
                day.change
                for day in known
                if day.jurisdiction == jurisdiction and period.first is not None and day.day < period.first
            )
            balance = sum(
                amount
                for name, day, amount in balances
                if name == account and (period.last is None or day <= period.last)
            )
            rows.append(TieOutRow(jurisdiction, account, opening, figures.get(jurisdiction, TaxFigures()), balance))
        found.append(TieOut(period, currency, tuple(rows), _misfits(connection, period.last)))
    return found


def _misfits(connection: duckdb.DuckDBPyConnection, last: datetime.date | None) -> tuple[Misfit, ...]:
    """Orders whose entries up to a day owe another tax, or to another jurisdiction, than their records say."""
    rows = connection.execute(
        """
        WITH recorded AS (
            SELECT order_no, jurisdiction, currency, sum(amount)::BIGINT AS amount FROM (
                SELECT order_no, jurisdiction, currency, tax AS amount FROM order_head
                WHERE coalesce(tax, 0) <> 0 AND tax_collected_by IS DISTINCT FROM 'marketplace'
                  AND ($last IS NULL OR placed_at::DATE <= $last)
                UNION ALL
                SELECT order_no, jurisdiction, order_currency, -tax_shop FROM fact_refund
                WHERE ($last IS NULL OR posted_on <= $last)
            ) GROUP BY ALL
        ), posted AS (
            SELECT leg.order_no, used.parameter AS jurisdiction, currency, -sum(amount)::BIGINT AS amount
            FROM posting AS leg JOIN event USING (event_no)
            JOIN account_use AS used ON used.account_no = leg.account_no AND used.role = $role
            WHERE rule IN ('sale', 'refund') AND ($last IS NULL OR coalesce(event.belongs_on, leg.posted_on) <= $last) GROUP BY ALL
        )
        SELECT order_id, coalesce(recorded.jurisdiction, posted.jurisdiction), coalesce(recorded.currency, posted.currency),
               coalesce(recorded.amount, 0), coalesce(posted.amount, 0)
        FROM recorded FULL JOIN posted ON recorded.order_no = posted.order_no
            AND recorded.jurisdiction = posted.jurisdiction AND recorded.currency = posted.currency
        LEFT JOIN order_head AS head ON head.order_no = coalesce(recorded.order_no, posted.order_no)
        WHERE coalesce(recorded.amount, 0) <> coalesce(posted.amount, 0) ORDER BY 1, 2
        """,
        {"last": last, "role": SALES_TAX_ROLE},
    ).fetchall()
    return tuple(Misfit(*row) for row in rows)
