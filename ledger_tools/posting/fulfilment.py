"""Facts of the wallet's events (`fact_wallet`, `fact_credit`): what was made, shipped and given back, and for whom.

Amounts are positive; the kind gives the direction. A charge with the reason `order` (or none) goes to production,
shipping and tax by its own parts; where it gives no parts, all of it is production. A credit gives back what the
original charge debited: by its own parts, else in the proportions of the order's charges of the same reason.
"""

from __future__ import annotations

import duckdb

from ledger_tools.accounts import ORDER_REASON
from ledger_tools.posting.splits import split_credit
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted


def list_fulfilment_facts(
    connection: duckdb.DuckDBPyConnection, settings: ShopSettings, known_reasons: list[str], first_event_no: int
) -> None:
    """Make the facts tables of the wallet; events are numbered from `first_event_no` on."""
    reasons = ", ".join(quoted(reason) for reason in known_reasons) or "''"
    recoverable = " ".join(
        f"WHEN {quoted(source.name)} THEN {quoted(source.recoverable_tax)}"
        for source in settings.source
        if source.recoverable_tax
    )
    jurisdiction = f"CASE source.name {recoverable} END" if recoverable else "NULL::VARCHAR"
    connection.execute(
        f"""
        CREATE TABLE fact_wallet AS
        SELECT *, CASE WHEN has_parts THEN total - production_net - shipping - tax ELSE 0 END AS difference,
               CASE WHEN recoverable_jurisdiction IS NULL THEN tax ELSE 0 END AS tax_cost,
               CASE WHEN recoverable_jurisdiction IS NULL THEN 0 ELSE tax END AS tax_recoverable,
               CASE WHEN posting = 'unknown' THEN 'no account is set for the reason ' || coalesce(reason, '(none)')
                    WHEN posting IN ('fulfilment', 'reason', 'credit') AND has_parts AND total <> production_net + shipping + tax
                        THEN 'the total is not the sum of its parts'
                    WHEN posting = 'fulfilment' AND order_no IS NULL THEN 'no order of this reference is known'
               END AS note
        FROM (
            SELECT {first_event_no} - 1 + row_number() OVER (ORDER BY row."at", row.source_no, row.event_id)::INTEGER
                       AS event_no,
                   row.source_no, source.name AS source_name, row.event_id, row.kind, row."at"::DATE AS posted_on, order_no,
                   lower(trim(reason)) AS reason, NULL::VARCHAR AS memo, row.currency, total,
                   CASE WHEN production IS NULL AND shipping IS NULL AND discount IS NULL AND tax IS NULL THEN total
                        ELSE coalesce(production, 0) - coalesce(discount, 0) END AS production_net,
                   coalesce(shipping, 0) AS shipping, coalesce(tax, 0) AS tax,
                   production IS NOT NULL OR shipping IS NOT NULL OR discount IS NOT NULL OR tax IS NOT NULL AS has_parts,
                   {jurisdiction} AS recoverable_jurisdiction,
                   CASE WHEN row.kind IN ('top_up', 'withdrawal', 'credit') THEN row.kind
                        WHEN lower(trim(reason)) IN ({reasons}) THEN 'reason'
                        WHEN row.kind = 'charge' AND coalesce(lower(trim(reason)), '{ORDER_REASON}') = '{ORDER_REASON}'
                            THEN 'fulfilment'
                        ELSE 'unknown' END AS posting
            FROM wallet_row AS row JOIN source USING (source_no)
        );
        ALTER TABLE fact_wallet ADD COLUMN flagged BOOLEAN;
        UPDATE fact_wallet SET flagged = note IS NOT NULL
        """
    )
    _list_credits(connection, known_reasons)


_CREDITS = f"""
    WITH charged AS (
        SELECT order_no, posting, reason, sum(production_net)::BIGINT AS production, sum(shipping)::BIGINT AS shipping,
               sum(tax)::BIGINT AS tax
        FROM fact_wallet WHERE posting IN ('fulfilment', 'reason') AND order_no IS NOT NULL GROUP BY ALL
    ), made AS (SELECT * FROM charged WHERE posting = 'fulfilment')
    SELECT credit.event_no, credit.total, credit.has_parts, credit.production_net, credit.shipping, credit.tax,
           coalesce(made.production, 0), coalesce(made.shipping, 0), coalesce(made.tax, 0), credit.reason,
           (SELECT min(charged.reason) FROM charged WHERE charged.order_no = credit.order_no AND charged.posting = 'reason')
    FROM fact_wallet AS credit LEFT JOIN (SELECT order_no, sum(production) AS production, sum(shipping) AS shipping,
        sum(tax) AS tax FROM made GROUP BY order_no) AS made USING (order_no)
    WHERE credit.posting = 'credit' AND coalesce(credit.reason, '{ORDER_REASON}') <> ''
    ORDER BY credit.event_no
"""


def _list_credits(connection: duckdb.DuckDBPyConnection, known_reasons: list[str]) -> None:
    """Split each credit: by the account of its reason, by its own parts, else by what the order was charged."""
    columns: list[list[int]] = [[], [], [], [], [], []]
    reasons: list[str | None] = []
    for row in connection.execute(_CREDITS).fetchall():
        event_no, total = int(row[0]), int(row[1])
        reason, only_reason = row[9], row[10]
        production = shipping = tax = by_reason = unknown = 0
        split = None
        stated = [int(part) for part in row[3:6]] if row[2] else [0, 0, 0]
        if row[2] and sum(stated) != total:
            unknown = total - sum(stated)
            total = sum(stated)
        if reason not in known_reasons:
            split = split_credit(total, stated, [int(part) for part in row[6:9]])
        if split is not None:
            production, shipping, tax = split
        elif reason in known_reasons or only_reason is not None:
            by_reason = total
            reason = reason if reason in known_reasons else only_reason
        else:
            unknown += total
        for column, value in zip(columns, (event_no, production, shipping, tax, by_reason, unknown), strict=True):
            column.append(value)
        reasons.append(reason)
    connection.execute(
        """CREATE OR REPLACE TEMP TABLE credit_split AS
           SELECT unnest(?::INTEGER[]) AS event_no, unnest(?::BIGINT[]) AS production, unnest(?::BIGINT[]) AS shipping,
                  unnest(?::BIGINT[]) AS tax, unnest(?::BIGINT[]) AS by_reason, unnest(?::BIGINT[]) AS unknown,
                  unnest(?::VARCHAR[]) AS reason""",
        [*columns, reasons],
    )
    connection.execute(
        """
        CREATE TABLE fact_credit AS
        SELECT fact.event_no, source_no, source_name, event_id, posted_on, order_no, memo, currency, total,
               recoverable_jurisdiction, split.production, split.shipping, split.by_reason, split.unknown, split.reason,
               CASE WHEN recoverable_jurisdiction IS NULL THEN split.tax ELSE 0 END AS tax_cost,
               CASE WHEN recoverable_jurisdiction IS NULL THEN 0 ELSE split.tax END AS tax_recoverable,
               split.unknown <> 0 AS flagged,
               CASE WHEN fact.difference <> 0 THEN fact.note
                    WHEN split.unknown <> 0 THEN 'no charge is known that this credit gives back' END AS note
        FROM fact_wallet AS fact JOIN credit_split AS split USING (event_no);
        DROP TABLE credit_split
        """
    )
