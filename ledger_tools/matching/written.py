"""Payouts and top-ups that a person wrote as under way: opening balances of the in-transit accounts, and corrections.

Books that begin in the middle of a shop's life begin with money under way: payouts that have left the processor and that
the bank has not, top-ups that the bank has paid and the wallet has not. No export tells of their first half. A line of
`hand.beancount` on one of these accounts stands for it, and is matched like what an export tells: one that awaits its bank
line is a movement, one that is the bank's half is a bank line. Both are posted by the entry itself.

Place in the flow: the hand file → `written` → `bank_lines` → control accounts. Amounts are minor units as the bank shows
them, positive into the bank.
"""

from __future__ import annotations

import duckdb

from ledger_tools.hand import MAIN_FILE, HandFile
from ledger_tools.settings import ShopSettings

#: What stands for a source. No source of the settings can have this name.
SOURCE_NAME, SOURCE_NO = "hand.beancount", -2

#: Role of the account, and the sign that a debit has of what awaits the bank there: a payout debits its account, a top-up
#: credits it. The reverse of it is the bank's own half.
_AWAITS_BANK = {"payouts_in_transit": 1, "top_ups_in_transit": -1}


def list_written(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, hand: HandFile) -> None:
    """Make `written`, from entries that have one line on an in-transit account and currency; others stay as they are.

    Columns: event_id (the day and the account, numbered where the day has several), entry (what its event in the books is
    called), role, day, currency, amount, awaits_bank.
    """
    connection.execute(
        """CREATE TABLE written (event_id VARCHAR, entry VARCHAR, role VARCHAR, day DATE, currency VARCHAR, amount BIGINT,
                                 awaits_bank BOOLEAN)"""
    )
    roles = {settings.template_of(role): role for role in _AWAITS_BANK}
    names: dict[str, int] = {}
    for entry in sorted(hand.entries, key=lambda entry: (entry.day, entry.line_number)):
        where = f"line {entry.line_number}" + ("" if entry.file != MAIN_FILE else f" of {MAIN_FILE}")
        touched = [(line.account, line.currency) for line in entry.lines if line.account in roles]
        for line in entry.lines:
            if not line.amount or touched.count((line.account, line.currency)) != 1:
                continue
            role = roles[line.account]
            awaits_bank = line.amount * _AWAITS_BANK[role] > 0
            name = f"{entry.day}/{role.removesuffix('_in_transit').replace('_', '-')}"
            names[name] = names.get(name, 0) + 1
            connection.execute(
                "INSERT INTO written VALUES (?, ?, ?, ?, ?, ?, ?)",
                [
                    name if names[name] == 1 else f"{name}/{names[name]}", where, role, entry.day, line.currency,
                    line.amount if awaits_bank else -line.amount, awaits_bank,
                ],
            )  # fmt: skip
    connection.execute(
        f"""
        INSERT INTO source SELECT {SOURCE_NO}, '{SOURCE_NAME}', 'hand', NULL WHERE EXISTS (SELECT 1 FROM written);
        INSERT INTO kept_bank BY NAME
        SELECT {SOURCE_NO} AS source_no, event_id AS key, day::TIMESTAMP AS "at", amount, currency
        FROM written WHERE NOT awaits_bank
        """
    )


#: SQL: the movements among what was written, with the columns of `movement`.
WRITTEN_MOVEMENTS = f"""
    SELECT {SOURCE_NO} AS source_no, event_id, event_id AS reference,
           CASE role WHEN 'top_ups_in_transit' THEN 'top_up' ELSE 'payout' END AS kind, day AS moved_on, currency, amount,
           NULL AS stated_currency, NULL::BIGINT AS stated_amount
    FROM written WHERE awaits_bank
"""


def entry_of(event: str, account: str, posting: str) -> str:
    """SQL: join of `written` to postings of an entry by hand on an in-transit account."""
    return f"""LEFT JOIN written ON {event}.rule = 'hand' AND written.entry = {event}.event_id AND written.role = {account}.role
        AND written.currency = {posting}.currency"""
