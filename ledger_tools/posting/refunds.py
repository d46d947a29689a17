"""Facts of refunds: every refund of a known order, split over what the order held (`fact_refund`, `fact_gift_refund`).

Few orders are refunded, so this is the one place that walks rows in Python; the arithmetic is `posting.splits`.
"""

from __future__ import annotations

import itertools
from typing import Any

import duckdb

from ledger_tools.money import round_half_up
from ledger_tools.posting.splits import Parts, RefundSplit, give_back_overpaid, split_refunds

_QUERY = """
    WITH charged AS (
        SELECT order_no, sum(gross)::BIGINT AS gross, sum(charged)::BIGINT AS charged, any_value(charged_currency) AS currency
        FROM fact_processor WHERE kind = 'charge' AND order_no IS NOT NULL
        GROUP BY order_no HAVING count(DISTINCT (charged_currency, currency)) = 1
    )
    SELECT order_no, sale.currency, sale.total, shipping_net, sale.tip, tax_shop + tax_marketplace, gift_cards_sold,
           coalesce(refunded_items, 0), coalesce(refunded_shipping, 0), coalesce(refunded_tip, 0),
           coalesce(refunded_tax, 0), coalesce(refunded_to_gift_card, 0), tax_marketplace > 0,
           refund.event_no, refund.currency, refund.gross, refund.charged_currency, refund.charged, charged.gross,
           charged.charged, charged.currency, sale.gift_card_paid,
           coalesce(head.cancelled_at::DATE, refund.posted_on, sale.posted_on)::VARCHAR
    FROM fact_sale AS sale JOIN order_head AS head USING (order_no)
    LEFT JOIN (SELECT * FROM fact_processor WHERE split) AS refund USING (order_no)
    LEFT JOIN charged USING (order_no)
    WHERE refund.event_no IS NOT NULL OR head.refunded_to_gift_card > 0
    ORDER BY order_no, refund.posted_on, refund.event_no
"""

_SPLIT_COLUMNS = (
    "event_no INTEGER, items BIGINT, shipping BIGINT, tip BIGINT, tax BIGINT, gift_cards BIGINT, excess BIGINT"
)


def _in_order_currency(row: tuple[Any, ...]) -> int | None:
    """What a refund row gave back, in the currency of its order; None where no rate is known."""
    currency, balance_currency, gross, charged_currency, charged = row[1], row[14], row[15], row[16], row[17]
    if charged_currency == currency:
        return -int(charged)
    if balance_currency == currency:
        return -int(gross)
    paid_gross, paid_charged, paid_currency = row[18], row[19], row[20]
    if paid_currency == currency and paid_gross:
        return round_half_up(-int(gross) * int(paid_charged), int(paid_gross))
    return None


def _overpaid(row: tuple[Any, ...]) -> int:
    """What all payments of an order are more than its total less gift card; 0 where they are in another currency."""
    if row[18] is None or row[20] != row[1]:
        return 0
    return max(int(row[19]) - int(row[2]) + int(row[21]), 0)


def _held(row: tuple[Any, ...]) -> Parts:
    total, shipping, tip, tax, gift_cards = (int(part) for part in row[2:7])
    items = total - shipping - tip - tax - gift_cards
    return (max(items, 0), max(shipping, 0), max(tip, 0), max(tax, 0), max(gift_cards, 0))


