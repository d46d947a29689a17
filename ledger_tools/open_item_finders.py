"""The SQL that finds open items; one statement for each way in which something can fail to tie out.

Every statement returns: kind, day, amount, currency, order id, event id, source, key (for the stable id), cause. Named
parameters: `$as_of` and the days of grace (`$payment`, `$fulfilment`, `$payout`, `$top_up`). "Common practice" where no
source is named: what counts as late or double has no standard.
"""

from __future__ import annotations

_CLEARING = "(SELECT account_no FROM account WHERE role = 'clearing')"
_SUSPENSE = "(SELECT account_no FROM account WHERE role = 'suspense')"
#: What a decision moved away is still the item that was decided about.
_UNDECIDED = "posting.event_no NOT IN (SELECT event_no FROM event WHERE rule = 'decision')"

_PAYMENT = f"""
    WITH balance AS (
        SELECT order_no, posting.currency, sum(amount)::BIGINT AS amount
        FROM posting JOIN order_head AS head USING (order_no)
        WHERE account_no = {_CLEARING} AND posted_on <= $as_of AND posting.currency = head.currency AND {_UNDECIDED}
        GROUP BY ALL HAVING sum(amount) <> 0
    ), paid AS (
        SELECT order_no, count(*) AS payments FROM fact_processor
        WHERE kind = 'charge' AND posted_on <= $as_of AND order_no IS NOT NULL GROUP BY order_no
    )
    SELECT CASE WHEN payments IS NULL THEN 'order-without-payment' ELSE 'payment-differs' END,
           head.placed_at::DATE, balance.amount, balance.currency, head.order_id, NULL, source.name, head.order_id,
           CASE WHEN payments IS NULL AND head.cancelled_at IS NOT NULL THEN 'the order was cancelled and never paid'
                WHEN payments IS NULL THEN 'no processor export holds a payment of this order'
                WHEN balance.amount > 0 THEN payments || ' payment(s) are less than the order''s total'
                ELSE payments || ' payment(s) are more than the order''s total' END
    FROM balance JOIN order_head AS head USING (order_no) JOIN source USING (source_no) LEFT JOIN paid USING (order_no)
    WHERE head.placed_at::DATE + $payment < $as_of
"""

_UNKNOWN_PAYMENT = """
    SELECT 'payment-without-order', min(fact.posted_on), sum(charged)::BIGINT, fact.charged_currency, NULL, min(event_id),
           source_name, coalesce(fact.payment_ref, event_id),
           'no shop export holds the order ' || coalesce(any_value(order_ref), '(no reference given)')
    FROM fact_processor AS fact JOIN processor_row AS row USING (source_no, event_id)
    WHERE fact.kind IN ('charge', 'refund') AND fact.order_no IS NULL AND posted_on <= $as_of
    GROUP BY source_name, fact.charged_currency, coalesce(fact.payment_ref, event_id) HAVING sum(charged) <> 0
"""

_UNMADE = """
    SELECT 'order-without-fulfilment', head.placed_at::DATE, head.total, head.currency, head.order_id, NULL, source.name,
           head.order_id, 'no wallet export holds a charge for this order'
    FROM order_head AS head JOIN source USING (source_no) JOIN fact_sale AS sale USING (order_no)
    LEFT JOIN (SELECT DISTINCT order_no FROM fact_wallet WHERE kind = 'charge' AND posted_on <= $as_of) AS made USING (order_no)
    LEFT JOIN (SELECT order_no, sum(items + shipping + fact_refund.tip + tax_shop + tax_marketplace + gift_cards) AS refunded
               FROM fact_refund WHERE posted_on <= $as_of GROUP BY order_no) AS back USING (order_no)
    WHERE made.order_no IS NULL AND head.placed_at::DATE + $fulfilment < $as_of AND head.cancelled_at IS NULL
      AND coalesce(refunded, 0) < sale.total AND sale.items_net > 0
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

_UNDER_WAY = """
    WITH arrived AS (
        SELECT tie.movement_no, max("at"::DATE) FILTER ("at"::DATE <= $as_of) AS day,
               sum(moved) FILTER ("at"::DATE <= $as_of)::BIGINT AS amount, sum(moved) AS in_all
        FROM bank_match AS tie JOIN bank_row AS row USING (source_no, key) GROUP BY tie.movement_no
        HAVING min("at"::DATE) <= $as_of
    ),
    back AS (
        SELECT sent.movement_no FROM movement AS sent JOIN movement AS home
            ON sent.source_no = home.source_no AND sent.reference = home.reference AND sent.movement_no <> home.movement_no
           AND sent.amount = -home.amount
        WHERE sent.kind IN ('payout', 'payout_returned') AND home.kind IN ('payout', 'payout_returned')
    )
    SELECT CASE WHEN movement.kind IN ('payout', 'payout_returned') THEN 'payout-not-in-bank' ELSE 'top-up-without-bank-line' END,
           moved_on, movement.amount - coalesce(arrived.amount, 0), movement.currency, NULL, movement.event_id, source.name,
           movement.event_id,
           CASE WHEN arrived.movement_no IS NOT NULL THEN 'the bank line of ' || arrived.day || ' has another amount'
                WHEN movement.kind = 'payout' THEN 'no bank line holds this payout'
                WHEN movement.kind = 'payout_returned' THEN 'no bank line holds the returned payout'
                WHEN movement.kind = 'top_up' THEN 'no bank line pays this top-up'
                ELSE 'no bank line holds this withdrawal' END
    FROM movement JOIN source USING (source_no) LEFT JOIN arrived USING (movement_no)
    WHERE moved_on <= $as_of AND movement.movement_no NOT IN (SELECT movement_no FROM back)
      AND ((arrived.movement_no IS NULL
            AND moved_on + CASE WHEN movement.kind IN ('payout', 'payout_returned') THEN $payout ELSE $top_up END < $as_of)
           OR arrived.in_all <> movement.amount)
      AND EXISTS (SELECT 1 FROM source WHERE kind = 'bank')
