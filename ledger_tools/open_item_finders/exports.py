"""Events that contradict themselves, and records that a later export changed or left out, or that came after a close."""

from __future__ import annotations

from ledger_tools.money import currencies_by_digits
from ledger_tools.open_item_finders.finder import Finder, Held, account_of
from ledger_tools.records import KINDS, MONEY
from ledger_tools.store import quoted

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
#: What may have been lost is the payment; where that is not known either, the row itself says what it moved.
_UNHELD = """
    SELECT 'event-does-not-add-up', posted_on,
           CASE kind WHEN 'fee' THEN difference ELSE coalesce((
               SELECT sum(paid.gross) FROM fact_processor AS paid
               WHERE paid.kind = 'charge' AND paid.source_no = fact.source_no AND paid.currency = fact.currency
                 AND CASE WHEN fact.payment_ref IS NULL THEN paid.order_no = fact.order_no ELSE paid.payment_ref = fact.payment_ref END
           ), -net)::BIGINT END, fact.currency, head.order_id, event_id, source_name, event_id, note
    FROM fact_processor AS fact LEFT JOIN order_head AS head USING (order_no)
    WHERE posted_on <= $as_of
      AND ((kind = 'fee' AND difference <> 0) OR (kind = 'dispute_lost' AND difference = 0 AND note IS NOT NULL))
"""

#: A dispute that was won though no row opened it: first it answers what a person brought in as in dispute.
_UNOPENED = f"""
    WITH brought AS (
        SELECT posting.currency, greatest(sum(amount), 0) AS amount FROM posting JOIN event USING (event_no)
        WHERE account_no = {account_of("disputed")} AND rule = 'hand' AND posting.posted_on <= $as_of GROUP BY ALL
    ), won AS (
        SELECT *, sum(unopened) OVER (PARTITION BY currency ORDER BY event_no) AS so_far FROM fact_processor
        WHERE unopened > 0 AND posted_on <= $as_of
    ), rest AS (
        SELECT won.*, (greatest(so_far - unopened, coalesce(brought.amount, 0)) - greatest(so_far, coalesce(brought.amount, 0)))::BIGINT
                   AS amount
        FROM won LEFT JOIN brought ON brought.currency = won.currency
    )
    SELECT 'event-does-not-add-up', posted_on, amount, rest.currency, head.order_id, event_id, source_name, event_id || ' unopened',
           'the dispute is won, and no dispute of this payment is known'
    FROM rest LEFT JOIN order_head AS head USING (order_no) WHERE amount <> 0
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

#: What each record holds: an order's or charge's total, a line's amount, a processor's gross or, where that is zero, its net.
_RECORD = """(
    SELECT source_no, order_id AS record_key, total AS amount, currency FROM order_head
    UNION ALL SELECT source_no, event_id, CASE gross WHEN 0 THEN net ELSE gross END, currency FROM fact_processor
    UNION ALL SELECT source_no, event_id, total, currency FROM wallet_row
    UNION ALL SELECT source_no, key, amount, currency FROM bank_row
)"""

#: How a change of each money field ranks: that of the whole record first, then of the balance, then of a part.
_MONEY_FIELDS = {
    field.name: {"total": 0, "gross": 0, "amount": 0, "net": 1}.get(field.name, 2)
    for fields in KINDS.values()
    for field in fields
    if field.type == MONEY
}


def _units(text: str, currency: str) -> str:
    """SQL expression: minor units of an amount as `versions` writes it; blank is zero."""
    other = [(code, digits) for code, digits in currencies_by_digits().items() if digits != 2]
    scales = " ".join(
        f"WHEN {currency} IN ({', '.join(quoted(code) for code, own in other if own == digits)}) THEN {10**digits}"
        for digits in sorted({digits for _, digits in other})
    )
    return f"try_cast(coalesce(nullif({text}, ''), '0') AS DECIMAL(22, 4)) * (CASE {scales} ELSE 100 END)"


#: What changed in money from the first version to the last, of the field that tells most; else what the record holds.
_AMENDED = f"""
    WITH changed AS (
        SELECT source_no, record_key, sum({_units("new_text", "currency")} - {_units("old_text", "currency")})::BIGINT AS amount, field
        FROM amended JOIN {_RECORD} AS record USING (source_no, record_key)
        WHERE field IN {tuple(_MONEY_FIELDS)!r}
          AND (source_no, record_key) NOT IN (SELECT (source_no, record_key) FROM amended WHERE field = 'currency')
        GROUP BY ALL HAVING amount <> 0
    ), told AS (
        SELECT source_no, record_key, arg_min(amount, (MAP {_MONEY_FIELDS!r}[field], -abs(amount), field)) AS amount
        FROM changed GROUP BY ALL
    )
    SELECT 'amended', min(record_on), coalesce(any_value(told.amount), any_value(record.amount)), any_value(record.currency),
           CASE WHEN source.kind = 'orders' THEN record_key END,
           CASE WHEN source.kind <> 'orders' THEN record_key END, source.name, record_key,
           'changed by ' || any_value(export.file) || ': '
           || string_agg(field || ' ' || coalesce(nullif(old_text, ''), '(none)') || ' → ' || coalesce(nullif(new_text, ''), '(none)'),
                         ', ' ORDER BY field, old_text)
    FROM amended JOIN source USING (source_no) JOIN export USING (export_no)
    LEFT JOIN {_RECORD} AS record USING (source_no, record_key) LEFT JOIN told USING (source_no, record_key)
    WHERE record_on <= $as_of GROUP BY source.name, source.kind, record_key
"""

_VANISHED = f"""
    SELECT 'vanished', record_on, record.amount, record.currency, CASE WHEN source.kind = 'orders' THEN record_key END,
           CASE WHEN source.kind <> 'orders' THEN record_key END, source.name, record_key,
           export.file || ' covers its day and no longer holds it'
    FROM vanished JOIN source USING (source_no) JOIN export USING (export_no)
    LEFT JOIN {_RECORD} AS record USING (source_no, record_key) WHERE record_on <= $as_of
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
    Finder(_UNOPENED, held=Held("disputed")),
    Finder(_CREDIT, held=Held("suspense", -1)),
    Finder(_GIVEN_TWICE),
    Finder(_AMENDED),
    Finder(_VANISHED),
    Finder(_LATE),
)
