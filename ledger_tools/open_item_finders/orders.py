"""Orders against their payments and their own sums."""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import UNDECIDED, Finder, Held, account_of, whose_order
from ledger_tools.posting.order_progress import AS_OF, cancelled_on

_PAYMENT = f"""
    WITH balance AS (
        SELECT order_no, posting.currency, sum(amount)::BIGINT AS amount
        FROM posting JOIN order_head AS head USING (order_no)
        WHERE account_no = {account_of("clearing")} AND posted_on <= $as_of AND posting.currency = head.currency AND {UNDECIDED}
        GROUP BY ALL HAVING sum(amount) <> 0
    ), paid AS (
        SELECT order_no, count(*) AS payments FROM fact_processor
        WHERE kind = 'charge' AND posted_on <= $as_of AND order_no IS NOT NULL GROUP BY order_no
    )
    SELECT CASE WHEN payments IS NULL THEN 'order-without-payment' ELSE 'payment-differs' END,
           head.placed_at::DATE, balance.amount, balance.currency, head.order_id, NULL, source.name, head.order_id,
           CASE WHEN payments IS NULL AND {cancelled_on(AS_OF)} IS NOT NULL THEN 'the order was cancelled and never paid'
                WHEN payments IS NULL THEN 'no processor export holds a payment of this order'
                WHEN balance.amount > 0 THEN payments || ' payment(s) are less than the order''s total'
                ELSE payments || ' payment(s) are more than the order''s total' END
    FROM balance JOIN order_head AS head USING (order_no) JOIN source USING (source_no) LEFT JOIN paid USING (order_no)
    WHERE head.placed_at::DATE <= $as_of
"""

_UNKNOWN_PAYMENT = f"""
    SELECT 'payment-without-order', min(fact.posted_on), sum(charged)::BIGINT, fact.charged_currency, NULL, min(event_id),
           source_name, coalesce(fact.payment_ref, event_id),
           {whose_order("any_value(order_ref)")}
    FROM fact_processor AS fact JOIN processor_row AS row USING (source_no, event_id)
    LEFT JOIN order_head AS head ON head.order_no = fact.order_no
    WHERE fact.kind IN ('charge', 'refund') AND (fact.order_no IS NULL OR head.placed_at::DATE > $as_of)
      AND posted_on <= $as_of
    GROUP BY source_name, fact.charged_currency, coalesce(fact.payment_ref, event_id) HAVING sum(charged) <> 0
"""

#: What a dispute of no known order holds, payment by payment as `posting.disputes` follows them.
_UNKNOWN_DISPUTE = """(
    SELECT source_name, fact.currency, coalesce(fact.payment_ref, event_id) AS payment, min(fact.posted_on) AS day,
           arg_min(event_id, event_no) AS event_id, any_value(order_ref) AS order_ref,
           sum(CASE fact.kind WHEN 'dispute' THEN fact.gross WHEN 'dispute_won' THEN fact.gross + not_won - regained ELSE lost END)::BIGINT
               AS amount,
           sum(CASE fact.kind WHEN 'dispute_won' THEN regained WHEN 'dispute_lost' THEN fact.gross - lost ELSE 0 END)::BIGINT AS loss
    FROM fact_processor AS fact JOIN processor_row AS row USING (source_no, event_id)
    WHERE fact.kind IN ('dispute', 'dispute_won', 'dispute_lost') AND fact.order_no IS NULL AND posted_on <= $as_of
    GROUP BY ALL HAVING count(*) FILTER (fact.kind = 'dispute') > 0
)"""


def _unknown_dispute(amount: str, condition: str) -> str:
    return f"""
    SELECT 'payment-without-order', day, {amount}, currency, NULL, event_id, source_name, payment || ' disputed',
           'no shop export holds the order ' || coalesce(order_ref, '(no reference given)') || ' of this dispute'
    FROM {_UNKNOWN_DISPUTE} WHERE {condition}
    """


#: The sale's own difference and what a person wrote against it; the differences of its payments are items of their own.
_ORDER_SUM = f"""
    SELECT 'order-does-not-add-up', fact.posted_on, (fact.difference + coalesce(written.amount, 0))::BIGINT, fact.currency,
           fact.event_id, NULL, source.name, fact.event_id, 'the total is not items - discounts + shipping + tip + tax'
    FROM fact_sale AS fact JOIN source USING (source_no) LEFT JOIN (
        SELECT event.order_no, currency, sum(amount) AS amount FROM posting JOIN event USING (event_no)
        WHERE account_no = {account_of("suspense")} AND posting.posted_on <= $as_of AND rule = 'hand' GROUP BY ALL
    ) AS written ON written.order_no = fact.order_no AND written.currency = fact.currency
    WHERE fact.difference <> 0 AND fact.difference + coalesce(written.amount, 0) <> 0 AND fact.posted_on <= $as_of
"""

FINDERS = (
    Finder(_PAYMENT, "payment", held=Held("clearing")),
    Finder(_UNKNOWN_PAYMENT, held=Held("clearing", -1)),
    Finder(_unknown_dispute("amount", "amount <> 0"), held=Held("disputed", -1)),
    Finder(_unknown_dispute("loss", "amount = 0 AND loss <> 0")),
    Finder(_ORDER_SUM, held=Held("suspense")),
)
