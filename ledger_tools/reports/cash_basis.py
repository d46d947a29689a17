"""The cash basis: income when the processor or bank received it, an expense when it was paid, as one relation of postings.

A sale counts as far as it is paid: each payment of its order is shared over what was sold (income, tax, gift cards) by
largest remainder, cumulatively, so that a paid order counts whole and to the minor unit. `CASH_BASIS_POSTINGS` has
the columns of `posting` that statements read (day, account, value in minor units of the base currency, debit positive).
"""

from __future__ import annotations

from ledger_tools.reports.valued import VALUED_POSTINGS

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

#: SQL relation (event_no): events that the cash basis leaves out. Month-end entries; and what takes an unpaid order off
#: the books against income or expenses, without anything else moving.
LEFT_OUT = f"""
    (SELECT event_no FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
     GROUP BY event_no
     HAVING bool_or(role IN ({_ROLES_IN_SQL}))
         OR (any_value(rule) <> 'sale' AND bool_or(role = 'clearing')
             AND bool_and(role = 'clearing' OR regexp_matches(account.name, '^(Income|Expenses):'))
             AND sum(value) FILTER (role = 'clearing') < 0))
"""

#: Postings of sales: what the customer owes or paid by gift card makes the `whole`, the rest are its parts.
SALE_LEGS = f"""
    SELECT leg.event_no AS sale_no, leg.posted_on, leg.order_no, leg.account_no, value,
           role = 'clearing' OR (role = 'gift_cards' AND value > 0) AS is_owed, role = 'gift_cards' AND value > 0 AS is_card
    FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no) WHERE rule = 'sale'
"""

#: SQL relation (sale_no, posted_on, account_no, value): the parts of sales on the days on which they were paid.
RECEIVED_PARTS = f"""
    (WITH sale_leg AS ({SALE_LEGS}),
    sale AS (
        SELECT sale_no, any_value(posted_on) AS posted_on, any_value(order_no) AS order_no,
               coalesce(sum(value) FILTER (is_owed), 0)::HUGEINT AS whole
        FROM sale_leg GROUP BY sale_no
    ), part AS (
        SELECT sale_no, account_no, -sum(value)::HUGEINT AS part FROM sale_leg WHERE NOT is_owed GROUP BY ALL
    ), payment AS (
        SELECT sale_no, posted_on, value FROM sale_leg WHERE is_card
        UNION ALL
        SELECT sale_no, leg.posted_on, -leg.value
        FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN sale ON sale.order_no = leg.order_no
        WHERE role = 'clearing' AND leg.event_no <> sale_no AND leg.event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
    ), step AS (
        SELECT sale_no, posted_on, whole, greatest(0, least(whole, paid)) AS paid
        FROM (SELECT sale_no, payment.posted_on, any_value(whole) AS whole,
                     sum(sum(payment.value)) OVER (PARTITION BY sale_no ORDER BY payment.posted_on)::HUGEINT AS paid
              FROM payment JOIN sale USING (sale_no) WHERE whole > 0 GROUP BY sale_no, payment.posted_on)
    ), quota AS (
        SELECT sale_no, posted_on, account_no, paid, ((paid * part) % whole + whole) % whole AS rest,
               (paid * part - ((paid * part) % whole + whole) % whole) // whole AS share
        FROM step JOIN part USING (sale_no)
    ), shared AS (
        SELECT sale_no, posted_on, account_no,
               share + CASE WHEN row_number() OVER (PARTITION BY sale_no, posted_on ORDER BY rest DESC, account_no)
                                 <= paid - sum(share) OVER (PARTITION BY sale_no, posted_on) THEN 1 ELSE 0 END AS share
        FROM quota
    )
    SELECT sale_no, posted_on, account_no,
           -(share - coalesce(lag(share) OVER (PARTITION BY sale_no, account_no ORDER BY posted_on), 0))::BIGINT AS value
    FROM shared
    UNION ALL
    SELECT sale_no, sale.posted_on, account_no, -part::BIGINT FROM sale JOIN part USING (sale_no) WHERE whole <= 0)
"""

#: SQL relation (posted_on, account_no, value) that counts for income and expenses on the cash basis.
CASH_BASIS_POSTINGS = f"""
    (SELECT posted_on, account_no, value FROM {VALUED_POSTINGS} AS leg JOIN event USING (event_no, posted_on)
     WHERE rule <> 'sale' AND event_no NOT IN (SELECT event_no FROM {LEFT_OUT})
     UNION ALL SELECT posted_on, account_no, value FROM {RECEIVED_PARTS})
"""
