"""Settling an open item: from what a person says to the decision that is kept, checked against the books.

An account decision moves what the item holds in a balance-sheet account (clearing, suspense, in transit, or the stated
account itself) to another account: the item's amount, which the finder that found it says where to look for. A match ties
the item's record to another one.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass, replace

import duckdb

from ledger_tools.accounts import ACCOUNT_PATTERN
from ledger_tools.belonging import find_record, matches_not_made, refuse_what_can_not_hold
from ledger_tools.decisions import Decision
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount
from ledger_tools.open_item_finders.finder import STATED, UNDECIDED
from ledger_tools.open_item_finders.kinds import KINDS_BY_NAME, UNSORTED_COST
from ledger_tools.open_items import Decided, OpenItem, find_items


@dataclass(frozen=True)
class Verdict:
    """What a person says about an item.

    Raises:
        ValueError: not exactly one of the four is set.

    Attributes:
        match: the records that it belongs to or is made up of, as EVENT or SOURCE/EVENT.
        account: account that its balance goes to.
        accept: leave it as it is.
        take_out: the record that vanished leaves the books.
    """

    match: Sequence[str] = ()
    account: str | None = None
    accept: bool = False
    take_out: bool = False

    def __post_init__(self) -> None:
        if [bool(self.match), self.account is not None, self.accept, self.take_out].count(True) != 1:
            raise ValueError("a verdict says exactly one thing: match, account, accept or take_out")


def _settleable(connection: duckdb.DuckDBPyConnection) -> list[OpenItem]:
    """What can be settled: what is open, and what is still under way."""
    found = find_items(connection, None)
    return [*found.under_way, *found.late]


def find_item(connection: duckdb.DuckDBPyConnection, item_id: str) -> OpenItem:
    """The open item of an id, short or long, or of an unambiguous beginning of one.

    Raises:
        LedgerError: no item, or more than one, has it.
    """
    items = [item for item in _settleable(connection) if item.long_id.startswith(item_id)]
    if len(items) == 1 and item_id:
        return items[0]
    decided = connection.execute("SELECT item FROM decision WHERE starts_with(item, ?)", [item_id]).fetchone()
    if not items and decided is not None:
        step = f"take the decision back: ledger-tools settle {decided[0]} --withdraw"
        raise LedgerError(Problem(f"item {item_id!r}", "is decided, and what it was about is no longer open", step))
    what = (
        "is the id of no open item"
        if not items
        else f"begins {len(items)} ids: {', '.join(sorted(item.id for item in items))}"
    )
    raise LedgerError(Problem(f"item {item_id!r}", what, "see the ids with: ledger-tools open-items"))


def decide(
    connection: duckdb.DuckDBPyConnection,
    item: OpenItem,
    verdict: Verdict,
    reason: str,
    by: str,
    decided_on: datetime.date,
) -> tuple[Decision, ...]:
    """The decisions about an item, checked against the books: one, or one for each record that it belongs to.

    Raises:
        LedgerError: the item can't be settled in this way, or what was named is not there or does not hold together.
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
        return (Decision.model_validate({**about, **_accepted_amount(item), "action": "accept"}),)
    if verdict.match:
        found = dict.fromkeys(find_record(connection, item, named) for named in verdict.match)
        matches = tuple(
            Decision.model_validate({**about, "action": "match", "match_source": source, "match_id": record})
            for source, record in found
        )
        refuse_what_can_not_hold(connection, matches)
        return matches
    if verdict.take_out:
        if not KINDS_BY_NAME[item.kind].can_go:
            told = "is no record that a later export left out: it can't be taken out of the books"
            raise LedgerError(Problem(f"item {item.id} ({item.kind})", told, "use --match, --account or --accept"))
        return (Decision.model_validate({**about, "action": "take-out"}),)
    return (Decision.model_validate({**about, **_moved(connection, item, verdict)}),)


def _accepted_amount(item: OpenItem) -> dict[str, str]:
    """What is accepted of an item that can change: what it holds otherwise later is not what was accepted."""
    if item.amount is None or item.currency is None or item.held is None:
        return {}
    return {"amount": format_amount(item.amount, item.currency), "currency": item.currency}


