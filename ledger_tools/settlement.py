"""Settling an open item: from what a person says to the decision that is kept, checked against the books.

An account decision moves the balance that the item holds in a balance-sheet account (clearing, suspense, in transit, or
the stated account itself) to another account. A match ties the item's record to another one.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.accounts import ACCOUNT_PATTERN
from ledger_tools.decisions import Decision
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount
from ledger_tools.open_items import OpenItem, last_known_day, list_all_items

#: Role of the account that holds the balance of an item of each kind, where there is one.
BALANCE_ROLES = {
    "order-without-payment": "clearing",
    "payment-without-order": "clearing",
    "payment-differs": "clearing",
    "payout-not-in-bank": "payouts_in_transit",
    "top-up-without-bank-line": "top_ups_in_transit",
    "deposit-without-payout": "suspense",
    "bank-line-without-rule": "suspense",
    "order-does-not-add-up": "suspense",
    "event-does-not-add-up": "suspense",
}

#: Kinds of record that an item of each kind can be matched with.
MATCHES = {
    "order-without-payment": "a payment",
    "payment-differs": "a payment",
    "payment-without-order": "an order",
    "order-without-fulfilment": "a wallet charge",
    "fulfilment-without-order": "an order",
    "payout-not-in-bank": "a bank line",
    "top-up-without-bank-line": "a bank line",
    "deposit-without-payout": "a payout",
    "bank-line-without-rule": "a payout or top-up",
}


@dataclass(frozen=True)
class Verdict:
    """What a person says about an item: exactly one of the three is set.

    Attributes:
        match: id of the record that it belongs to, as EVENT or SOURCE/EVENT.
        account: account that its balance goes to.
        accept: leave it as it is.
    """

    match: str | None
    account: str | None
    accept: bool


#: Items that are still within their days of grace can be seen, and settled, as of a later day.
_LATER_DAYS = 400


def _items_by_id(connection: duckdb.DuckDBPyConnection) -> dict[str, OpenItem]:
    last = last_known_day(connection)
    if last is None:
        return {}
    later = list_all_items(connection, last + datetime.timedelta(days=_LATER_DAYS))
    return {item.id: item for item in [*later, *list_all_items(connection, last)]}


def find_item(connection: duckdb.DuckDBPyConnection, item_id: str) -> OpenItem:
    """The open item of an id, or of an unambiguous beginning of one.

    Raises:
        LedgerError: no item, or more than one, has it.
    """
    items = [item for item in _items_by_id(connection).values() if item.id.startswith(item_id)]
    if len(items) == 1 and item_id:
        return items[0]
    what = (
        "is the id of no open item" if not items else f"begins {len(items)} ids: {', '.join(item.id for item in items)}"
    )
    raise LedgerError(Problem(f"item {item_id!r}", what, "see the ids with: ledger-tools open-items"))


def decide(
    connection: duckdb.DuckDBPyConnection,
    item: OpenItem,
    verdict: Verdict,
    reason: str,
    by: str,
    decided_on: datetime.date,
) -> Decision:
    """The decision about an item, checked against the books.

    Raises:
        LedgerError: the item can't be settled in this way, or what was named is not there.
    """
    about = {
        "item": item.id,
        "kind": item.kind,
        "reason": reason,
        "by": by,
        "decided_on": decided_on,
        "item_date": item.date,
        "source": item.source,
        "event_id": item.event_id,
        "order_id": item.order_id,
    }
    if verdict.accept:
        return Decision.model_validate({**about, "action": "accept"})
    if verdict.match is not None:
        source, event = _matched_record(connection, item, verdict.match)
        return Decision.model_validate({**about, "action": "match", "match_source": source, "match_id": event})
    assert verdict.account is not None
    if not ACCOUNT_PATTERN.match(verdict.account):
        raise LedgerError(
            Problem(f"account {verdict.account!r}", "is not an account name", "write it like Expenses:BankFees")
        )
    balances = open_balance(connection, item)
    if not balances:
        raise LedgerError(
            Problem(
                f"item {item.id} ({item.kind})",
                "holds no balance that could go to an account",
                "accept it instead: --accept",
            )
        )
    if len(balances) > 1:
        raise LedgerError(
            Problem(f"item {item.id}", "holds balances in several currencies", "write an entry in hand.beancount")
        )
    account, currency, amount = balances[0]
    return Decision.model_validate(
        {
            **about,
            "action": "account",
            "account": verdict.account,
            "balance_account": account,
            "amount": format_amount(amount, currency),
            "currency": currency,
        }
    )


def open_balance(connection: duckdb.DuckDBPyConnection, item: OpenItem) -> list[tuple[str, str, int]]:
    """(account, currency, balance) that an item holds, decisions left out; debit positive."""
    if item.kind == "balance-differs":
        row = connection.execute(
            """SELECT account.name FROM account JOIN account_use AS used USING (account_no) JOIN source
                   ON source.kind = used.role AND source.name = used.parameter WHERE source.name = ?""",
            [item.source],
        ).fetchone()
        return [(str(row[0]), item.currency or "", -(item.amount or 0))] if row and item.amount else []
    role = BALANCE_ROLES.get(item.kind)
    if role is None:
        return []
    if item.event_id is None:
        where = "posting.order_no IN (SELECT order_no FROM order_head WHERE order_id = $key)"
        key = item.order_id or ""
    else:
        where = """posting.event_no IN (
            SELECT event.event_no FROM event JOIN source USING (source_no)
            LEFT JOIN fact_processor AS own ON own.event_no = event.event_no
            WHERE source.name = $source AND (event.event_id = $key OR own.payment_ref IN (
                SELECT payment_ref FROM fact_processor WHERE source_name = $source AND event_id = $key
                  AND order_no IS NULL AND kind IN ('charge', 'refund'))))"""
        key = item.event_id or ""
    values = {"role": role, "key": key}
    if "$source" in where:
        values["source"] = item.source or ""
    rows = connection.execute(
        f"""SELECT account.name, posting.currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
            JOIN event USING (event_no) WHERE account.role = $role AND event.rule <> 'decision' AND {where}
            GROUP BY ALL HAVING sum(amount) <> 0 ORDER BY 1, 2""",
        values,
    ).fetchall()
    return [(str(name), str(currency), int(amount)) for name, currency, amount in rows]


def _matched_record(connection: duckdb.DuckDBPyConnection, item: OpenItem, named: str) -> tuple[str | None, str]:
    wanted = MATCHES.get(item.kind)
    if wanted is None:
        raise LedgerError(
            Problem(f"item {item.id} ({item.kind})", "can't be matched with a record", "use --account or --accept")
        )
    if wanted == "an order":
        if connection.execute("SELECT 1 FROM order_head WHERE order_id = ?", [named]).fetchone() is None:
            raise LedgerError(Problem(f"--match {named}", "is no order", f"name the id of {wanted}"))
        return None, named
    queries = {
        "a payment": "SELECT source_name, event_id FROM fact_processor WHERE kind IN ('charge', 'refund')",
        "a wallet charge": "SELECT source_name, event_id FROM fact_wallet WHERE kind = 'charge'",
        "a bank line": "SELECT source_name, event_id FROM fact_bank",
    }
    movements = "SELECT source.name AS source_name, event_id FROM movement JOIN source USING (source_no)"
    rows = connection.execute(
        f"""SELECT source_name, event_id FROM ({queries.get(wanted, movements)})
            WHERE event_id = $named OR source_name || '/' || event_id = $named""",
        {"named": named},
    ).fetchall()
    if len(rows) != 1:
        what = f"is no {wanted.removeprefix('a ')}" if not rows else "is in several sources"
        step = f"name the event id of {wanted}" if not rows else f"write {rows[0][0]}/{named}"
        raise LedgerError(Problem(f"--match {named}", what, step))
    return str(rows[0][0]), str(rows[0][1])


def stale_decisions(connection: duckdb.DuckDBPyConnection) -> list[Problem]:
    """Decisions that no longer fit: the item is gone, its balance is another, or the match did not take."""
    items = _items_by_id(connection)
    found: list[Problem] = []
    for item_id, action, amount, currency in connection.execute(
        "SELECT item, action, amount, currency FROM decision ORDER BY item"
    ).fetchall():
        withdraw = f"withdraw it: ledger-tools settle {item_id} --withdraw"
        item = items.get(item_id)
        if action == "match":
            if item is not None:
                found.append(
                    Problem(f"decision about {item_id}", "matches two records that can't belong together", withdraw)
                )
        elif item is None:
            found.append(Problem(f"decision about {item_id}", "has no open item any more", withdraw))
        elif action == "account":
            now = open_balance(connection, item)
            if [(code, balance) for _, code, balance in now] != [(currency, amount)]:
                told = ", ".join(f"{format_amount(balance, code)} {code}" for _, code, balance in now) or "nothing"
                was = f"{format_amount(amount, currency)} {currency}"
                found.append(Problem(f"decision about {item_id}", f"moved {was}, the item now holds {told}", withdraw))
    return found
