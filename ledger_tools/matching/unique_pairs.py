"""Pairs of records that fit each other alone: set-based, bounded, and independent of the order of rows.

Two temporary tables hold what is still open: `later_side` (bank lines, payments, charges) and `earlier_side` (payouts,
top-ups, orders), each with (no, bucket, day, source_no, first_day, last_day, repeated). Records of one `bucket` (amount
and currency, or goods and destination) in a window of days compete. `first_day` and `last_day` span the days around the
record that its source's exports cover; `repeated` says that the bucket is no single record's on either side. Source 0 (cheques)
and that of `written` are what people write, which is all there on every day.

A pair is taken where neither record has another partner in the whole window; or where it is the only one in the usual
days and everything that competes has a partner of its own there. What occurs more than once is not matched at the
edge of both exports, because its true partner may stand in an export that is not there yet.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from dataclasses import dataclass

import duckdb

from ledger_tools.matching.stages import COMPETITORS_AT_MOST, LEARNT_FROM, Window
from ledger_tools.matching.written import SOURCE_NO as WRITTEN

#: SQL: spans of days without a gap that each source's exports cover.
COVERED_SPANS = (
    f"SELECT * FROM covered_span UNION ALL SELECT unnest([0, {WRITTEN}]), DATE '0001-01-01', DATE '9999-12-31'"
)

_DAYS_APART = "unnest(range({}, {} + 1))::INTEGER AS days"

_SIDE_COLUMNS = (
    "no INTEGER, bucket VARCHAR, day DATE, source_no SMALLINT, first_day DATE, last_day DATE, repeated BOOLEAN"
)


@dataclass(frozen=True)
class Sides:
    """What is to be paired.

    Attributes:
        later, earlier: queries for (no, bucket, day, source_no, open) of all records of the two kinds.
        matched: query for (later_source_no, earlier_source_no, lag) of what is matched already.
        fits: SQL condition on `later` and `earlier` that a pair must meet besides bucket and window.
    """

    later: str
    earlier: str
    matched: str
    fits: str = "true"


def fill_sides(connection: duckdb.DuckDBPyConnection, later: str, earlier: str) -> None:
    """Make both sides from two queries for (no, bucket, day, source_no, open) of all records of their kinds.

    Those that are not open only tell whether a bucket is repeated.
    """
    for name, query in (("later_side", later), ("earlier_side", earlier)):
        connection.execute(
            f"""
            CREATE OR REPLACE TEMP TABLE {name} ({_SIDE_COLUMNS});
            INSERT INTO {name}
            WITH record AS ({query}), span AS ({COVERED_SPANS})
            SELECT no, bucket, day, record.source_no, coalesce(span.first_day, day), coalesce(span.last_day, day), members > 1
            FROM (SELECT *, count(*) OVER (PARTITION BY bucket) AS members FROM record) AS record
            LEFT JOIN span ON span.source_no = record.source_no AND day BETWEEN span.first_day AND span.last_day
            WHERE open
            """
        )


def weigh_pairs(connection: duckdb.DuckDBPyConnection, window: Window, fits: str = "true") -> None:
    """Make `possible`: pairs in a window, with how many partners each of the two has in it.

    Pairs between two records that both have more competitors than are looked at are left out, so the work is bounded;
    those with fewer have all their pairs there, and what doesn't fit besides is no partner of theirs.
    """
    low, high, few = window.low, window.high, COMPETITORS_AT_MOST
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE bucket_day AS
        SELECT bucket, day, sum(earlier_records) OVER before AS later_degree, sum(later_records) OVER after AS earlier_degree
        FROM (
            SELECT bucket, day, count(*) FILTER (is_later) AS later_records, count(*) FILTER (NOT is_later) AS earlier_records
            FROM (SELECT bucket, day, true AS is_later FROM later_side UNION ALL SELECT bucket, day, false FROM earlier_side)
            GROUP BY ALL
        )
        WINDOW before AS (PARTITION BY bucket ORDER BY day
                          RANGE BETWEEN INTERVAL ({high}) DAYS PRECEDING AND INTERVAL ({-low}) DAYS FOLLOWING),
               after AS (PARTITION BY bucket ORDER BY day
                         RANGE BETWEEN INTERVAL ({-low}) DAYS PRECEDING AND INTERVAL ({high}) DAYS FOLLOWING);
        CREATE OR REPLACE TEMP TABLE later_weighed AS
        SELECT later_side.*, later_degree AS degree FROM later_side JOIN bucket_day USING (bucket, day) WHERE later_degree > 0;
        CREATE OR REPLACE TEMP TABLE earlier_weighed AS
        SELECT earlier_side.*, earlier_degree AS degree FROM earlier_side JOIN bucket_day USING (bucket, day)
        WHERE earlier_degree > 0;
        CREATE OR REPLACE TEMP TABLE possible AS
        SELECT later.no AS later_no, earlier.no AS earlier_no, (later.day - earlier.day)::INTEGER AS lag,
               {_partners("later")} AS later_degree, {_partners("earlier")} AS earlier_degree,
               later.source_no AS later_source_no, earlier.source_no AS earlier_source_no,
               later.repeated OR earlier.repeated AS repeated, later.day AS later_day, earlier.day AS earlier_day,
               later.first_day AS later_first, later.last_day AS later_last,
               earlier.first_day AS earlier_first, earlier.last_day AS earlier_last
        FROM (
            SELECT later, earlier
            FROM (SELECT later_weighed AS later, {_DAYS_APART.format(low, high)} FROM later_weighed WHERE degree <= {few})
            JOIN (SELECT bucket, day, earlier_weighed AS earlier FROM earlier_weighed) AS other
              ON other.bucket = later.bucket AND other.day = later.day - days
            UNION ALL
            SELECT later, earlier
            FROM (SELECT earlier_weighed AS earlier, {_DAYS_APART.format(low, high)} FROM earlier_weighed WHERE degree <= {few})
            JOIN (SELECT bucket, day, later_weighed AS later FROM later_weighed WHERE degree > {few}) AS other
              ON other.bucket = earlier.bucket AND other.day = earlier.day + days
        ) WHERE {fits};
        DROP TABLE bucket_day
        """
    )


