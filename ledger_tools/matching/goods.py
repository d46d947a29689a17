"""Fulfilment charges without a reference: by the pieces made, where they went, and days; never by the cost.

The rows of one moment to one destination are one making. It matches an order without any charge that holds the same
pieces of the same SKUs for the same country and region, where that is unique both ways.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping

import duckdb

from ledger_tools.accounts import ORDER_REASON
from ledger_tools.matching import stages
from ledger_tools.matching.believed import list_believed
from ledger_tools.matching.by_reference import normal_key
from ledger_tools.matching.candidates import lag_words
from ledger_tools.matching.order_candidates import NOT_BEFORE_THE_ORDER, list_goods_candidates
from ledger_tools.matching.unique_pairs import Sides, match_unique
from ledger_tools.store import quoted, sku_key

_PIECES = "string_agg(sku_key || ' ' || quantity, ', ' ORDER BY sku_key)"
_PLACE = "upper(trim(ship_country)) || '-' || upper(trim(coalesce(ship_region, '')))"


def match_goods(connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str]) -> None:
    """Give `order_no`, `matched_by` and `why` in `wallet_row` to charges that goods and destination tie to an order."""
    connection.execute("ALTER TABLE wallet_row ADD COLUMN why VARCHAR")
    if connection.execute(f"SELECT 1 FROM wallet_row WHERE {_UNKNOWN} LIMIT 1").fetchone() is None:
        return
    _list_loose(connection, patterns)
    row = connection.execute("SELECT count(*) FROM loose").fetchone()
    if row is not None and row[0]:
        _list_makings(connection)
        _list_baskets(connection)
        stage = stages.GOODS
        sides = Sides(
            "SELECT making_no AS no, bucket, day, source_no, order_no IS NULL AS open FROM making",
            "SELECT order_no AS no, bucket, day, source_no, open FROM basket",
            f"""SELECT making.source_no AS later_source_no, basket.source_no AS earlier_source_no,
                      (making.day - basket.day)::INTEGER AS lag
               FROM making JOIN basket USING (order_no) WHERE making.day - basket.day BETWEEN {stage.days.low} AND {stage.days.high}""",
            NOT_BEFORE_THE_ORDER,
        )
        match_unique(connection, sides, stage.days, None, functools.partial(_take, connection))
        list_goods_candidates(connection)
        connection.execute("DROP TABLE making; DROP TABLE making_row; DROP TABLE basket")
    connection.execute("DROP TABLE loose")


def _moment(column: str) -> str:
    """SQL expression: a time stamp, NULL where it is a day without a time."""
    return f"CASE WHEN {column} <> ({column})::DATE THEN {column} END"


_MADE = f"kind = 'charge' AND coalesce(lower(trim(reason)), '{ORDER_REASON}') = '{ORDER_REASON}'"
_UNKNOWN = f"{_MADE} AND order_no IS NULL AND sku IS NOT NULL AND ship_country IS NOT NULL"


def _list_loose(connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str]) -> None:
    """Make `loose`: charges with goods and destination that no order is known for and whose reference says nothing."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE unknown AS
        SELECT source_no, event_id, {normal_key("order_ref", patterns)} AS order_key
        FROM wallet_row WHERE {_UNKNOWN}
        """
    )
    list_believed(connection, "order", "SELECT order_key AS reference FROM unknown")
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE loose AS
        SELECT source_no, event_id FROM unknown JOIN source USING (source_no)
        WHERE coalesce(order_key, '') NOT IN (SELECT reference FROM believed_order)
          AND (source.name, event_id) NOT IN (
              SELECT (source, event_id) FROM decision
              WHERE action = 'account' AND source IS NOT NULL AND event_id IS NOT NULL);
        DROP TABLE unknown; DROP TABLE believed_order
        """
    )


def _list_makings(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `making` (what was made and for where, with the order where one is known) and `making_row` (its rows)."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE making_row AS
        SELECT dense_rank() OVER (
                   ORDER BY made."at", made.source_no, coalesce(place, ''), coalesce(order_no, 0), alone)::INTEGER AS making_no, *
        FROM (
            SELECT row.source_no, source.name AS source_name, row.event_id, row."at", order_no, sku,
                   coalesce(quantity, 1) AS quantity, {_PLACE} AS place,
                   CASE WHEN row."at" = row."at"::DATE THEN row.event_id ELSE '' END AS alone
            FROM wallet_row AS row JOIN source USING (source_no) LEFT JOIN loose
                ON loose.source_no = row.source_no AND loose.event_id = row.event_id
            WHERE row.{_MADE} AND (order_no IS NOT NULL OR loose.event_id IS NOT NULL)
        ) AS made;
        CREATE OR REPLACE TEMP TABLE making AS
        SELECT making_no, any_value(source_no) AS source_no, any_value("at")::DATE AS day, {_moment('any_value("at")')} AS moment,
               any_value(order_no) AS order_no,
               any_value(place) || ': ' || {_PIECES} AS bucket
        FROM (
            SELECT making_no, source_no, "at", order_no, place, {sku_key("sku")} AS sku_key, sum(quantity) AS quantity
            FROM making_row GROUP BY ALL
        ) GROUP BY making_no
        """
    )


def _list_baskets(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `basket`: what each order needs made and for where; `open` where nothing has been charged for it."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE basket AS
        SELECT order_no, head.source_no, placed_at::DATE AS day, {_moment("placed_at")} AS moment, {_PLACE} || ': ' || pieces AS bucket,
               order_no NOT IN (SELECT order_no FROM making WHERE order_no IS NOT NULL) AS open, order_id, total, currency
        FROM order_head AS head JOIN (
            SELECT order_no, {_PIECES} AS pieces FROM (
                SELECT order_no, {sku_key("sku")} AS sku_key, sum(coalesce(quantity, 1)) AS quantity FROM order_line
                WHERE NOT is_gift_card GROUP BY ALL
            ) GROUP BY order_no HAVING count(*) = count(sku_key)
        ) USING (order_no) WHERE ship_country IS NOT NULL
        """
    )


def _take(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute(
        f"""
        UPDATE wallet_row SET order_no = earlier_no, matched_by = {quoted(stages.GOODS.name)},
               why = paired.why || ', ' || {lag_words("lag")}
        FROM paired JOIN making_row ON making_no = later_no
        WHERE wallet_row.source_no = making_row.source_no AND wallet_row.event_id = making_row.event_id;
        UPDATE making SET order_no = earlier_no FROM paired WHERE making_no = later_no;
        UPDATE basket SET open = false FROM paired WHERE basket.order_no = earlier_no
        """
    )
