"""Payments that no reference ties to an order: by amount and days, then by sum; refunds follow their payment.

Only payments without a usable reference and orders that nothing has paid yet take part. What an order owes is its
total less what a gift card paid, in its own currency.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.believed import list_believed
from ledger_tools.matching.by_reference import normal_key
from ledger_tools.matching.candidates import lag_words
from ledger_tools.matching.order_candidates import list_payment_candidates
from ledger_tools.matching.payment_sums import Share, match_sums, split_payment
from ledger_tools.matching.tied import tied_orders
from ledger_tools.matching.unique_pairs import Sides, match_unique
from ledger_tools.store import quoted

#: What the customer paid, and in what: the stated amount where it is in another currency than the balance.
_FOREIGN = "coalesce(charged_amount, 0) <> 0 AND coalesce(charged_currency, currency) <> currency AND gross <> 0"
_PAID = f"CASE WHEN {_FOREIGN} THEN sign(gross) * abs(charged_amount) ELSE gross END::BIGINT"
_PAID_IN = f"CASE WHEN {_FOREIGN} THEN charged_currency ELSE currency END"


def match_payments(
    connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str], paid_by_hand: Sequence[str]
) -> None:
    """Give `order_no`, `matched_by` and `why` in `processor_row` to payments that amounts alone tie to orders.

    Args:
        paid_by_hand: links of the orders that an entry in `hand.beancount` pays.
    """
    connection.execute("ALTER TABLE processor_row ADD COLUMN why VARCHAR")
    row = connection.execute(
        "SELECT count(*) FROM processor_row WHERE kind = 'charge' AND order_no IS NULL AND gross > 0"
    ).fetchone()
    if row is None or not row[0]:
        return
    _list_unpaid(connection, paid_by_hand)
    _split_by_decision(connection)
    _split_by_reference(connection)
    _list_loose(connection, patterns)
    row = connection.execute("SELECT (SELECT count(*) FROM loose) * (SELECT count(*) FROM unpaid)").fetchone()
    if row is not None and row[0]:
        _match_by_amount(connection)
        match_sums(connection)
        list_payment_candidates(connection)
        _let_refunds_follow(connection)
    connection.execute("DROP TABLE loose; DROP TABLE unpaid")


def _list_unpaid(connection: duckdb.DuckDBPyConnection, paid_by_hand: Sequence[str]) -> None:
    """Make `unpaid`: orders that owe something and that no payment, no person and no entry by hand has settled."""
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE unpaid AS
        SELECT order_no, head.source_no, order_id, placed_at::DATE AS day, head.currency, payment_ref,
               total - coalesce(gift_card_paid, 0) AS due
        FROM order_head AS head JOIN source USING (source_no)
        WHERE total - coalesce(gift_card_paid, 0) > 0 AND total > 0
          AND order_no NOT IN (SELECT order_no FROM processor_row WHERE kind = 'charge' AND order_no IS NOT NULL)
          AND (source.name, order_id) NOT IN (
              SELECT (source, decision.order_id) FROM decision
              WHERE action = 'account' AND source IS NOT NULL AND decision.order_id IS NOT NULL)
          AND order_no NOT IN (SELECT order_no FROM order_link WHERE link IN (SELECT unnest(?::VARCHAR[])))
        """,
        [list(paid_by_hand)],
    )


