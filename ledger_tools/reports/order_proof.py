"""The proof that the order report and the income statement say the same (identity 6).

Over all time: profit of the orders and what is tied to none are the net income. For a period the two are dated
differently, orders by the day placed and the statement by the day posted, and the difference is what the orders of the
period have in other periods, and other orders in this one. Column by column the same holds for the accounts that feed a
profit column.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ledger_tools.accounts import PROFIT_COLUMNS
from ledger_tools.calendar import Period
from ledger_tools.reports.order_figures import CREDITED_COLUMNS, Figures, add_figures, column_sums, roles_of_column
from ledger_tools.reports.order_profit import OrderReport
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.valued import VALUED_POSTINGS
from ledger_tools.store import within_period


@dataclass(frozen=True)
class ProfitProof:
    """From the orders' profit to the net income, in minor units of the base currency; income is positive.

    Attributes:
        in_other_periods: what the orders of the period have posted outside it, and the profit counts.
        of_other_orders: what orders placed outside the period have posted in it.
        differing_columns: profit columns whose accounts disagree with the statement; empty when all is well.
    """

    orders_profit: int
    in_other_periods: int
    of_other_orders: int
    not_tied: int
    net_income: int
    differing_columns: tuple[str, ...]

    @property
    def difference(self) -> int:
        """What is left unexplained; zero when all is well."""
        explained = self.orders_profit - self.in_other_periods + self.of_other_orders + self.not_tied
        return explained - self.net_income

    @property
    def holds(self) -> bool:
        """Whether orders and statement agree, as a whole and column by column."""
        return not self.difference and not self.differing_columns


def _figures_where(connection: duckdb.DuckDBPyConnection, report: OrderReport, condition: str) -> Figures:
    days = {"first": report.period.first, "last": report.period.last, "as_of": report.as_of}
    row = connection.execute(
        f"""
        WITH leg AS (
            SELECT leg.*, account.role,
                   {within_period("head.placed_at::DATE")}
                       AND ($as_of IS NULL OR head.placed_at::DATE <= $as_of) AS listed,
                   {within_period("posted_on")} AS inside
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN order_head AS head USING (order_no)
            WHERE ($as_of IS NULL OR posted_on <= $as_of)
        )
        SELECT {column_sums()} FROM leg WHERE {condition}
        """,
        days,
    ).fetchone()
    assert row is not None
    return Figures._make(row)


def prove_orders(connection: duckdb.DuckDBPyConnection, report: OrderReport) -> ProfitProof:
    """Compare a report of all orders of its period with the income statement of that period."""
    last = min((day for day in (report.period.last, report.as_of) if day is not None), default=None)
    statement = report_income(connection, Period(report.period.first, last))
    elsewhere = _figures_where(connection, report, "listed AND NOT inside")
    foreign = _figures_where(connection, report, "inside AND NOT listed")
    roles = dict(connection.execute("SELECT name, role FROM account").fetchall())
    stated = {row.account: row.balance for row in statement.rows}
    not_tied = dict(report.not_tied)
    orders = add_figures([report.totals, foreign])
    differing = []
    for column in (*PROFIT_COLUMNS, "other_costs"):
        accounts = [name for name in {**stated, **not_tied} if roles[name] in roles_of_column(column)]
        booked = sum(stated.get(name, 0) - not_tied.get(name, 0) for name in accounts)
        told = getattr(orders, column) - getattr(elsewhere, column)
        if told != (-booked if column in CREDITED_COLUMNS else booked):
            differing.append(column)
    return ProfitProof(
        report.totals.profit, elsewhere.profit, foreign.profit, -sum(not_tied.values()), statement.totals.net_income,
        tuple(differing),
    )  # fmt: skip
