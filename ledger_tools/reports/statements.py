"""Trial balance, income statement and balance sheet.

The trial balance sums posted amounts in each currency. The two statements are in the base currency: minor units, income
positive and contra-revenue negative within revenue, costs positive; assets positive as debits, liabilities and equity
positive as credits. Rows stand in the order of the chart of accounts.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, replace
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency

#: Equity rows that are computed: the net income of earlier years, and of this year so far.
RETAINED_EARNINGS = "Equity:RetainedEarnings"
CURRENT_EARNINGS = "Equity:CurrentEarnings"

#: Roles whose accounts are cost of goods sold, whatever they are called.
COST_OF_GOODS_ROLES = ("production", "shipping_cost", "supplier_tax", "reprints")
_COST_OF_GOODS_NAME = "Expenses:COGS"

#: Sections of the income statement, in their order.
SECTIONS = ("revenue", "cost_of_goods_sold", "expenses")


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
                  CASE WHEN count(value) = count(*) THEN sum(value)::BIGINT END FROM posting JOIN account USING (account_no)
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


@dataclass(frozen=True)
class IncomeRow:
    """One account of the income statement; `compared` is its amount in the period compared with."""

    account: str
    section: str
    amount: int
    compared: int | None = None


@dataclass(frozen=True)
class IncomeTotals:
    """Totals of an income statement."""

    revenue: int
    cost_of_goods_sold: int
    expenses: int

    @property
    def gross_profit(self) -> int:
        """Revenue less cost of goods sold."""
        return self.revenue - self.cost_of_goods_sold

    @property
    def net_income(self) -> int:
        """Gross profit less the other expenses."""
        return self.gross_profit - self.expenses

    def as_json(self, currency: str) -> dict[str, str]:
        """The totals as the interface fixes them."""
        names = ("revenue", "cost_of_goods_sold", "gross_profit", "expenses", "net_income")
        return {name: format_amount(getattr(self, name), currency) for name in names}


@dataclass(frozen=True)
class IncomeStatement:
    """Revenue, costs and net income of a period, with those of another where it is compared."""

    period: Period
    currency: str
    rows: tuple[IncomeRow, ...]
    totals: IncomeTotals
    compared_period: Period | None = None
    compared_totals: IncomeTotals | None = None

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it; comparison adds keys of its own."""
        report: dict[str, Any] = {"period": self.period.as_json(), "currency": self.currency, "basis": "accrual"}
        if self.compared_period is None or self.compared_totals is None:
            rows = [{"account": row.account, "amount": format_amount(row.amount, self.currency)} for row in self.rows]
            return {**report, "rows": rows, "totals": self.totals.as_json(self.currency)}
        rows = [
            {
                "account": row.account,
                "amount": format_amount(row.amount, self.currency),
                "compared": format_amount(row.compared or 0, self.currency),
            }
            for row in self.rows
        ]
        return {
            **report,
            "compared_period": self.compared_period.as_json(),
            "rows": rows,
            "totals": self.totals.as_json(self.currency),
            "compared_totals": self.compared_totals.as_json(self.currency),
        }


def _section(name: str, role: str) -> str:
    if name.startswith("Income:"):
        return "revenue"
    if role in COST_OF_GOODS_ROLES or name == _COST_OF_GOODS_NAME or name.startswith(f"{_COST_OF_GOODS_NAME}:"):
        return "cost_of_goods_sold"
    return "expenses"


def _income_amounts(connection: duckdb.DuckDBPyConnection, period: Period) -> dict[str, int]:
    rows = connection.execute(
        f"""SELECT account.name, sum(value)::BIGINT FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
            WHERE regexp_matches(account.name, '^(Income|Expenses):')
              AND ($first IS NULL OR posted_on >= $first) AND ($last IS NULL OR posted_on <= $last)
            GROUP BY account.name HAVING sum(value) <> 0""",
        {"first": period.first, "last": period.last},
    ).fetchall()
    return {str(name): -int(amount) if name.startswith("Income:") else int(amount) for name, amount in rows}


def _income_totals(rows: tuple[IncomeRow, ...]) -> IncomeTotals:
    return IncomeTotals(*(sum(row.amount for row in rows if row.section == section) for section in SECTIONS))


