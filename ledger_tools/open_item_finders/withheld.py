"""What processors and marketplaces hold back beyond what there was: a reserve released twice, tax withheld of nothing.

Place in the flow: over the postings of the accounts of reserves and of marketplace tax, entries by hand included, so that
a balance brought in answers what comes of it. Amounts are the balances that the accounts have on the wrong side.
"""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import UNDECIDED, Finder, Held, account_of

#: Each reserve that is below nothing, with the event that took it there.
_RESERVE = f"""
    WITH moved AS (
        SELECT used.parameter AS source_name, posting.currency, posting.event_no, posting.posted_on, sum(amount) AS amount
        FROM posting JOIN account_use AS used ON used.account_no = posting.account_no AND used.role = 'reserve'
        WHERE posting.posted_on <= $as_of AND {UNDECIDED} GROUP BY ALL
    ), run AS (
        SELECT *, row_number() OVER earlier AS place, sum(amount) OVER earlier AS balance FROM moved
        WINDOW earlier AS (PARTITION BY source_name, currency ORDER BY posted_on, event_no)
    ), below AS (
        SELECT run.* FROM run SEMI JOIN (
            SELECT source_name, currency, coalesce(max(place) FILTER (balance >= 0), 0) + 1 AS place FROM run GROUP BY ALL
        ) AS first ON first.source_name = run.source_name AND first.currency = run.currency AND first.place = run.place
    )
    SELECT 'event-does-not-add-up', below.posted_on, whole.amount, below.currency, NULL, event.event_id, below.source_name,
           below.currency || ' reserve', 'more of the reserve is released than was held back'
    FROM below JOIN event USING (event_no) JOIN (
        SELECT source_name, currency, sum(amount)::BIGINT AS amount FROM moved GROUP BY ALL
    ) AS whole ON whole.source_name = below.source_name AND whole.currency = below.currency
"""

#: Orders of which more marketplace tax was withheld than they still owe.
_OF_ORDERS = f"""
    SELECT order_no, posting.currency, sum(amount)::BIGINT AS amount, max(posting.posted_on) AS day
    FROM posting WHERE account_no = {account_of("marketplace_tax")} AND posting.posted_on <= $as_of AND order_no IS NOT NULL
      AND order_no IN (SELECT order_no FROM fact_processor WHERE kind = 'tax_withheld' AND order_no IS NOT NULL) AND {UNDECIDED}
    GROUP BY ALL HAVING sum(amount) > 0
"""

_LAST_WITHHELD = """
    SELECT order_no, currency, arg_max(event_id, event_no) AS event_id, arg_max(source_name, event_no) AS source_name,
           max(posted_on) AS day
    FROM fact_processor WHERE kind = 'tax_withheld' AND posted_on <= $as_of GROUP BY ALL
"""

_WITHHELD = f"""
    SELECT 'event-does-not-add-up', whole.day, whole.amount, whole.currency, head.order_id, last.event_id, last.source_name,
           head.order_id || ' withheld',
           CASE WHEN order_no IN (SELECT order_no FROM fact_refund WHERE tax_marketplace > 0 AND posted_on <= $as_of)
                THEN 'tax that the marketplace withheld was refunded to the customer, and the marketplace has not given it back'
                ELSE 'the marketplace withheld more tax than the order has' END
    FROM ({_OF_ORDERS}) AS whole JOIN ({_LAST_WITHHELD}) AS last USING (order_no) JOIN order_head AS head USING (order_no)
    WHERE last.currency = whole.currency
"""

#: Marketplace tax in debit that no order explains, where rows of tax withheld name no order.
_WITHHELD_OF_NONE = f"""
    SELECT 'event-does-not-add-up', last.day, whole.amount, whole.currency, NULL, last.event_id, last.source_name,
           whole.currency || ' withheld', 'the marketplace withheld more tax than the orders have'
    FROM (
        SELECT currency, sum(amount)::BIGINT AS amount FROM (
            SELECT currency, amount FROM posting
            WHERE account_no = {account_of("marketplace_tax")} AND posted_on <= $as_of AND {UNDECIDED}
            UNION ALL SELECT currency, -amount FROM ({_OF_ORDERS})
        ) GROUP BY ALL HAVING sum(amount) > 0
    ) AS whole JOIN ({_LAST_WITHHELD}) AS last ON last.order_no IS NULL AND last.currency = whole.currency
    QUALIFY row_number() OVER (PARTITION BY whole.currency ORDER BY last.day DESC, last.source_name) = 1
"""

FINDERS = (
    Finder(_RESERVE, held=Held("reserve")),
    Finder(_WITHHELD, "payment", held=Held("marketplace_tax")),
    Finder(_WITHHELD_OF_NONE, held=Held("marketplace_tax")),
)