def _list_loose(connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str]) -> None:
    """Make `loose`: payments that no order is known for and whose references say nothing."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE unknown AS
        SELECT source_no, event_id, "at", payment_ref, {_PAID} AS paid, {_PAID_IN} AS paid_in,
               {normal_key("order_ref", patterns)} AS order_key, upper(trim(payment_ref)) AS payment_key
        FROM processor_row WHERE kind = 'charge' AND order_no IS NULL AND gross > 0
        """
    )
    list_believed(connection, "order", "SELECT order_key AS reference FROM unknown")
    list_believed(connection, "payment", "SELECT payment_key AS reference FROM unknown")
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE loose AS
        SELECT row_number() OVER (ORDER BY "at", source_no, event_id)::INTEGER AS payment_no, source_no,
               source.name AS source_name, event_id, "at"::DATE AS day, payment_ref, paid, paid_in, NULL::INTEGER AS order_no
        FROM unknown JOIN source USING (source_no)
        WHERE coalesce(order_key, '') NOT IN (SELECT reference FROM believed_order)
          AND coalesce(payment_key, '') NOT IN (SELECT reference FROM believed_payment)
          AND coalesce(payment_ref, '') NOT IN (SELECT payment_ref FROM order_head WHERE payment_ref IS NOT NULL)
          AND (source.name, event_id) NOT IN (
              SELECT (source, event_id) FROM decision WHERE action = 'account' AND source IS NOT NULL AND event_id IS NOT NULL);
        DROP TABLE unknown; DROP TABLE believed_order; DROP TABLE believed_payment
        """
    )


def _match_by_amount(connection: duckdb.DuckDBPyConnection) -> None:
    stage = stages.PAYMENT_AMOUNT
    sides = Sides(
        f"""SELECT payment_no AS no, paid || ' ' || paid_in AS bucket, day, source_no, order_no IS NULL AS open FROM loose
            UNION ALL SELECT NULL, {_PAID} || ' ' || {_PAID_IN}, "at"::DATE, source_no, false
            FROM processor_row WHERE kind = 'charge' AND order_no IS NOT NULL""",
        """SELECT order_no AS no, total - coalesce(gift_card_paid, 0) || ' ' || currency AS bucket, placed_at::DATE AS day, source_no,
                  order_no IN (SELECT order_no FROM unpaid) AS open FROM order_head""",
        f"""SELECT row.source_no AS later_source_no, head.source_no AS earlier_source_no, row."at"::DATE - head.placed_at::DATE AS lag
           FROM processor_row AS row JOIN order_head AS head USING (order_no)
           WHERE kind = 'charge' AND matched_by <> 'decision'
             AND row."at"::DATE - head.placed_at::DATE BETWEEN {stage.days.low} AND {stage.days.high}""",
    )
    match_unique(connection, sides, stage.days, stages.PAYMENT_NEAR, functools.partial(_take, connection, stage))


def _take(connection: duckdb.DuckDBPyConnection, stage: stages.Stage) -> None:
    connection.execute(
        f"""
        UPDATE processor_row SET order_no = earlier_no, matched_by = {quoted(stage.name)}, why = paired.why || ', ' || {lag_words("lag")}
        FROM paired JOIN loose ON payment_no = later_no
        WHERE processor_row.source_no = loose.source_no AND processor_row.event_id = loose.event_id;
        UPDATE loose SET order_no = earlier_no FROM paired WHERE payment_no = later_no;
        DELETE FROM unpaid USING paired WHERE unpaid.order_no = earlier_no
        """
    )


def _split_by_decision(connection: duckdb.DuckDBPyConnection) -> None:
    """A payment that a person tied to several orders is for all of them where what they owe is what was paid."""
    rows = connection.execute(
        f"""
        SELECT row.source_no, row.event_id, list(order_no ORDER BY order_id), list(order_id ORDER BY order_id), list(due ORDER BY order_id)
        FROM (SELECT source_no, event_id, {_PAID} AS paid, {_PAID_IN} AS paid_in FROM processor_row
              WHERE kind = 'charge' AND order_no IS NULL AND gross > 0) AS row
        JOIN source USING (source_no)
        JOIN ({tied_orders("decision")}) AS tied ON tied.source_name = source.name AND tied.event_id = row.event_id
        JOIN unpaid USING (order_no) WHERE unpaid.currency = paid_in
        GROUP BY row.source_no, row.event_id, paid HAVING count(*) > 1 AND sum(due) = paid ORDER BY row.event_id
        """
    ).fetchall()
    _split_rows(connection, rows, stages.DECISION.name, "decided by a person")


def _split_rows(
    connection: duckdb.DuckDBPyConnection,
    rows: Sequence[tuple[int, str, list[int], list[str], list[int]]],
    how: str,
    why: str,
) -> None:
    for source_no, event_id, order_nos, order_ids, dues in rows:
        parts = [Share(*share) for share in zip(order_nos, order_ids, dues, strict=True)]
        split_payment(connection, source_no, event_id, parts, how, why)
        connection.execute("DELETE FROM unpaid WHERE order_no IN (SELECT unnest(?::INTEGER[]))", [order_nos])


def _split_by_reference(connection: duckdb.DuckDBPyConnection) -> None:
    """A payment whose reference several orders have is for all of them where their totals are the payment."""
    rows = connection.execute(
        f"""
        WITH named AS (
            SELECT payment_ref, currency, sum(due)::BIGINT AS due, list(order_no ORDER BY order_id) AS order_nos,
                   list(order_id ORDER BY order_id) AS order_ids, list(due ORDER BY order_id) AS dues
            FROM unpaid WHERE payment_ref IS NOT NULL GROUP BY payment_ref, currency HAVING count(*) > 1
        )
        SELECT source_no, event_id, order_nos, order_ids, dues FROM (
            SELECT source_no, event_id, payment_ref, {_PAID} AS paid, {_PAID_IN} AS paid_in FROM processor_row
            WHERE kind = 'charge' AND order_no IS NULL AND payment_ref IS NOT NULL AND gross > 0
            QUALIFY count(*) OVER (PARTITION BY payment_ref) = 1
        ) AS row JOIN named ON named.payment_ref = row.payment_ref AND named.currency = row.paid_in AND named.due = row.paid
        ORDER BY event_id
        """
    ).fetchall()
    why = "these orders name this payment, and what they owe is what was paid"
    _split_rows(connection, rows, stages.PAYMENT_REFERENCE.name, why)


def _let_refunds_follow(connection: duckdb.DuckDBPyConnection) -> None:
    """Refunds and disputes of a payment that amounts tied to one order belong to that order."""
    connection.execute(
        f"""
        UPDATE processor_row SET order_no = tied.order_no, matched_by = {quoted(stages.PAYMENT_REFERENCE.name)},
               why = 'as the payment, which was matched by amount'
        FROM (
            SELECT source_no, payment_ref, min(order_no) AS order_no FROM processor_row
            WHERE kind = 'charge' AND payment_ref IS NOT NULL GROUP BY source_no, payment_ref
            HAVING count(DISTINCT order_no) = 1 AND count(*) = count(order_no) AND bool_or(matched_by = {quoted(stages.AMOUNT.name)})
        ) AS tied
        WHERE processor_row.source_no = tied.source_no AND processor_row.payment_ref = tied.payment_ref
          AND processor_row.order_no IS NULL AND processor_row.kind <> 'charge'
        """
    )
