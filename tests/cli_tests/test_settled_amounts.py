"""What `settle --account` moves is what the item shows: the part that is left, of this order, of this event."""

from __future__ import annotations

from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, bank, order, processor, wallet

SHORT = {
    "orders": [order("1", "2031-01-02", "100.00")],
    "processor": [
        processor("c-1", "charge", "2031-01-02", "100.00", "100.00", order_ref="1"),
        processor("PO-1001", "payout", "2031-01-04", "-100.00", "-100.00", payout_id="PO-1001"),
    ],
    "wallet": [wallet("TOP-9001", "top_up", "2031-01-04", "50.00")],
    "bank": [
        bank("2031-01-06", "85.00", "WIRE PO-1001"),
        bank("2031-01-06", "-52.00", "FULFIL TOP-9001"),
        bank("2031-01-20", "1.00", "INTEREST"),
    ],
}

MARKET = '[[source]]\nname = "market"\nkind = "orders"\ncurrency = "USD"\n'


def settle(books: Books, kind: str, account: str) -> str:
    """Move the one item of a kind to an account; what the command says."""
    (item,) = [item for item in books.open_items() if item.kind == kind]
    done = call("--books", books.folder.root, "settle", item.id, "--account", account, "--reason", "so", "--by", "Ada")
    assert 0 == done.status, done.err
    return done.err


def balances(books: Books) -> dict[str, str]:
    """The trial balance, by account."""
    rows = call("--books", books.folder.root, "trial-balance", "--format", "json").json()["rows"]
    return {row["account"]: row["balance"] for row in rows}


@pytest.mark.parametrize(
    ("kind", "amount", "way"),
    [
        ("payout-not-in-bank", "15.00", "15.00 USD from Assets:InTransit:Payouts to Expenses:BankFees"),
        ("top-up-without-bank-line", "2.00", "2.00 USD from Assets:InTransit:TopUps to Expenses:BankFees"),
    ],
)
def test_what_is_left_of_a_movement(kind: str, amount: str, way: str, tmp_path: Path) -> None:
    """Of a payout or top-up that arrived with another amount, the rest is moved, and the message names it with its way."""
    books = Books(tmp_path).put(**SHORT)
    told = settle(books, kind, "Expenses:BankFees")
    assert f"{way}." in told
    after = balances(books)
    assert amount == after["Expenses:BankFees"]
    assert way.split()[3] not in after
    assert 0 == call("--books", books.folder.root, "check").status


def test_two_shops_with_one_order_number(tmp_path: Path) -> None:
    """An order of another shop with the same number keeps its own balance, and the entry belongs to the order decided on."""
    books = Books(tmp_path, MARKET).put(
        orders=[order("1001", "2031-01-02", "100.00"), order("1009", "2031-01-20", "9.00")]
    )
    market = books.folder.exports / "market"
    market.mkdir(parents=True)
    market.joinpath("market.csv").write_text(
        "order_id,placed_at,category,quantity,unit_price,total\n1001,2031-01-02T12:00:00,Mugs,1,30.00,30.00\n"
    )
    items = [one for one in books.open_items() if one.kind == "order-without-payment" and one.order_id == "1001"]
    (item,) = [one for one in items if one.source == "market"]
    root = ("--books", books.folder.root)
    done = call(*root, "settle", item.id, "--account", "Equity:OwnerDraws", "--reason", "cash", "--by", "Ada")
    assert 0 == done.status, done.err
    assert "30.00" == balances(books)["Equity:OwnerDraws"]
    left = books.query(
        """SELECT source.name, sum(amount) FROM posting JOIN order_head USING (order_no) JOIN source USING (source_no)
           JOIN account USING (account_no) WHERE role = 'clearing' AND order_id = '1001' GROUP BY ALL ORDER BY 1"""
    )
    assert [("market", 0), ("shop", 10000)] == left


def test_order_and_payment_that_both_do_not_add_up(tmp_path: Path) -> None:
    """The order's item is the sale's own difference and the payment's is its own; both settled, suspense holds nothing."""
    books = Books(tmp_path).put(
        orders=[
            order("G1", "2031-01-02", "104.00", unit_price="100.00"),
            order("G2", "2031-01-02", "52.00", unit_price="50.00"),
        ],
        processor=[
            processor("c-1", "charge", "2031-01-02", "104.00", "101.00", fee="1.00", order_ref="G1"),
            processor("c-2", "charge", "2031-01-02", "52.00", "49.00", fee="1.00", order_ref="G2"),
        ],
    )
    items = [item for item in books.open_items() if item.kind.endswith("does-not-add-up")]
    assert [
        ("order-does-not-add-up", "G1", -400),
        ("order-does-not-add-up", "G2", -200),
        ("event-does-not-add-up", "G1", 200),
        ("event-does-not-add-up", "G2", 200),
    ] == sorted([(item.kind, item.order_id, item.amount) for item in items], key=lambda one: (one[0][0] != "o", one[1]))
    for item in items:
        call(
            "--books",
            books.folder.root,
            "settle",
            item.id,
            "--account",
            "Expenses:Unclear",
            "--reason",
            "so",
            "--by",
            "Ada",
        )
    after = balances(books)
    assert ("-2.00", None) == (after["Expenses:Unclear"], after.get("Assets:Suspense"))


def test_entry_by_hand_against_the_sales_difference(tmp_path: Path) -> None:
    """An entry with the order's link that clears suspense settles the order's item."""
    books = Books(tmp_path).put(orders=[order("G1", "2031-01-02", "104.00", unit_price="100.00")])
    assert "order-does-not-add-up" in books.kinds()
    books.folder.hand.write_text(
        '2031-01-02 * "Tip" ^order-G1\n  Assets:Suspense  4.00 USD\n  Income:Tips  -4.00 USD\n', encoding="utf-8"
    )
    assert "order-does-not-add-up" not in books.kinds()