def report_income(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, compared_period: Period | None = None
) -> IncomeStatement:
    """Income statement of a period on the accrual basis, with the amounts of another where one is given."""
    amounts = _income_amounts(connection, period)
    compared = _income_amounts(connection, compared_period) if compared_period else {}
    accounts = connection.execute("SELECT name, role FROM account ORDER BY account_no").fetchall()
    rows = [
        IncomeRow(name, _section(name, role), amounts.get(name, 0), compared.get(name, 0) if compared_period else None)
        for name, role in accounts
        if name in amounts or name in compared
    ]
    rows.sort(key=lambda row: SECTIONS.index(row.section))
    kept = tuple(rows)
    compared_totals = None
    if compared_period:
        compared_totals = _income_totals(tuple(replace(row, amount=row.compared or 0) for row in kept))
    currency = base_currency(connection)
    return IncomeStatement(period, currency, kept, _income_totals(kept), compared_period, compared_totals)


@dataclass(frozen=True)
class SheetRow:
    """One account of the balance sheet.

    Attributes:
        held: foreign amounts that the account holds, as (currency, amount) with the sign of the section.
    """

    account: str
    amount: int
    held: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True)
class BalanceSheet:
    """What the shop has, owes and is worth on a day."""

    as_of: datetime.date | None
    currency: str
    assets: tuple[SheetRow, ...]
    liabilities: tuple[SheetRow, ...]
    equity: tuple[SheetRow, ...]

    def total(self, section: str) -> int:
        """Sum of `assets`, `liabilities`, `equity`, or of the latter two as `liabilities_and_equity`."""
        if section == "liabilities_and_equity":
            return self.total("liabilities") + self.total("equity")
        rows: tuple[SheetRow, ...] = getattr(self, section)
        return sum(row.amount for row in rows)

    @property
    def difference(self) -> int:
        """Assets less liabilities and equity; zero, unless an entry by hand does not balance in the base currency."""
        return self.total("assets") - self.total("liabilities_and_equity")

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it."""
        sections = ("assets", "liabilities", "equity")
        return {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            **{
                section: [
                    {"account": row.account, "amount": format_amount(row.amount, self.currency)}
                    for row in getattr(self, section)
                ]
                for section in sections
            },
            "totals": {
                section: format_amount(self.total(section), self.currency)
                for section in (*sections, "liabilities_and_equity")
            },
        }


def report_balance_sheet(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> BalanceSheet:
    """Balance sheet at the end of a day; earnings are split at the start of that day's year."""
    currency = base_currency(connection)
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
    held: dict[str, list[tuple[str, int]]] = {}
    for name, code, amount, value in rows:
        sign = 1 if name.startswith("Assets:") else -1
        amounts[name] = amounts.get(name, 0) + sign * value
        if code != currency and amount:
            held.setdefault(name, []).append((code, sign * amount))
    for name, earned in _earnings(connection, as_of):
        amounts[name] = amounts.get(name, 0) + earned
    sections: dict[str, list[SheetRow]] = {"Assets": [], "Liabilities": [], "Equity": []}
    for name, amount in amounts.items():
        if amount or name in held:
            sections[name.partition(":")[0]].append(SheetRow(name, amount, tuple(held.get(name, ()))))
    return BalanceSheet(as_of, currency, *(tuple(sections[name]) for name in ("Assets", "Liabilities", "Equity")))


def _earnings(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[tuple[str, int]]:
    """Net income up to a day, credit positive: of the years before the day's, and of its year."""
    row = connection.execute(
        f"""SELECT coalesce(-sum(value) FILTER (posted_on < year_start), 0)::BIGINT,
                   coalesce(-sum(value) FILTER (posted_on >= year_start), 0)::BIGINT
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no),
                 (SELECT date_trunc('year', coalesce($as_of, max(posted_on)))::DATE AS year_start FROM posting)
            WHERE regexp_matches(account.name, '^(Income|Expenses):') AND ($as_of IS NULL OR posted_on <= $as_of)""",
        {"as_of": as_of},
    ).fetchone()
    assert row is not None
    return [(RETAINED_EARNINGS, int(row[0])), (CURRENT_EARNINGS, int(row[1]))]