def list_refund_facts(connection: duckdb.DuckDBPyConnection, first_event_no: int) -> None:
    """Make the facts tables of refunds; refunds as gift cards are numbered from `first_event_no` on."""
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE refund_split ({_SPLIT_COLUMNS}, estimated BOOLEAN, overpaid BIGINT)"
    )
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE gift_split ({_SPLIT_COLUMNS}, order_no INTEGER, refunded BIGINT, day DATE)"
    )
    found: list[tuple[int, RefundSplit]] = []
    overpaid: list[int] = []
    given: list[tuple[int, RefundSplit, int, int, str]] = []
    unknown: list[int] = []
    rows = connection.execute(_QUERY).fetchall()
    for order_no, group in itertools.groupby(rows, key=lambda row: row[0]):
        members = list(group)
        head = members[0]
        amounts: list[int] = []
        events: list[int] = []
        for row in members:
            if row[13] is None:
                continue
            amount = _in_order_currency(row)
            if amount is None or amount < 0:
                unknown.append(int(row[13]))
            else:
                amounts.append(amount)
                events.append(int(row[13]))
        stated: Parts = (int(head[7]), int(head[8]), int(head[9]), int(head[10]), 0)
        back = give_back_overpaid(amounts, _overpaid(head), int(head[2]) - int(head[21]), stated)
        overpaid += back
        amounts = [amount - given_back for amount, given_back in zip(amounts, back, strict=True)]
        to_gift_card = int(head[11])
        if to_gift_card > 0:
            amounts.append(to_gift_card)
        splits = split_refunds(_held(head), amounts, stated)
        found.extend(zip(events, splits, strict=False))
        if to_gift_card > 0:
            given.append((first_event_no + len(given), splits[-1], int(order_no), to_gift_card, str(members[-1][22])))
    _insert(connection, "refund_split", found, [[split.estimated for _, split in found], overpaid])
    _insert(
        connection,
        "gift_split",
        [(event_no, split) for event_no, split, *_ in given],
        [[row[2] for row in given], [row[3] for row in given], [row[4] for row in given]],
    )
    if unknown:
        connection.execute(
            "UPDATE fact_processor SET split = false, flagged = true, note = 'the refund can not be valued in the currency "
            "of its order' WHERE event_no IN (SELECT unnest(?))",
            [unknown],
        )
    _make_tables(connection)


def _insert(
    connection: duckdb.DuckDBPyConnection, table: str, splits: list[tuple[int, RefundSplit]], more: list[list[Any]]
) -> None:
    if not splits:
        return
    columns: list[list[Any]] = [[event_no for event_no, _ in splits]]
    columns += [[split.parts[place] for _, split in splits] for place in range(5)]
    columns += [[split.excess for _, split in splits], *more]
    types = {bool: "BOOLEAN[]", str: "VARCHAR[]"}
    marks = ", ".join(f"unnest(?::{types.get(type(column[0]), 'BIGINT[]')})" for column in columns)
    connection.execute(f"INSERT INTO {table} SELECT {marks}", columns)


def _make_tables(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute(
        """
        CREATE TABLE fact_refund AS
        SELECT fact.* EXCLUDE (flagged, note), sale.currency AS order_currency, sale.jurisdiction, items, shipping,
               refund_split.tip, gift_cards, excess, overpaid,
               CASE WHEN sale.tax_marketplace > 0 THEN 0 ELSE tax END AS tax_shop,
               CASE WHEN sale.tax_marketplace > 0 THEN tax ELSE 0 END AS tax_marketplace,
               fact.flagged OR excess > 0 AS flagged,
               CASE WHEN excess > 0 THEN 'more was refunded than the order held' ELSE fact.note END AS note, estimated
        FROM fact_processor AS fact JOIN refund_split USING (event_no) JOIN fact_sale AS sale USING (order_no);
        CREATE TABLE fact_gift_refund AS
        SELECT split.event_no, sale.source_no, sale.event_id || '/gift-card-refund' AS event_id, split.day AS posted_on,
               sale.order_no, NULL::VARCHAR AS memo, sale.currency AS order_currency, sale.currency, sale.jurisdiction, items,
               shipping, split.tip, split.gift_cards, excess, split.refunded, excess > 0 AS flagged,
               CASE WHEN excess > 0 THEN 'more was refunded than the order held' END AS note,
               CASE WHEN sale.tax_marketplace > 0 THEN 0 ELSE tax END AS tax_shop,
               CASE WHEN sale.tax_marketplace > 0 THEN tax ELSE 0 END AS tax_marketplace
        FROM gift_split AS split JOIN fact_sale AS sale USING (order_no);
        DROP TABLE refund_split; DROP TABLE gift_split
        """
    )
