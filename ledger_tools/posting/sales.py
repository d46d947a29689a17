"""Facts of sales: what each order posts, computed for all orders at once.

Reads `order_head` and `order_line`; makes `fact_sale` (one row an order) and `fact_sale_category` (one row an order
and category). With tax-inclusive prices the tax is spread over the lines (after line discount) and shipping by largest
remainder and taken out of each; gift cards are not taxed when sold, so none is taken out of them.
"""

from __future__ import annotations

import duckdb

from ledger_tools.errors import LedgerError, Problem


def list_sale_facts(connection: duckdb.DuckDBPyConnection) -> None:
    """Make the facts tables of sales; the event number of a sale is its order's number."""
    _list_lines(connection)
    _take_tax_out(connection)
    connection.execute(
        """
        CREATE TABLE fact_sale_category AS
        SELECT order_no AS event_no, category, sum(gross - tax_part)::BIGINT AS amount, any_value(currency) AS currency
        FROM line_amount WHERE NOT is_gift_card GROUP BY order_no, category;
        CREATE OR REPLACE TEMP TABLE order_sum AS
        SELECT order_no, sum(discount)::BIGINT AS line_discounts,
               coalesce(sum(gross - tax_part) FILTER (NOT is_gift_card), 0)::BIGINT AS items_net,
               coalesce(sum(gross) FILTER (is_gift_card), 0)::BIGINT AS gift_cards_sold
        FROM line_amount GROUP BY order_no;
        CREATE TABLE fact_sale AS
        SELECT *, credits - total - discounts AS difference,
               credits <> total + discounts AS flagged,
               CASE WHEN credits <> total + discounts THEN 'the total is not the sum of its parts' END AS note
        FROM (
            SELECT order_no AS event_no, order_no, head.source_no, order_id AS event_id, placed_at::DATE AS posted_on,
                   NULL::VARCHAR AS memo, currency, total, coalesce(gift_card_paid, 0) AS gift_card_paid,
                   coalesce(line_discounts, 0) + coalesce(order_discount, 0) AS discounts,
                   coalesce(items_net, 0) AS items_net, coalesce(gift_cards_sold, 0) AS gift_cards_sold,
                   coalesce(shipping_charged, 0) - coalesce(shipping_tax, 0) AS shipping_net, coalesce(tip, 0) AS tip,
                   CASE WHEN tax_collected_by = 'marketplace' THEN 0 ELSE coalesce(tax, 0) END AS tax_shop,
                   CASE WHEN tax_collected_by = 'marketplace' THEN coalesce(tax, 0) ELSE 0 END AS tax_marketplace,
                   jurisdiction,
                   coalesce(items_net, 0) + coalesce(gift_cards_sold, 0) + coalesce(shipping_charged, 0)
                       - coalesce(shipping_tax, 0) + coalesce(tip, 0) + coalesce(tax, 0) AS credits
            FROM order_head AS head LEFT JOIN order_sum USING (order_no) LEFT JOIN shipping_part USING (order_no)
        );
        DROP TABLE line_amount; DROP TABLE order_sum; DROP TABLE shipping_part
        """
    )


def _list_lines(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `line_amount`; an order that prices none of its lines gets one line, worth what its total leaves for items."""
    _refuse_overflow(connection)
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE line_amount AS
        SELECT line.order_no, record, coalesce(nullif(trim(category), ''), 'Other') AS category, head.currency,
               is_gift_card, coalesce(quantity, 1) * unit_price AS gross, coalesce(line_discount, 0) AS discount, 0::BIGINT AS tax_part
        FROM order_line AS line JOIN order_head AS head USING (order_no) WHERE unit_price IS NOT NULL;
        INSERT INTO line_amount
        SELECT head.order_no, 0, coalesce(nullif(trim(min(line.category)), ''), 'Other'), any_value(head.currency),
               bool_and(is_gift_card),
               any_value(total + coalesce(order_discount, 0) - coalesce(shipping_charged, 0) - coalesce(tip, 0)
                         - CASE WHEN prices_include_tax THEN 0 ELSE coalesce(tax, 0) END), 0, 0
        FROM order_head AS head JOIN order_line AS line USING (order_no)
        GROUP BY head.order_no HAVING count(unit_price) = 0
        """
    )


def _refuse_overflow(connection: duckdb.DuckDBPyConnection) -> None:
    """Amounts have at most 15 digits in minor units, so that no sum over a shop leaves 64 bits.

    Raises:
        LedgerError: a line's quantity × unit price has more.
    """
    rows = connection.execute(
        f"""SELECT order_id FROM order_line JOIN order_head USING (order_no)
            WHERE abs(coalesce(quantity, 1)::HUGEINT * unit_price) >= {10**15} ORDER BY order_id LIMIT 20"""
    ).fetchall()
    if rows:
        raise LedgerError(
            Problem(f"order {order_id}", "quantity × unit price is more than the books can hold", "look at the export")
            for (order_id,) in rows
        )


def _take_tax_out(connection: duckdb.DuckDBPyConnection) -> None:
    """Fill `line_amount.tax_part` and make `shipping_part` for orders whose prices include the tax."""
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE tax_share AS
        WITH part AS (
            SELECT order_no, record AS place, false AS is_shipping, greatest(gross - discount, 0)::HUGEINT AS weight
            FROM line_amount JOIN order_head USING (order_no)
            WHERE prices_include_tax AND coalesce(tax, 0) > 0 AND NOT is_gift_card
            UNION ALL
            SELECT order_no, 2147483647, true, greatest(coalesce(shipping_charged, 0), 0)
            FROM order_head WHERE prices_include_tax AND coalesce(tax, 0) > 0
        ), scaled AS (
            SELECT order_no, place, is_shipping, tax, tax * weight AS product,
                   sum(weight) OVER (PARTITION BY order_no) AS whole
            FROM part JOIN order_head USING (order_no)
        ), cut AS (
            SELECT *, product // whole AS low, product % whole AS rest FROM scaled WHERE whole > 0
        )
        SELECT order_no, place, is_shipping,
               (low + CASE WHEN row_number() OVER (PARTITION BY order_no ORDER BY rest DESC, place)
                                <= tax - sum(low) OVER (PARTITION BY order_no) THEN 1 ELSE 0 END)::BIGINT AS tax_part
        FROM cut;
        UPDATE line_amount SET tax_part = tax_share.tax_part FROM tax_share
        WHERE tax_share.order_no = line_amount.order_no AND tax_share.place = line_amount.record AND NOT is_shipping;
        CREATE OR REPLACE TEMP TABLE shipping_part AS
        SELECT order_no, tax_part AS shipping_tax FROM tax_share WHERE is_shipping;
        DROP TABLE tax_share
        """
    )
