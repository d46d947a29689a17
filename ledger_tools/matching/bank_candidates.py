"""Candidates of bank lines, payouts and top-ups that stay open: of equal amount, or in a combination that was not taken."""

from __future__ import annotations

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.candidates import lag_words, rank_candidates
from ledger_tools.matching.unique_pairs import fill_sides, weigh_pairs


def list_bank_candidates(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill `candidate` for open lines and movements, each with the other."""
    window = stages.AMOUNT.days
    fill_sides(
        connection,
        """SELECT line_no AS no, amount || ' ' || currency AS bucket, "at"::DATE AS day, source_no,
                  line_no NOT IN (SELECT line_no FROM found) AS open FROM line""",
        """SELECT movement_no AS no, amount || ' ' || currency AS bucket, moved_on AS day, source_no,
                  movement_no NOT IN (SELECT movement_no FROM found)
                      AND movement_no NOT IN (SELECT movement_no FROM returned) AS open FROM movement""",
    )
    weigh_pairs(connection, window)
    few = stages.COMPETITORS_AT_MOST
    same = f"'the same amount, ' || {lag_words('lag')}"
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE fitting AS
        SELECT later_no AS line_no, earlier_no AS movement_no, {same} AS why, abs(lag) AS distance,
               NULL::INTEGER AS whole, '' AS made_up FROM possible
        UNION ALL
        SELECT line_no, movement_no, why, 1000, whole, made_up FROM left_open WHERE line_no IS NOT NULL AND movement_no IS NOT NULL;
        CREATE OR REPLACE TEMP TABLE crowded AS
        SELECT no AS line_no, NULL::INTEGER AS movement_no, degree || ' of this amount in the days around are too many to tell apart' AS why
        FROM later_weighed WHERE degree > {few}
        UNION ALL
        SELECT NULL, no, degree || ' of this amount in the days around are too many to tell apart'
        FROM earlier_weighed WHERE degree > {few}
        UNION ALL SELECT line_no, movement_no, why FROM left_open WHERE line_no IS NULL OR movement_no IS NULL
        """
    )
    rank_candidates(
        connection,
        None,
        """
        SELECT line.source_no, line.key AS record_id, source.name AS match_source, movement.event_id AS match_id,
               movement.moved_on AS day, movement.amount, movement.currency, why, distance,
               CASE WHEN made_up = 'line' THEN whole END AS whole
        FROM fitting JOIN line USING (line_no) JOIN movement USING (movement_no)
        JOIN source ON source.source_no = movement.source_no
        UNION ALL
        SELECT movement.source_no, movement.event_id, line.name, line.key, line."at"::DATE, line.amount, line.currency, why, distance,
               CASE WHEN made_up = 'movement' THEN whole END
        FROM fitting JOIN line USING (line_no) JOIN movement USING (movement_no)
        UNION ALL
        SELECT source_no, key, NULL, NULL, "at"::DATE, amount, currency, why, 2000, NULL FROM crowded JOIN line USING (line_no)
        UNION ALL
        SELECT source_no, event_id, NULL, NULL, moved_on, amount, currency, why, 2000, NULL FROM crowded JOIN movement USING (movement_no)
        """,
    )
    connection.execute("DROP TABLE fitting; DROP TABLE crowded")
