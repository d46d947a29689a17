"""Which references are believed: those that are written as the shop writes its own.

A reference that is believed and finds no order points to an order that no export holds yet; its record is never matched
by amount. One that is missing, cut short or garbled says nothing, and leaves the amount to tell.
"""

from __future__ import annotations

import duckdb

from ledger_tools.matching.loose_references import without_prefix, without_suffix


def _skeleton(text: str) -> str:
    """SQL expression: a reference with each run of letters and digits as one X."""
    return f"regexp_replace({text}, '[A-Z0-9]+', 'X', 'g')"


def _list_known_shapes(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `known_shape`: how the shop's order numbers and payment references are written, with their lengths.

    Numbers grow, so one more character than the longest is the shop's own as well.
    """
    bare = without_prefix("order_key")
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE known_shape AS
        SELECT what, {_skeleton("text")} AS skeleton, min(length(text)) AS shortest, max(length(text)) + 1 AS longest
        FROM (
            SELECT 'order' AS what, unnest([order_key, {bare}]) AS text FROM order_head
            UNION ALL SELECT 'payment', upper(trim(payment_ref)) FROM order_head WHERE payment_ref IS NOT NULL
        ) WHERE text <> '' GROUP BY ALL
        """
    )


def list_believed(connection: duckdb.DuckDBPyConnection, what: str, query: str) -> None:
    """Make `believed_<what>`: those of a query's normalised references that are written as the shop writes its own.

    Args:
        what: order or payment.
        query: for (reference).
    """
    connection.execute(f"CREATE OR REPLACE TEMP TABLE believed_{what} (reference VARCHAR)")
    row = connection.execute(f"SELECT count(*) FROM ({query}) WHERE reference <> ''").fetchone()
    if row is None or not row[0]:
        return
    _list_known_shapes(connection)
    bare = without_prefix("reference")
    texts = f"[reference, {bare}, {without_suffix('reference')}, {without_suffix(bare)}]"
    connection.execute(
        f"""
        INSERT INTO believed_{what}
        SELECT DISTINCT reference FROM (
            SELECT reference, unnest({texts}) AS text FROM (SELECT DISTINCT reference FROM ({query}) WHERE reference <> '')
        ) JOIN known_shape ON known_shape.what = '{what}' AND skeleton = {_skeleton("text")}
        WHERE length(text) BETWEEN shortest AND longest AND regexp_matches(text, '[0-9@]');
        DROP TABLE known_shape
        """
    )
