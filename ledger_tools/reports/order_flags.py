"""The flags of the order report: what is worth a look about an order, each as a value with its SQL condition.

A condition is read over one row an order with the columns of `FLAG_FACTS`, as of `$as_of`; it is never unknown. What
"charged twice" and "cancelled but charged" mean is the same as for the open items of that kind, without days of grace.
"""

from __future__ import annotations

from dataclasses import dataclass

from ledger_tools.open_item_finders import EXTRA_CHARGES
from ledger_tools.posting.order_progress import (
    AS_OF,
    REFUNDED_IN_ALL,
    any_shipping_day,
    cancelled_on,
    refunds,
    shipping_days,
)


@dataclass(frozen=True)
class Flag:
    """One thing that may be said about an order.

    Attributes:
        name: its name in every output.
        means: what it says, in words.
        condition: SQL condition over the columns of `FLAG_FACTS` and of the order's figures.
    """

    name: str
    means: str
    condition: str


#: The flag of an order whose cost is not known yet.
NO_CHARGE = "no-fulfilment-charge"

FLAGS: tuple[Flag, ...] = (
    Flag("no-payment", "something is still to be paid, and no payment is known", "clearing <> 0 AND payments = 0"),
    Flag(
        NO_CHARGE,
        "made to order, neither cancelled nor refunded in full, and the partner has charged nothing",
        "made = 0 AND any_wallet AND sold_items > 0 AND cancelled_on IS NULL AND NOT refunded_in_full",
    ),
    Flag(
        "charged-twice",
        "the partner charged more pieces than were sold, or the same twice, and has not given it back",
        "charged_extra > 0 AND cancelled_on IS NULL",
    ),
    Flag(
        "cancelled-but-charged",
        "cancelled or refunded in full before it shipped, and the partner keeps a charge",
        "stopped_on IS NOT NULL AND (shipped_on IS NULL OR shipped_on > stopped_on) AND charge_kept > 0",
    ),
    Flag(
        "shipping-under-recovered",
        "the partner's shipping cost more than the customer paid for it",
        "shipping_cost > shipping_charged",
    ),
    Flag(
        "sold-below-cost",
        "the items brought less than their production and the partner's tax cost",
        "NOT promotional AND items - discounts < production + supplier_tax",
    ),
    Flag("split-estimated", "a refund was split over items, shipping and tax pro rata, not by the shop", "estimated"),
    Flag("in-dispute", "a payment is in dispute and not decided", "disputed <> 0"),
    Flag("reprinted", "a piece was made again", "reprint_charges > 0"),
    Flag("promotional", "the items were sold for nothing", "promotional"),
    Flag(
        "settled-in-another-currency",
        "the processor credited another currency than the order's",
        "settled_elsewhere",
    ),
)

FLAG_NAMES = tuple(flag.name for flag in FLAGS)


def flag_list() -> str:
    """SQL expression: the names of the flags that hold, joined by blanks."""
    names = (f"CASE WHEN {flag.condition} THEN '{flag.name}' END" for flag in FLAGS)
    return f"concat_ws(' ', {', '.join(names)})"


_BALANCES = """
    SELECT posting.order_no,
           coalesce(sum(amount) FILTER (role = 'clearing' AND posting.currency = head.currency), 0) AS clearing,
           coalesce(sum(amount) FILTER (role = 'disputed'), 0) AS disputed,
           count(*) FILTER (role = 'reprints' AND amount > 0) AS reprint_charges
    FROM posting JOIN account USING (account_no) JOIN order_head AS head USING (order_no)
    WHERE role IN ('clearing', 'disputed', 'reprints') AND ($as_of IS NULL OR posted_on <= $as_of)
    GROUP BY posting.order_no
"""

_PAYMENTS = """
    SELECT fact.order_no, count(*) AS payments, bool_or(fact.currency <> head.currency) AS settled_elsewhere
    FROM fact_processor AS fact JOIN order_head AS head USING (order_no)
    WHERE kind = 'charge' AND ($as_of IS NULL OR posted_on <= $as_of) GROUP BY fact.order_no
"""

_CHARGES = """
    SELECT order_no, count(*) FILTER (kind = 'charge') AS made,
           coalesce(sum(total) FILTER (posting = 'credit'), 0) AS credited,
           coalesce(sum(total) FILTER (posting = 'fulfilment'), 0) AS charged
    FROM fact_wallet WHERE order_no IS NOT NULL AND ($as_of IS NULL OR posted_on <= $as_of) GROUP BY order_no
"""

_EXTRA = f"SELECT order_no, sum(total) AS extra FROM {EXTRA_CHARGES} GROUP BY order_no"

#: SQL relation: what the flags' conditions read, one row an order.
FLAG_FACTS = f"""
    (SELECT order_no, clearing, disputed, reprint_charges, payments, settled_elsewhere, estimated, made, any_wallet,
            sold_items, cancelled_on, refunded_in_full, promotional, charged - credited AS charge_kept,
            extra - credited AS charged_extra, shipped_on,
            coalesce(cancelled_on, CASE WHEN refunded_in_full AND any_shipping_date THEN refunded_on END) AS stopped_on
     FROM (
        SELECT head.order_no, coalesce(clearing, 0) AS clearing, coalesce(disputed, 0) AS disputed,
               coalesce(reprint_charges, 0) AS reprint_charges, coalesce(payments, 0) AS payments,
               coalesce(settled_elsewhere, false) AS settled_elsewhere, coalesce(estimated, false) AS estimated,
               coalesce(made, 0) AS made, coalesce(charged, 0) AS charged, coalesce(credited, 0) AS credited,
               coalesce(extra, 0) AS extra, coalesce(sale.items_net, 0) AS sold_items, shipped_on, refunded_on,
               {cancelled_on(AS_OF)} AS cancelled_on, {REFUNDED_IN_ALL} AS refunded_in_full,
               coalesce(sale.items_net <= sale.discounts AND sale.gift_cards_sold = 0 AND sale.difference = 0, false)
                   AS promotional,
               EXISTS (SELECT 1 FROM source WHERE kind = 'wallet') AS any_wallet,
               {any_shipping_day(AS_OF)} AS any_shipping_date
        FROM order_head AS head LEFT JOIN fact_sale AS sale USING (order_no)
        LEFT JOIN ({_BALANCES}) AS balance USING (order_no) LEFT JOIN ({_PAYMENTS}) AS payment USING (order_no)
        LEFT JOIN {refunds(AS_OF)} AS refund USING (order_no) LEFT JOIN ({_CHARGES}) AS charge USING (order_no)
        LEFT JOIN {shipping_days(AS_OF)} AS parcel USING (order_no)
        LEFT JOIN ({_EXTRA}) AS extra USING (order_no)
     ))
"""
