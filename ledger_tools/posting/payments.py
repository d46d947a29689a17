"""Facts of the processors' events: one row each in `fact_processor`, and pairs of conversion rows in `fact_conversion`.

Signs are the processor's: `gross` and `net` are changes of the balance, `fee` costs. `difference` is what
gross - fee - net leaves; it goes to suspense and flags the entry.
"""

from __future__ import annotations

import duckdb

from ledger_tools.matching.bank_lines import rule_position
from ledger_tools.posting.disputes import list_disputes
from ledger_tools.settings import ShopSettings


def list_payment_facts(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, first_event_no: int) -> None:
    """Make `fact_processor` and `fact_conversion`; events are numbered from `first_event_no` on."""
    rule = rule_position(settings, "coalesce(row.memo, '')", "source.name")
    # what the customer paid counts where it is in another currency; in the balance's own it can only be the gross
    foreign = (
        "coalesce(charged_amount, 0) <> 0 AND coalesce(charged_currency, row.currency) <> row.currency AND gross <> 0"
    )
    list_disputes(connection)
    connection.execute(
        f"""
        CREATE TABLE fact_processor AS
        SELECT *, gross - fee - net AS difference,
               CASE WHEN gross - fee - net <> 0 THEN 'net is not gross less fee'
                    WHEN kind IN ('charge', 'refund', 'dispute') AND order_no IS NULL THEN 'no order of this reference is known'
                    WHEN kind = 'adjustment' AND rule_no = 0 THEN 'no rule says what this adjustment is'
                    WHEN kind = 'dispute_lost' AND lost = 0 AND gross = 0 THEN 'no open dispute of this payment is known'
                    WHEN not_won > 0 THEN 'less was given back than was in dispute'
                    WHEN not_won < 0 THEN 'more was given back than was in dispute'
                    WHEN kind = 'conversion' AND NOT paired THEN 'the other half of the conversion is missing'
               END AS note
        FROM (
            SELECT {first_event_no} - 1 + row_number() OVER (ORDER BY row."at", row.source_no, row.event_id)::INTEGER
                       AS event_no,
                   row.source_no, source.name AS source_name, row.event_id, row.kind, row."at"::DATE AS posted_on, order_no,
                   row.payment_ref, row.currency, gross, coalesce(fee, 0) AS fee, net,
                   CASE WHEN {foreign} THEN charged_currency ELSE row.currency END AS charged_currency,
                   CASE WHEN {foreign} THEN sign(gross) * abs(charged_amount) ELSE gross END::BIGINT AS charged,
                   coalesce(lost, 0) AS lost, coalesce(regained, 0) AS regained, coalesce(not_won, 0) AS not_won,
                   coalesce(unopened, 0) AS unopened,
                   CASE WHEN row.kind = 'adjustment' THEN {rule} ELSE 0 END AS rule_no,
                   row.kind = 'refund' AND order_no IS NOT NULL AS split,
                   row.kind = 'conversion' AND pair.payment_ref IS NOT NULL AS paired,
                   CASE WHEN row.kind = 'adjustment' THEN row.memo END AS memo
            FROM processor_row AS row JOIN source USING (source_no)
            LEFT JOIN dispute ON dispute.source_no = row.source_no AND dispute.event_id = row.event_id
            LEFT JOIN (
                SELECT source_no, payment_ref FROM processor_row WHERE kind = 'conversion'
                GROUP BY ALL HAVING count(*) = 2 AND count(*) FILTER (gross > 0) = 1 AND count(*) FILTER (gross < 0) = 1
            ) AS pair ON row.kind = 'conversion' AND pair.source_no = row.source_no AND pair.payment_ref = row.payment_ref
        );
        ALTER TABLE fact_processor ADD COLUMN flagged BOOLEAN;
        UPDATE fact_processor SET flagged = note IS NOT NULL;
        DROP TABLE dispute;
        CREATE TABLE fact_conversion AS
        SELECT sold.event_no, sold.source_no, sold.source_name, bought.event_id, sold.posted_on,
               NULL::INTEGER AS order_no, sold.flagged OR bought.flagged AS flagged, coalesce(sold.note, bought.note) AS note,
               'also ' || sold.event_id AS memo, sold.currency, sold.net AS sold_net, sold.fee AS sold_fee,
               sold.difference AS sold_difference, sold.gross AS sold_gross, bought.currency AS bought_currency,
               bought.net AS bought_net, bought.fee AS bought_fee, bought.difference AS bought_difference,
               bought.gross AS bought_gross
        FROM fact_processor AS sold JOIN fact_processor AS bought
            ON sold.source_no = bought.source_no AND sold.payment_ref = bought.payment_ref
        WHERE sold.kind = 'conversion' AND bought.kind = 'conversion' AND sold.paired AND sold.gross < 0 AND bought.gross > 0
        """
    )
