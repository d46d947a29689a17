"""The cash basis: income when the processor or bank received it, an expense when it was paid, as one relation of postings.

A sale counts as far as it is paid: each payment of its order is shared over what was sold (income, tax, gift cards) by
largest remainder, cumulatively, so that a paid order counts whole and to the minor unit. `CASH_BASIS_POSTINGS` has
the columns of `posting` that statements read (day, account, value in minor units of the base currency, debit positive).
"""

from __future__ import annotations

from ledger_tools.reports.valued import IS_RESULT, VALUED_POSTINGS

#: The rule in sentences, as the report prints it.
CASH_BASIS_RULE = (
    "Cash basis: a sale counts when the processor or the bank received its payment, in part as far as it is paid in part.",
    "Returns count when refunded, fees when taken; the wallet's charges on their day: a top-up is a prepayment.",
    "A gift card is a debt until it is used (common practice); what it pays for counts on the day of the order.",
    "Left out: tax collected, payments of unknown orders, orders never paid and their write-off, month-end entries.",
    "Entries by hand and a payment lost in a dispute count on their day.",
    "Whether the cash basis may be used, and for gift cards so, depends on local rules: ask a licensed accountant.",
)

#: Accounts of month-end entries: what is paid and not shipped, or shipped and not charged, is no matter of cash.
MONTH_END_ROLES = ("unearned_revenue", "prepaid_fulfilment", "accrued_fulfilment")

_ROLES_IN_SQL = ", ".join(f"'{role}'" for role in MONTH_END_ROLES)

#: SQL relation (event_no): events that the cash basis leaves out. Month-end entries, the close's own or by hand; and what
#: takes an unpaid order off the books against income or expenses, without anything else moving.
LEFT_OUT = f"""
    (SELECT event_no FROM event JOIN source USING (source_no) WHERE source.kind = 'month_end'
     UNION
     SELECT event_no FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
     GROUP BY event_no
     HAVING (bool_or(role IN ({_ROLES_IN_SQL})) AND bool_and(role IN ({_ROLES_IN_SQL}) OR {IS_RESULT}))
         OR (any_value(rule) <> 'sale' AND bool_and(role = 'clearing' OR {IS_RESULT})
             AND sum(value) FILTER (role = 'clearing') < 0))
"""

#: SQL: postings of sales. What the customer owes or paid by gift card is the whole (`is_owed`), the rest are its parts. An
#: order has one sale, and a later one where a closed month kept another version of it; only the first counts from its
#: payment on, should that be earlier.
SALE_LEGS = f"""
    SELECT event.order_no, leg.posted_on, leg.account_no, value,
           role = 'clearing' OR (role = 'gift_cards' AND value > 0) AS is_owed, role = 'gift_cards' AND value > 0 AS is_card,
           leg.posted_on = min(leg.posted_on) OVER (PARTITION BY event.order_no) AS is_first
    FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no) WHERE rule = 'sale'
"""

#: SQL: what was paid on an order beside gift cards, day by day (order_no, posted_on, value).
PAYMENTS = f"""
    SELECT leg.order_no, leg.posted_on, -sum(value)::BIGINT AS value
    FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
    WHERE role = 'clearing' AND rule <> 'sale' AND leg.order_no IS NOT NULL
      AND event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
    GROUP BY leg.order_no, leg.posted_on
"""

#: SQL relation (order_no, posted_on, account_no, value): the parts of sales on the days on which they were paid.
RECEIVED_PARTS = f"""
    (WITH sale_leg AS ({SALE_LEGS}), payment AS ({PAYMENTS}),
    leg AS (
        SELECT order_no, CASE WHEN is_first THEN least(sale_leg.posted_on, paid.first_day) ELSE sale_leg.posted_on END AS day,
               sale_leg.posted_on, account_no, value, is_owed, is_card
        FROM sale_leg LEFT JOIN (SELECT order_no, min(posted_on) AS first_day FROM payment GROUP BY order_no) AS paid USING (order_no)
    ), moved AS (
        SELECT order_no, day, value AS owed, 0 AS paid FROM leg WHERE is_owed
        UNION ALL SELECT order_no, posted_on, 0, value FROM leg WHERE is_card
        UNION ALL SELECT order_no, posted_on, 0, value FROM payment WHERE order_no IN (SELECT order_no FROM leg)
        UNION ALL SELECT order_no, day, 0, 0 FROM leg
    ), step AS (
        SELECT order_no, day, whole, CASE WHEN whole > 0 THEN greatest(0, least(whole, paid)) ELSE 1 END AS paid,
               greatest(whole, 1) AS base
        FROM (SELECT order_no, day, sum(sum(owed)) OVER (PARTITION BY order_no ORDER BY day)::HUGEINT AS whole,
                     sum(sum(paid)) OVER (PARTITION BY order_no ORDER BY day)::HUGEINT AS paid
              FROM moved GROUP BY order_no, day)
    ), part AS (
        SELECT order_no, day, account_no,
               coalesce(sum(-sum(value) FILTER (NOT is_owed)) OVER (PARTITION BY order_no, account_no ORDER BY day), 0)::HUGEINT
                   AS part
        FROM (SELECT step.order_no, step.day, account.account_no, value, coalesce(is_owed, false) AS is_owed
              FROM step JOIN (SELECT DISTINCT order_no, account_no FROM leg WHERE NOT is_owed) AS account USING (order_no)
              LEFT JOIN leg ON leg.order_no = step.order_no AND leg.day = step.day AND leg.account_no = account.account_no)
        GROUP BY order_no, day, account_no
    ), quota AS (
        SELECT order_no, day, account_no, whole, paid, ((paid * part) % base + base) % base AS rest,
               (paid * part - ((paid * part) % base + base) % base) // base AS share
        FROM step JOIN part USING (order_no, day)
    ), shared AS (
        SELECT order_no, day, account_no,
               share + CASE WHEN whole > 0 AND row_number() OVER (PARTITION BY order_no, day ORDER BY rest DESC, account_no)
                                 <= paid - sum(share) OVER (PARTITION BY order_no, day) THEN 1 ELSE 0 END AS share
        FROM quota
    )
    SELECT order_no, day AS posted_on, account_no,
           -(share - coalesce(lag(share) OVER (PARTITION BY order_no, account_no ORDER BY day), 0))::BIGINT AS value
    FROM shared)
"""

#: SQL relation (posted_on, account_no, value) that counts for income and expenses on the cash basis.
CASH_BASIS_POSTINGS = f"""
    (SELECT leg.posted_on, account_no, value FROM {VALUED_POSTINGS} AS leg JOIN event USING (event_no)
     WHERE rule <> 'sale' AND event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
     UNION ALL SELECT posted_on, account_no, value FROM {RECEIVED_PARTS})
"""