def _partners(side: str) -> str:
    few = f"{side}.degree <= {COMPETITORS_AT_MOST}"
    return f"CASE WHEN {few} THEN count(*) OVER (PARTITION BY {side}.no) ELSE {side}.degree END"


def _known(low: str, high: str) -> str:
    """SQL condition: the partner that either record could have had instead would stand in an export that is there."""
    return f"""(NOT repeated
        OR (later_day - ({high}) >= earlier_first AND later_day - ({low}) <= earlier_last)
        OR (earlier_day + ({low}) >= later_first AND earlier_day + ({high}) <= later_last))"""


def accept_alone(connection: duckdb.DuckDBPyConnection, window: Window) -> None:
    """Make `paired`: pairs of which neither has another partner in the whole window."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE paired AS
        SELECT later_no, earlier_no, lag, 'the only two in ' || {window.high - window.low + 1} || ' days' AS why FROM possible
        WHERE later_degree = 1 AND earlier_degree = 1 AND {_known(str(window.low), str(window.high))}
        """
    )


def accept_near(connection: duckdb.DuckDBPyConnection, near: Window) -> None:
    """Make `paired`: pairs that are alone in the near days, all competitors having a partner of their own there."""
    _accept_within(
        connection, f"SELECT *, {near.low} AS low, {near.high} AS high FROM possible", "the only two in the near days"
    )


def accept_usual(connection: duckdb.DuckDBPyConnection, matched: str) -> None:
    """Make `paired` the same way, in the days that these two sources have shown.

    Args:
        matched: query for (later_source_no, earlier_source_no, lag) of what is matched so far.
    """
    _accept_within(
        connection,
        f"""SELECT possible.*, low, high FROM possible JOIN (
                SELECT later_source_no, earlier_source_no, min(lag)::INTEGER AS low, max(lag)::INTEGER AS high FROM ({matched})
                GROUP BY ALL HAVING count(*) >= {LEARNT_FROM}
            ) USING (later_source_no, earlier_source_no)""",
        "the only two in the usual days",
    )


def match_unique(
    connection: duckdb.DuckDBPyConnection, sides: Sides, window: Window, near: Window | None, take: Callable[[], None]
) -> None:
    """Match what is unique: alone in the window, alone in the near days, then twice alone in the usual days.

    Args:
        near: None where only what the sources have shown tells which days are usual.
        take: keeps what `paired` holds; both are then out of the sides.
    """
    accepts: tuple[Callable[[], None], ...] = (
        functools.partial(accept_alone, connection, window),
        *([] if near is None else [functools.partial(accept_near, connection, near)]),
        functools.partial(accept_usual, connection, sides.matched),
        functools.partial(accept_usual, connection, sides.matched),
    )
    fill_sides(connection, sides.later, sides.earlier)
    is_new = True  # planning these statements takes longer than running them, so none is run for nothing
    for accept in accepts:
        if is_new:
            if not _has_rows(connection, "later_side SEMI JOIN earlier_side USING (bucket)"):
                return
            weigh_pairs(connection, window, sides.fits)
            if not _has_rows(connection, "possible"):
                return
        accept()
        is_new = _has_rows(connection, "paired")
        if is_new:
            take()
            connection.execute(
                """DELETE FROM later_side USING paired WHERE no = later_no;
                   DELETE FROM earlier_side USING paired WHERE no = earlier_no"""
            )


def _has_rows(connection: duckdb.DuckDBPyConnection, relation: str) -> bool:
    return connection.execute(f"SELECT 1 FROM {relation} LIMIT 1").fetchone() is not None


def _accept_within(connection: duckdb.DuckDBPyConnection, edges: str, why: str) -> None:
    few = f"later_degree <= {COMPETITORS_AT_MOST} AND earlier_degree <= {COMPETITORS_AT_MOST}"
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE paired AS
        WITH edge AS ({edges}),
        sole AS (
            SELECT * FROM edge WHERE lag BETWEEN low AND high
            QUALIFY count(*) OVER (PARTITION BY later_no) = 1 AND count(*) OVER (PARTITION BY earlier_no) = 1 AND {few}
        ), later_sure AS (
            SELECT possible.later_no FROM possible LEFT JOIN sole ON sole.earlier_no = possible.earlier_no
            GROUP BY possible.later_no HAVING count(*) = count(sole.earlier_no)
        ), earlier_sure AS (
            SELECT possible.earlier_no FROM possible LEFT JOIN sole ON sole.later_no = possible.later_no
            GROUP BY possible.earlier_no HAVING count(*) = count(sole.later_no)
        )
        SELECT later_no, earlier_no, lag, '{why} (' || low || ' to ' || high || ')' AS why
        FROM sole SEMI JOIN later_sure USING (later_no) SEMI JOIN earlier_sure USING (earlier_no)
        WHERE {_known("low", "high")}
        """
    )
