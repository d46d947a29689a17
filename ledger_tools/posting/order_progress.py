"""What had become of each order by a day, said once: shipped, refunded in all, cancelled.

SQL for the finders of open items, the flags of orders and the month-end entries, read over the tables of a build. `by` is
an SQL expression of the last day that is seen; where it is NULL, all days are. Amounts are minor units.
"""

from __future__ import annotations

#: SQL expression of the named parameter that finders and flags are given.
AS_OF = "$as_of"

#: Sees all days.
ANY_DAY = "NULL::DATE"


def is_seen(day: str, by: str) -> str:
    """SQL condition: a day is not after the last one that is seen."""
    return f"({by} IS NULL OR {day} <= {by})"


def shipping_days(by: str) -> str:
    """SQL relation (order_no, shipped_on): the order's own day, else the last of its fulfilment charges' days.

    An order is shipped when all of it is, so each of its charges has to say its day. A reprint is another order's worth of
    work: when it leaves says nothing about the order, and its reason keeps it out.
    """
    return f"""(
        SELECT head.order_no, coalesce(CASE WHEN {is_seen("head.shipped_at::DATE", by)} THEN head.shipped_at::DATE END,
                                       CASE WHEN {is_seen("parcel.day", by)} THEN parcel.day END) AS shipped_on
        FROM order_head AS head LEFT JOIN (
            SELECT fact.order_no, CASE WHEN count(row.shipped_at) = count(*) THEN max(row.shipped_at)::DATE END AS day
            FROM wallet_row AS row JOIN fact_wallet AS fact USING (source_no, event_id)
            WHERE fact.posting = 'fulfilment' AND fact.order_no IS NOT NULL AND {is_seen("fact.posted_on", by)}
            GROUP BY fact.order_no
        ) AS parcel USING (order_no)
    )"""


def any_shipping_day(by: str) -> str:
    """SQL condition: some source tells days of shipping, so that an order without one has not been shipped."""
    return f"""(EXISTS (SELECT 1 FROM order_head WHERE shipped_at IS NOT NULL AND {is_seen("shipped_at::DATE", by)})
        OR EXISTS (SELECT 1 FROM wallet_row WHERE shipped_at IS NOT NULL AND {is_seen("shipped_at::DATE", by)}))"""


def refunds(by: str) -> str:
    """SQL relation (order_no, refunded, refunded_on, estimated): what was given back of each order, and the last day."""
    return f"""(
        SELECT order_no, sum(items + shipping + fact_refund.tip + tax_shop + tax_marketplace + gift_cards) AS refunded,
               max(posted_on) AS refunded_on, bool_or(estimated) AS estimated
        FROM fact_refund WHERE {is_seen("posted_on", by)} GROUP BY order_no
    )"""


#: SQL condition over `refunds` and `fact_sale AS sale`, never unknown: the whole order was given back.
REFUNDED_IN_ALL = "coalesce(refunded >= sale.total AND sale.total > 0, false)"


def cancelled_on(by: str) -> str:
    """SQL expression over `order_head AS head`: the day of cancelling, NULL where it is not known of one."""
    return f"CASE WHEN {is_seen('head.cancelled_at::DATE', by)} THEN head.cancelled_at::DATE END"
