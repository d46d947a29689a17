"""Events that contradict themselves, and records that a later export changed or left out, or that came after a close."""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import Finder, Held, account_of

#: What stands in suspense of an event, as one item; a second currency of it is a second item.
_EVENT_SUM = """
    WITH odd AS (
        SELECT source_no, event_id, posted_on, currency, note, order_no,
               CASE WHEN kind = 'conversion' AND NOT paired THEN difference - gross ELSE difference + not_won END AS amount
        FROM fact_processor WHERE kind <> 'fee' AND (difference <> 0 OR not_won <> 0 OR (kind = 'conversion' AND NOT paired))
        UNION ALL
        SELECT source_no, event_id, posted_on, order_currency, note, order_no, excess FROM fact_refund WHERE excess <> 0
        UNION ALL
        SELECT source_no, event_id, posted_on, currency, note, order_no, difference FROM fact_wallet
        WHERE posting IN ('fulfilment', 'reason') AND difference <> 0
    ), whole AS (
        SELECT source_no, event_id, min(posted_on) AS posted_on, currency, string_agg(DISTINCT note, '; ' ORDER BY note) AS note,
               any_value(order_no) AS order_no, sum(amount)::BIGINT AS amount,
               row_number() OVER (PARTITION BY source_no, event_id ORDER BY currency) AS place
        FROM odd WHERE posted_on <= $as_of GROUP BY source_no, event_id, currency HAVING sum(amount) <> 0
    )
    SELECT 'event-does-not-add-up', posted_on, amount, whole.currency, head.order_id, event_id, source.name,
           CASE WHEN place = 1 THEN event_id ELSE event_id || ' ' || whole.currency END, note
    FROM whole JOIN source USING (source_no) LEFT JOIN order_head AS head USING (order_no)
"""

#: A fee is posted as the balance changed, and a lost dispute without a dispute posts nothing: no account holds a difference.
_UNHELD = """
    SELECT 'event-does-not-add-up', posted_on, nullif(difference, 0), fact.currency, head.order_id, event_id, source_name, event_id, note
    FROM fact_processor AS fact LEFT JOIN order_head AS head USING (order_no)
    WHERE posted_on <= $as_of
      AND ((kind = 'fee' AND difference <> 0) OR (kind = 'dispute_lost' AND difference = 0 AND note IS NOT NULL))
"""

_CREDIT = f"""
    SELECT 'event-does-not-add-up', min(event.posted_on), -sum(amount)::BIGINT, posting.currency, any_value(head.order_id), event.event_id,
           source.name, event.event_id, any_value(event.note)
    FROM event JOIN posting USING (event_no) JOIN source USING (source_no) LEFT JOIN order_head AS head ON head.order_no = event.order_no
    WHERE rule = 'wallet_credit' AND account_no = {account_of("suspense")} AND event.posted_on <= $as_of
    GROUP BY source.name, event.event_id, posting.currency HAVING sum(amount) <> 0
"""

#: What a refund holds more than its order is in suspense; a payment that is refunded and lost in a dispute holds nothing.
_GIVEN_TWICE = """
    SELECT 'event-does-not-add-up', posted_on, given_back - paid, last.currency, order_id, event_id, source_name,
           event_id || ' given back twice', 'refunds and lost disputes give back more than was paid'
    FROM (
        SELECT order_no, currency, max(event_no) FILTER (kind IN ('refund', 'dispute_lost')) AS last_no,
               sum(gross) FILTER (kind = 'charge') AS paid,
               sum(CASE kind WHEN 'refund' THEN -gross WHEN 'dispute_lost' THEN lost - gross WHEN 'dispute_won' THEN -regained END)
                   AS given_back
        FROM fact_processor WHERE posted_on <= $as_of AND order_no IS NOT NULL GROUP BY order_no, currency
        HAVING count(*) FILTER (kind = 'dispute_lost') > 0
    ) JOIN fact_processor AS last ON last.event_no = last_no JOIN order_head AS head ON head.order_no = last.order_no
    WHERE paid > 0 AND given_back > paid
"""

_AMENDED = """
    SELECT 'amended', min(record_on), NULL, NULL, CASE WHEN source.kind = 'orders' THEN record_key END,
           CASE WHEN source.kind <> 'orders' THEN record_key END, source.name, record_key,
           'changed by ' || any_value(export.file) || ': '
           || string_agg(field || ' ' || coalesce(nullif(old_text, ''), '(none)') || ' → ' || coalesce(nullif(new_text, ''), '(none)'),
                         ', ' ORDER BY field, old_text)
    FROM amended JOIN source USING (source_no) JOIN export USING (export_no)
    WHERE record_on <= $as_of GROUP BY source.name, source.kind, record_key
"""

_VANISHED = """
    SELECT 'vanished', record_on, NULL, NULL, CASE WHEN source.kind = 'orders' THEN record_key END,
           CASE WHEN source.kind <> 'orders' THEN record_key END, source.name, record_key,
           export.file || ' covers its day and no longer holds it'
    FROM vanished JOIN source USING (source_no) JOIN export USING (export_no) WHERE record_on <= $as_of
"""

_LATE = """
    WITH entry AS (
        SELECT event_no, event.source_no, event.event_id, rule, event.posted_on, belongs_on, any_value(event.order_no) AS order_no,
               (sum(posting.value) FILTER (posting.value > 0))::BIGINT AS amount, count(value) < count(*) AS is_unvalued
        FROM event JOIN posting USING (event_no) WHERE belongs_on IS NOT NULL AND event.posted_on <= $as_of GROUP BY ALL
    ), told AS ( -- what goes out without a value and comes in with one is one item
        SELECT *, bool_or(is_unvalued) OVER record AS was_unvalued FROM entry
        WINDOW record AS (PARTITION BY source_no, event_id, rule, posted_on)
        QUALIFY NOT is_unvalued OR bool_and(is_unvalued) OVER record
    )
    SELECT 'late-for-closed-month', belongs_on, amount, (SELECT text FROM fact WHERE name = 'currency'),
           head.order_id, told.event_id, source.name, told.event_id || ' ' || rule || ' ' || posted_on,
           CASE WHEN was_unvalued AND NOT is_unvalued THEN 'got its exchange rate after ' ELSE 'came or changed after ' END
           || strftime(belongs_on, '%Y-%m') || ' was closed; posted on ' || posted_on || ' as a prior-period entry'
    FROM told LEFT JOIN source USING (source_no) LEFT JOIN order_head AS head USING (order_no)
"""

FINDERS = (
    Finder(_EVENT_SUM, held=Held("suspense")),
    Finder(_UNHELD),
    Finder(_CREDIT, held=Held("suspense", -1)),
    Finder(_GIVEN_TWICE),
    Finder(_AMENDED),
    Finder(_VANISHED),
    Finder(_LATE),
)
