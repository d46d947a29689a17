"""What could belong to a record that stays open: candidates, ranked, for a person to choose from.

`candidate` has one row for each open record (an event by source and id, an order by source and order id) and record
that fits it; a row without a match says why nothing can be named.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

#: Candidates that are kept for one record.
CANDIDATES_AT_MOST = 5


def rank_candidates(connection: duckdb.DuckDBPyConnection, wanted: str | None, query: str) -> None:
    """Add the best candidates of each open record to `candidate`.

    Args:
        wanted: what a record of the query waits for, as `kinds.Kind.match` says; None where it waits for one kind only.
        query: for (source_no, record_id, match_source, match_id, day, amount, currency, why, distance, whole); the nearest
            comes first. `match_source` is null where the match is an order. Records with one `whole` are one candidate
            together, and have one rank; null: the record alone.
    """
    alone = "CASE WHEN whole IS NULL THEN {} END"
    place = ", ".join(alone.format(column) for column in ("day", "match_source", "match_id"))
    connection.execute(
        f"""
        INSERT INTO candidate
        SELECT source_no, record_id, $wanted, dense_rank() OVER place AS rank, match_source, match_id, day, amount, currency, why, whole
        FROM (
            SELECT source_no, record_id, match_source, match_id, whole, any_value(day) AS day, any_value(amount) AS amount,
                   any_value(currency) AS currency, arg_min(why, (distance, why)) AS why, min(distance) AS distance
            FROM ({query}) GROUP BY ALL
        )
        WINDOW place AS (PARTITION BY source_no, record_id ORDER BY distance, {place}, whole)
        QUALIFY dense_rank() OVER place <= {CANDIDATES_AT_MOST} ORDER BY source_no, record_id, rank, day, match_id
        """,
        {"wanted": wanted},
    )


def lag_words(lag: str) -> str:
    """SQL expression: a number of days from the earlier to the later record, in words."""
    return (
        f"CASE WHEN {lag} = 0 THEN 'the same day' ELSE abs({lag}) || CASE WHEN abs({lag}) = 1 THEN ' day ' ELSE ' days ' END "
        f"|| CASE WHEN {lag} < 0 THEN 'before' ELSE 'after' END END"
    )


@dataclass(frozen=True)
class Candidate:
    """One record that could belong to an open one, or several that are it together.

    Attributes:
        matches: what `settle --match` takes of each: SOURCE/EVENT, or the id of an order; none where too many fit to name one.
        day, amount, currency: of the candidate (the last of several, their sum), in minor units; of the open record where
            none is named.
        why: what speaks for it, or why none is named.
    """

    matches: tuple[str, ...]
    day: datetime.date
    amount: int | None
    currency: str | None
    why: str

    @property
    def match(self) -> str | None:
        """The matches as one text, with commas; None where none is named."""
        return ", ".join(self.matches) or None


def read_candidates(
    connection: duckdb.DuckDBPyConnection, as_of: datetime.date
) -> dict[tuple[str, str, str | None], tuple[Candidate, ...]]:
    """Candidates up to a day of each open record, by its source's name, its event or order id and what it waits for."""
    found: dict[tuple[str, str, str | None], list[Candidate]] = {}
    rows = connection.execute(
        """SELECT source.name, record_id, wanted, rank, list(coalesce(match_source || '/', '') || match_id ORDER BY day, match_id)
                      FILTER (match_id IS NOT NULL), max(day), sum(amount)::BIGINT, any_value(candidate.currency), any_value(why)
           FROM candidate JOIN source USING (source_no)
           GROUP BY source.name, record_id, wanted, rank, why, whole, CASE WHEN whole IS NULL THEN match_source || ' ' || match_id END
           HAVING max(day) <= ? ORDER BY source.name, record_id, wanted, rank, why, min(match_id)""",
        [as_of],
    ).fetchall()
    for source, record_id, wanted, _, matches, *told in rows:
        found.setdefault((source, record_id, wanted), []).append(Candidate(tuple(matches or ()), *told))
    return {key: tuple(candidates) for key, candidates in found.items()}
