"""Income statement in steps: net sales, gross profit, income from operations, net income; accrual or cash basis.

Amounts are minor units of the base currency: income positive and contra-revenue negative within revenue, costs positive.
`expenses` are all of them, also those that stand below operations (interest, exchange differences); `revenue` is without
income that is no sale. Rows stand by section, then in the order of the chart, an expense group together.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount, round_half_up
from ledger_tools.reports.cash_basis import CASH_BASIS_POSTINGS, CASH_BASIS_RULE
from ledger_tools.reports.comparison import compared_as_json
from ledger_tools.reports.valued import IS_RESULT, VALUED_POSTINGS, base_currency
from ledger_tools.store import within_period

#: Roles whose accounts are cost of goods sold, whatever they are called.
COST_OF_GOODS_ROLES = ("production", "shipping_cost", "supplier_tax", "reprints")

#: Roles whose accounts take from sales, and the one that stands below operations.
CONTRA_ROLES = ("discounts", "returns")
BELOW_OPERATIONS_ROLES = ("exchange_differences",)

#: Accounts by name, where no role tells: an account of the name and every one below it.
_COST_OF_GOODS_NAMES = ("Expenses:COGS",)
_CONTRA_NAMES = ("Income:Discounts", "Income:Returns")
_OTHER_INCOME_NAMES = ("Income:Other", "Income:Interest")
_OTHER_EXPENSE_NAMES = ("Expenses:Other", "Expenses:Interest")

#: Sections of the income statement, in their order.
SECTIONS = ("revenue", "cost_of_goods_sold", "expenses", "other_income", "other_expenses")

#: What counts when: `accrual` when sold and charged, `cash` when the processor or bank received or paid it.
BASES = {"accrual": VALUED_POSTINGS, "cash": CASH_BASIS_POSTINGS}


@dataclass(frozen=True)
class IncomeRow:
    """One account of the income statement.

    Attributes:
        section: one of `SECTIONS`.
        compared: its amount in the period compared with.
        group: what of the account's name several expenses have in common: `Fees` of `Expenses:Fees:Processing`.
        is_contra: it takes from sales.
    """

    account: str
    section: str
    amount: int
    compared: int | None = None
    group: str = ""
    is_contra: bool = False

    @property
    def balance(self) -> int:
        """The amount as a balance, debit positive."""
        return -self.amount if self.account.startswith("Income:") else self.amount


@dataclass(frozen=True)
class IncomeTotals:
    """Totals of an income statement; `expenses` includes `other_expenses`, `revenue` is without `other_income`."""

    gross_sales: int
    contra_revenue: int
    cost_of_goods_sold: int
    operating_expenses: int
    other_income: int
    other_expenses: int

    @property
    def revenue(self) -> int:
        """Net sales: gross sales with what discounts and returns took from them."""
        return self.gross_sales + self.contra_revenue

    @property
    def gross_profit(self) -> int:
        """Revenue less cost of goods sold."""
        return self.revenue - self.cost_of_goods_sold

    @property
    def expenses(self) -> int:
        """All expenses but cost of goods sold."""
        return self.operating_expenses + self.other_expenses

    @property
    def operating_income(self) -> int:
        """Gross profit less operating expenses."""
        return self.gross_profit - self.operating_expenses

    @property
    def net_income(self) -> int:
        """Gross profit and other income, less all expenses."""
        return self.gross_profit - self.expenses + self.other_income

    @property
    def gross_margin(self) -> str | None:
        """Gross profit as a share of revenue, four digits rounded half up; None without revenue."""
        if self.revenue <= 0:
            return None
        share = round_half_up(10_000 * self.gross_profit, self.revenue)
        return f"{'-' if share < 0 else ''}{abs(share) // 10_000}.{abs(share) % 10_000:04d}"

    def as_json(self, currency: str) -> dict[str, str]:
        """The totals as the interface fixes them."""
        return self._told(("revenue", "cost_of_goods_sold", "gross_profit", "expenses", "net_income"), currency)

    def steps_as_json(self, currency: str) -> dict[str, str]:
        """What stands between the totals in a statement of several steps."""
        names = (
            *("gross_sales", "contra_revenue", "operating_expenses", "operating_income"),
            *("other_income", "other_expenses"),
        )
        return self._told(names, currency)

    def _told(self, names: tuple[str, ...], currency: str) -> dict[str, str]:
        return {name: format_amount(getattr(self, name), currency) for name in names}


@dataclass(frozen=True)
class IncomeStatement:
    """Revenue, costs and net income of a period, with those of another where it is compared.

    Attributes:
        basis: a key of `BASES`.
    """

    period: Period
    currency: str
    rows: tuple[IncomeRow, ...]
    totals: IncomeTotals
    compared_period: Period | None = None
    compared_totals: IncomeTotals | None = None
    basis: str = "accrual"

    @property
    def rule(self) -> tuple[str, ...]:
        """What the basis counts when, in sentences."""
        return CASH_BASIS_RULE if self.basis == "cash" else ()

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it; comparison and the cash basis add keys of their own."""
        report: dict[str, Any] = {"period": self.period.as_json(), "currency": self.currency, "basis": self.basis}
        if self.rule:
            report["rule"] = list(self.rule)
        if self.compared_period is not None:
            report["compared_period"] = self.compared_period.as_json()
        report["rows"] = [self._row_json(row) for row in self.rows]
        report["totals"] = self.totals.as_json(self.currency)
        report["steps"] = self.totals.steps_as_json(self.currency)
        report["gross_margin"] = self.totals.gross_margin
        if self.compared_totals is not None:
            report["compared_totals"] = self.compared_totals.as_json(self.currency)
            report["compared_steps"] = self.compared_totals.steps_as_json(self.currency)
            report["compared_gross_margin"] = self.compared_totals.gross_margin
        return report

    def _row_json(self, row: IncomeRow) -> dict[str, str | None]:
        return {"account": row.account, **compared_as_json(row.amount, row.compared, self.currency)}


