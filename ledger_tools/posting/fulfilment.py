"""Facts of the wallet's events (`fact_wallet`, `fact_credit`): what was made, shipped and given back, and for whom.

Amounts are positive; the kind gives the direction. A charge with the reason `order` (or none) goes to production,
shipping and tax by its own parts; where it gives no parts, all of it is production. A credit gives back what the
original charge debited: by its own parts, else in the proportions of the order's charges. What the credits of an order
are more than its charges goes to suspense.
"""

from __future__ import annotations

import itertools

import duckdb

from ledger_tools.accounts import ORDER_REASON
from ledger_tools.posting.splits import Credit, split_credits, split_loose_credit
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


_CREDITS = """
    WITH charged AS (
        SELECT order_no, currency, sum(production_net) FILTER (posting = 'fulfilment') AS production,
               sum(shipping) FILTER (posting = 'fulfilment') AS shipping, sum(tax) FILTER (posting = 'fulfilment') AS tax,
               coalesce(sum(production_net + shipping + tax) FILTER (posting = 'reason'), 0) AS by_reason
        FROM fact_wallet WHERE posting IN ('fulfilment', 'reason') AND order_no IS NOT NULL GROUP BY ALL
    ), reasoned AS (
        SELECT order_no, currency, min(reason) AS reason FROM fact_wallet
        WHERE posting = 'reason' AND order_no IS NOT NULL GROUP BY ALL
    )
    SELECT credit.event_no, credit.order_no, credit.currency, credit.reason, reasoned.reason, credit.total, credit.has_parts,
           credit.production_net, credit.shipping, credit.tax, coalesce(charged.production, 0), coalesce(charged.shipping, 0),
           coalesce(charged.tax, 0), coalesce(charged.by_reason, 0)
    FROM fact_wallet AS credit
    LEFT JOIN charged ON charged.order_no = credit.order_no AND charged.currency = credit.currency
    LEFT JOIN reasoned ON reasoned.order_no = credit.order_no AND reasoned.currency = credit.currency
    WHERE credit.posting = 'credit' AND coalesce(credit.reason, 'order') <> ''
    ORDER BY credit.order_no, credit.currency, credit.event_no
"""


def _list_credits(connection: duckdb.DuckDBPyConnection, known_reasons: list[str]) -> None:
    """Split each credit: by the account of its reason, by its own parts, else by what the order was charged."""
    columns: list[list[int]] = [[], [], [], [], [], [], []]
    reasons: list[str | None] = []
    rows = connection.execute(_CREDITS).fetchall()
    for (order_no, _), group in itertools.groupby(rows, key=lambda row: (row[1], row[2])):
        members = list(group)
        credits = []
        for row in members:
            stated = tuple(int(part) for part in row[7:10]) if row[6] else (0, 0, 0)
            whole = sum(stated) if row[6] else int(row[5])
            credits.append(Credit(whole, stated, row[3] in known_reasons))
        if order_no is None:
            splits = [split_loose_credit(credit) for credit in credits]
        else:
            splits = split_credits([int(part) for part in members[0][10:13]], int(members[0][13]), credits)
        for row, credit, split in zip(members, credits, splits, strict=True):
            unknown = split.unknown + int(row[5]) - credit.total
            values = (int(row[0]), any(row[10:14]), *split.parts, split.by_reason, unknown)
            for column, value in zip(columns, values, strict=True):
                column.append(value)
            reasons.append(row[3] if credit.by_reason else row[4])
    connection.execute(
        """CREATE OR REPLACE TEMP TABLE credit_split AS
           SELECT unnest(?::INTEGER[]) AS event_no, unnest(?::BOOLEAN[]) AS is_charged, unnest(?::BIGINT[]) AS production,
                  unnest(?::BIGINT[]) AS shipping, unnest(?::BIGINT[]) AS tax, unnest(?::BIGINT[]) AS by_reason,
                  unnest(?::BIGINT[]) AS unknown, unnest(?::VARCHAR[]) AS reason""",
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
                    WHEN split.unknown <> 0 AND is_charged THEN 'credits give back more than the order was charged'
                    WHEN split.unknown <> 0 THEN 'no charge is known that this credit gives back' END AS note
        FROM fact_wallet AS fact JOIN credit_split AS split USING (event_no);
        DROP TABLE credit_split
        """
    )
