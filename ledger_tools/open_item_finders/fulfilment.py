"""Orders against what the fulfilment partner charged and gave back."""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import Finder

_UNMADE = """
    SELECT 'order-without-fulfilment', head.placed_at::DATE, head.total, head.currency, head.order_id, NULL, source.name,
           head.order_id, 'no wallet export holds a charge for this order'
    FROM order_head AS head JOIN source USING (source_no) JOIN fact_sale AS sale USING (order_no)
    LEFT JOIN (SELECT DISTINCT order_no FROM fact_wallet WHERE kind = 'charge' AND posted_on <= $as_of) AS made USING (order_no)
    LEFT JOIN (SELECT order_no, sum(items + shipping + fact_refund.tip + tax_shop + tax_marketplace + gift_cards) AS refunded
               FROM fact_refund WHERE posted_on <= $as_of GROUP BY order_no) AS back USING (order_no)
    WHERE made.order_no IS NULL AND head.placed_at::DATE <= $as_of AND head.cancelled_at IS NULL
      AND (coalesce(refunded, 0) < sale.total OR head.shipped_at::DATE <= $as_of) AND sale.items_net > 0
      AND EXISTS (SELECT 1 FROM source WHERE kind = 'wallet')
"""

_UNORDERED = """
    SELECT 'fulfilment-without-order', posted_on, fact.total, fact.currency, NULL, event_id, source_name, event_id,
           'no shop export holds the order ' || coalesce(row.order_ref, '(no reference given)')
    FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
    WHERE fact.order_no IS NULL AND posted_on <= $as_of
      AND (posting = 'fulfilment' OR (posting = 'reason' AND row.order_ref IS NOT NULL))
"""

#: SQL relation: fulfilment charges beyond what was sold. Counted in pieces where the SKU is one that the order holds, as
#: equal charges beyond the order's pieces where no SKU is given, else as charges that are the same twice.
EXTRA_CHARGES = """(
    SELECT made.* FROM (
        SELECT fact.order_no, fact.source_name, fact.event_id, posted_on, fact.currency, fact.total,
               coalesce(row.sku, '') AS sku,
               sum(coalesce(row.quantity, 1)) OVER (PARTITION BY fact.order_no, coalesce(row.sku, '')
                   ORDER BY row."at", fact.event_id) AS made_so_far,
               row_number() OVER (PARTITION BY fact.order_no, coalesce(row.sku, ''), row.quantity, fact.total
                   ORDER BY row."at", fact.event_id) AS same_so_far
        FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
        WHERE posting = 'fulfilment' AND fact.order_no IS NOT NULL AND ($as_of IS NULL OR posted_on <= $as_of)
    ) AS made LEFT JOIN (
        SELECT order_no, sku, sum(coalesce(quantity, 1)) AS quantity FROM order_line WHERE sku IS NOT NULL GROUP BY ALL
    ) AS sold USING (order_no, sku) LEFT JOIN (
        SELECT order_no, sum(coalesce(quantity, 1)) AS quantity FROM order_line GROUP BY order_no
    ) AS pieces USING (order_no)
    WHERE CASE WHEN sold.quantity IS NOT NULL THEN made_so_far > sold.quantity
               WHEN sku = '' THEN same_so_far > coalesce(pieces.quantity, 1) ELSE same_so_far > 1 END
)"""

_TWICE = f"""
    WITH credited AS (
        SELECT order_no, sum(total) AS total FROM fact_wallet WHERE posting = 'credit' AND posted_on <= $as_of GROUP BY order_no
    )
    SELECT 'charged-twice', min(posted_on), (sum(extra.total) - coalesce(any_value(credited.total), 0))::BIGINT,
           any_value(extra.currency), any_value(head.order_id), min(event_id), source_name, any_value(head.order_id),
           'charged for more than was sold' || CASE WHEN any_value(credited.total) IS NULL THEN '' ELSE ', and credited only in part' END
    FROM {EXTRA_CHARGES} AS extra JOIN order_head AS head USING (order_no) LEFT JOIN credited USING (order_no)
    WHERE head.cancelled_at IS NULL
    GROUP BY order_no, source_name HAVING sum(extra.total) > coalesce(any_value(credited.total), 0)
"""

_CANCELLED = """
    WITH shipped AS (
        SELECT order_no, CASE WHEN count(shipped_at) = count(*) THEN max(shipped_at)::DATE END AS day
        FROM wallet_row WHERE kind = 'charge' AND order_no IS NOT NULL GROUP BY order_no
    ), dated AS (
        SELECT count(*) > 0 AS known FROM (SELECT shipped_at FROM order_head UNION ALL SELECT shipped_at FROM wallet_row)
        WHERE shipped_at IS NOT NULL
    ), refunded AS (
        SELECT order_no, sum(items + shipping + fact_refund.tip + tax_shop + tax_marketplace + gift_cards) AS total,
               max(posted_on) AS day
        FROM fact_refund WHERE posted_on <= $as_of GROUP BY order_no
    ), stopped AS (
        SELECT head.order_no, head.order_id, coalesce(head.shipped_at::DATE, shipped.day) AS shipped_on,
               CASE WHEN head.cancelled_at::DATE <= $as_of THEN head.cancelled_at::DATE
                    WHEN refunded.total >= sale.total AND sale.total > 0 AND known THEN refunded.day END AS stopped_on,
               head.cancelled_at IS NOT NULL AS cancelled
        FROM order_head AS head JOIN fact_sale AS sale USING (order_no) LEFT JOIN shipped USING (order_no)
        LEFT JOIN refunded USING (order_no), dated
    ), charged AS (
        SELECT order_no, source_name, currency, min(event_id) FILTER (posting = 'fulfilment') AS event_id,
               min(posted_on) FILTER (posting = 'fulfilment') AS day,
               (coalesce(sum(total) FILTER (posting = 'fulfilment'), 0)
                - coalesce(sum(total) FILTER (posting = 'credit'), 0))::BIGINT AS total
        FROM fact_wallet WHERE order_no IS NOT NULL AND posted_on <= $as_of GROUP BY ALL
    )
    SELECT 'charged-though-cancelled', charged.day, charged.total, currency, order_id, event_id, source_name, order_id,
           CASE WHEN cancelled THEN 'cancelled' ELSE 'fully refunded' END || ' on ' || stopped_on
           || CASE WHEN shipped_on IS NULL THEN ', never shipped' ELSE ', before it shipped' END || ', charged and not credited'
    FROM stopped JOIN charged USING (order_no)
    WHERE stopped_on IS NOT NULL AND charged.total > 0 AND (shipped_on IS NULL OR shipped_on > stopped_on)
"""

FINDERS = (Finder(_UNMADE, "fulfilment"), Finder(_UNORDERED), Finder(_TWICE), Finder(_CANCELLED))