def _is_below(name: str, tops: tuple[str, ...]) -> bool:
    return any(name == top or name.startswith(f"{top}:") for top in tops)


def income_section(name: str, role: str) -> str:
    """Section of the income statement that an account of income or expenses stands in."""
    if name.startswith("Income:"):
        return "other_income" if _is_below(name, _OTHER_INCOME_NAMES) else "revenue"
    if role in COST_OF_GOODS_ROLES or _is_below(name, _COST_OF_GOODS_NAMES):
        return "cost_of_goods_sold"
    if role in BELOW_OPERATIONS_ROLES or _is_below(name, _OTHER_EXPENSE_NAMES):
        return "other_expenses"
    return "expenses"


def _income_amounts(connection: duckdb.DuckDBPyConnection, period: Period, basis: str) -> dict[str, int]:
    rows = connection.execute(
        f"""SELECT account.name, sum(value)::BIGINT FROM {BASES[basis]} AS leg JOIN account USING (account_no)
            WHERE {IS_RESULT} AND {within_period("posted_on")}
            GROUP BY account.name HAVING sum(value) <> 0""",
        {"first": period.first, "last": period.last},
    ).fetchall()
    return {str(name): -int(amount) if name.startswith("Income:") else int(amount) for name, amount in rows}


def _income_totals(rows: tuple[IncomeRow, ...]) -> IncomeTotals:
    def total(section: str, is_contra: bool = False) -> int:
        return sum(row.amount for row in rows if row.section == section and row.is_contra == is_contra)

    return IncomeTotals(total("revenue"), total("revenue", True), *(total(section) for section in SECTIONS[1:]))


def _order_rows(rows: list[IncomeRow]) -> tuple[IncomeRow, ...]:
    """Rows by section, contra-revenue last in its own, each group where its first account stands."""
    first: dict[tuple[str, str], int] = {}
    for place, row in enumerate(rows):
        first.setdefault((row.section, row.group), place)
    return tuple(
        sorted(
            rows,
            key=lambda row: (
                SECTIONS.index(row.section), row.is_contra, first[row.section, row.group] if row.section == "expenses" else 0,
            ),
        )
    )  # fmt: skip


def report_income(
    connection: duckdb.DuckDBPyConnection,
    period: Period = ALL_TIME,
    compared_period: Period | None = None,
    basis: str = "accrual",
) -> IncomeStatement:
    """Income statement of a period on a basis, with the amounts of another period where one is given."""
    amounts = _income_amounts(connection, period, basis)
    compared = _income_amounts(connection, compared_period, basis) if compared_period else {}
    accounts = connection.execute("SELECT name, role FROM account ORDER BY account_no").fetchall()
    rows = _order_rows(
        [
            IncomeRow(
                name,
                income_section(name, role),
                amounts.get(name, 0),
                compared.get(name, 0) if compared_period else None,
                name.split(":")[1],
                role in CONTRA_ROLES or _is_below(name, _CONTRA_NAMES),
            )
            for name, role in accounts
            if name in amounts or name in compared
        ]
    )
    compared_totals = None
    if compared_period:
        compared_totals = _income_totals(tuple(replace(row, amount=row.compared or 0) for row in rows))
    currency = base_currency(connection)
    return IncomeStatement(period, currency, rows, _income_totals(rows), compared_period, compared_totals, basis)
