"""The flags of the order report: what is worth a look about an order, each as a value with its SQL condition.

A condition is read over one row an order with the columns of `FLAG_FACTS`, as of `$as_of`; it is never unknown. What
"charged twice" and "cancelled but charged" mean is the same as for the open items of that kind, without days of grace.
"""

from __future__ import annotations

from dataclasses import dataclass

from ledger_tools.open_item_finders import EXTRA_CHARGES


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

_REFUNDS = """
    SELECT order_no, sum(items + shipping + fact_refund.tip + tax_shop + tax_marketplace + gift_cards) AS refunded,
           bool_or(estimated) AS estimated, max(posted_on) AS refunded_on
    FROM fact_refund WHERE ($as_of IS NULL OR posted_on <= $as_of) GROUP BY order_no
"""

_CHARGES = """
    SELECT order_no, count(*) FILTER (kind = 'charge') AS made,
           coalesce(sum(total) FILTER (posting = 'credit'), 0) AS credited,
           coalesce(sum(total) FILTER (posting = 'fulfilment'), 0) AS charged
    FROM fact_wallet WHERE order_no IS NOT NULL AND ($as_of IS NULL OR posted_on <= $as_of) GROUP BY order_no
"""

#: The last parcel's day, where every charge of the order says when its parcel left.
_PARCELS = """
    SELECT order_no, CASE WHEN count(shipped_at) = count(*) THEN max(shipped_at)::DATE END AS parcel_shipped_on
    FROM wallet_row WHERE kind = 'charge' AND order_no IS NOT NULL AND ($as_of IS NULL OR wallet_row.at::DATE <= $as_of)
    GROUP BY order_no
"""

_EXTRA = f"SELECT order_no, sum(total) AS extra FROM {EXTRA_CHARGES} GROUP BY order_no"

#: SQL relation: what the flags' conditions read, one row an order.
FLAG_FACTS = f"""
    (SELECT order_no, clearing, disputed, reprint_charges, payments, settled_elsewhere, estimated, made, any_wallet,
            sold_items, cancelled_on, refunded_in_full, promotional, charged - credited AS charge_kept,
            extra - credited AS charged_extra, coalesce(order_shipped_on, parcel_shipped_on) AS shipped_on,
            coalesce(cancelled_on, CASE WHEN refunded_in_full AND any_shipping_date THEN refunded_on END) AS stopped_on
     FROM (
        SELECT head.order_no, coalesce(clearing, 0) AS clearing, coalesce(disputed, 0) AS disputed,
               coalesce(reprint_charges, 0) AS reprint_charges, coalesce(payments, 0) AS payments,
               coalesce(settled_elsewhere, false) AS settled_elsewhere, coalesce(estimated, false) AS estimated,
               coalesce(made, 0) AS made, coalesce(charged, 0) AS charged, coalesce(credited, 0) AS credited,
               coalesce(extra, 0) AS extra, coalesce(sale.items_net, 0) AS sold_items, parcel_shipped_on, refunded_on,
               CASE WHEN $as_of IS NULL OR cancelled_at::DATE <= $as_of THEN cancelled_at::DATE END AS cancelled_on,
               CASE WHEN $as_of IS NULL OR head.shipped_at::DATE <= $as_of THEN head.shipped_at::DATE END
                   AS order_shipped_on,
               coalesce(refunded >= sale.total AND sale.total > 0, false) AS refunded_in_full,
               coalesce(sale.items_net <= sale.discounts AND sale.gift_cards_sold = 0 AND sale.difference = 0, false)
                   AS promotional,
               EXISTS (SELECT 1 FROM source WHERE kind = 'wallet') AS any_wallet,
               EXISTS (SELECT 1 FROM order_head WHERE shipped_at IS NOT NULL UNION ALL
                       SELECT 1 FROM wallet_row WHERE shipped_at IS NOT NULL) AS any_shipping_date
        FROM order_head AS head LEFT JOIN fact_sale AS sale USING (order_no)
        LEFT JOIN ({_BALANCES}) AS balance USING (order_no) LEFT JOIN ({_PAYMENTS}) AS payment USING (order_no)
        LEFT JOIN ({_REFUNDS}) AS refund USING (order_no) LEFT JOIN ({_CHARGES}) AS charge USING (order_no)
        LEFT JOIN ({_PARCELS}) AS parcel USING (order_no)
        LEFT JOIN ({_EXTRA}) AS extra USING (order_no)
     ))
"""
