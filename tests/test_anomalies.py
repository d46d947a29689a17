"""Money that moved and that nothing answers: disputes, credits, refunds and withholdings beyond what they refer to."""

from pathlib import Path

import pytest
from kept_books import Books, order, processor, silent, wallet

from ledger_tools.open_items import OpenItem
from ledger_tools.settlement import Verdict
from ledger_tools.settling import settle_item

DAY, LATER = "2031-04-02", "2031-06-30"
PAID = processor("c", "charge", DAY, "60.00", "60.00", order_ref="1", payment_ref="p")


def sold(**fields: object) -> list[dict[str, object]]:
    """An order of 60.00, and one of 1.00 months later that says that the exports reach so far."""
    return [order("1", DAY, "60.00", **fields), order("late", LATER, "1.00")]


def told(books: Books, kind: str) -> list[tuple[str | None, int | None, int, str]]:
    """Event or order, amount, balance in its account and cause of the items of a kind."""
    items = [item for item in books.open_items() if item.kind == kind and item.order_id != "late"]
    return [(item.event_id or item.order_id, item.amount, item.balance, item.cause) for item in items]


def holds(books: Books, account: str) -> int:
    """The balance of an account, debit positive."""
    ((amount,),) = books.query(
        "SELECT coalesce(sum(amount), 0)::BIGINT FROM posting JOIN account USING (account_no) WHERE name = ?", [account]
    )
    return int(amount)


def move(books: Books, kind: str) -> OpenItem:
    """Move the one item of a kind to an account, as its next step or a person would."""
    (item,) = [item for item in books.open_items() if item.kind == kind and item.order_id != "late"]
    verdict = Verdict(account="Expenses:Uncategorised")
    settle_item(books.folder, item.id, verdict, reason="sorted", by="Ada", decided_on=item.date, progress=silent)
    return item


def test_dispute_won_that_nothing_opened(tmp_path: Path) -> None:
    """What a won dispute brings back is an item where no dispute is known, and none where a person brought it in."""
    won = processor("w", "dispute_won", "2031-04-10", "60.00", "60.00", order_ref="1")
    books = Books(tmp_path).put(orders=sold(), processor=[PAID, won])
    cause = "the dispute is won, and no dispute of this payment is known"
    assert [("w", -6000, -6000, cause)] == told(books, "event-does-not-add-up")
    books.folder.hand.write_text(
        '2031-04-01 * "Opening"\n  Assets:Disputed  45.00 USD\n  Equity:OpeningBalances\n', encoding="utf-8"
    )
    assert [("w", -1500, -1500, cause)] == told(books, "event-does-not-add-up")
    assert -1500 == holds(books, "Assets:Disputed")
    move(books, "event-does-not-add-up")
    assert 0 == holds(books, "Assets:Disputed")
    assert [] == told(books, "event-does-not-add-up")


def test_dispute_of_an_unknown_order(tmp_path: Path) -> None:
    """A dispute whose order nobody knows is an item while it is open and when it is lost, and none when it is won."""
    opened = processor("d", "dispute", "2031-04-06", "-33.00", "-48.00", fee="15.00", order_ref="NOPE", payment_ref="q")
    cause = "no shop export holds the order NOPE of this dispute"
    books = Books(tmp_path / "open").put(orders=sold(), processor=[PAID, opened])
    assert [("d", -3300, 3300, cause)] == told(books, "payment-without-order")
    lost = processor("l", "dispute_lost", "2031-04-20", "0.00", "0.00", payment_ref="q")
    after = Books(tmp_path / "lost").put(orders=sold(), processor=[PAID, opened, lost])
    assert [("d", -3300, 0, cause)] == told(after, "payment-without-order")
    won = processor("w", "dispute_won", "2031-04-20", "33.00", "33.00", payment_ref="q")
    assert [] == told(
        Books(tmp_path / "won").put(orders=sold(), processor=[PAID, opened, won]), "payment-without-order"
    )
    move(books, "payment-without-order")
    assert 0 == holds(books, "Assets:Disputed")


def test_dispute_can_be_tied_to_its_order(tmp_path: Path) -> None:
    """The item of a dispute of an unknown order goes when a person names the order."""
    opened = processor("d", "dispute", "2031-04-06", "-33.00", "-33.00", order_ref="NOPE")
    books = Books(tmp_path).put(orders=sold(), processor=[PAID, opened])
    (item,) = [item for item in books.open_items() if item.kind == "payment-without-order"]
    verdict = Verdict(match=("1",))
    settle_item(books.folder, item.id, verdict, reason="asked", by="Ada", decided_on=item.date, progress=silent)
    assert [] == told(books, "payment-without-order")
    assert books.entry("1").links == books.entry("d").links


PARTS = {"production": "6.00", "shipping": "4.00"}


@pytest.mark.parametrize(
    ("rows", "beyond"),
    [
        ([("charge", "10.00", {}), ("credit", "10.00", {}), ("credit", "10.00", {})], 1000),
        ([("charge", "10.00", {}), ("credit", "14.00", {})], 400),
        # dated before the charge, and in two parts
        ([("credit", "4.00", {}), ("charge", "10.00", {}), ("credit", "6.00", {})], 0),
        # two charges, of which one is a reprint: both can come back
        ([("charge", "10.00", {}), ("charge", "10.00", {"reason": "reprint"}), ("credit", "20.00", {})], 0),
        ([("charge", "10.00", {}), ("charge", "10.00", {"reason": "reprint"}), ("credit", "21.00", {})], 100),
        ([("charge", "10.00", {"reason": "reprint"}), ("credit", "11.00", {"reason": "reprint"})], 100),
    ],
)
def test_credit_beyond_the_charges(rows: list[tuple[str, str, dict[str, str]]], beyond: int, tmp_path: Path) -> None:
    """What credits are more than the order was charged is in suspense and an item; costs don't fall below nothing."""
    made = [
        wallet(
            f"w-{day}", kind, f"2031-04-{day:02}", total, order_ref="1", **(PARTS if kind == "charge" else {}), **more
        )
        for day, (kind, total, more) in enumerate(rows, start=3)
    ]
    books = Books(tmp_path).put(orders=sold(), processor=[PAID], wallet=made)
    cause = "credits give back more than the order was charged"
    items = [(made[-1]["event_id"], beyond, -beyond, cause)] if beyond else []
    assert items == told(books, "event-does-not-add-up")
    assert -beyond == holds(books, "Assets:Suspense")
    for account in ("Production", "Shipping", "Reprints"):
        assert holds(books, f"Expenses:COGS:{account}") >= 0
