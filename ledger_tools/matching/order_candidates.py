"""Candidates of payments and orders, and of fulfilment charges and orders, that stay open."""

from __future__ import annotations

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.candidates import lag_words, rank_candidates
from ledger_tools.matching.unique_pairs import fill_sides, weigh_pairs

#: SQL condition on a making (`later`) and a basket (`earlier`): what the moments say, where both have one.
NOT_BEFORE_THE_ORDER = """EXISTS (
    SELECT 1 FROM making, basket WHERE making_no = later.no AND basket.order_no = earlier.no
      AND coalesce(making.moment >= basket.moment, true))"""


def _shop(order: str) -> str:
    """SQL expression: the shop of an order whose number two shops use; else none is needed to name it."""
    return f"""(SELECT any_value(shop.name) FROM source AS shop WHERE shop.source_no = {order}.source_no
        AND {order}.order_id IN (SELECT order_id FROM order_head GROUP BY order_id HAVING count(*) > 1))"""


def list_payment_candidates(connection: duckdb.DuckDBPyConnection) -> None:
    """Add to `candidate`: orders for payments without an order, and payments for orders without payment."""
    window = stages.PAYMENT_AMOUNT.days
    fill_sides(
        connection,
        "SELECT payment_no AS no, paid || ' ' || paid_in AS bucket, day, source_no, order_no IS NULL AS open FROM loose",
        "SELECT order_no AS no, due || ' ' || currency AS bucket, day, source_no, true AS open FROM unpaid",
    )
    weigh_pairs(connection, window)
    crowd = "degree || ' of this amount in the days around are too many to tell apart' AS why"
    few = stages.COMPETITORS_AT_MOST
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE fitting AS
        SELECT later_no AS payment_no, earlier_no AS order_no, 'the same amount, ' || {lag_words("lag")} AS why, abs(lag) AS distance,
               NULL::INTEGER AS whole
        FROM possible
        UNION ALL SELECT payment_no, order_no, why, 1000, whole FROM untaken WHERE order_no IS NOT NULL;
        CREATE OR REPLACE TEMP TABLE crowded AS
        SELECT no AS payment_no, NULL::INTEGER AS order_no, {crowd} FROM later_weighed WHERE degree > {few}
        UNION ALL SELECT NULL, no, {crowd} FROM earlier_weighed WHERE degree > {few}
        UNION ALL SELECT payment_no, NULL, why FROM untaken WHERE order_no IS NULL
        """
    )
    rank_candidates(
        connection,
        "an order",
        f"""
        SELECT loose.source_no, loose.event_id AS record_id, {_shop("unpaid")} AS match_source, order_id AS match_id, unpaid.day,
               due AS amount, currency, why, distance, whole
        FROM fitting JOIN loose USING (payment_no) JOIN unpaid ON unpaid.order_no = fitting.order_no
        UNION ALL
        SELECT source_no, event_id, NULL, NULL, day, paid, paid_in, why, 2000, NULL FROM crowded JOIN loose USING (payment_no)
        """,
    )
    rank_candidates(
        connection,
        "a payment",
        """
        SELECT unpaid.source_no, order_id AS record_id, source_name AS match_source, loose.event_id AS match_id, loose.day,
               paid AS amount, paid_in AS currency, why, distance, NULL::INTEGER AS whole
        FROM fitting JOIN loose USING (payment_no) JOIN unpaid ON unpaid.order_no = fitting.order_no
        UNION ALL
        SELECT source_no, order_id, NULL, NULL, day, due, currency, why, 2000, NULL
        FROM crowded JOIN unpaid ON unpaid.order_no = crowded.order_no
        """,
    )
    connection.execute("DROP TABLE fitting; DROP TABLE crowded; DROP TABLE untaken")


def list_goods_candidates(connection: duckdb.DuckDBPyConnection) -> None:
    """Add to `candidate`: orders for fulfilment charges without an order, and charges for orders without one."""
    window = stages.GOODS.days
    fill_sides(
        connection,
        "SELECT making_no AS no, bucket, day, source_no, order_no IS NULL AS open FROM making",
        "SELECT order_no AS no, bucket, day, source_no, open FROM basket",
    )
    weigh_pairs(connection, window, NOT_BEFORE_THE_ORDER)
    crowd = "degree || ' of these goods to this destination in the days around are too many to tell apart' AS why"
    few = stages.COMPETITORS_AT_MOST
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE fitting AS
        SELECT later_no AS making_no, earlier_no AS order_no, 'the same goods and destination, ' || {lag_words("lag")} AS why,
               abs(lag) AS distance FROM possible;
        CREATE OR REPLACE TEMP TABLE crowded AS
        SELECT no AS making_no, NULL::INTEGER AS order_no, {crowd} FROM later_weighed WHERE degree > {few}
        UNION ALL SELECT NULL, no, {crowd} FROM earlier_weighed WHERE degree > {few}
        """
    )
    rank_candidates(
        connection,
        "an order",
        f"""
        SELECT made.source_no, made.event_id AS record_id, {_shop("basket")} AS match_source, order_id AS match_id, basket.day,
               basket.total AS amount, basket.currency, fitting.why, distance, NULL::INTEGER AS whole
        FROM fitting JOIN making_row AS made USING (making_no) JOIN basket ON basket.order_no = fitting.order_no
        UNION ALL
        SELECT made.source_no, made.event_id, NULL, NULL, made."at"::DATE, NULL, NULL, why, 2000, NULL
        FROM crowded JOIN making_row AS made USING (making_no)
        """,
    )
    rank_candidates(
        connection,
        "a wallet charge",
        """
        SELECT basket.source_no, order_id AS record_id, source_name AS match_source, made.event_id AS match_id,
               made."at"::DATE AS day, row.total AS amount, row.currency, fitting.why, distance, NULL::INTEGER AS whole
        FROM fitting JOIN making_row AS made USING (making_no) JOIN basket ON basket.order_no = fitting.order_no
        JOIN wallet_row AS row ON row.source_no = made.source_no AND row.event_id = made.event_id
        UNION ALL
        SELECT source_no, order_id, NULL, NULL, day, total, currency, why, 2000, NULL
        FROM crowded JOIN basket ON basket.order_no = crowded.order_no
        """,
    )
    connection.execute("DROP TABLE fitting; DROP TABLE crowded")
