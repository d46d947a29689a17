"""Balance sheet: what the shop has, owes and is worth at the end of a day, beside another day where it is compared.

Amounts are minor units of the base currency: assets positive as debits, liabilities and equity positive as credits.
Rows stand in the order of the chart of accounts.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.money import format_amount
from ledger_tools.reports.comparison import compared_as_json
from ledger_tools.reports.valued import IS_RESULT, VALUED_POSTINGS, base_currency

#: Equity rows that are computed: the net income of earlier years, and of this year so far.
RETAINED_EARNINGS = "Equity:RetainedEarnings"
CURRENT_EARNINGS = "Equity:CurrentEarnings"

_SECTIONS = ("assets", "liabilities", "equity")


@dataclass(frozen=True)
class SheetRow:
    """One account of the balance sheet.

    Attributes:
        held: foreign amounts that the account holds, as (currency, amount) with the sign of the section.
        compared: what it was worth on the day compared with.
    """

    account: str
    amount: int
    held: tuple[tuple[str, int], ...] = ()
    compared: int | None = None


@dataclass(frozen=True)
class BalanceSheet:
    """What the shop has, owes and is worth on a day, and where it is compared, what it was on another."""

    as_of: datetime.date | None
    currency: str
    assets: tuple[SheetRow, ...]
    liabilities: tuple[SheetRow, ...]
    equity: tuple[SheetRow, ...]
    compared_as_of: datetime.date | None = None

    def total(self, section: str) -> int:
        """Sum of `assets`, `liabilities`, `equity`, or of the latter two as `liabilities_and_equity`."""
        return self._sum(section, "amount")

    def compared_total(self, section: str) -> int:
        """The same sum on the day compared with."""
        return self._sum(section, "compared")

    def _sum(self, section: str, column: str) -> int:
        sections = ("liabilities", "equity") if section == "liabilities_and_equity" else (section,)
        return sum(getattr(row, column) or 0 for name in sections for row in getattr(self, name))

    @property
    def difference(self) -> int:
        """Assets less liabilities and equity; zero, unless an entry by hand does not balance in the base currency."""
        return self.total("assets") - self.total("liabilities_and_equity")

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it; comparison adds keys of its own."""
        totals = (*_SECTIONS, "liabilities_and_equity")
        report: dict[str, Any] = {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            **{section: [self._row_json(row) for row in getattr(self, section)] for section in _SECTIONS},
            "totals": {section: format_amount(self.total(section), self.currency) for section in totals},
        }
        if self.compared_as_of is not None:
            report["compared_as_of"] = self.compared_as_of.isoformat()
            report["compared_totals"] = {
                section: format_amount(self.compared_total(section), self.currency) for section in totals
            }
        return report

    def _row_json(self, row: SheetRow) -> dict[str, str | None]:
        return {"account": row.account, **compared_as_json(row.amount, row.compared, self.currency)}


@dataclass(frozen=True)
class _Balances:
    """What each account is worth, with the sign of its section, and what foreign amounts it holds."""

    amounts: dict[str, int]
    held: dict[str, tuple[tuple[str, int], ...]]


def report_balance_sheet(
    connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None, compared_as_of: datetime.date | None = None
) -> BalanceSheet:
    """Balance sheet at the end of a day, with the amounts of another day where one is given.

    Earnings are split at the start of each day's year.
    """
    currency = base_currency(connection)
    now = _balances(connection, as_of, currency)
    then = _balances(connection, compared_as_of, currency) if compared_as_of else _Balances({}, {})
    names = [str(name) for (name,) in connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()]
    names += [name for name in (RETAINED_EARNINGS, CURRENT_EARNINGS) if name not in names]
    sections: dict[str, list[SheetRow]] = {"Assets": [], "Liabilities": [], "Equity": []}
    for name in names:
        amount, compared = now.amounts.get(name, 0), then.amounts.get(name, 0)
        if amount or compared or name in now.held:
            row = SheetRow(name, amount, now.held.get(name, ()), compared if compared_as_of else None)
            sections[name.partition(":")[0]].append(row)
    assets, liabilities, equity = (tuple(rows) for rows in sections.values())
    return BalanceSheet(as_of, currency, assets, liabilities, equity, compared_as_of)


def _balances(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None, base: str) -> _Balances:
    rows = connection.execute(
        f"""SELECT account.name, currency, sum(amount)::BIGINT, sum(value)::BIGINT
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
            WHERE regexp_matches(account.name, '^(Assets|Liabilities|Equity):')
              AND ($as_of IS NULL OR posted_on <= $as_of)
            GROUP BY account_no, account.name, currency HAVING sum(amount) <> 0 OR sum(value) <> 0
            ORDER BY account_no, currency""",
        {"as_of": as_of},
    ).fetchall()
    amounts: dict[str, int] = {}
    held: dict[str, tuple[tuple[str, int], ...]] = {}
    for name, code, amount, value in rows:
        sign = 1 if name.startswith("Assets:") else -1
        amounts[name] = amounts.get(name, 0) + sign * value
        if code != base and amount:
            held[name] = (*held.get(name, ()), (code, sign * amount))
    for name, earned in _earnings(connection, as_of):
        amounts[name] = amounts.get(name, 0) + earned
    return _Balances(amounts, held)


def _earnings(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[tuple[str, int]]:
    """Net income up to a day, credit positive: of the years before the day's, and of its year."""
    row = connection.execute(
        f"""SELECT coalesce(-sum(value) FILTER (posted_on < year_start), 0)::BIGINT,
                   coalesce(-sum(value) FILTER (posted_on >= year_start), 0)::BIGINT
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no),
                 (SELECT date_trunc('year', coalesce($as_of, max(posted_on)))::DATE AS year_start FROM posting)
            WHERE {IS_RESULT} AND ($as_of IS NULL OR posted_on <= $as_of)""",
        {"as_of": as_of},
    ).fetchone()
    assert row is not None
    return [(RETAINED_EARNINGS, int(row[0])), (CURRENT_EARNINGS, int(row[1]))]
