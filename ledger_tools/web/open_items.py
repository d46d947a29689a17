"""The page of open items: what does not tie out, with its cause and next step, settled in place."""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb
import flask

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.open_items import KINDS, Kind, OpenItem, last_known_day, without_settled
from ledger_tools.settlement import Settled, Verdict, list_settled
from ledger_tools.settling import settle_item, withdraw_item
from ledger_tools.web.page import BooksPage, answers_at, problem_parts, sent_text, takes_json


@dataclass(frozen=True)
class Section:
    """Items of one kind.

    Attributes:
        to_account: whether they hold a balance that can go to an account.
    """

    kind: Kind
    items: tuple[OpenItem, ...]
    to_account: bool


@dataclass(frozen=True)
class OpenItemsView:
    """What the page of open items shows; `under_way` is what is not late yet."""

    as_of: datetime.date | None
    sections: tuple[Section, ...]
    under_way: tuple[OpenItem, ...]
    total: int
    kinds: tuple[tuple[str, int], ...]
    only: str
    stale: tuple[Problem, ...]
    settled: tuple[Settled, ...]
    accounts: tuple[str, ...]
    person: str


class OpenItems(BooksPage):
    """What does not tie out."""

    report_title = "Open items"
    lead = "Everything that does not tie out, the likely cause, and what settles it."

    def view(self, connection: duckdb.DuckDBPyConnection) -> OpenItemsView:
        """All open items by kind, or those of the kind that the address names."""
        found = without_settled(connection, self.desk.found_items(connection, None))
        items = found.late
        counts = {name: len(list(members)) for name, members in itertools.groupby(items, key=lambda item: item.kind)}
        only = flask.request.args.get("kind", "")
        by_name = {kind.name: kind for kind in KINDS}
        if only and only not in by_name:
            raise LedgerError(Problem(f"kind {only!r}", "is not known", f"choose one of {', '.join(by_name)}"))
        sections, record = [], list_settled(connection)
        for name, members in itertools.groupby(items, key=lambda item: item.kind):
            own = tuple(members)
            if not only or name == only:
                sections.append(Section(by_name[name], own, any(item.balance for item in own)))
        accounts = connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()
        return OpenItemsView(
            last_known_day(connection),
            tuple(sections),
            tuple(found.under_way),
            len(items),
            tuple(counts.items()),
            only,
            tuple(decision.problem for decision in record if decision.problem is not None),
            tuple(record),
            tuple(str(name) for (name,) in accounts),
            self.desk.person,
        )

    @answers_at("settle", "POST")
    @takes_json
    def settle(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Settle an item: the same decision as the command makes."""
        action = sent_text(sent, "action", needed="choose what becomes of the item")
        target = sent_text(sent, "target")
        verdicts = {
            "match": Verdict(match=target.split(", ")),
            "account": Verdict(account=target),
            "accept": Verdict(accept=True),
            "take-out": Verdict(take_out=True),
        }
        if action not in verdicts:
            raise LedgerError(Problem(f"action {action!r}", "is not known", f"choose one of {', '.join(verdicts)}"))
        if action in ("match", "account") and not target:
            what = "the record that it belongs to" if action == "match" else "the account that it goes to"
            raise LedgerError(Problem(what, "is not named", "fill in the field"))
        settled = settle_item(
            self.desk.folder,
            sent_text(sent, "item", needed="choose an item"),
            verdicts[action],
            reason=sent_text(sent, "reason", needed="say why, in your words"),
            by=sent_text(sent, "by") or self.desk.person,
            decided_on=self.desk.today(),
            progress=self.desk.stage.tell,
        )
        told = settled.told
        if settled.new_account:
            alike = f" Did you mean {' or '.join(settled.alike)}?" if settled.alike else ""
            told += f" {settled.new_account} is a new account in these books.{alike}"
        return {"message": told, "stale": [problem_parts(problem) for problem in settled.stale]}

    @answers_at("withdraw", "POST")
    @takes_json
    def withdraw(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Take a decision back: the same as `settle --withdraw`."""
        item = sent_text(sent, "item", needed="choose a decision")
        withdrawn = withdraw_item(self.desk.folder, item, self.desk.stage.tell)
        return {"message": withdrawn.told, "stale": [problem_parts(problem) for problem in withdrawn.stale]}
