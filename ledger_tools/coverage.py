"""Which days each source's exports cover: the spans of each export, joined to spans without a gap.

Place in the flow: `export_rows` → here → `versions` (what a later export no longer holds), `matching` (what may stand in an
export that is not there yet), open items and the close (days that nothing covers). Both ends of a span are included.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import duckdb

from importers.statements import DAYS_BETWEEN

#: Statements that open with the amount with which another closed, where no export covers the few days between. Nothing
#: says as little as zero: an account that is swept holds it at any time.
_CONTINUED = f"""
    UPDATE export_days SET first_day = continued.closed_on + 1
    FROM (
        SELECT days.export_no, days.first_day, max(closing.stated_on) AS closed_on
        FROM export_days AS days
        JOIN claimed_balance AS opening ON opening.export_no = days.export_no AND opening.stated_on = days.first_day - 1
        JOIN claimed_balance AS closing ON closing.source_no = opening.source_no AND closing.currency = opening.currency
            AND closing.amount = opening.amount
            AND closing.stated_on BETWEEN opening.stated_on - {DAYS_BETWEEN} AND opening.stated_on - 1
        JOIN export_days AS before ON before.export_no = closing.export_no AND before.last_day = closing.stated_on
        WHERE opening.amount <> 0 AND NOT EXISTS (
            SELECT 1 FROM export_days AS other WHERE other.source_no = days.source_no
            AND other.first_day <= opening.stated_on AND other.last_day > closing.stated_on)
        GROUP BY days.export_no, days.first_day
    ) AS continued WHERE continued.export_no = export_days.export_no AND continued.first_day = export_days.first_day;
    UPDATE export SET first_day = days.first_day
    FROM (SELECT export_no, min(first_day) AS first_day FROM export_days GROUP BY export_no) AS days
    WHERE days.export_no = export.export_no
"""

_JOINED = """
    INSERT INTO covered_span
    SELECT source_no, min(first_day) AS first_day, max(last_day) FROM (
        SELECT *, count(*) FILTER (begins) OVER (PARTITION BY source_no ORDER BY first_day, last_day, export_no) AS span_no
        FROM (
            SELECT *, coalesce(first_day > 1 + max(last_day) OVER (
                PARTITION BY source_no ORDER BY first_day, last_day, export_no ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING
            ), true) AS begins
            FROM export_days
        )
    ) GROUP BY source_no, span_no ORDER BY source_no, first_day
"""


def note_days(
    connection: duckdb.DuckDBPyConnection,
    export_no: int,
    source_no: int,
    spans: Sequence[tuple[datetime.date, datetime.date]],
) -> None:
    """Keep the spans that an export covers."""
    for first, last in spans:
        connection.execute("INSERT INTO export_days VALUES (?, ?, ?, ?)", [export_no, source_no, first, last])


def join_days(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill `covered_span`, once all exports are read.

    A statement begins on the day after the one before it, where its opening balance is that one's closing balance: a bank
    may date the opening balance on its statement's first day, so that its own dates leave that day out.
    """
    connection.execute(_CONTINUED)
    connection.execute(_JOINED)


def list_coverage(connection: duckdb.DuckDBPyConnection) -> dict[str, list[tuple[str, str]]]:
    """The days that each source's exports cover, as spans without a gap (first day, last day) in ISO 8601."""
    spans: dict[str, list[tuple[str, str]]] = {}
    for source, first, last in connection.execute(
        """SELECT source.name, first_day::VARCHAR, last_day::VARCHAR FROM covered_span JOIN source USING (source_no)
           ORDER BY source.name, first_day"""
    ).fetchall():
        spans.setdefault(source, []).append((first, last))
    return spans


def list_gaps(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, datetime.date, datetime.date]]:
    """Days between those that exports of a source cover, as (source, first day, last day)."""
    return connection.execute(
        """SELECT name, since + 1, first_day - 1 FROM (
               SELECT source_no, first_day, lag(last_day) OVER (PARTITION BY source_no ORDER BY first_day) AS since
               FROM covered_span
           ) JOIN source USING (source_no) WHERE since IS NOT NULL ORDER BY source_no, first_day"""
    ).fetchall()