def _moved(connection: duckdb.DuckDBPyConnection, item: OpenItem, verdict: Verdict) -> dict[str, str]:
    """What of a decision says where an item's balance goes."""
    assert verdict.account is not None
    if not ACCOUNT_PATTERN.match(verdict.account):
        raise LedgerError(
            Problem(f"account {verdict.account!r}", "is not an account name", "write it like Expenses:BankFees")
        )
    refuse_own_account(connection, item, verdict.account)
    balance = open_balance(connection, item)
    if balance is None:
        raise LedgerError(
            Problem(
                f"item {item.id} ({item.kind})",
                "holds no balance that could go to an account",
                "take it out or accept it instead: --take-out, --accept"
                if KINDS_BY_NAME[item.kind].can_go
                else "accept it instead: --accept",
            )
        )
    if balance.account == verdict.account:
        step = f"name another account, or leave it as it is: ledger-tools settle {item.id} --accept"
        raise LedgerError(Problem(f"account {verdict.account}", "is where it stands now", step))
    _refuse_other_currency(connection, item)
    return {
        "action": "account",
        "account": verdict.account,
        "balance_account": balance.account,
        "amount": format_amount(balance.amount, balance.currency),
        "currency": balance.currency,
    }


#: Accounts that items are made of, by role: what is moved there stays open and no item tells of it. For each, what it
#: holds, and what to name instead.
_MADE_OF_ITEMS = {
    "clearing": (
        "holds orders until they are paid, each tied to its payments",
        "tie it to its order or payment: ledger-tools settle {item} --match ORDER; what is never paid is a cost, such as "
        "Expenses:BadDebts, and what is kept is income",
    ),
    "suspense": (
        "is where it waits for a decision",
        f"name the account that it was for; what can't be told yet goes to {UNSORTED_COST}, for the accountant to sort",
    ),
    "transfers_in_transit": (
        "holds what is between own accounts, and each amount there is tied to what completes it",
        "name the line in the other account: ledger-tools settle {item} --match LINE; where no export tells of it, "
        "--always makes a [[bank_rule]] that the other half by hand completes",
    ),
    **dict.fromkeys(
        ("payouts_in_transit", "top_ups_in_transit"),
        (
            "holds what is under way, and each amount there is tied to what completes it",
            "name it: ledger-tools settle {item} --match EVENT; what was under way when the books began, and no export "
            "tells of, is a line of the opening entry in hand.beancount, or one more entry there",
        ),
    ),
}


def refuse_own_account(
    connection: duckdb.DuckDBPyConnection, item: OpenItem, account: str, *, is_rule: bool = False
) -> None:
    """What an account of items holds stays open there; what an own account's export tells of as well would count twice.

    A rule that points to a bank, or to transfers under way, makes a transfer.

    Raises:
        LedgerError: the account is made of items, or is that of a source with exports of the item's day.
    """
    roles = connection.execute(
        "SELECT DISTINCT used.role FROM account JOIN account_use AS used USING (account_no) WHERE name = ? ORDER BY 1",
        [account],
    ).fetchall()
    for (role,) in roles:
        if role in _MADE_OF_ITEMS and not (is_rule and role == "transfers_in_transit"):
            what, step = _MADE_OF_ITEMS[role]
            raise LedgerError(Problem(f"account {account}", what, step.format(item=item.id)))
    row = connection.execute(
        """SELECT source.name, source.kind FROM account JOIN account_use AS used USING (account_no)
           JOIN source ON source.kind = used.role AND source.name = used.parameter JOIN export USING (source_no)
           WHERE account.name = ? AND source.kind IN ('bank', 'processor', 'wallet') GROUP BY ALL HAVING min(first_day) <= ?""",
        [account, item.date],
    ).fetchone()
    if row is None:
        return
    name, kind = row
    if is_rule and kind == "bank":
        return
    step = f"tie it to the payout or top-up that it is: ledger-tools settle {item.id} --match EVENT"
    if kind == "bank":
        step = (
            f"make it a transfer: point a [[bank_rule]] for it to {account}, or name the line of {name}: "
            f"ledger-tools settle {item.id} --match LINE"
        )
    what = f"is the account of {name}, whose exports tell of their side of it themselves: it would count twice"
    raise LedgerError(Problem(f"account {account}", what, step))


@dataclass(frozen=True)
class Balance:
    """What an item holds in an account: minor units of the currency, debit positive."""

    account: str
    currency: str
    amount: int


def open_balance(connection: duckdb.DuckDBPyConnection, item: OpenItem) -> Balance | None:
    """What an item holds, decisions left out: its amount and nothing else; None where it holds nothing."""
    if item.held is None or item.currency is None or not item.balance:
        return None
    by_source = (
        """JOIN source ON source.kind = used.role AND source.name = used.parameter WHERE source.name = $source"""
    )
    row = connection.execute(
        f"""SELECT account.name FROM account JOIN account_use AS used USING (account_no)
            {by_source if item.held.role == STATED else "WHERE used.role = $role AND used.parameter IN ('', $source)"}""",
        {"source": item.source} | ({} if item.held.role == STATED else {"role": item.held.role}),
    ).fetchone()
    return Balance(str(row[0]), item.currency, item.balance) if row else None


