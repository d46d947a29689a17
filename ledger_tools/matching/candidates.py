"""What could belong to a record that stays open: candidates, ranked, for a person to choose from.

`candidate` has one row for each open record (an event by source and id, an order by source and order id) and record
that fits it; a row without a match says why nothing can be named.
"""

from __future__ import annotations

import duckdb

#: Candidates that are kept for one record.
CANDIDATES_AT_MOST = 5


def rank_candidates(connection: duckdb.DuckDBPyConnection, query: str) -> None:
    """Add the best candidates of each open record to `candidate`.

    Args:
        query: for (source_no, record_id, match_source, match_id, day, amount, currency, why, distance); the nearest
            comes first. `match_source` is null where the match is an order.
    """
    connection.execute(
        f"""
        INSERT INTO candidate
        SELECT source_no, record_id, row_number() OVER place AS rank, match_source, match_id, day, amount, currency, why
        FROM (
            SELECT * FROM ({query})
            QUALIFY row_number() OVER (
                PARTITION BY source_no, record_id, match_source, match_id ORDER BY distance, why) = 1
        )
        WINDOW place AS (PARTITION BY source_no, record_id ORDER BY distance, day, match_source, match_id)
        QUALIFY row_number() OVER place <= {CANDIDATES_AT_MOST} ORDER BY source_no, record_id, rank
        """
    )


def lag_words(lag: str) -> str:
    """SQL expression: a number of days from the earlier to the later record, in words."""
    return (
        f"CASE WHEN {lag} = 0 THEN 'the same day' ELSE abs({lag}) || CASE WHEN abs({lag}) = 1 THEN ' day ' ELSE ' days ' END "
        f"|| CASE WHEN {lag} < 0 THEN 'before' ELSE 'after' END END"
    )
