"""Each order's figures split over its lines by the database, for shops with a great many orders.

The same split as `order_groups` makes one order at a time, by largest remainder with ties to the earlier line; tests hold
the two against each other. Worked out once for each opened database and kept in memory beside it. Amounts are minor
units of the base currency.
"""

from __future__ import annotations

import threading

import duckdb

from ledger_tools.reports.order_figures import Figures
from ledger_tools.store import sku_key

#: The table of all parts, in the memory of an opened database: order, SKU, category, figures.
PARTS = "memory.main.order_part"

#: Names of the parts of an order or line that states none.
NO_SKU, NO_CATEGORY = "(no sku)", "Other"
SKU = f"coalesce(nullif(trim(sku), ''), '{NO_SKU}')"
CATEGORY = f"coalesce(nullif(trim(category), ''), '{NO_CATEGORY}')"

#: Figures that have weights of their own; all others are split by what the lines brought.
_WEIGHTED = ("items", "discounts", "production")


def _usable(over: str, *choices: str) -> str:
    """SQL expression: the first weight whose sum over the window is positive, else one for all."""
    whens = " ".join(f"WHEN sum({choice}) OVER {over} > 0 THEN {choice}" for choice in choices)
    return f"CASE {whens} ELSE 1 END"


def _allocated(relation: str, key: str, total: str, weight: str, keep: str) -> str:
    """SQL relation: each row's share of its key's total by largest remainder, as `share`; ties go to the earlier record."""
    return f"""
        SELECT {keep}, (sign(total) * (part + CASE WHEN row_number() OVER (
                   PARTITION BY {key} ORDER BY rest DESC, record) <= abs(total) - sum(part) OVER (PARTITION BY {key})
               THEN 1 ELSE 0 END))::BIGINT AS share
        FROM (SELECT *, abs(total) * weight // whole AS part, abs(total) * weight % whole AS rest FROM (
            SELECT *, {total} AS total, {weight} AS weight, (sum({weight}) OVER (PARTITION BY {key}))::HUGEINT AS whole
            FROM {relation}))
    """


_BY_ORDER = "(PARTITION BY order_no)"

#: Lines with what they state; `record` is their place in the export.
_STATED = f"""
    SELECT line.order_no, record, {SKU} AS sku, {sku_key("sku")} AS sku_key, {CATEGORY} AS category,
           coalesce(line_discount, 0)::HUGEINT AS line_discount,
           (coalesce(quantity, 1) * coalesce(unit_price, 0))::HUGEINT AS gross, coalesce(quantity, 1)::HUGEINT AS quantity,
           greatest(coalesce(head.order_discount, 0), 0)::HUGEINT AS order_discount,
           is_gift_card
    FROM order_line AS line JOIN order_head AS head USING (order_no)
"""

_NET = "greatest(gross - line_discount, 0)"
_DISCOUNT_WEIGHT = _usable(_BY_ORDER, _NET, "greatest(gross, 0)", "greatest(quantity, 0)")

#: Lines with the order's discount spread over them.
_SPREAD = f"""
    SELECT order_no, record, sku, sku_key, category, gross, quantity, is_gift_card, line_discount + share AS discount FROM (
        {
    _allocated(
        f"(SELECT *, {_DISCOUNT_WEIGHT} AS spread_by FROM stated)",
        "order_no",
        "order_discount",
        "spread_by",
        "order_no, record, sku, sku_key, category, gross, quantity, is_gift_card, line_discount",
    )
})
"""

#: What the partner charged for each SKU of an order, where all of the order's charges name one of its lines' SKUs.
_MADE = f"""
    SELECT order_no, sku, made FROM (
        SELECT charge.*, count(*) OVER (PARTITION BY charge.order_no)
                   - count(line.sku) OVER (PARTITION BY charge.order_no) AS foreign_skus
        FROM (
            SELECT fact.order_no, {sku_key("row.sku")} AS sku, sum(production_net)::HUGEINT AS made FROM fact_wallet AS fact
            JOIN wallet_row AS row USING (source_no, event_id)
            WHERE posting = 'fulfilment' AND fact.order_no IS NOT NULL
              AND fact.order_no NOT IN (SELECT order_no FROM wallet_row
                                        WHERE kind = 'charge' AND sku IS NULL AND order_no IS NOT NULL)
            GROUP BY ALL HAVING sum(production_net) > 0
        ) AS charge LEFT JOIN (SELECT DISTINCT order_no, sku_key AS sku FROM spread) AS line
            ON line.order_no = charge.order_no AND line.sku = charge.sku
    ) WHERE foreign_skus = 0
"""