def _refuse_other_currency(connection: duckdb.DuckDBPyConnection, item: OpenItem) -> None:
    """An order that was paid in another currency than its own holds two balances; one decision moves one of them.

    Raises:
        LedgerError: the order holds a balance in a second currency.
    """
    row = connection.execute(
        f"""SELECT 1 FROM posting JOIN order_head AS head USING (order_no) JOIN source ON source.source_no = head.source_no
            JOIN account USING (account_no)
            WHERE source.name = ? AND head.order_id = ? AND posting.currency <> ? AND account.role = ? AND {UNDECIDED}
            GROUP BY posting.currency HAVING sum(amount) <> 0""",
        [item.source, item.order_id, item.currency, item.held.role if item.held else ""],
    ).fetchone()
    if row is not None:
        raise LedgerError(
            Problem(f"item {item.id}", "holds balances in several currencies", "write an entry in hand.beancount")
        )


@dataclass(frozen=True)
class Settled:
    """One decision as it stands in the record.

    Attributes:
        item, kind, item_date: the open item, as it was.
        about: the order or event that it is about, as SOURCE/ID.
        action: match, account, accept or take-out; `target`: the record or account that it names.
        amount, currency: what was moved, debit positive, or the difference that was accepted; else None.
        problem: why it no longer fits the books; None while it does.
    """

    item: str
    kind: str
    item_date: datetime.date
    about: str
    action: str
    target: str | None
    amount: int | None
    currency: str | None
    reason: str
    decided_by: str
    decided_on: datetime.date
    problem: Problem | None = None

    def as_json(self) -> dict[str, str | bool | None]:
        """The decision as `open-items --settled` gives it."""
        has_amount = self.amount is not None and self.currency is not None
        return {
            "id": self.item,
            "kind": self.kind,
            "date": self.item_date.isoformat(),
            "about": self.about,
            "action": self.action,
            "target": self.target,
            "amount": format_amount(self.amount or 0, self.currency or "") if has_amount else None,
            "currency": self.currency,
            "reason": self.reason,
            "by": self.decided_by,
            "decided_on": self.decided_on.isoformat(),
            "fits": self.problem is None,
        }


def list_settled(connection: duckdb.DuckDBPyConnection) -> list[Settled]:
    """Every decision in the record, by the day it was made, then the item."""
    rows = connection.execute(
        """SELECT item, kind, item_date, coalesce(source || '/', '') || coalesce(event_id, order_id, ''), action,
                  coalesce(account, coalesce(match_source || '/', '') || match_id), amount, currency, reason, decided_by, decided_on,
                  match_source, match_id, source, event_id, order_id, account, balance_account
           FROM decision ORDER BY decided_on, item, action = 'account', match_source, match_id"""
    ).fetchall()
    items = _settleable(connection) if rows else []
    not_made = matches_not_made(connection) if rows else set()
    found = []
    for *told, match_source, match_id, source, event_id, order_id, account, balance_account in rows:
        settled = Settled(*told)
        made = (settled.item, match_source, match_id) not in not_made
        decided = Decided(
            settled.item, settled.kind, settled.action, settled.item_date, settled.decided_on, source, event_id, order_id,
            account, balance_account, settled.amount, settled.currency,
        )  # fmt: skip
        found.append(replace(settled, problem=_trouble(items, decided, made=made)))
    return found


def stale_decisions(connection: duckdb.DuckDBPyConnection) -> list[Problem]:
    """Decisions that no longer fit: the item is gone, its balance is another, or the match did not take."""
    return [settled.problem for settled in list_settled(connection) if settled.problem is not None]


def _trouble(items: Sequence[OpenItem], decided: Decided, *, made: bool) -> Problem | None:
    """Why a decision no longer fits the books, if it doesn't; `made`: what it matched is tied in the books."""
    where, withdraw = (
        f"decision about {decided.item}",
        f"withdraw it: ledger-tools settle {decided.item} --withdraw",
    )
    if decided.action == "match":
        return None if made else Problem(where, "matches two records that can't belong together", withdraw)
    item = next((item for item in items if decided.is_about(item)), None)
    if item is None:
        return Problem(where, "has no open item any more", withdraw)
    if decided.fits(item):
        return None
    assert decided.amount is not None
    assert decided.currency is not None
    was = f"{format_amount(decided.amount, decided.currency)} {decided.currency}"
    now = item.balance if decided.action == "account" else item.amount
    now_is = f"{format_amount(now, item.currency)} {item.currency}" if now and item.currency else "nothing"
    if decided.action == "account":
        return Problem(where, f"moved {was}, the item now holds {now_is}", withdraw)
    return Problem(where, f"accepted {was}, it is {now_is} now", withdraw)
