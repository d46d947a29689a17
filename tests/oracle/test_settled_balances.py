"""What stands open is what the control accounts hold, item by item, and a decision moves just that."""

from __future__ import annotations

import contextlib
import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest
from kept_books import Books, order, processor
from shop_books import DemoBooks, ShopBooks, silent
from world_score import books_of, make_world

from ledger_tools.archive import open_books
from ledger_tools.decisions import add_decisions
from ledger_tools.folder import BooksFolder
from ledger_tools.money import format_amount
from ledger_tools.open_items import OpenItem, find_items, without_settled
from ledger_tools.settlement import Verdict, decide, open_balance, stale_decisions
from ledger_tools.settling import settle_item

DAY = datetime.date(2031, 5, 2)
ROLES = ("clearing", "suspense", "payouts_in_transit", "top_ups_in_transit", "transfers_in_transit")
UNCLEAR = "Expenses:Unclear"


@contextlib.contextmanager
def books_named(name: str, demo: DemoBooks, place: Path) -> Iterator[ShopBooks]:
    """The demo's books, or those of a generated world by its seed, with its references or without them."""
    if name == "demo":
        shutil.copytree(demo.folder.root, place / "books")
        folder = BooksFolder(place / "books")
        with open_books(folder, silent) as connection:
            yield ShopBooks(folder, connection)
        return
    seed, _, without = name.partition(" ")
    with books_of(make_world(int(seed), 30), place, references=not without) as books:
        yield books


def held(connection: duckdb.DuckDBPyConnection) -> list[OpenItem]:
    """Every item that holds a balance, those under way included."""
    found = find_items(connection, None)
    return [item for item in [*found.late, *found.under_way] if open_balance(connection, item)]


def accounts(connection: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], int]:
    """What the control accounts hold that items stand for."""
    rows = connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE role IN (SELECT unnest(?::VARCHAR[])) GROUP BY ALL HAVING sum(amount) <> 0""",
        [list(ROLES)],
    ).fetchall()
    return {(str(name), str(currency)): int(amount) for name, currency, amount in rows}


@pytest.mark.parametrize("name", ["demo", "1", "7 without"])
def test_items_are_the_accounts_and_settle_them(name: str, demo_books: DemoBooks, tmp_path: Path) -> None:
    """The items' amounts sum to the control accounts, `--account` moves each as it stands, and nothing is left of it."""
    with books_named(name, demo_books, tmp_path) as books:
        sums: dict[tuple[str, str], int] = {}
        decisions = []
        for item in held(books.connection):
            balance = open_balance(books.connection, item)
            assert balance is not None
            assert abs(item.amount or 0) == abs(balance.amount)
            (decision,) = decide(books.connection, item, Verdict(account=UNCLEAR), "unclear", "Ada", DAY)
            assert (format_amount(balance.amount, balance.currency), balance.account) == (
                decision.amount,
                decision.balance_account,
            )
            decisions.append(decision)
            if item.kind != "balance-differs":
                key = (balance.account, balance.currency)
                sums[key] = sums.get(key, 0) + balance.amount
        assert accounts(books.connection) == {key: amount for key, amount in sums.items() if amount}
        add_decisions(books.folder.decisions, decisions)
        folder = books.folder
    assert decisions
    with open_books(folder, silent) as connection:
        assert {} == accounts(connection)
        assert [] == stale_decisions(connection)


def left(connection: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], int]:
    """What the items that no fitting decision has settled hold, by account and currency, those under way included."""
    sums: dict[tuple[str, str], int] = {}
    found = without_settled(connection, find_items(connection, None))
    for item in [*found.late, *found.under_way]:
        balance = open_balance(connection, item)
        if balance is not None and item.kind != "balance-differs":
            key = (balance.account, balance.currency)
            sums[key] = sums.get(key, 0) + balance.amount
    return {key: amount for key, amount in sums.items() if amount}


@pytest.mark.parametrize("paid", ["50.00", "20.00", "70.00", None])
def test_what_comes_after_a_decision_is_on_the_list(paid: str | None, tmp_path: Path) -> None:
    """Of an order that was written off and then paid, wholly, in part or too much, the list says what clearing holds."""
    books = Books(tmp_path).put(
        orders=[order("1001", "2031-04-01", "50.00"), order("1002", "2031-04-10", "20.00")],
        processor=[
            processor("c2", "charge", "2031-04-10", "20.00", "20.00", order_ref="1002"),
            processor("c9", "charge", "2031-04-12", "7.00", "7.00", order_ref="nobody's"),
        ],
    )
    for item in books.open_items():
        if item.kind in ("order-without-payment", "payment-without-order"):
            verdict = Verdict(account=UNCLEAR)
            settle_item(books.folder, item.id, verdict, reason="gone", by="Ada", decided_on=DAY, progress=silent)
    if paid is not None:
        books.put(processor=[processor("c1", "charge", "2031-04-28", paid, paid, order_ref="1001")])
    books.put(orders=[order("nobody's", "2031-04-29", "9.00")])
    with open_books(books.folder, silent) as connection:
        expected = 900 - (0 if paid is None else int(paid.replace(".", "")))
        assert {("Assets:Clearing:Orders", "USD"): expected} == accounts(connection)
        assert accounts(connection) == left(connection)
        assert len(stale_decisions(connection)) == (1 if paid is None else 2)