#: The partner's charge for each line, shared by quantity among the lines of one SKU.
_SHARED_BY = _usable("(PARTITION BY spread.order_no, spread.sku_key)", "greatest(quantity, 0)")
_CHARGED = _allocated(
    f"""(SELECT spread.order_no, record, spread.sku_key, made, {_SHARED_BY} AS shared_by
         FROM spread JOIN made ON made.order_no = spread.order_no AND made.sku = spread.sku_key)""",
    "order_no, sku_key",
    "made",
    "shared_by",
    "order_no, record",
)

_GOODS_NET = "greatest(goods_gross - goods_discount, 0)"

#: Lines with the weights that their order's figures are split by.
_WEIGHTS = f"""
    SELECT order_no, record, sku, category, net,
           CASE WHEN sum(greatest(goods_gross, 0)) OVER {_BY_ORDER} > 0 THEN greatest(goods_gross, 0) ELSE net END AS items,
           CASE WHEN sum(greatest(discount, 0)) OVER {_BY_ORDER} > 0 THEN greatest(discount, 0) ELSE net END AS discounts,
           CASE WHEN sum(charged) OVER {_BY_ORDER} > 0 THEN charged ELSE net END AS production
    FROM (
        SELECT *, {_usable(_BY_ORDER, _GOODS_NET, "greatest(goods_gross, 0)", "greatest(quantity, 0)")} AS net FROM (
            SELECT spread.*, CASE WHEN is_gift_card THEN 0 ELSE gross END AS goods_gross,
                   CASE WHEN is_gift_card THEN 0 ELSE discount END AS goods_discount, coalesce(charged.share, 0) AS charged
            FROM spread LEFT JOIN charged USING (order_no, record)
        )
    )
"""

_WEIGHT_OF = " ".join(f"WHEN '{name}' THEN {name}" for name in _WEIGHTED)


def _build(rows: str) -> str:
    """The statement that fills `PARTS` from the table of all orders."""
    names = Figures._fields
    split = _allocated(
        f"""(SELECT line.order_no, record, figure, amount, CASE figure {_WEIGHT_OF} ELSE net END AS split_by
             FROM weights AS line JOIN (
                UNPIVOT (SELECT order_no, {", ".join(names)} FROM {rows}) ON {", ".join(names)} INTO NAME figure VALUE amount
             ) AS told USING (order_no)
             WHERE amount <> 0)""",
        "order_no, figure",
        "amount::HUGEINT",
        "split_by",
        "order_no, record, figure",
    )
    back = ", ".join(f"coalesce(sum(share) FILTER (figure = '{name}'), 0)::BIGINT AS {name}" for name in names)
    return f"""
        CREATE TABLE {PARTS} AS
        WITH stated AS MATERIALIZED ({_STATED}), spread AS MATERIALIZED ({_SPREAD}), made AS ({_MADE}),
             charged AS ({_CHARGED}), weights AS MATERIALIZED ({_WEIGHTS}), split AS ({split})
        SELECT order_no, sku, category, {back}
        FROM weights LEFT JOIN split USING (order_no, record) GROUP BY order_no, record, sku, category
        UNION ALL
        SELECT order_no, '{NO_SKU}', '{NO_CATEGORY}', {", ".join(names)} FROM {rows}
        WHERE order_no NOT IN (SELECT order_no FROM order_line WHERE order_no IS NOT NULL)
    """


#: Two requests at once work the parts out once.
_PREPARING = threading.Lock()


def prepare_parts(connection: duckdb.DuckDBPyConnection, rows: str) -> None:
    """Work out the parts of all orders, of the table `rows`, once for this opened database."""
    with _PREPARING:
        known = connection.execute(
            "SELECT 1 FROM duckdb_tables() WHERE database_name = 'memory' AND table_name = 'order_part'"
        ).fetchone()
        if known is None:
            connection.execute(_build(rows))
