"""Events that contradict themselves, and records that a later export changed or left out, or that came after a close."""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import Finder

_EVENT_SUM = """
    WITH odd AS (
        SELECT source_no, event_id, posted_on, difference + not_won AS amount, currency, note, order_no FROM fact_processor
        WHERE difference <> 0 OR not_won <> 0
        UNION ALL
        SELECT source_no, event_id, posted_on, NULL, currency, note, order_no FROM fact_processor
        WHERE difference = 0 AND not_won = 0 AND note IS NOT NULL AND kind IN ('dispute_lost', 'conversion')
        UNION ALL
        SELECT source_no, event_id, posted_on, excess, order_currency, note, order_no FROM fact_refund WHERE excess <> 0
        UNION ALL
        SELECT source_no, event_id, posted_on, difference, currency, note, order_no FROM fact_wallet
        WHERE posting IN ('fulfilment', 'reason') AND difference <> 0
        UNION ALL
        SELECT event.source_no, event.event_id, event.posted_on, fact.total, fact.currency, event.note, event.order_no
        FROM event JOIN fact_wallet AS fact USING (event_no) WHERE rule = 'wallet_credit' AND event.flagged
    )
    SELECT 'event-does-not-add-up', posted_on, amount, odd.currency, head.order_id, event_id, source.name, event_id, note
    FROM odd JOIN source USING (source_no) LEFT JOIN order_head AS head USING (order_no) WHERE posted_on <= $as_of
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
    SELECT 'late-for-closed-month', belongs_on, (sum(posting.value) FILTER (posting.value > 0))::BIGINT,
           (SELECT text FROM fact WHERE name = 'currency'),
           any_value(head.order_id), event.event_id, source.name, event.event_id || ' ' || rule || ' ' || event.posted_on,
           'came or changed after ' || strftime(belongs_on, '%Y-%m') || ' was closed; posted on ' || event.posted_on
           || ' as a prior-period entry'
    FROM event JOIN posting USING (event_no) LEFT JOIN source USING (source_no)
    LEFT JOIN order_head AS head ON head.order_no = event.order_no
    WHERE belongs_on IS NOT NULL AND event.posted_on <= $as_of
    GROUP BY event_no, belongs_on, event.event_id, source.name, rule, event.posted_on
"""

FINDERS = (Finder(_EVENT_SUM), Finder(_AMENDED), Finder(_VANISHED), Finder(_LATE))
