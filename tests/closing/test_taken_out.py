"""A record that a later export left out is taken out of the books by a decision, and a closed month keeps its bytes."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import pytest
from april_shop import DAY, WAIVABLE, balances, close
from kept_books import Books, bank, order, silent

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.errors import LedgerError
from ledger_tools.open_items import OpenItem
from ledger_tools.settlement import Verdict, list_settled
from ledger_tools.settling import settle_item, withdraw_item

RULE = '[[bank_rule]]\npattern = "FEE"\naccount = "Expenses:BankFees"\n'
LINES = [
    bank("2031-04-02", "-3.00", "RENT"),
    bank("2031-04-20", "-1.00", "FEE"),
    bank("2031-04-30", "5.00", "INTEREST"),
]
TAKE_OUT = Verdict(take_out=True)


def vanished(books: Books) -> OpenItem:
    """The one item of a record that vanished."""
    (item,) = [item for item in books.open_items() if item.kind == "vanished"]
    return item


def take_out(books: Books, item: OpenItem) -> str:
    """Take the record of an item out; what the command says."""
    done = settle_item(books.folder, item.id, TAKE_OUT, reason="so", by="Ada", decided_on=DAY, progress=silent)
    assert () == done.stale
    return done.told


def failures(books: Books) -> list[str]:
    """Checks that fail."""
    with open_books(books.folder, silent) as connection:
        return [check.detail for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_a_bank_line_leaves_the_books(tmp_path: Path) -> None:
    """Its entries are gone, the item is settled, every check holds; withdrawn, and where an export has it again, it is back."""
    books = Books(tmp_path, RULE).put(bank=LINES).put(bank=[LINES[0], LINES[2], bank("2031-05-02", "6.00", "INTEREST")])
    before = books.journal_text()
    item = vanished(books)
    assert "20310420:-100:1" == item.event_id
    assert "--take-out" in item.settled_by
    assert "its record is taken out of the books" in take_out(books, item)
    assert "20310420:-100:1" not in [entry.event for entry in books.entries()]
    assert "vanished" not in books.kinds()
    assert [] == failures(books)
    withdraw_item(books.folder, item.id, silent)
    assert before == books.journal_text()
    take_out(books, item)
    books.put(bank=[*LINES, bank("2031-05-09", "6.00", "INTEREST")])
    assert "20310420:-100:1" in [entry.event for entry in books.entries()]
    with open_books(books.folder, silent) as connection:
        (settled,) = list_settled(connection)
    assert "has no open item any more" in str(settled.problem)


def test_an_order_leaves_the_books(tmp_path: Path) -> None:
    """An order that is taken out has no sale, no balance and no other open item."""
    orders = [order("1", "2031-04-02", "10.00"), order("2", "2031-04-10", "20.00"), order("3", "2031-04-11", "5.00")]
    books = Books(tmp_path).put(orders=orders)
    books.put(orders=[orders[0], orders[2], order("4", "2031-04-15", "7.00")])
    assert "2" == vanished(books).order_id
    take_out(books, vanished(books))
    assert ["1", "3", "4"] == [entry.event for entry in books.entries()]
    assert "2" not in [item.order_id for item in books.open_items()]
    assert [] == failures(books)


def test_a_closed_month_stays(tmp_path: Path) -> None:
    """Of a record of a closed month the entries stay where they are, and the first open month takes them back."""
    books = Books(tmp_path, RULE).put(bank=LINES)
    assert close(books, "2031-04", *WAIVABLE).closed
    journal = books.folder.journal / "2031-04.beancount"
    frozen = balances(books, "2031-04-30"), journal.read_bytes()
    books.put(bank=[LINES[0], LINES[2], bank("2031-05-02", "6.00", "INTEREST")])
    take_out(books, vanished(books))
    assert frozen == (balances(books, "2031-04-30"), journal.read_bytes())
    (entry,) = [entry for entry in books.entries() if entry.event == "20310420:-100:1" and entry.day == "2031-05-01"]
    assert [("Assets:Bank:Checking", "1.00"), ("Expenses:BankFees", "-1.00")] == sorted(
        (account, amount) for account, amount, _, _ in entry.lines
    )
    assert "late-for-closed-month" in books.kinds()
    assert [] == failures(books)


def test_only_what_vanished_can_go(tmp_path: Path) -> None:
    """No other item's record can be taken out, and one that vanished holds no balance that could go to an account."""
    books = Books(tmp_path, RULE).put(bank=LINES).put(bank=[LINES[0], LINES[2], bank("2031-05-02", "6.00", "INTEREST")])
    other = next(item for item in books.open_items() if item.kind == "bank-line-without-rule")
    with pytest.raises(LedgerError, match="is no record that a later export left out"):
        take_out(books, other)
    to_account = dataclasses.replace(TAKE_OUT, take_out=False, account="Expenses:Paper")
    with pytest.raises(LedgerError, match="--take-out, --accept"):
        settle_item(books.folder, vanished(books).id, to_account, reason="x", by="A", decided_on=DAY, progress=silent)
