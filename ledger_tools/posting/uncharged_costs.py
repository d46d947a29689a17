"""What shipped pieces will still cost that the partner had not charged by a month's end, as SQL for the month-end accrual.

Reads `earned` (orders and their days of shipping) and the tables of a build; makes temporary tables, of which the accrual
uses `order_cost` (order, currency, production, shipping, tax in minor units), `uncharged` (the orders that something is
left of), and, to say what is not known, `unpriced` and `basket`. `$last` stands for the month's last day.
"""

from __future__ import annotations

from ledger_tools.store import sku_key

#: Makes `goods_left`: the pieces of shipped orders that were not charged by the day. A charge is for the pieces it states
#: of its SKU, and for all of them where it states none. One that names no SKU of its order is for the whole order.
_PIECES_LEFT = f"""
    CREATE OR REPLACE TEMP TABLE goods AS
    SELECT order_no, {sku_key("line.sku")} AS sku, sum(coalesce(line.quantity, 1))::BIGINT AS pieces
    FROM earned JOIN order_line AS line USING (order_no)
    WHERE shipped_on <= $last AND NOT line.is_gift_card AND order_no IN (SELECT event_no FROM fact_sale_category) GROUP BY ALL;
    CREATE OR REPLACE TEMP TABLE goods_charge AS
    SELECT fact.order_no, {sku_key("row.sku")} AS sku, row.quantity AS pieces, fact.posted_on <= $last AS by_then,
           fact.currency, production_net, fact.shipping, tax_cost, fact.shipping <> 0 OR NOT has_parts AS holds_shipping
    FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
    WHERE posting = 'fulfilment' AND fact.order_no IN (SELECT order_no FROM goods);
    CREATE OR REPLACE TEMP TABLE goods_left AS
    WITH charged AS (
        SELECT order_no, sku, CASE WHEN count(pieces) = count(*) THEN sum(pieces)::BIGINT END AS pieces
        FROM goods_charge WHERE by_then GROUP BY ALL
    ), charged_whole AS (
        SELECT order_no FROM charged ANTI JOIN goods USING (order_no, sku)
        UNION SELECT order_no FROM goods JOIN charged USING (order_no) WHERE goods.sku IS NULL
    )
    SELECT order_no, goods.sku, goods.pieces - CASE WHEN charged.order_no IS NULL THEN 0 ELSE charged.pieces END AS pieces
    FROM goods LEFT JOIN charged USING (order_no, sku)
    WHERE order_no NOT IN (SELECT order_no FROM charged_whole)
      AND goods.pieces > CASE WHEN charged.order_no IS NULL THEN 0 ELSE coalesce(charged.pieces, goods.pieces) END;
"""

#: Makes `own_cost`, what later charges say that the pieces left cost, and `piece_to_estimate`, those that none is known
#: for. Of an order that was charged in part only the month of its shipping estimates: what the partner has not charged by
#: then it may never charge, and no open item would ever end the accrual.
_OWN_COSTS = """
    CREATE OR REPLACE TEMP TABLE own_cost AS
    SELECT charge.*, goods.order_no IS NULL AS is_for_all
    FROM goods_charge AS charge LEFT JOIN goods USING (order_no, sku)
    WHERE NOT by_then AND order_no IN (SELECT order_no FROM goods_left)
      AND (goods.order_no IS NULL OR EXISTS (
          SELECT 1 FROM goods_left WHERE goods_left.order_no = charge.order_no AND goods_left.sku = charge.sku));
    CREATE OR REPLACE TEMP TABLE piece_to_estimate AS
    WITH charged AS (
        SELECT order_no, sku, CASE WHEN count(pieces) = count(*) THEN sum(pieces)::BIGINT END AS pieces FROM own_cost GROUP BY ALL
    )
    SELECT order_no, goods_left.sku, goods_left.pieces - CASE WHEN charged.order_no IS NULL THEN 0 ELSE charged.pieces END AS pieces
    FROM goods_left JOIN earned USING (order_no) LEFT JOIN charged USING (order_no, sku)
    WHERE goods_left.pieces > CASE WHEN charged.order_no IS NULL THEN 0 ELSE coalesce(charged.pieces, goods_left.pieces) END
      AND order_no NOT IN (SELECT order_no FROM own_cost WHERE is_for_all)
      AND (shipped_on >= date_trunc('month', $last) OR order_no NOT IN (SELECT order_no FROM goods_charge));
    CREATE OR REPLACE TEMP TABLE uncharged AS
    SELECT order_no, order_id FROM earned
    WHERE order_no IN (SELECT order_no FROM own_cost UNION SELECT order_no FROM piece_to_estimate)
"""

