"""Control accounts and the items that each is the sum of: orders in clearing, movements in transit, events in suspense.

Amounts are minor units of the account's currency, debit positive. An item is what belongs together: the postings of one
order, of one payout or top-up and the bank lines that complete it, of one payment without order, else of one event. The
items of an account sum to its balance, since each posting is in exactly one; that they are what the records say is
checked in `checks`.
"""

from __future__ import annotations

import datetime
import itertools

import duckdb

from ledger_tools.matching.written import SOURCE_NAME, entry_of
from ledger_tools.reports.reconciliation_form import Control, ControlItem

#: SQL: what a posting of a control account belongs to; `decision` postings belong to what was decided about.
_ITEMS = f"""
    WITH control AS (
        SELECT account_no, name, role FROM account WHERE role IN (SELECT unnest($roles::VARCHAR[]))
    ), cleared AS (
        SELECT account_no, currency, order_no FROM posting JOIN control USING (account_no)
        WHERE posted_on <= $as_of AND order_no IS NOT NULL AND role <> 'reserve' GROUP BY ALL HAVING sum(amount) = 0
    ), leg AS (
        SELECT account.account_no, account.name AS account, account.role, posting.currency, posting.posted_on, posting.amount,
               posting.order_no, event.event_no, event.rule,
               coalesce(decided.source_name, source.name, CASE WHEN written.entry IS NOT NULL THEN '{SOURCE_NAME}' END) AS source_name,
               coalesce(decided.event_id, written.event_id, event.event_id) AS event_id, event.memo,
               row_number() OVER (PARTITION BY event_no, account.account_no, posting.currency, posting.amount ORDER BY leg) AS nth
        FROM posting JOIN control AS account USING (account_no) JOIN event USING (event_no)
        ANTI JOIN cleared ON cleared.account_no = posting.account_no AND cleared.currency = posting.currency
            AND cleared.order_no = posting.order_no
        LEFT JOIN source USING (source_no)
        LEFT JOIN (SELECT item, source AS source_name, coalesce(event_id, order_id) AS event_id FROM decision
                   WHERE action = 'account') AS decided
            ON event.rule = 'decision' AND decided.item = event.event_id
        {entry_of("event", "account", "posting")}
        WHERE posting.posted_on <= $as_of
    ), ended AS (
        SELECT source.name AS source_name, side.event_id, side.currency, unnest([-side.amount, -decision.amount]) AS amount,
               1 AS nth, coalesce(pair_no, end_no) AS pair_no, unnest([false, true]) AS is_decided
        FROM transfer_end AS side JOIN (SELECT source_no, name FROM source) AS source USING (source_no)
        LEFT JOIN decision ON decision.source = source.name AND decision.event_id = side.event_id AND action = 'account'
        UNION ALL
        SELECT NULL, event_id, currency, amount,
               row_number() OVER (PARTITION BY event_id, currency, amount ORDER BY end_no DESC), coalesce(pair_no, end_no), false
        FROM transfer_end WHERE source_no IS NULL
    ), moved AS (
        SELECT source.name AS source_name, movement.event_id, movement_no, movement.source_no || ' ' || reference AS whole,
               NULL::BIGINT AS moved
        FROM movement JOIN source USING (source_no)
        UNION ALL SELECT source.name, bank_match.key, movement_no, movement.source_no || ' ' || reference, moved
        FROM bank_match JOIN source USING (source_no) JOIN movement USING (movement_no)
    ), paid AS (
        SELECT source_name, event_id, any_value(payment_ref) AS payment_ref FROM fact_processor
        WHERE order_no IS NULL AND payment_ref IS NOT NULL GROUP BY ALL
    ), keyed AS (
        SELECT leg.* REPLACE (CASE WHEN role LIKE '%_in_transit' THEN coalesce(-moved.moved, leg.amount) ELSE leg.amount END AS amount),
               movement_no, payment_ref,
               CASE WHEN leg.role = 'reserve' THEN 'source ' || coalesce(source_name, rule)
                    WHEN order_no IS NOT NULL THEN 'order ' || order_no
                    WHEN ended.pair_no IS NOT NULL THEN 'transfer ' || ended.pair_no
                    WHEN movement_no IS NOT NULL THEN 'movement ' || whole
                    WHEN payment_ref IS NOT NULL THEN 'payment ' || source_name || ' ' || payment_ref
                    ELSE 'event ' || coalesce(source_name, rule) || ' ' || leg.event_id END AS item_key
        FROM leg LEFT JOIN moved USING (source_name, event_id) LEFT JOIN paid USING (source_name, event_id)
        LEFT JOIN ended ON leg.role = 'transfers_in_transit' AND leg.event_id = ended.event_id AND leg.currency = ended.currency
            AND leg.amount = ended.amount AND leg.nth = ended.nth AND leg.source_name IS NOT DISTINCT FROM ended.source_name
            AND ended.is_decided = (leg.rule = 'decision')
    )
    SELECT keyed.account_no, keyed.account, keyed.role, keyed.currency, min(keyed.posted_on) AS day, sum(keyed.amount)::BIGINT,
           any_value(head.order_id), any_value(shop.name), arg_min(movement.event_id, keyed.event_no), any_value(mover.name),
           arg_min(keyed.event_id, keyed.event_no), arg_min(keyed.source_name, keyed.event_no),
           arg_min(keyed.rule, keyed.event_no), any_value(movement.kind), item_key
    FROM keyed LEFT JOIN order_head AS head USING (order_no) LEFT JOIN source AS shop ON shop.source_no = head.source_no
    LEFT JOIN movement ON movement.movement_no = keyed.movement_no
    LEFT JOIN source AS mover ON mover.source_no = movement.source_no
    GROUP BY keyed.account_no, keyed.account, keyed.role, keyed.currency, item_key HAVING sum(keyed.amount) <> 0
    ORDER BY keyed.account_no, keyed.currency, day, item_key
"""

