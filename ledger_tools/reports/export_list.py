"""The exports that the books are made of, so that a figure can be traced to the file that brought it."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb


@dataclass(frozen=True)
class ExportFile:
    """One archived export.

    Attributes:
        digest: SHA-256 of the file as it came.
        rows: rows in the file; `records` of them were taken, `skipped` left out as the mapping declares.
        amended: records that the file changed against an earlier one.
        reasons: why rows were skipped, with their numbers.
    """

    source: str
    kind: str
    file: str
    first_day: datetime.date | None
    last_day: datetime.date | None
    rows: int
    records: int
    skipped: int
    amended: int
    reasons: str
    digest: str


def list_exports(connection: duckdb.DuckDBPyConnection, last: datetime.date | None) -> tuple[ExportFile, ...]:
    """Exports that begin on or before a day, by source, then first day and file name."""
    rows = connection.execute(
        """SELECT source.name, source.kind, export.file, first_day, last_day, rows_read, records, coalesce(left_out, 0)::BIGINT,
                  coalesce(rows_amended, 0), coalesce(reasons, ''), digest
           FROM export JOIN source USING (source_no) LEFT JOIN (
               SELECT export_no, sum(rows) AS left_out, string_agg(reason || ': ' || rows, '; ' ORDER BY reason) AS reasons
               FROM skipped GROUP BY export_no
           ) AS declared USING (export_no)
           WHERE $last IS NULL OR first_day IS NULL OR first_day <= $last
           ORDER BY source.source_no, first_day, export.file""",
        {"last": last},
    ).fetchall()
    return tuple(ExportFile(*row) for row in rows)
