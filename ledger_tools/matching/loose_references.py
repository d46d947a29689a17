"""References that name no order as they stand: read without prefix or suffix, and taken only where that is no guess.

A suffix (`1001-2`: a split shipment, a reprint) is taken off where exactly one order fits. A lettered prefix that one side
writes and the other does not may be that side's way of writing, or another series of numbers altogether: it counts where
most references of the source and kind of event are written so, or where the payment is what the order owes or the charge is
for its goods. What does not count is a candidate for a person (`like_<kind>`).

Place in the flow: called by `by_reference` for one kind of export; `list_like` once everything else is matched.
"""

from __future__ import annotations

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.candidates import rank_candidates
from ledger_tools.store import sku_key

#: What a lettered prefix (`SO-`, `Order `) and a split or reprint suffix (`-2`) look like. Common practice.
_PREFIX, _SUFFIX = "^[A-Z]+[-_ #]*", "([0-9])[-_./][0-9]{1,2}$"

#: SQL condition on an event `kept` and the order `head` that its reference may mean: the event is what the order asks for.
_AGREES = {
    "processor": "kept.gross = head.total - coalesce(head.gift_card_paid, 0) AND kept.currency = head.currency",
    "wallet": f"""EXISTS (SELECT 1 FROM order_line AS line
        WHERE line.order_no = head.order_no AND {sku_key("line.sku")} = {sku_key("kept.sku")})""",
}

#: References of one way of writing among one kind of event from which it is a habit by itself. Common practice.
_A_HABIT = 3


def without_prefix(key: str) -> str:
    """SQL expression: a reference without the letters that stand before its number."""
    return f"regexp_replace({key}, '{_PREFIX}', '')"


def without_suffix(key: str) -> str:
    """SQL expression: a reference without the number of a split shipment or reprint at its end."""
    return f"regexp_replace({key}, '{_SUFFIX}', '\\1')"


def loosen(connection: duckdb.DuckDBPyConnection, kind: str, normal: str) -> None:
    """Make `loosened` (source_no, kind, order_key, order_no) of `kept_<kind>`, and `like_<kind>`, what was not taken.

    Args:
        normal: SQL expression of a row's normalised reference.
    """
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE loosened (source_no SMALLINT, kind VARCHAR, order_key VARCHAR, order_no INTEGER);
        CREATE OR REPLACE TEMP TABLE like_{kind} (source_no SMALLINT, event_id VARCHAR, order_no INTEGER, why VARCHAR);
        CREATE OR REPLACE TEMP TABLE referenced AS
        SELECT source_no, kind, event_id, order_key, exact.order_no FROM (SELECT *, {normal} AS order_key FROM kept_{kind})
        LEFT JOIN order_key AS exact USING (order_key) WHERE order_key <> ''
        """
    )
    row = connection.execute("SELECT 1 FROM referenced WHERE order_no IS NULL LIMIT 1").fetchone()
    if row is not None:
        _list_readings(connection)
        _take_habits(connection)
        _take_agreeing(connection, kind)
        _list_others(connection, kind)
        connection.execute("DROP TABLE reading")
    connection.execute("DROP TABLE referenced")


def _list_readings(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `reading` (order_key, order_no, fits, style): every order that a reference without order may mean.

    `style` is the prefix of the reference where one had to go on either side, else null; `fits`: the only one.
    """
    bare = without_prefix("missed.order_key")
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE reading AS
        WITH missed AS (
            SELECT DISTINCT order_key FROM referenced WHERE order_no IS NULL
        ), text AS (
            SELECT order_key, unnest([{bare}, {without_suffix("order_key")}, {without_suffix(bare)}]) AS text FROM missed
        ), bare_order AS (
            SELECT {without_prefix("order_key")} AS text, order_no FROM order_head
        ), found AS (
            SELECT text.order_key, head.order_no, true AS fits FROM text JOIN order_head AS head ON head.order_key = text.text
            UNION ALL -- where the shop's own orders have suffixes, a suffix means another order
            SELECT missed.order_key, head.order_no, false
            FROM missed JOIN order_head AS head
                ON {without_suffix("head.order_key")} = {without_suffix("missed.order_key")}
               AND {without_suffix("head.order_key")} <> head.order_key
            UNION ALL
            SELECT missed.order_key, bare_order.order_no, true
            FROM missed JOIN bare_order ON bare_order.text IN (missed.order_key, {without_suffix("missed.order_key")})
            WHERE missed.order_key = {bare} AND bare_order.text <> ''
            UNION ALL -- a number may have lost the zeros before it: never taken, but told
            SELECT missed.order_key, head.order_no, false FROM missed JOIN order_head AS head
                ON ltrim(head.order_key, '0') = ltrim(missed.order_key, '0') AND head.order_key <> missed.order_key
        )
        SELECT found.order_key, found.order_no,
               min(found.order_no) OVER reference = max(found.order_no) OVER reference AND bool_or(fits) OVER reference AS fits,
               CASE WHEN head.order_key NOT IN (found.order_key, {without_suffix("found.order_key")})
                    THEN regexp_extract(found.order_key, '{_PREFIX}') END AS style
        FROM (SELECT order_key, order_no, bool_or(fits) AS fits FROM found GROUP BY ALL) AS found
        JOIN order_head AS head USING (order_no) WINDOW reference AS (PARTITION BY found.order_key)
        """
    )


def _take_habits(connection: duckdb.DuckDBPyConnection) -> None:
    """Take suffixes, and prefixes that most references of a source have in this kind of event.

    Few of a kind show no habit: then the references of all kinds of event must be written so for the most part.
    """
    connection.execute(
        f"""
        INSERT INTO loosened
        WITH loose AS (
            SELECT DISTINCT source_no, kind, order_key, reading.order_no, style
            FROM referenced JOIN reading USING (order_key) WHERE referenced.order_no IS NULL AND fits
        ), written AS (
            SELECT source_no, kind, style, count(*) AS so FROM loose GROUP BY ALL
        ), written_at_all AS (
            SELECT source_no, style, count(DISTINCT order_key) AS so FROM loose GROUP BY ALL
        ), plain AS (
            SELECT source_no, kind, count(DISTINCT order_key) AS so FROM referenced WHERE order_no IS NOT NULL GROUP BY ALL
        ), plain_at_all AS (
            SELECT source_no, count(DISTINCT order_key) AS so FROM referenced WHERE order_no IS NOT NULL GROUP BY ALL
        )
        SELECT source_no, kind, order_key, loose.order_no FROM loose
        LEFT JOIN written USING (source_no, kind, style) LEFT JOIN written_at_all USING (source_no, style)
        LEFT JOIN plain USING (source_no, kind) LEFT JOIN plain_at_all USING (source_no)
        WHERE style IS NULL OR written.so > coalesce(plain.so, 0)
          AND (written.so >= {_A_HABIT} OR written_at_all.so > coalesce(plain_at_all.so, 0))
        """
    )


def _take_agreeing(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Take a reference whose payment is what the order owes, or whose charge is for its goods, where no other names the order."""
    window = stages.REFERENCE.days
    connection.execute(
        f"""
        INSERT INTO loosened
        WITH agreeing AS (
            SELECT DISTINCT referenced.source_no, order_key, reading.order_no
            FROM referenced JOIN reading USING (order_key) JOIN kept_{kind} AS kept USING (source_no, event_id)
            JOIN order_head AS head ON head.order_no = reading.order_no
            WHERE fits AND referenced.kind = 'charge' AND {_AGREES[kind]}
              AND kept."at"::DATE - head.placed_at::DATE BETWEEN {window.low} AND {window.high}
              AND reading.order_no NOT IN (SELECT order_no FROM referenced WHERE order_no IS NOT NULL AND kind = 'charge')
        ), alone AS (
            SELECT * FROM agreeing QUALIFY count(*) OVER (PARTITION BY order_no) = 1
        )
        SELECT DISTINCT alone.source_no, referenced.kind, alone.order_key, alone.order_no
        FROM alone JOIN referenced USING (source_no, order_key)
        ANTI JOIN loosened ON loosened.source_no = alone.source_no AND loosened.kind = referenced.kind
            AND loosened.order_key = alone.order_key
        """
    )


