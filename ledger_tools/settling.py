"""Settling an open item, whole: found, judged against the books, and kept; the same for the command line and the pages.

Place in the flow: above `settlement`, which judges, and `archive`, under whose lock the decision is written.
"""

from __future__ import annotations

import datetime
import difflib
from dataclasses import dataclass

from ledger_tools.archive import Progress, open_books, recording
from ledger_tools.decisions import Decision, add_decision, withdraw_decision
from ledger_tools.errors import Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import OpenItem
from ledger_tools.settlement import Verdict, decide, find_item, stale_decisions


@dataclass(frozen=True)
class Settling:
    """What came of settling an item.

    Attributes:
        new_account: the account named, where the books did not have it before; `alike` are those called much alike.
        stale: decisions that no longer fit, once the books are rebuilt.
    """

    item: OpenItem
    decision: Decision
    new_account: str | None
    alike: tuple[str, ...]
    stale: tuple[Problem, ...]


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
        decision = decide(connection, found, verdict, reason, by, decided_on)
        names = [str(row[0]) for row in connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()]
    new = verdict.account if verdict.account is not None and verdict.account not in names else None
    alike = tuple(difflib.get_close_matches(new, names, 3)) if new else ()
    with recording(folder):
        add_decision(folder.decisions, decision)
    return Settling(found, decision, new, alike, _stale(folder, progress))


def withdraw_item(folder: BooksFolder, item: str, progress: Progress) -> tuple[Problem, ...]:
    """Take a decision back and rebuild the books; the decisions that no longer fit then.

    Raises:
        LedgerError: the item is not decided, or the books can't be built.
    """
    with recording(folder):
        withdraw_decision(folder.decisions, item)
    return _stale(folder, progress)


def _stale(folder: BooksFolder, progress: Progress) -> tuple[Problem, ...]:
    with open_books(folder, progress) as connection:
        return tuple(stale_decisions(connection))
