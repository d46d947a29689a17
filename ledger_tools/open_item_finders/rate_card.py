"""Charges of the fulfilment partner against the rate card of the settings, order by order.

Production (less discounts) is compared charge by charge; shipping over the whole order: for each parcel (a reference as
the partner writes it, and a day of leaving) the card gives one first piece, the dearest, and the others additional. What
the card does not price is not judged: a charge with an unknown SKU, an order with an unknown category or destination.
Second charges of a double charge, cancelled orders and what credits gave back are left out. Common practice: partners
publish such cards as "first item" and "each additional item".
"""

from __future__ import annotations

from ledger_tools.money import currencies_by_digits
from ledger_tools.open_item_finders.finder import Finder
from ledger_tools.open_item_finders.fulfilment import EXTRA_CHARGES
from ledger_tools.posting.order_progress import AS_OF, cancelled_on
from ledger_tools.store import amount_text, sku_key


def _amount(expression: str) -> str:
    return amount_text(expression, "compared.currency", currencies_by_digits())


_CHARGE = f"""
    SELECT fact.order_no, fact.source_no, source_name, fact.event_id, posted_on, fact.currency, production_net AS production,
           fact.shipping, row.sku, row.quantity, row.category, coalesce(row.order_ref, '') AS parcel_ref,
           coalesce(row.shipped_at::DATE, DATE '0001-01-01') AS left_on,
           coalesce(row.ship_country, head.ship_country, '') AS country,
           coalesce(row.ship_region, head.ship_region, '') AS region,
           count(*) OVER (PARTITION BY fact.order_no) AS charges
    FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
    JOIN order_head AS head ON head.order_no = fact.order_no
    WHERE posting = 'fulfilment' AND has_parts AND posted_on <= $as_of AND {cancelled_on(AS_OF)} IS NULL
      AND (source_name, fact.event_id) NOT IN (SELECT (source_name, event_id) FROM {EXTRA_CHARGES})
"""

#: The pieces of each charge: its own, or where it names none and is the order's only one, those of the order.
_PIECE = f"""
    SELECT charge.*  EXCLUDE (sku, quantity, category), charge.sku,
           coalesce(charge.quantity, line.quantity, 1) AS quantity, lower(coalesce(charge.category, line.category)) AS category
    FROM charge LEFT JOIN (
        SELECT order_no, {sku_key("sku")} AS sku, sum(coalesce(quantity, 1)) AS quantity, any_value(category) AS category
        FROM order_line WHERE sku IS NOT NULL GROUP BY ALL
    ) AS line ON line.order_no = charge.order_no AND line.sku = {sku_key("charge.sku")}
    WHERE charge.sku IS NOT NULL OR charge.category IS NOT NULL OR charges > 1
    UNION ALL
    SELECT charge.* EXCLUDE (sku, quantity, category), line.sku, coalesce(line.quantity, 1), lower(line.category)
    FROM charge JOIN order_line AS line USING (order_no)
    WHERE charge.sku IS NULL AND charge.category IS NULL AND charges = 1
"""

_PRICED = f"""
    SELECT piece.*, (
               SELECT arg_max(card.price, card.valid_from) FROM rate_card_production AS card
               WHERE {sku_key("card.sku")} = {sku_key("piece.sku")} AND card.currency = piece.currency
                 AND card.valid_from <= piece.posted_on
           ) AS price, (
               SELECT arg_max({{'first': card.first_piece, 'additional': card.additional_piece}},
                              (length(card.destination), card.valid_from))
               FROM rate_card_shipping AS card
               WHERE card.category = piece.category AND card.currency = piece.currency
                 AND card.valid_from <= piece.posted_on
                 AND (card.destination = '*' OR card.destination = piece.country
                      OR card.destination = piece.country || '-' || piece.region)
           ) AS sent
    FROM piece
"""

_ABOVE_CARD = f"""
    WITH charge AS ({_CHARGE}), piece AS ({_PIECE}), priced AS ({_PRICED}), made AS (
        SELECT order_no, source_no, event_id, any_value(production) AS production, sum(price * quantity)::BIGINT AS card,
               string_agg(DISTINCT sku, ', ' ORDER BY sku) AS skus
        FROM priced GROUP BY order_no, source_no, event_id
        HAVING count(price) = count(*) AND any_value(production) > sum(price * quantity)
    ), made_above AS (
        SELECT order_no, source_no, sum(production)::BIGINT AS production, sum(card)::BIGINT AS card,
               string_agg(skus, ', ' ORDER BY event_id) AS skus
        FROM made GROUP BY order_no, source_no
    ), parcel AS (
        SELECT order_no, source_no, count(sent) = count(*) AS known,
               sum(sent.additional * quantity) + max(sent.first - sent.additional) AS card
        FROM priced GROUP BY order_no, source_no, parcel_ref, left_on
    ), sent_above AS (
        SELECT order_no, source_no, any_value(charged.shipping) AS shipping, sum(card)::BIGINT AS card
        FROM parcel JOIN (SELECT order_no, source_no, sum(shipping)::BIGINT AS shipping FROM charge GROUP BY ALL) AS charged
            USING (order_no, source_no)
        GROUP BY order_no, source_no HAVING bool_and(known) AND any_value(charged.shipping) > sum(card)
    ), credited AS (
        SELECT order_no, source_no, sum(total) AS total FROM fact_wallet
        WHERE posting = 'credit' AND posted_on <= $as_of AND order_no IS NOT NULL GROUP BY ALL
    ), extra AS (SELECT order_no, source_name, sum(total) AS total FROM {EXTRA_CHARGES} GROUP BY ALL),
    compared AS (
        SELECT order_no, source_name, min(posted_on) AS day, any_value(currency) AS currency,
               CASE WHEN count(*) = 1 THEN min(event_id) END AS event_id,
               any_value(made_above.production) AS production, any_value(made_above.card) AS production_card,
               any_value(skus) AS skus, any_value(sent_above.shipping) AS shipping,
               any_value(sent_above.card) AS shipping_card,
               greatest(coalesce(any_value(credited.total), 0) - coalesce(any_value(extra.total), 0), 0) AS given_back
        FROM charge LEFT JOIN made_above USING (order_no, source_no) LEFT JOIN sent_above USING (order_no, source_no)
        LEFT JOIN credited USING (order_no, source_no) LEFT JOIN extra USING (order_no, source_name)
        GROUP BY order_no, source_name
    )
    SELECT 'cost-above-rate-card', day,
           (coalesce(production - production_card, 0) + coalesce(shipping - shipping_card, 0) - given_back)::BIGINT,
           compared.currency, head.order_id, event_id, source_name, head.order_id,
           concat_ws('; ', 'production of ' || skus || ' is ' || {_amount("production")} || ', on the rate card '
                     || {_amount("production_card")},
                     'shipping is ' || {_amount("shipping")} || ', on the rate card ' || {_amount("shipping_card")},
                     CASE WHEN given_back > 0 THEN 'credited only in part' END)
    FROM compared JOIN order_head AS head USING (order_no)
    WHERE coalesce(production - production_card, 0) + coalesce(shipping - shipping_card, 0) > given_back
"""

#: Shops without a card are not asked.
_HAS_CARD = "SELECT 1 FROM rate_card_production UNION ALL SELECT 1 FROM rate_card_shipping LIMIT 1"

FINDERS = (Finder(_ABOVE_CARD, only_if=_HAS_CARD),)
