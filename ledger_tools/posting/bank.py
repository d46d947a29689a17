"""Facts of bank lines (`fact_bank`): what each line completes, or which of the user's rules says what it is."""

from __future__ import annotations

import duckdb

from ledger_tools.addresses import addresses_replaced
from ledger_tools.matching.bank_lines import NAMED_WITHOUT_RATE
from ledger_tools.matching.known_rates import worth
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted


def list_bank_facts(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, first_event_no: int) -> None:
    """Make `fact_bank`; events are numbered from `first_event_no` on.

    `moved` is what the line completes of its movements, as the bank shows it; in the bank's own currency it is the
    line's amount, and where a foreign one is far from its worth its share, so that a difference stays in transit where it
    can be seen. `exchange` is what a line in the base
    currency brings more than its foreign movement was worth on its own day.
    """
    base = settings.currency
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE completed AS
        SELECT bank_match.source_no, bank_match.key, sum(moved)::BIGINT AS moved, any_value(movement.currency) AS currency,
               bool_or(movement.kind IN ('payout', 'payout_returned')) AS by_payout,
               min(bank_match.why) FILTER (bank_match.why = {quoted(NAMED_WITHOUT_RATE)}) AS doubt,
               sum({worth("moved", "movement.currency", "movement.moved_on", base)})::BIGINT AS worth
        FROM bank_match JOIN movement USING (movement_no) GROUP BY bank_match.source_no, bank_match.key;
        CREATE TABLE fact_bank AS
        SELECT {first_event_no} - 1 + row_number() OVER (ORDER BY row."at", row.source_no, row.key)::INTEGER AS event_no,
               row.source_no, source.name AS source_name, row.key AS event_id, row."at"::DATE AS posted_on,
               NULL::INTEGER AS order_no, row.currency, row.amount, row.rule_no,
               {addresses_replaced("regexp_replace(row.memo, '[<>]', '', 'g')")} AS memo,
               CASE WHEN by_payout THEN 'payout' WHEN NOT by_payout THEN 'top_up'
                    WHEN row.rule_no > 0 THEN 'rule' ELSE 'unknown' END AS posting,
               completed.currency AS moved_currency, moved,
               CASE WHEN row.currency = {quoted(base)} AND completed.currency <> row.currency
                    THEN coalesce(row.amount - worth, 0) ELSE 0 END AS exchange,
               moved IS NULL AND row.rule_no = 0 AND row.amount <> 0 AS flagged,
               CASE WHEN flagged THEN 'no rule says what this line is' ELSE doubt END AS note
        FROM bank_row AS row JOIN source USING (source_no)
        LEFT JOIN completed ON completed.source_no = row.source_no AND completed.key = row.key
        WHERE row.source_no > 0;  -- what a person wrote is posted by its entry
        DROP TABLE completed
        """
    )
