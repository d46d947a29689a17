"""Decisions that are taken back leave the books as they were, byte for byte, whatever was decided in between."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from kept_books import Books, bank, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.decisions import add_decisions, withdraw_decision
from ledger_tools.open_items import list_open_items
from ledger_tools.settlement import Verdict, decide

DAY = datetime.date(2031, 5, 2)
#: What is said about each open item: the record or account that it goes to, None to accept it.
CHOICES = {
    "order-without-payment": Verdict(match=["p-9"]),
    "payment-without-order": Verdict(account="Income:Other"),
    "payout-not-in-bank": Verdict(match=["20310414:4000:1"]),
    "deposit-without-payout": Verdict(account="Income:Other"),
    "bank-line-without-rule": Verdict(account="Expenses:Paper"),
}
ACCEPTED = Verdict(accept=True)
COMMENTED = "# Asked on Monday.\n\n# Nothing is decided yet.\n"


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """An order and a payment that differ, a payout that arrived short, and a line that nobody knows."""
    made = Books(tmp_path_factory.mktemp("settled"))
    made.put(
        orders=[order("9", "2031-04-02", "10.00")],
        processor=[
            processor("p-9", "charge", "2031-04-20", "10.00", "9.50", fee="0.50"),
            processor("po-1", "payout", "2031-04-12", "-41.00", "-41.00"),
        ],
        bank=[bank("2031-04-14", "40.00", "TRANSFER"), bank("2031-04-15", "-4.00", "SHOP"), bank("2031-05-30", "1.00", "X")],
    )  # fmt: skip
    made.folder.decisions.write_text(COMMENTED, encoding="utf-8")
    return made.build()


def contents(books: Books) -> dict[Path, bytes]:
    """The journal, the accounts and the decisions as they are on disk."""
    files = [*sorted(books.folder.journal.iterdir()), books.folder.accounts, books.folder.decisions]
    return {file: file.read_bytes() for file in files}


@given(st.data())
@settings(max_examples=3, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_what_is_taken_back_leaves_no_trace(books: Books, data: st.DataObject) -> None:
    """Any of the items settled in any way and order, then withdrawn in any other: the same bytes, comments included."""
    before = contents(books)
    with open_books(books.folder, silent) as connection:
        items = list_open_items(connection, None)
        chosen = data.draw(st.permutations(items))[: data.draw(st.integers(1, 3))]
        verdicts = [ACCEPTED if data.draw(st.booleans()) else CHOICES.get(item.kind, ACCEPTED) for item in chosen]
        decisions = [
            decision
            for item, verdict in zip(chosen, verdicts, strict=True)
            for decision in decide(connection, item, verdict, "tried", "Ada", DAY)
        ]
    add_decisions(books.folder.decisions, decisions)
    books.build()
    assert before[books.folder.decisions] != books.folder.decisions.read_bytes()
    for decision in data.draw(st.permutations(decisions)):
        withdraw_decision(books.folder.decisions, decision.item)
    books.build()
    assert before == contents(books)
