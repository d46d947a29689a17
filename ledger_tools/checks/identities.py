"""Identities of the books: records are summed apart from the postings that were made of them, and must agree."""

from __future__ import annotations

import duckdb

from ledger_tools.calendar import ALL_TIME, parse_month
from ledger_tools.checks.outcome import Check, told
from ledger_tools.journal import list_months
from ledger_tools.money import format_amount
from ledger_tools.posting.rules import BY_PERSON
from ledger_tools.reports.sales_tax_tie_out import tie_out_each
from ledger_tools.settlement import stale_decisions

_FOREIGN = "coalesce(charged_amount, 0) <> 0 AND coalesce(charged_currency, currency) <> currency AND gross <> 0"


def _number(connection: duckdb.DuckDBPyConnection, sql: str) -> int:
    row = connection.execute(sql).fetchone()
    assert row is not None
    return int(row[0] or 0)


def check_entries_balance(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 1: every entry sums to zero in its currency, or by its stated values."""
    broken = connection.execute(
        """SELECT event_no, sum(amount), sum(value) FROM posting GROUP BY event_no
           HAVING (count(DISTINCT currency) = 1 AND sum(amount) <> 0)
               OR (count(value) = count(*) AND sum(value) <> 0) OR (count(DISTINCT currency) > 1 AND count(value) < count(*))
           ORDER BY 1"""
    ).fetchall()
    count = _number(connection, "SELECT count(DISTINCT event_no) FROM posting")
    return told(
        "every entry sums to zero", broken, f"{count} entries", lambda row: f"event {row[0]} leaves {row[1]} ({row[2]})"
    )


def check_clearing(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 2: the clearing account, order by order, is what was sold less what was charged."""
    broken = connection.execute(
        f"""
        WITH expected AS (
            SELECT order_no, currency, sum(amount) AS amount FROM (
                SELECT order_no, currency, total - coalesce(gift_card_paid, 0) AS amount FROM order_head
                UNION ALL
                SELECT order_no, CASE WHEN {_FOREIGN} THEN charged_currency ELSE currency END,
                       -CASE WHEN {_FOREIGN} THEN sign(gross) * abs(charged_amount) ELSE gross END
                FROM processor_row WHERE kind = 'charge' OR (kind = 'refund' AND order_no IS NULL)
                UNION ALL SELECT order_no, order_currency, overpaid FROM fact_refund
                UNION ALL
                SELECT posting.order_no, currency, amount FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
                WHERE rule IN {BY_PERSON!r} AND role = 'clearing'
            ) GROUP BY ALL
        ), booked AS (
            SELECT order_no, currency, sum(amount) AS amount FROM posting JOIN account USING (account_no)
            WHERE role = 'clearing' GROUP BY ALL
        )
        SELECT coalesce(expected.order_no, booked.order_no), coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked ON expected.order_no IS NOT DISTINCT FROM booked.order_no AND expected.currency = booked.currency
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    orders = _number(connection, "SELECT count(*) FROM order_head")
    return told(
        "clearing ties to orders and payments",
        broken,
        f"{orders} orders",
        lambda row: f"order number {row[0]}: records say {row[1]}, books {row[2]}",
    )


def check_in_transit(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 3: the in-transit accounts are the payouts and top-ups that the bank has not completed."""
    broken = connection.execute(
        f"""
        WITH expected AS (
            SELECT CASE WHEN movement.kind IN ('payout', 'payout_returned') THEN 'payouts_in_transit' ELSE 'top_ups_in_transit' END
                       AS role, movement.currency,
                   sum(CASE WHEN source_no > 0 THEN movement.amount ELSE 0 END - coalesce(arrived.moved, 0)) AS amount
            FROM movement LEFT JOIN (
                SELECT movement_no, sum(moved) AS moved FROM bank_match WHERE source_no > 0 GROUP BY movement_no
            ) AS arrived USING (movement_no) GROUP BY ALL
        ), booked AS (
            SELECT role, currency, sum(amount) AS amount FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
            WHERE role IN ('payouts_in_transit', 'top_ups_in_transit') AND rule NOT IN {BY_PERSON!r} GROUP BY ALL
        )
        SELECT coalesce(expected.role, booked.role), coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked USING (role, currency)
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    count = _number(connection, "SELECT count(*) FROM movement")
    return told(
        "in transit is what has not arrived",
        broken,
        f"{count} payouts and top-ups",
        lambda row: f"{row[0]}: records say {row[1]}, books {row[2]}",
    )


def check_balances(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 4: every stated balance is what the books have at the end of its day."""
    rows = connection.execute(
        """
        SELECT source.name, stated_on::VARCHAR, stated.currency, amount, coalesce((
                   SELECT sum(posting.amount) FROM posting JOIN account_use AS used USING (account_no)
                   WHERE used.role = source.kind AND used.parameter = source.name AND posted_on <= stated_on
                     AND posting.currency = stated.currency), 0)
        FROM stated_balance AS stated JOIN source USING (source_no) ORDER BY 2, 1
        """
    ).fetchall()
    broken = [row for row in rows if row[3] != row[4]]
    return told(
        "stated balances are the books'",
        broken,
        f"{len(rows)} stated balances",
        lambda row: (
            f"{row[0]} on {row[1]}: stated {format_amount(row[3], row[2])}, books {format_amount(int(row[4]), row[2])} {row[2]}"
        ),
    )


def check_sales_tax(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 5: each sales-tax account is collected less refunded, with what rules and people posted beside."""
    broken = connection.execute(
        f"""
        WITH expected AS (
            SELECT account_no, sum(amount) AS amount FROM (
                SELECT jurisdiction, -tax AS amount FROM order_head
                WHERE tax IS NOT NULL AND tax_collected_by IS DISTINCT FROM 'marketplace'
                UNION ALL SELECT jurisdiction, tax_shop FROM fact_refund
                UNION ALL SELECT head.jurisdiction, posting.amount FROM posting JOIN event USING (event_no)
                    JOIN order_head AS head ON head.order_no = posting.order_no JOIN account USING (account_no)
                    WHERE rule = 'refund_to_gift_card' AND role = 'sales_tax'
            ) JOIN account_use AS used ON used.role = 'sales_tax' AND used.parameter = jurisdiction GROUP BY account_no
        ), booked AS (
            SELECT account_no, sum(amount) AS amount FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
            WHERE role = 'sales_tax' AND rule NOT IN {BY_PERSON!r} GROUP BY account_no
        )
        SELECT account.name, coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked USING (account_no) JOIN account USING (account_no)
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    count = _number(connection, "SELECT count(*) FROM account WHERE role = 'sales_tax'")
    return told(
        "sales tax is collected less refunded",
        broken,
        f"{count} jurisdictions",
        lambda row: f"{row[0]}: records say {row[1]}, books {row[2]}",
    )


def check_tax_ties_out(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 5, as the report tells it: each liability from month to month, and order by order."""
    months = [parse_month(month) for month in list_months(connection)]
    proofs = tie_out_each(connection, [*months, ALL_TIME])
    broken = [
        f"{row.jurisdiction}, {proof.period}: movements lead to {row.closing}, the account holds {row.balance}"
        for proof in proofs
        for row in proof.rows
        if row.difference
    ]
    broken += [
        f"order {misfit.order_id}, {misfit.jurisdiction}: records say {misfit.recorded}, books {misfit.posted}"
        for misfit in proofs[-1].misfits
    ]
    counted = f"{len(proofs[-1].rows)} liability accounts in {len(months)} months"
    return told("sales tax ties out by jurisdiction and month", broken, counted, str)


def check_hand_links(connection: duckdb.DuckDBPyConnection) -> Check:
    """Every hand entry with an order's link names an order that is known."""
    broken = connection.execute(
        "SELECT event_id, note FROM event WHERE rule = 'hand' AND note IS NOT NULL ORDER BY 1"
    ).fetchall()
    count = _number(connection, "SELECT count(*) FROM event WHERE rule = 'hand'")
    return told("hand entries name known orders", broken, f"{count} hand entries", lambda row: f"{row[0]}: {row[1]}")


def check_decisions(connection: duckdb.DuckDBPyConnection) -> Check:
    """Every decision still has the open item that it was made for."""
    count = _number(connection, "SELECT count(*) FROM decision")
    return told("decisions have their items", stale_decisions(connection), f"{count} decisions", str)
