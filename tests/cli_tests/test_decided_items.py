"""A decision settles its item while it fits; one that does not is on the list, blocks the close and says what to do."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, bank, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.decisions import add_decisions, read_decisions
from ledger_tools.errors import LedgerError
from ledger_tools.open_items import OpenItem, item_id
from ledger_tools.settlement import Verdict, decide, find_item, stale_decisions
from ledger_tools.settling import settle_item, withdraw_item
from ledger_tools.status import read_status

DAY = datetime.date(2031, 5, 2)
WRITE_OFF, ACCEPT = Verdict(account="Expenses:BadDebts"), Verdict(accept=True)
RENT = """
[[bank_rule]]
pattern = "rent"
account = "Expenses:Rent"

[[stated_balance]]
source = "checking"
on = 2031-04-30
amount = "-95.00"
"""
#: Two order numbers whose items have one id of eight digits; found by trying numbers.
ALIKE = ("93417", "112926")


def settle(books: Books, item: str, verdict: Verdict) -> None:
    """Decide about an item."""
    settle_item(books.folder, item, verdict, reason="so", by="Ada", decided_on=DAY, progress=silent)


def unpaid(books: Books) -> list[tuple[str | None, int | None]]:
    """Orders whose payment is not what it should be, each with what the list says stands open."""
    return [(item.order_id, item.amount) for item in books.open_items() if "payment" in item.kind]


def listed(books: Books, step: str = "open-items") -> set[str]:
    """What a step of April's close lists."""
    told = call("--books", books.folder.root, "close", "2031-04", "--dry-run", "--format", "json").json()
    return {item["id"] for each in told["steps"] if each["step"] == step for item in each["items"]}


def one_unpaid(place: Path) -> tuple[Books, OpenItem]:
    """An order without payment that was written off, and its item."""
    books = Books(place).put(
        orders=[order("1", "2031-04-01", "50.00", shipped_at="2031-04-02T09:00:00"), order("2", "2031-04-30", "0.00")]
    )
    (item,) = [item for item in books.open_items() if item.kind == "order-without-payment"]
    settle(books, item.id, WRITE_OFF)
    assert [] == unpaid(books)
    return books, item


def test_accepted_with_another_amount_is_open_again(tmp_path: Path) -> None:
    """Of a difference of 5.00 that was accepted and is 900.00 now, the list, the status and the close tell."""
    books = Books(tmp_path, RENT).put(bank=[bank("2031-04-01", "-100.00", "rent"), bank("2031-05-02", "-1.00", "rent")])
    (item,) = [item for item in books.open_items() if item.kind == "balance-differs"]
    settle(books, item.id, ACCEPT)
    assert [] == books.kinds()
    assert set() == listed(books, "balances")
    settings = books.folder.settings
    settings.write_text(settings.read_text(encoding="utf-8").replace('"-95.00"', '"800.00"'), encoding="utf-8")
    (again,) = books.open_items()
    assert (item.id, 90000, f"ledger-tools settle {item.id} --withdraw") == (again.id, again.amount, again.next_step)
    assert "the decision of 2031-05-02 accepted 5.00 USD, and it is 900.00 USD now" in again.cause
    assert {"Assets:Bank:Checking"} == listed(books, "balances")
    with open_books(books.folder, silent) as connection:
        assert 1 == read_status(connection).open_items


def test_written_off_and_paid_after_all(tmp_path: Path) -> None:
    """What the decision moved stands in clearing the other way: an item, which blocks the close until it is taken back."""
    books, item = one_unpaid(tmp_path)
    assert item.id not in listed(books)
    books.put(processor=[processor("c1", "charge", "2031-04-28", "50.00", "50.00", order_ref="1")])
    (left,) = [each for each in books.open_items() if each.kind == item.kind]
    assert (item.id, "1", -5000, -5000) == (left.id, left.order_id, left.amount, left.balance)
    assert "moved 50.00 USD from Assets:Clearing:Orders to Expenses:BadDebts" in left.cause
    assert item.id in listed(books)
    with pytest.raises(LedgerError, match=rf"(?s)no longer open.*settle {item.id} --withdraw"):
        settle(books, item.id, ACCEPT)
    told = call("--books", books.folder.root, "open-items")
    assert (1, True) == (told.status, f"settle {item.id} --withdraw" in told.out)
    withdraw_item(books.folder, item.id, silent)
    assert [] == unpaid(books)
    assert item.id not in listed(books)