#: Makes `order_cost` (what shipped orders will still cost, a row for each currency) and what it is estimated by. Shipping
#: is estimated where no charge of the order, before or since, holds any: what a second parcel costs is not known.
_COSTS = f"""
    CREATE OR REPLACE TEMP TABLE sku_cost AS
    SELECT {sku_key("row.sku")} AS sku, arg_max(fact.currency, fact.event_no) AS currency,
           arg_max(fact.production_net, fact.event_no) AS amount, arg_max(coalesce(row.quantity, 1), fact.event_no) AS pieces
    FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
    WHERE posting = 'fulfilment' AND {sku_key("row.sku")} IS NOT NULL AND fact.posted_on <= $last AND coalesce(row.quantity, 1) > 0
    GROUP BY ALL;
    CREATE OR REPLACE TEMP TABLE basket AS
    SELECT head.order_no, sum(coalesce(line.quantity, 1)) AS pieces, any_value(head.ship_country) AS country,
           any_value(coalesce(head.ship_region, '')) AS region
    FROM order_head AS head JOIN order_line AS line USING (order_no) WHERE NOT line.is_gift_card GROUP BY head.order_no;
    CREATE OR REPLACE TEMP TABLE postage AS
    WITH parcel AS (
        SELECT fact.order_no, {{'currency': fact.currency, 'shipping': sum(fact.shipping)::BIGINT}} AS cost,
               max(fact.event_no) AS latest, any_value(basket.pieces) AS pieces, any_value(country) AS country,
               any_value(region) AS region
        FROM fact_wallet AS fact JOIN basket USING (order_no)
        WHERE posting = 'fulfilment' AND fact.posted_on <= $last AND country IS NOT NULL
          AND fact.order_no NOT IN (SELECT order_no FROM uncharged)
        GROUP BY fact.order_no, fact.currency
    ), regional AS (
        SELECT pieces, country, region, arg_max(cost, latest) AS cost FROM parcel GROUP BY ALL
    ), national AS (
        SELECT pieces, country, arg_max(cost, latest) AS cost FROM parcel GROUP BY ALL
    )
    SELECT basket.order_no, coalesce(regional.cost, national.cost) AS cost
    FROM (SELECT DISTINCT order_no FROM piece_to_estimate) JOIN basket USING (order_no)
    LEFT JOIN regional ON regional.pieces = basket.pieces AND regional.country = basket.country
                      AND regional.region = basket.region
    LEFT JOIN national ON national.pieces = basket.pieces AND national.country = basket.country
    WHERE order_no NOT IN (SELECT order_no FROM goods_charge WHERE holds_shipping);
    CREATE OR REPLACE TEMP TABLE unpriced AS
    SELECT DISTINCT order_no FROM piece_to_estimate ANTI JOIN sku_cost USING (sku);
    CREATE OR REPLACE TEMP TABLE order_cost AS
    SELECT order_no, currency, sum(production)::BIGINT AS production, sum(shipping)::BIGINT AS shipping, sum(tax)::BIGINT AS tax
    FROM (
        SELECT order_no, currency, production_net AS production, shipping, tax_cost AS tax FROM own_cost
        UNION ALL
        SELECT order_no, sku_cost.currency,
               (2 * piece.pieces * sku_cost.amount + sku_cost.pieces) // (2 * sku_cost.pieces), 0, 0
        FROM piece_to_estimate AS piece JOIN sku_cost USING (sku)
        UNION ALL
        SELECT order_no, cost.currency, 0, cost.shipping, 0 FROM postage
    )
    WHERE order_no NOT IN (SELECT order_no FROM unpriced UNION ALL SELECT order_no FROM postage WHERE cost IS NULL)
    GROUP BY order_no, currency
"""

#: All of it, in order.
UNCHARGED_COSTS = (_PIECES_LEFT, _OWN_COSTS, _COSTS)