"""


def _party(row: str) -> str:
    """SQL expression: the words of a bank line without those that hold a digit, which change from line to line."""
    return f"trim(regexp_replace(upper(coalesce({row}.memo, '')), '[^ ]*[0-9][^ ]*', '', 'g'))"


_BANK_LINE = f"""
    WITH sender AS (
        SELECT DISTINCT upper(trim(counterparty)) AS name, {_party("bank_row")} AS text
        FROM bank_row JOIN movement USING (movement_no) WHERE movement.kind = 'payout'
    )
    SELECT CASE WHEN fact.amount > 0 AND (
                    upper(trim(row.counterparty)) IN (SELECT name FROM sender WHERE name <> '')
                    OR {_party("row")} IN (SELECT text FROM sender WHERE text <> '')
                    OR EXISTS (SELECT 1 FROM payout_pattern WHERE payout_pattern.source_no = row.source_no AND regexp_matches(
                        coalesce(row.memo, '') || ' ' || coalesce(row.counterparty, ''), payout_pattern.pattern, 'i')))
                THEN 'deposit-without-payout' ELSE 'bank-line-without-rule' END,
           fact.posted_on, fact.amount, fact.currency, NULL, fact.event_id, source_name, fact.event_id,
           'no payout, top-up or rule explains "' || coalesce(fact.memo, '') || '"'
    FROM fact_bank AS fact JOIN bank_row AS row ON row.source_no = fact.source_no AND row.key = fact.event_id
    WHERE fact.posting = 'unknown' AND fact.posted_on <= $as_of
"""

_UNRULED = """
    SELECT 'bank-line-without-rule', posted_on, net, currency, NULL, event_id, source_name, event_id, note
    FROM fact_processor WHERE kind = 'adjustment' AND rule_no = 0 AND posted_on <= $as_of
    UNION ALL
    SELECT 'bank-line-without-rule', posted_on, total, currency, NULL, event_id, source_name, event_id, note
    FROM fact_wallet WHERE posting = 'unknown' AND posted_on <= $as_of
"""

_ORDER_SUM = f"""
    SELECT 'order-does-not-add-up', fact.posted_on, balance.amount, fact.currency, fact.event_id, NULL, source.name,
           fact.event_id, 'the total is not items - discounts + shipping + tip + tax'
    FROM fact_sale AS fact JOIN source USING (source_no) JOIN (
        SELECT order_no, currency, sum(amount)::BIGINT AS amount FROM posting
        WHERE account_no = {_SUSPENSE} AND posted_on <= $as_of AND {_UNDECIDED} GROUP BY ALL HAVING sum(amount) <> 0
    ) AS balance ON balance.order_no = fact.order_no AND balance.currency = fact.currency
    WHERE fact.difference <> 0 AND fact.posted_on <= $as_of
