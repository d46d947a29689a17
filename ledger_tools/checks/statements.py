"""Proofs of statements that stand on another view of the postings: the cash basis, and the cash flow."""

from __future__ import annotations

import duckdb

from ledger_tools.calendar import Period, parse_month
from ledger_tools.checks.outcome import Check, told
from ledger_tools.money import format_amount
from ledger_tools.reports.cash_basis import LEFT_OUT, RECEIVED_PARTS, SALE_LEGS
from ledger_tools.reports.cash_flow import report_cash_flow
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency

#: By month: what was sold and not received by the clearing account, order by order, and what the accrual basis has and
#: the cash basis has not. Before an order its payment is a credit; what is paid beyond the order is no income.
_UNRECEIVED = f"""
    WITH sale AS (
        SELECT order_no, posted_on, any_value(is_first) AS is_first, coalesce(sum(value) FILTER (is_owed), 0) AS owed
        FROM ({SALE_LEGS}) GROUP BY order_no, posted_on
    ), moved AS (
        SELECT order_no, leg.posted_on, value AS cleared, 0 AS owed, 0 AS first_sales
        FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
        WHERE role = 'clearing' AND order_no IN (SELECT order_no FROM sale)
          AND leg.event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
        UNION ALL SELECT order_no, posted_on, 0, owed, is_first::INTEGER FROM sale
    ), balance AS (
        SELECT order_no, posted_on, sum(sum(cleared)) OVER past AS balance, sum(sum(owed)) OVER past AS owed,
               sum(sum(first_sales)) OVER past > 0 AS is_sold
        FROM moved GROUP BY order_no, posted_on WINDOW past AS (PARTITION BY order_no ORDER BY posted_on)
    ), unreceived AS (
        SELECT order_no, balance.posted_on,
               CASE WHEN is_sold THEN greatest(0, least(balance.owed, balance))
                    ELSE greatest(-greatest(first.owed, 0), least(0, balance)) END AS amount
        FROM balance JOIN sale AS first USING (order_no) WHERE first.is_first
    ), cleared AS (
        SELECT posted_on, amount - coalesce(lag(amount) OVER (PARTITION BY order_no ORDER BY posted_on), 0) AS amount, 0 AS basis
        FROM unreceived
    ), shown AS (
        SELECT posted_on, 0 AS amount, -value AS basis FROM ({SALE_LEGS}) WHERE NOT is_owed
        UNION ALL SELECT posted_on, 0, value FROM {RECEIVED_PARTS}
    )
    SELECT strftime(posted_on, '%Y-%m') AS month, sum(amount)::BIGINT, sum(basis)::BIGINT
    FROM (SELECT * FROM cleared UNION ALL SELECT * FROM shown) GROUP BY 1 ORDER BY 1
"""

#: Accounts of orders that are paid to the minor unit, and whose cash basis is not their sale.
_PAID_ORDERS = f"""
    WITH part AS (
        SELECT order_no, account_no, sum(sold) AS sold, sum(received) AS received FROM (
            SELECT order_no, account_no, value AS sold, 0 AS received FROM ({SALE_LEGS}) WHERE NOT is_owed
            UNION ALL SELECT order_no, account_no, 0, value FROM {RECEIVED_PARTS}
        ) GROUP BY ALL
    ), open AS (
        SELECT order_no FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
        WHERE role = 'clearing' AND order_no IS NOT NULL AND leg.event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
        GROUP BY order_no HAVING sum(value) <> 0
    )
    SELECT account.name, sum(sold)::BIGINT, sum(received)::BIGINT
    FROM part JOIN account USING (account_no) WHERE order_no NOT IN (SELECT order_no FROM open) AND sold <> received
    GROUP BY account.name ORDER BY account.name
"""


def check_cash_basis(connection: duckdb.DuckDBPyConnection) -> Check:
    """Sales of the accrual basis less those of the cash basis are what clearing says is unpaid, month by month."""
    base = base_currency(connection)
    months = connection.execute(_UNRECEIVED).fetchall()
    broken = [row for row in months if row[1] != row[2]]
    broken += connection.execute(_PAID_ORDERS).fetchall()
    return told(
        "cash basis and what is unpaid are the accrual basis",
        broken,
        f"{len(months)} months",
        lambda row: f"{row[0]}: clearing says {format_amount(row[1], base)}, statements {format_amount(row[2], base)}",
    )


def check_cash_flow(connection: duckdb.DuckDBPyConnection) -> Check:
    """Opening cash and flows are closing cash, and what passed through the processors is the change of what they hold."""
    base = base_currency(connection)
    rows = connection.execute("SELECT DISTINCT strftime(posted_on, '%Y-%m') FROM posting ORDER BY 1").fetchall()
    broken = []
    for (month,) in rows:
        period: Period = parse_month(month)
        flow = report_cash_flow(connection, period)
        passed = sum(amount for _, amount in flow.passed) - (flow.held_after - flow.held_before)
        if flow.difference or passed:
            broken.append((month, flow.difference, passed))
    return told(
        "cash flow is the change of the bank accounts",
        broken,
        f"{len(rows)} months",
        lambda row: f"{row[0]}: cash leaves {format_amount(row[1], base)}, processors {format_amount(row[2], base)}",
    )