def _list_others(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Fill `like_<kind>`: orders that a reference may mean, where none was taken."""
    connection.execute(
        f"""
        INSERT INTO like_{kind}
        SELECT source_no, event_id, like_it.order_no, why
        FROM (SELECT * FROM referenced WHERE order_no IS NULL) AS referenced
        ANTI JOIN loosened USING (source_no, kind, order_key)
        JOIN (
            SELECT order_key, order_no, 'its reference is written much like this order''s number' AS why FROM reading
            UNION ALL SELECT order_key, order_no, 'its reference is this order''s number, which another order has as well'
            FROM order_head WHERE order_key NOT IN (SELECT order_key FROM order_key)
        ) AS like_it USING (order_key)
        """
    )


def list_like(connection: duckdb.DuckDBPyConnection, kind: str, wanted: str) -> None:
    """Add to `candidate`, where nothing was matched: the orders that references may mean, and their events to the orders.

    Args:
        wanted: what an order waits for of this kind of export.
    """
    open_event = f"""{kind}_row AS row ON row.source_no = like_it.source_no AND row.event_id = like_it.event_id AND row.order_no IS NULL
            AND row.kind = 'charge'"""
    amount = "gross" if kind == "processor" else "total"
    nearness = 'abs(row."at"::DATE - head.placed_at::DATE)'
    shop = "(SELECT name FROM source WHERE source_no = head.source_no)"
    several = f"CASE WHEN head.order_key NOT IN (SELECT order_key FROM order_key) THEN {shop} END"
    connection.execute("CREATE OR REPLACE TEMP TABLE named AS SELECT source_no, record_id, match_id FROM candidate")
    rank_candidates(
        connection,
        "an order",
        f"""
        SELECT row.source_no, row.event_id AS record_id, {several} AS match_source, head.order_id AS match_id,
               head.placed_at::DATE AS day, head.total AS amount, head.currency, like_it.why,
               {nearness} + CASE WHEN row.{amount} = head.total THEN 0 ELSE 500 END AS distance, NULL::INTEGER AS whole
        FROM like_{kind} AS like_it JOIN {open_event.replace("AND row.kind = 'charge'", "")}
        JOIN order_head AS head ON head.order_no = like_it.order_no
        ANTI JOIN named ON named.source_no = row.source_no AND named.record_id = row.event_id AND named.match_id = head.order_id
        """,
    )
    rank_candidates(
        connection,
        wanted,
        f"""
        SELECT head.source_no, head.order_id AS record_id, source.name AS match_source, row.event_id AS match_id,
               row."at"::DATE AS day, row.{amount} AS amount, row.currency, like_it.why, {nearness} AS distance, NULL::INTEGER AS whole
        FROM like_{kind} AS like_it JOIN {open_event} JOIN source ON source.source_no = row.source_no
        JOIN order_head AS head ON head.order_no = like_it.order_no
        ANTI JOIN named ON named.source_no = head.source_no AND named.record_id = head.order_id AND named.match_id = row.event_id
        """,
    )
    connection.execute(f"DROP TABLE named; DROP TABLE like_{kind}")