"""

_EVENT_SUM = """
    WITH odd AS (
        SELECT source_no, event_id, posted_on, difference AS amount, currency, note, order_no FROM fact_processor
        WHERE difference <> 0
        UNION ALL
        SELECT source_no, event_id, posted_on, NULL, currency, note, order_no FROM fact_processor
        WHERE difference = 0 AND note IS NOT NULL AND kind IN ('dispute_lost', 'conversion')
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

_TAX = """
    WITH based AS (
        SELECT fact.order_no, fact.event_id, fact.posted_on, fact.currency, source_no, jurisdiction, tax_shop AS tax,
               items_net - discounts AS items, greatest(items_net - discounts + shipping_net, 1) AS all_in
        FROM fact_sale AS fact WHERE tax_marketplace = 0 AND posted_on <= $as_of AND items_net > discounts
    ), rated AS (
        SELECT *, (2000 * tax + items) // (2 * items) AS items_rate, (2000 * tax + all_in) // (2 * all_in) AS all_in_rate FROM based
    ), usual AS (
        SELECT jurisdiction, basis, rate, orders FROM (
            SELECT jurisdiction, 'items' AS basis, items_rate AS rate, count(*) AS orders FROM rated GROUP BY ALL
            UNION ALL SELECT jurisdiction, 'all in', all_in_rate, count(*) FROM rated GROUP BY ALL
        )
        WHERE jurisdiction IN (SELECT jurisdiction FROM rated GROUP BY jurisdiction HAVING count(*) >= 20)
        QUALIFY row_number() OVER (PARTITION BY jurisdiction, basis ORDER BY orders DESC, rate) = 1
    ), compared AS (
        SELECT rated.*, on_items.rate AS items_usual, on_all.rate AS all_in_usual, on_items.orders >= on_all.orders AS by_items
        FROM rated JOIN usual AS on_items ON on_items.jurisdiction = rated.jurisdiction AND on_items.basis = 'items'
        JOIN usual AS on_all ON on_all.jurisdiction = rated.jurisdiction AND on_all.basis = 'all in'
    )
    SELECT 'tax-rate-unusual', posted_on,
           (tax - CASE WHEN by_items THEN (2 * items_usual * items + 1000) // 2000
                       ELSE (2 * all_in_usual * all_in + 1000) // 2000 END)::BIGINT,
           compared.currency, event_id, NULL, source.name, event_id,
           'tax is ' || shown // 10 || '.' || shown % 10 || ' % of the items' || CASE WHEN by_items THEN '' ELSE ' and shipping' END
           || ', usual in ' || jurisdiction || ' is ' || wanted // 10 || '.' || wanted % 10 || ' %'
    FROM (SELECT *, CASE WHEN by_items THEN items_rate ELSE all_in_rate END AS shown,
                 CASE WHEN by_items THEN items_usual ELSE all_in_usual END AS wanted FROM compared) AS compared
    JOIN source USING (source_no)
    WHERE abs(items_rate - items_usual) > 1 AND abs(all_in_rate - all_in_usual) > 1
      AND abs(1000 * tax - items_usual * items) > 2000 AND abs(1000 * tax - all_in_usual * all_in) > 2000
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

_BALANCE = """
    WITH stated AS (
        SELECT source_no, stated_on, currency,
               arg_min(amount, CASE stated_by WHEN 'statement' THEN 1 WHEN 'running balance' THEN 2 ELSE 3 END) AS amount
        FROM stated_balance WHERE stated_on <= $as_of GROUP BY source_no, stated_on, currency
    ), compared AS (
        SELECT source_no, stated_on, stated.currency, stated.amount - coalesce((
                   SELECT sum(posting.amount) FROM posting JOIN account_use AS used USING (account_no)
                   WHERE used.role = source.kind AND used.parameter = source.name AND posting.posted_on <= stated.stated_on
                     AND posting.currency = stated.currency), 0) AS difference
        FROM stated JOIN source USING (source_no)
    )
    SELECT 'balance-differs', min(stated_on) FILTER (difference <> 0), arg_max(difference, stated_on)::BIGINT,
           compared.currency, NULL, NULL,
           source.name, compared.currency,
           CASE WHEN count(*) FILTER (difference <> 0) = count(*) AND count(DISTINCT difference) = 1
                THEN 'the same difference on every stated day: an opening balance is missing'
                ELSE 'stated and booked differ from ' || min(stated_on) FILTER (difference <> 0) || ' on' END
    FROM compared JOIN source USING (source_no)
    GROUP BY source.name, compared.currency HAVING arg_max(difference, stated_on) <> 0
"""

FINDERS: tuple[str, ...] = (
    _PAYMENT,
    _UNKNOWN_PAYMENT,
    _UNMADE,
    _UNORDERED,
    _TWICE,
    _CANCELLED,
    _UNDER_WAY,
    _BANK_LINE,
    _UNRULED,
    _ORDER_SUM,
    _EVENT_SUM,
    _TAX,
    _AMENDED,
    _VANISHED,
    _BALANCE,
)