#: What an item of each role is, in words; the role's amount positive, negative.
_MEANS = {
    "clearing": ("not paid in full", "paid more than its total"),
    "payouts_in_transit": ("not in the bank yet", "in the bank before the payout, or returned"),
    "top_ups_in_transit": ("paid from the bank, not in the wallet yet", "in the wallet, not paid from the bank yet"),
    "transfers_in_transit": ("left one account, not in the other yet", "in one account, has not left the other yet"),
    "reserve": ("held back", "more released than was held"),
    "disputed": ("in dispute", "more came back than was in dispute"),
    "suspense": ("nobody has said what it is", "nobody has said what it is"),
}


def list_controls(
    connection: duckdb.DuckDBPyConnection, roles: tuple[str, ...], as_of: datetime.date
) -> tuple[Control, ...]:
    """Each control account that holds anything, with its items; a reserve is one item for each of its events."""
    rows = connection.execute(_ITEMS, {"roles": list(roles), "as_of": as_of}).fetchall()
    controls = []
    for (account, role, currency), group in itertools.groupby(rows, lambda row: (row[1], row[2], row[3])):
        items = tuple(_item(row, as_of) for row in group)
        controls.append(Control(account, role, currency, sum(item.amount for item in items), items))
    return tuple(controls)


def _item(row: tuple[object, ...], as_of: datetime.date) -> ControlItem:
    _, _, role, _, day, amount, order_id, shop, moved, mover, event_id, source, rule, _, _ = row
    assert isinstance(day, datetime.date)
    assert isinstance(amount, int)
    if order_id is not None:
        name, event = f"{shop} {order_id}", None
    elif moved is not None:
        name, event = f"{mover} {moved}", moved
    elif source is None:
        name, event = f"by hand, {event_id}" if rule == "hand" else str(event_id), event_id
    else:
        name, event = f"{source} {event_id}", event_id
    what = _MEANS[str(role)][0 if amount > 0 else 1]
    if role == "clearing" and order_id is None:
        what = "a payment whose order is not known"
    return ControlItem(
        day, (as_of - day).days, name, None if order_id is None else str(order_id), None if event is None else str(event),
        amount, what,
    )  # fmt: skip
