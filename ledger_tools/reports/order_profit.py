"""The order report: what each order earned, what belongs to no order, and the totals.

A period selects orders by the day they were placed; each shows its whole life up to `as_of`. Orders stand by the moment
placed, then order id. Amounts are minor units of the base currency, signs as in `order_figures`.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.accounts import OWN_RESULT, ROLES
from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount
from ledger_tools.reports.order_figures import ORDER_FIGURES, Figures, add_figures
from ledger_tools.reports.order_flags import FLAG_FACTS, NO_CHARGE, flag_list
from ledger_tools.reports.valued import IS_RESULT, VALUED_POSTINGS, base_currency
from ledger_tools.store import within_period

#: Roles whose accounts feed a profit column.
PROFIT_ROLES = (*(role.name for role in ROLES if role.profit_column), OWN_RESULT)


@dataclass(frozen=True)
class OrderProfit:
    """One order: what it brought and cost, and what is worth a look about it."""

    order_no: int
    order_id: str
    placed_on: datetime.date
    figures: Figures
    flags: tuple[str, ...]

    @property
    def known_margin(self) -> str | None:
        """The margin as people are shown it: None while the partner's charge is missing, as most of the cost is."""
        return None if NO_CHARGE in self.flags else self.figures.margin

    def as_json(self, currency: str) -> dict[str, Any]:
        """The order as the report prints it."""
        return {
            "order_id": self.order_id,
            "placed_on": self.placed_on.isoformat(),
            **self.figures.as_json(currency),
            "flags": list(self.flags),
        }


@dataclass(frozen=True)
class OrderReport:
    """Orders of a period.

    Attributes:
        not_tied: account and balance, debit positive, of what is in no order's figures.
    """

    period: Period
    as_of: datetime.date | None
    currency: str
    orders: tuple[OrderProfit, ...]
    totals: Figures
    not_tied: tuple[tuple[str, int], ...]

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it."""
        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "orders": [order.as_json(self.currency) for order in self.orders],
            "totals": self.totals.as_json(self.currency),
            "not_tied_to_an_order": {name: format_amount(amount, self.currency) for name, amount in self.not_tied},
        }


_FIGURES = ", ".join(f"coalesce(figure.{name}, 0) AS {name}" for name in Figures._fields)

#: SQL relation: one row an order, with its flags and figures, as of `$as_of`; `$first`, `$last` and `$order_no` choose.
ORDER_ROWS = f"""
    SELECT head.order_no, head.order_id, head.placed_at::DATE AS placed_on, told.flags,
           {", ".join(f"told.{name}" for name in Figures._fields)}
    FROM order_head AS head JOIN (
        SELECT {flag_list()} AS flags, * FROM {FLAG_FACTS} AS fact JOIN (
            SELECT head.order_no, {_FIGURES}
            FROM order_head AS head LEFT JOIN {ORDER_FIGURES} AS figure USING (order_no)
        ) AS figure USING (order_no)
    ) AS told USING (order_no)
    WHERE {within_period("head.placed_at::DATE")}
      AND ($as_of IS NULL OR head.placed_at::DATE <= $as_of) AND ($order_no IS NULL OR head.order_no = $order_no)
"""

_ORDERS = f"{ORDER_ROWS} ORDER BY head.placed_at, head.order_id, head.order_no"

#: Income and expenses of a period that are in no order's figures: postings without an order, and those of orders on
#: accounts that feed no profit column (a sample, say), so that orders and this list are the whole income statement.
_NOT_TIED = f"""
    SELECT account.name, sum(value)::BIGINT
    FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
    WHERE {IS_RESULT} AND (order_no IS NULL OR role NOT IN (SELECT unnest($roles::VARCHAR[])))
      AND {within_period("posted_on")} AND ($as_of IS NULL OR posted_on <= $as_of)
    GROUP BY account_no, account.name HAVING sum(value) <> 0 ORDER BY account_no
"""


def report_orders(
    connection: duckdb.DuckDBPyConnection,
    period: Period = ALL_TIME,
    as_of: datetime.date | None = None,
    *,
    flag: str | None = None,
    order_no: int | None = None,
) -> OrderReport:
    """Profit of the orders placed in a period, known up to a day; with `flag` only those that bear it."""
    currency = base_currency(connection)
    days = {"first": period.first, "last": period.last, "as_of": as_of}
    rows = connection.execute(_ORDERS, {**days, "order_no": order_no}).fetchall()
    orders = tuple(
        OrderProfit(number, order_id, placed_on, Figures._make(figures), tuple(flags.split()))
        for number, order_id, placed_on, flags, *figures in rows
    )
    if flag is not None:
        orders = tuple(order for order in orders if flag in order.flags)
    totals = add_figures(order.figures for order in orders)
    return OrderReport(period, as_of, currency, orders, totals, list_not_tied(connection, period, as_of))


def list_not_tied(
    connection: duckdb.DuckDBPyConnection, period: Period, as_of: datetime.date | None
) -> tuple[tuple[str, int], ...]:
    """Account and balance, debit positive, of income and expenses dated in the period that no order's figures hold."""
    values = {"first": period.first, "last": period.last, "as_of": as_of, "roles": list(PROFIT_ROLES)}
    rows = connection.execute(_NOT_TIED, values).fetchall()
    return tuple((str(name), int(amount)) for name, amount in rows)
