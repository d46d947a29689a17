"""Control accounts against what they are made of: the report's items sum to the balance, and records say the same of each."""

from __future__ import annotations

import duckdb

from ledger_tools.checks.outcome import Check, told
from ledger_tools.matching.written import SOURCE_NO, entry_of
from ledger_tools.money import format_amount
from ledger_tools.open_items import last_known_day
from ledger_tools.reports.controls import list_controls
from ledger_tools.reports.reconciliation import CONTROL_ROLES

#: Payout by payout and top-up by top-up: what records say is under way, less what a decision moved, against the postings.
_MOVEMENTS = f"""
    WITH arrived AS (
        SELECT movement_no, sum(moved) AS amount FROM bank_match GROUP BY movement_no
    ), decided AS (
        SELECT source, event_id, sum(amount) AS amount FROM decision
        WHERE action = 'account' AND kind IN ('payout-not-in-bank', 'top-up-without-bank-line') GROUP BY ALL
    ), expected AS (
        SELECT movement.movement_no, source.name AS source, movement.event_id, movement.currency,
               movement.amount - coalesce(arrived.amount, 0) - coalesce(decided.amount, 0) AS amount
        FROM movement JOIN source USING (source_no) LEFT JOIN arrived USING (movement_no)
        LEFT JOIN decided ON decided.source = source.name AND decided.event_id = movement.event_id
    ), part AS (
        SELECT source_no, event_id, movement_no, NULL::BIGINT AS moved FROM movement
        UNION ALL SELECT source_no, key, movement_no, moved FROM bank_match
    ), booked AS (
        SELECT part.movement_no, sum(coalesce(-part.moved, posting.amount)) AS amount
        FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
        LEFT JOIN (SELECT item, source.source_no, event_id FROM decision JOIN source ON source.name = decision.source
                   WHERE action = 'account') AS decided
            ON event.rule = 'decision' AND decided.item = event.event_id
        {entry_of("event", "account", "posting")}
        JOIN part ON part.source_no = coalesce(decided.source_no, event.source_no, {SOURCE_NO})
                 AND part.event_id = coalesce(decided.event_id, written.event_id, event.event_id)
        WHERE account.role IN ('payouts_in_transit', 'top_ups_in_transit') GROUP BY part.movement_no
    )
    SELECT source || ' ' || expected.event_id, expected.currency, expected.amount::BIGINT, coalesce(booked.amount, 0)::BIGINT
    FROM expected LEFT JOIN booked USING (movement_no) WHERE expected.amount <> coalesce(booked.amount, 0) ORDER BY 1
"""

#: Transfers: every end is posted once, an entry by hand with its own amount and a bank line with the reverse of its.
_TRANSFERS = """
    WITH expected AS (
        SELECT currency, sum(CASE WHEN source_no IS NULL THEN amount ELSE -amount END) AS amount FROM transfer_end GROUP BY currency
    ), booked AS (
        SELECT currency, sum(amount) AS amount FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
        WHERE account.role = 'transfers_in_transit' AND event.rule <> 'decision' GROUP BY currency
    )
    SELECT 'transfers', currency, coalesce(expected.amount, 0)::BIGINT, coalesce(booked.amount, 0)::BIGINT
    FROM expected FULL JOIN booked USING (currency) WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0)
"""


def check_control_accounts(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identities 2 and 3 item by item: each control account is the sum of its items, each movement what its records say."""
    broken = connection.execute(_MOVEMENTS).fetchall() + connection.execute(_TRANSFERS).fetchall()
    day = last_known_day(connection)
    controls = list_controls(connection, CONTROL_ROLES, day) if day is not None else ()
    listed = {(control.account, control.currency): sum(item.amount for item in control.items) for control in controls}
    balances = connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE account.role IN (SELECT unnest(?::VARCHAR[])) GROUP BY ALL ORDER BY ALL""",
        [list(CONTROL_ROLES)],
    ).fetchall()
    broken += [
        (name, currency, listed.get((name, currency), 0), balance)
        for name, currency, balance in balances
        if listed.get((name, currency), 0) != balance
    ]
    count = sum(len(control.items) for control in controls)
    return told(
        "control accounts are the sum of their items",
        broken,
        f"{len(controls)} accounts, {count} items",
        lambda row: (
            f"{row[0]}: items say {format_amount(row[2], row[1])}, books {format_amount(row[3], row[1])} {row[1]}"
        ),
    )
