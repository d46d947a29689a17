"""Facts of bank lines (`fact_bank`): what each line completes, or which of the user's rules says what it is."""

from __future__ import annotations

import duckdb


def list_bank_facts(connection: duckdb.DuckDBPyConnection, first_event_no: int) -> None:
    """Make `fact_bank`; events are numbered from `first_event_no` on.

    `moved` is the movement's amount as the bank shows it; in the bank's own currency it is the line's amount, so that
    a difference stays in transit where it can be seen.
    """
    connection.execute(
        f"""
        CREATE TABLE fact_bank AS
        SELECT {first_event_no} - 1 + row_number() OVER (ORDER BY row."at", row.source_no, row.key)::INTEGER AS event_no,
               row.source_no, source.name AS source_name, row.key AS event_id, row."at"::DATE AS posted_on,
               NULL::INTEGER AS order_no, row.currency, row.amount, row.rule_no,
               regexp_replace(regexp_replace(row.memo, '[<>]', '', 'g'), '[^ ]+@[^ ]+', '(e-mail)', 'g') AS memo,
               CASE WHEN movement.kind IN ('payout', 'payout_returned') THEN 'payout'
                    WHEN movement.kind IS NOT NULL THEN 'top_up'
                    WHEN row.rule_no > 0 THEN 'rule' ELSE 'unknown' END AS posting,
               movement.currency AS moved_currency,
               CASE WHEN movement.currency = row.currency THEN row.amount ELSE movement.amount END AS moved,
               movement.movement_no IS NULL AND row.rule_no = 0 AS flagged,
               CASE WHEN movement.movement_no IS NULL AND row.rule_no = 0 THEN 'no rule says what this line is' END AS note
        FROM bank_row AS row JOIN source USING (source_no) LEFT JOIN movement USING (movement_no)
        """
    )