def test_what_remains_of_an_amended_amount(tmp_path: Path) -> None:
    """Of an order that is dearer now than what was written off, the rest is open, and its clearing holds just that."""
    books, item = one_unpaid(tmp_path)
    books.put(
        orders=[order("1", "2031-04-01", "62.00", shipped_at="2031-04-02T09:00:00"), order("2", "2031-04-30", "0.00")]
    )
    (left,) = [each for each in books.open_items() if each.kind == item.kind]
    assert (item.id, 1200, 1200) == (left.id, left.amount, left.balance)
    assert "moved 50.00 USD to Expenses:BadDebts, and it is 62.00 USD now" in left.cause


@pytest.fixture
def alike(tmp_path: Path) -> Books:
    """Two unpaid orders whose items have one short id."""
    return Books(tmp_path).put(
        orders=[order(ALIKE[0], "2031-04-01", "10.00"), order(ALIKE[1], "2031-04-02", "999.00"), order("1", "2031-04-30", "3.00")],
        processor=[processor("c", "charge", "2031-04-30", "3.00", "3.00", order_ref="1")],
    )  # fmt: skip


def test_items_with_one_id_are_told_apart(alike: Books) -> None:
    """Both are listed with a longer id, by which one is settled and the other stays; what they share is refused."""
    shared = item_id("order-without-payment", "shop", ALIKE[0])
    assert item_id("order-without-payment", "shop", ALIKE[1]) == shared
    first, second = (item for item in alike.open_items() if item.kind == "order-without-payment")
    assert ([12, 12], {shared}) == ([len(first.id), len(second.id)], {first.id[:8], second.id[:8]})
    with pytest.raises(LedgerError, match=f"begins 2 ids: {min(first.id, second.id)}, {max(first.id, second.id)}"):
        settle(alike, shared, ACCEPT)
    settle(alike, second.id, ACCEPT)
    assert [(ALIKE[0], 1000)] == unpaid(alike)
    alike.put(processor=[processor("c0", "charge", "2031-05-01", "10.00", "10.00", order_ref=ALIKE[0])])
    assert [] == unpaid(alike)
    with open_books(alike.folder, silent) as connection:
        assert [] == stale_decisions(connection)
        assert (ALIKE[1], shared) == (find_item(connection, second.id).order_id, find_item(connection, second.id).id)
        again = decide(connection, find_item(connection, shared), ACCEPT, "so", "Ada", DAY)
    with pytest.raises(LedgerError, match="is decided already"):
        add_decisions(alike.folder.decisions, again)
    withdraw_item(alike.folder, second.id, silent)
    assert [(ALIKE[1], 99900)] == unpaid(alike)


def test_a_decision_is_about_the_record_that_it_names(alike: Books) -> None:
    """A decision with the short id, made before there was another item of it, hides its own order only, and can go."""
    second = next(item for item in alike.open_items() if item.order_id == ALIKE[1])
    settle(alike, second.id, ACCEPT)
    file = alike.folder.decisions
    file.write_text(file.read_text(encoding="utf-8").replace(second.id, second.id[:8]), encoding="utf-8")
    assert [(ALIKE[0], 1000)] == unpaid(alike)
    settle(alike, next(item.id for item in alike.open_items() if item.order_id == ALIKE[0]), ACCEPT)
    assert [] == unpaid(alike)
    assert 2 == len(read_decisions(file))
    withdraw_item(alike.folder, second.id[:8], silent)
    assert [(ALIKE[1], 99900)] == unpaid(alike)
