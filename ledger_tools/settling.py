"""Settling an open item, whole: found, judged against the books, and kept; the same for the command line and the pages.

Place in the flow: above `settlement`, which judges, and `archive`, under whose lock the decision is written.
"""

from __future__ import annotations

import datetime
import difflib
from dataclasses import dataclass

import duckdb

from ledger_tools.archive import Progress, open_books, recording
from ledger_tools.decisions import Decision, add_decisions, read_decisions, withdraw_decision
from ledger_tools.errors import Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import OpenItem
from ledger_tools.settings import parse_settings
from ledger_tools.settlement import Verdict, decide, find_item, stale_decisions
from ledger_tools.standing_rules import propose_rule, refuse_settled_by_rule, rule_text, write_rule


@dataclass(frozen=True)
class Settling:
    """What came of settling an item.

    Attributes:
        new_account: the account named, where the books did not have it before; `alike` are those called much alike.
        stale: decisions that no longer fit, once the books are rebuilt.
    """

    item: OpenItem
    decisions: tuple[Decision, ...]
    new_account: str | None
    alike: tuple[str, ...]
    stale: tuple[Problem, ...]

    @property
    def told(self) -> str:
        """What was settled and how, in a sentence; of money that was moved, how much and from which account to which."""
        decision = self.decisions[0]
        how: str = decision.action
        if decision.action == "account":
            from_account, amount = decision.balance_account or "", (decision.amount or "").removeprefix("-")
            to_account = decision.account or ""
            if (decision.amount or "").startswith("-"):
                from_account, to_account = to_account, from_account
            how = f"{amount} {decision.currency} from {from_account} to {to_account}"
        elif decision.action == "match":
            how = f"it belongs to {', '.join(f'{one.match_source}/{one.match_id}' for one in self.decisions)}"
        elif decision.action == "take-out":
            how = "its record is taken out of the books"
        return f"Settled: {self.item.kind} {self.item.id}, {how}."


def settle_item(
    folder: BooksFolder,
    item: str,
    verdict: Verdict,
    *,
    reason: str,
    by: str,
    decided_on: datetime.date,
    progress: Progress,
) -> Settling:
    """Decide about an open item, keep the decision and rebuild the books with it.

    Raises:
        LedgerError: the item can't be settled in this way, or the books can't be built.
    """
    with open_books(folder, progress) as connection:
        found = find_item(connection, item)
        decisions = decide(connection, found, verdict, reason, by, decided_on)
        new, alike = _new_account(connection, verdict.account)
    with recording(folder):
        add_decisions(folder.decisions, decisions)
    return Settling(found, decisions, new, alike, _stale(folder, progress))


@dataclass(frozen=True)
class SettledByRule:
    """What came of settling an item, and every line like it, by a bank rule.

    Attributes:
        fits: open lines that the rule fits, the item's own included.
        rule: the rule as it now stands in shop.toml.
        new_account, alike, stale: as in `Settling`.
    """

    item: OpenItem
    fits: int
    rule: str
    new_account: str | None
    alike: tuple[str, ...]
    stale: tuple[Problem, ...]


def settle_by_rule(
    folder: BooksFolder,
    item: str,
    account: str,
    *,
    reason: str,
    by: str,
    decided_on: datetime.date,
    progress: Progress,
) -> SettledByRule:
    """Make a bank rule of an open item, write it into shop.toml and rebuild the books with it; no decision is kept.

    Raises:
        LedgerError: no rule can be made of the item, or shop.toml can't take it.
    """
    with open_books(folder, progress) as connection:
        found = find_item(connection, item)
        rule = propose_rule(connection, found, account)
        new, alike = _new_account(connection, account)
    write_rule(folder, rule, reason, by, decided_on)
    text = rule_text(rule, reason, by, decided_on).strip()
    return SettledByRule(found, rule.fits, text, new, alike, _stale(folder, progress))


def _new_account(connection: duckdb.DuckDBPyConnection, account: str | None) -> tuple[str | None, tuple[str, ...]]:
    """An account that the books do not have, and those that are called much alike; None where they have it."""
    names = [str(row[0]) for row in connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()]
    if account is None or account in names:
        return None, ()
    return account, tuple(difflib.get_close_matches(account, names, 3))


@dataclass(frozen=True)
class Withdrawn:
    """What was taken back, and the decisions that no longer fit then."""

    decisions: tuple[Decision, ...]
    stale: tuple[Problem, ...]

    @property
    def told(self) -> str:
        """What was taken back, in a sentence."""
        return f"The decision about {self.decisions[0].item} is taken back."


def withdraw_item(folder: BooksFolder, item: str, progress: Progress) -> Withdrawn:
    """Take a decision back, by the id of its item or a beginning of it, and rebuild the books.

    Raises:
        LedgerError: the item is not decided, or the books can't be built.
    """
    known = read_decisions(folder.decisions)
    if not any(decision.item.startswith(item) for decision in known):
        with open_books(folder, progress) as connection:
            refuse_settled_by_rule(connection, parse_settings(folder.settings.read_text(encoding="utf-8-sig")), item)
    with recording(folder):
        taken = withdraw_decision(folder.decisions, item)
    return Withdrawn(taken, _stale(folder, progress))


def _stale(folder: BooksFolder, progress: Progress) -> tuple[Problem, ...]:
    with open_books(folder, progress) as connection:
        return tuple(stale_decisions(connection))
