"""Orders against what the fulfilment partner charged and gave back."""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import Finder, whose_order
from ledger_tools.posting.order_progress import (
    AS_OF,
    REFUNDED_IN_ALL,
    any_shipping_day,
    cancelled_on,
    refunds,
    shipping_days,
)
from ledger_tools.store import sku_key

_UNMADE = f"""
    SELECT 'order-without-fulfilment', head.placed_at::DATE, head.total, head.currency, head.order_id, NULL, source.name,
           head.order_id, 'no wallet export holds a charge for this order'
    FROM order_head AS head JOIN source USING (source_no) JOIN fact_sale AS sale USING (order_no)
    LEFT JOIN (SELECT DISTINCT order_no FROM fact_wallet WHERE kind = 'charge' AND posted_on <= $as_of) AS made USING (order_no)
    LEFT JOIN {refunds(AS_OF)} AS back USING (order_no)
    WHERE made.order_no IS NULL AND head.placed_at::DATE <= $as_of AND {cancelled_on(AS_OF)} IS NULL
      AND (NOT {REFUNDED_IN_ALL} OR head.shipped_at::DATE <= $as_of) AND sale.items_net > 0
      AND EXISTS (SELECT 1 FROM source WHERE kind = 'wallet')
"""

#: Orders of which the partner charged fewer pieces than were sold: where each charge says pieces of a SKU of the order, and
#: the partner ever made that SKU. A refund may be of the pieces that were not made. What is left counts from the last charge.
_MADE_IN_PART = f"""
    WITH sold AS (
        SELECT order_no, {sku_key("sku")} AS sku, sum(coalesce(quantity, 1)) AS pieces, any_value(unit_price) AS price
        FROM order_line WHERE NOT is_gift_card AND {sku_key("sku")} IS NOT NULL GROUP BY ALL
    ), charged AS (
        SELECT fact.order_no, {sku_key("row.sku")} AS sku, quantity, posted_on
        FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
        WHERE posting = 'fulfilment' AND posted_on <= $as_of
    ), judged AS (
        SELECT order_no, max(posted_on) AS day FROM charged LEFT JOIN sold USING (order_no, sku) WHERE order_no IS NOT NULL
        GROUP BY order_no HAVING bool_and(coalesce(quantity > 0, false) AND pieces IS NOT NULL)
    ), made AS (
        SELECT order_no, sku, sum(quantity) AS pieces FROM charged GROUP BY ALL
    ), compared AS (
        SELECT order_no, any_value(day) AS day, sum(sold.pieces)::BIGINT AS pieces,
               sum(greatest(sold.pieces - coalesce(made.pieces, 0), 0))::BIGINT AS missing,
               sum(greatest(sold.pieces - coalesce(made.pieces, 0), 0) * price)::BIGINT AS amount
        FROM sold JOIN judged USING (order_no) LEFT JOIN made USING (order_no, sku)
        WHERE sold.sku IN (SELECT sku FROM charged) GROUP BY order_no
    )
    SELECT 'order-without-fulfilment', day, coalesce(amount, head.total), head.currency, head.order_id, NULL, source.name, head.order_id,
           'wallet exports hold charges for ' || (pieces - missing) || ' of its ' || pieces || ' pieces'
    FROM compared JOIN order_head AS head USING (order_no) JOIN source USING (source_no)
    WHERE missing > 0 AND head.placed_at::DATE <= $as_of AND {cancelled_on(AS_OF)} IS NULL
      AND coalesce(head.refunded_to_gift_card, 0) = 0 AND order_no NOT IN (SELECT order_no FROM {refunds(AS_OF)})
"""


_UNORDERED = f"""
    SELECT 'fulfilment-without-order', posted_on, fact.total, fact.currency, NULL, event_id, source_name, event_id,
           {whose_order("row.order_ref")}
    FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
    LEFT JOIN order_head AS head ON head.order_no = fact.order_no
    WHERE (fact.order_no IS NULL OR head.placed_at::DATE > $as_of) AND posted_on <= $as_of
      AND (posting = 'fulfilment' OR (posting = 'reason' AND row.order_ref IS NOT NULL))
"""

#: SQL relation: fulfilment charges beyond what was sold. Counted in pieces where the SKU is one that the order holds, as
#: equal charges beyond the order's pieces where no SKU is given, else as charges that are the same twice.
EXTRA_CHARGES = f"""(
    SELECT made.* FROM (
        SELECT fact.order_no, fact.source_name, fact.event_id, posted_on, fact.currency, fact.total,
               coalesce({sku_key("row.sku")}, '') AS sku,
               sum(coalesce(row.quantity, 1)) OVER (PARTITION BY fact.order_no, coalesce({sku_key("row.sku")}, '')
                   ORDER BY row."at", fact.event_id) AS made_so_far,
               row_number() OVER (PARTITION BY fact.order_no, coalesce({sku_key("row.sku")}, ''), row.quantity, fact.total
                   ORDER BY row."at", fact.event_id) AS same_so_far
        FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
        WHERE posting = 'fulfilment' AND fact.order_no IS NOT NULL AND ($as_of IS NULL OR posted_on <= $as_of)
    ) AS made LEFT JOIN (
        SELECT order_no, {sku_key("sku")} AS sku, sum(coalesce(quantity, 1)) AS quantity FROM order_line
        WHERE {sku_key("sku")} IS NOT NULL GROUP BY ALL
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
    WHERE {cancelled_on(AS_OF)} IS NULL
    GROUP BY order_no, source_name HAVING sum(extra.total) > coalesce(any_value(credited.total), 0)
"""

_CANCELLED = f"""
    WITH stopped AS (
        SELECT head.order_no, head.order_id, shipped_on, {cancelled_on(AS_OF)} AS cancelled_on,
               coalesce({cancelled_on(AS_OF)},
                        CASE WHEN {REFUNDED_IN_ALL} AND {any_shipping_day(AS_OF)} THEN refunded_on END) AS stopped_on
        FROM order_head AS head JOIN fact_sale AS sale USING (order_no) JOIN {shipping_days(AS_OF)} AS sent USING (order_no)
        LEFT JOIN {refunds(AS_OF)} AS back USING (order_no)
    ), charged AS (
        SELECT order_no, source_name, currency, min(event_id) FILTER (posting = 'fulfilment') AS event_id,
               min(posted_on) FILTER (posting = 'fulfilment') AS day,
               (coalesce(sum(total) FILTER (posting = 'fulfilment'), 0)
                - coalesce(sum(total) FILTER (posting = 'credit'), 0))::BIGINT AS total
        FROM fact_wallet WHERE order_no IS NOT NULL AND posted_on <= $as_of GROUP BY ALL
    )
    SELECT 'charged-though-cancelled', charged.day, charged.total, currency, order_id, event_id, source_name, order_id,
           CASE WHEN cancelled_on IS NOT NULL THEN 'cancelled' ELSE 'fully refunded' END || ' on ' || stopped_on
           || CASE WHEN shipped_on IS NULL THEN ', never shipped' ELSE ', before it shipped' END || ', charged and not credited'
    FROM stopped JOIN charged USING (order_no)
    WHERE stopped_on IS NOT NULL AND charged.total > 0 AND (shipped_on IS NULL OR shipped_on > stopped_on)
"""

FINDERS = (
    Finder(_UNMADE, "fulfilment"),
    Finder(_MADE_IN_PART, "fulfilment"),
    Finder(_UNORDERED),
    Finder(_TWICE),
    Finder(_CANCELLED),
)
