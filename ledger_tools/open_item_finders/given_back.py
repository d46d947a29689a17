"""Money that went back to a customer beyond what was paid, and money of a cancelled order that did not.

Place in the flow: over the facts of orders, payments and refunds. Nothing of this stands in a control account: a sale that
was cancelled stays sold until something reverses it, and what went back another way than it came is a return all the same.
"""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import UNDECIDED, Finder, account_of
from ledger_tools.posting.order_progress import AS_OF, cancelled_on, refunds

#: What was paid of each cancelled order, less what went back: by refund, as gift card, by a dispute, by an entry by hand.
_KEPT = f"""
    WITH unpaid AS (
        SELECT order_no, posting.currency, sum(amount) AS amount FROM posting
        WHERE account_no = {account_of("clearing")} AND posted_on <= $as_of AND {UNDECIDED}
        GROUP BY ALL HAVING sum(amount) > 0
    ), moved AS (
        SELECT order_no, fact_processor.currency, charged_currency, sum(gross) FILTER (kind = 'charge')::HUGEINT AS gross,
               sum(charged) FILTER (kind = 'charge')::HUGEINT AS charged,
               -sum(gross) FILTER (kind IN ('dispute', 'dispute_won', 'dispute_lost'))::HUGEINT AS disputed
        FROM fact_processor WHERE posted_on <= $as_of AND order_no IS NOT NULL GROUP BY ALL
    ), disputed AS ( -- in the order's currency, at the rate that its payments were made at
        SELECT away.order_no, (sum((2 * away.disputed * paid.charged + paid.gross) // (2 * paid.gross)))::BIGINT AS amount
        FROM moved AS away JOIN moved AS paid ON paid.order_no = away.order_no AND paid.currency = away.currency AND paid.gross > 0
        WHERE away.disputed <> 0 GROUP BY away.order_no
    ), written AS (
        SELECT event.order_no, sum(amount)::BIGINT AS amount FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
        WHERE rule = 'hand' AND posting.posted_on <= $as_of AND account.name NOT LIKE 'Assets:%' GROUP BY ALL
    ), kept AS (
        SELECT head.order_no, head.order_id, head.source_no, head.currency, {cancelled_on(AS_OF)} AS day,
               sale.total - coalesce(unpaid.amount, 0) - coalesce(refunded, 0) - coalesce(refunded_to_gift_card, 0)
                   - coalesce(disputed.amount, 0) - coalesce(written.amount, 0) AS amount
        FROM order_head AS head JOIN fact_sale AS sale USING (order_no)
        LEFT JOIN unpaid ON unpaid.order_no = head.order_no AND unpaid.currency = head.currency
        LEFT JOIN {refunds(AS_OF)} AS back ON back.order_no = head.order_no
        LEFT JOIN disputed ON disputed.order_no = head.order_no LEFT JOIN written ON written.order_no = head.order_no
        WHERE head.order_no NOT IN ( -- a refund whose worth nobody knows
            SELECT order_no FROM fact_processor WHERE kind = 'refund' AND order_no IS NOT NULL
            AND event_no NOT IN (SELECT event_no FROM fact_refund))
    )
    SELECT 'payment-differs', day, amount::BIGINT, kept.currency, order_id, NULL, source.name, order_id || ' kept',
           'the order was cancelled on ' || day || ', and what was paid is not given back: refund it, or say why it is kept'
    FROM kept JOIN source USING (source_no) WHERE day IS NOT NULL AND amount > 0
"""

#: Refunds to the means of payment that took more than it had paid, as a gift card had paid the rest.
_BEYOND_CARD = f"""
    SELECT 'event-does-not-add-up', refunded_on, (refunded - sale.total + sale.gift_card_paid)::BIGINT, head.currency, head.order_id,
           last.event_id, last.source_name, head.order_id || ' beyond the card',
           'refunds give back more than was paid this way: a gift card paid the rest'
    FROM {refunds(AS_OF)} AS back JOIN fact_sale AS sale USING (order_no) JOIN order_head AS head USING (order_no)
    JOIN (
        SELECT order_no, arg_max(event_id, event_no) AS event_id, arg_max(source_name, event_no) AS source_name
        FROM fact_refund WHERE posted_on <= $as_of GROUP BY order_no
    ) AS last USING (order_no)
    WHERE sale.gift_card_paid > 0 AND refunded > sale.total - sale.gift_card_paid
      AND order_no NOT IN (SELECT order_no FROM fact_processor
                           WHERE kind = 'dispute_lost' AND order_no IS NOT NULL AND posted_on <= $as_of)
"""

FINDERS = (Finder(_KEPT, "payment"), Finder(_BEYOND_CARD))
