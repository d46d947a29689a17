"""A payment that was unmatched when its month was closed and is split among orders later: nothing of the month moves."""

from __future__ import annotations

import pytest
from april_shop import DAY, SETTINGS, WAIVABLE, balances, close, put_april
from kept_books import Books, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.decisions import add_decisions
from ledger_tools.settlement import Verdict, decide, stale_decisions


def failed_checks(books: Books) -> list[str]:
    """Checks that fail, and decisions that no longer fit."""
    with open_books(books.folder, silent) as connection:
        failed = [check.detail for check in run_checks(connection, books.folder, silent) if not check.passed]
        return failed + [str(problem) for problem in stale_decisions(connection)]


def split_by(books: Books, how: str) -> None:
    """Let the payment be known as that of two orders: by the late export of one, or because a person says so."""
    if how == "export":
        books.put(orders=[order("9", "2031-04-11", "52.31", sku="CUP", shipped_at="2031-04-12T09:00:00")])
        return
    waiting = [item for item in books.open_items() if item.kind == "order-without-payment"]
    with open_books(books.folder, silent) as connection:
        decisions = [decide(connection, item, Verdict(match=["c3"]), "both", "Ada", DAY) for item in waiting]
    for made in decisions:
        add_decisions(books.folder.decisions, made)


@pytest.mark.parametrize("how", ["export", "decision"])
def test_split_after_the_close(books: Books, how: str) -> None:
    """April keeps its bytes; May takes the payment back and books its parts, each with its order, and lists all as late."""
    known = ["8"] if how == "export" else ["8", "9"]
    amounts, paid_on = {"8": "41.17", "9": "52.31"}, "2031-04-11" if how == "export" else "2031-04-25"
    books = Books(books.place / "more", SETTINGS.replace("32.30", "122.77"))
    put_april(
        books,
        *(
            wallet(f"w{name}", "charge", "2031-04-12", "0.00", order_ref=name, sku="CUP", quantity=1)
            for name in amounts
        ),
    )
    books.put(
        orders=[order(name, "2031-04-11", amounts[name], sku="CUP", shipped_at="2031-04-12T09:00:00") for name in known],
        processor=[processor("c3", "charge", paid_on, "93.48", "90.47", fee="3.01")],
    )  # fmt: skip
    assert close(books, "2031-04", *WAIVABLE).closed
    journal = books.folder.journal / "2031-04.beancount"
    frozen = balances(books, "2031-04-30"), journal.read_bytes()
    split_by(books, how)
    assert frozen == (balances(books, "2031-04-30"), journal.read_bytes())
    prior = [entry for entry in books.entries() if entry.day == "2031-05-01" and entry.event.startswith("c3")]
    assert [("c3", ()), ("c3/8", ("order-8",)), ("c3/9", ("order-9",))] == [
        (entry.event, entry.links) for entry in prior
    ]
    assert [
        ("Assets:Processor:CardProcessor", "-90.47"), ("Expenses:Fees:Processing", "-3.01"), ("Assets:Clearing:Orders", "93.48"),
        ("Assets:Processor:CardProcessor", "39.84"), ("Expenses:Fees:Processing", "1.33"), ("Assets:Clearing:Orders", "-41.17"),
        ("Assets:Processor:CardProcessor", "50.63"), ("Expenses:Fees:Processing", "1.68"), ("Assets:Clearing:Orders", "-52.31"),
    ] == [(account, amount) for entry in prior for account, amount, _, _ in entry.lines]  # fmt: skip
    late = [
        item for item in books.open_items() if item.kind == "late-for-closed-month" and item.source == "card-processor"
    ]
    assert {("c3", None, 9348), ("c3/8", "8", 4117), ("c3/9", "9", 5231)} == {
        (item.event_id, item.order_id, item.amount) for item in late
    }
    assert {"order-without-payment", "payment-without-order", "payment-differs"}.isdisjoint(books.kinds())
    assert [] == failed_checks(books)
    assert close(books, "2031-05", *WAIVABLE).closed
    assert "Assets:Clearing:Orders" not in balances(books)
