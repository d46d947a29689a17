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


CANCELLED = {"cancelled_at": "2031-04-05T10:00:00"}


@pytest.mark.parametrize(
    ("fields", "rows", "kept"),
    [
        ({}, [], 6000),
        ({}, [processor("r", "refund", "2031-04-06", "-60.00", "-60.00", order_ref="1")], None),
        ({}, [processor("r", "refund", "2031-04-06", "-45.00", "-45.00", order_ref="1")], 1500),
        ({"refunded_to_gift_card": "60.00"}, [], None),
        # paid twice: the second payment is an item of its own
        ({}, [processor("c2", "charge", DAY, "60.00", "60.00", order_ref="1", payment_ref="p2")], 6000),
        # the bank of the customer took it back, or is about to
        ({}, [processor("d", "dispute", "2031-04-09", "-60.00", "-60.00", order_ref="1", payment_ref="p")], None),
    ],
)
def test_cancelled_and_kept(
    fields: dict[str, str], rows: list[dict[str, object]], kept: int | None, tmp_path: Path
) -> None:
    """What was paid of a cancelled order and not given back is an item after the usual days, of what was kept."""
    books = Books(tmp_path).put(orders=sold(**CANCELLED, **fields), processor=[PAID, *rows])
    items = [item for item in books.open_items() if "cancelled" in item.cause]
    assert ([] if kept is None else [("payment-differs", "1", kept, "2031-04-05", 0)]) == [
        (item.kind, item.order_id, item.amount, item.date.isoformat(), item.balance) for item in items
    ]
    assert not [item for item in books.open_items("2031-04-07") if "cancelled" in item.cause]
    if items:
        assert "what was paid is not given back" in items[0].cause


def test_cancelled_and_kept_can_be_accepted_or_written(tmp_path: Path) -> None:
    """A cancellation fee is accepted; a refund by hand with the order's link, of all or of a part, counts."""
    books = Books(tmp_path).put(orders=sold(**CANCELLED), processor=[PAID])
    (link,) = books.entry("1").links
    books.folder.hand.write_text(
        f'2031-04-08 * "Refund in cash" ^{link}\n  Income:Returns  50.00 USD\n  Assets:Bank:Checking\n',
        encoding="utf-8",
    )
    (item,) = [item for item in books.open_items() if "cancelled" in item.cause]
    assert 1000 == item.amount
    verdict = Verdict(accept=True)
    settle_item(books.folder, item.id, verdict, reason="fee", by="Ada", decided_on=item.date, progress=silent)
    assert not [item for item in books.open_items() if "cancelled" in item.cause]


def test_refund_beyond_the_card(tmp_path: Path) -> None:
    """A refund to the card of more than the card paid, as a gift card paid the rest, is an item of the difference."""
    rows = [
        processor("g", "charge", "2031-04-01", "40.00", "40.00", order_ref="g"),
        processor("c", "charge", DAY, "10.00", "10.00", order_ref="1"),
    ]
    orders = [order("g", "2031-04-01", "40.00", category="Gift card"), order("1", DAY, "50.00", gift_card_paid="40.00")]
    back = processor("r", "refund", "2031-04-06", "-50.00", "-50.00", order_ref="1")
    cause = "refunds give back more than was paid this way: a gift card paid the rest"
    books = Books(tmp_path / "all").put(orders=orders, processor=[*rows, back])
    assert [("r", 4000, 0, cause)] == told(books, "event-does-not-add-up")
    part = processor("r", "refund", "2031-04-06", "-10.00", "-10.00", order_ref="1")
    assert [] == told(Books(tmp_path / "part").put(orders=orders, processor=[*rows, part]), "event-does-not-add-up")


def test_reserve_released_beyond_what_was_held(tmp_path: Path) -> None:
    """A reserve below nothing is an item of the event that took it there; a balance that was brought in answers it."""
    rows = [
        PAID,
        processor("h", "reserve_hold", "2031-04-03", "-10.00", "-10.00"),
        processor("r", "reserve_release", "2031-04-20", "12.00", "12.00"),
    ]
    books = Books(tmp_path).put(orders=sold(), processor=rows)
    cause = "more of the reserve is released than was held back"
    assert [("r", -200, -200, cause)] == told(books, "event-does-not-add-up")
    move(books, "event-does-not-add-up")
    assert 0 == holds(books, "Assets:Reserve:CardProcessor")
    assert [] == told(books, "event-does-not-add-up")
    brought = Books(tmp_path / "brought").put(orders=sold(), processor=rows)
    brought.folder.hand.write_text(
        '2031-04-01 * "Opening"\n  Assets:Reserve:CardProcessor  2.00 USD\n  Equity:OpeningBalances\n', encoding="utf-8"
    )
    assert [] == told(brought, "event-does-not-add-up")


def test_marketplace_tax_withheld_beyond_what_was_collected(tmp_path: Path) -> None:
    """Tax withheld of a refunded order is an item after the usual days, and tax withheld of nothing one at once."""
    sale = {"unit_price": "57.00", "tax": "3.00", "tax_collected_by": "marketplace"}
    held = processor("t", "tax_withheld", "2031-04-03", "-3.00", "-3.00", order_ref="1")
    back = processor("r", "refund", "2031-04-06", "-60.00", "-60.00", order_ref="1")
    books = Books(tmp_path / "refunded").put(orders=sold(**sale), processor=[PAID, held, back])
    (item,) = [item for item in books.open_items() if item.kind == "event-does-not-add-up"]
    assert ("1", "t", 300, 300) == (item.order_id, item.event_id, item.amount, item.balance)
    assert item.cause.startswith(
        "tax that the marketplace withheld was refunded to the customer, and the marketplace has"
    )
    move(books, "event-does-not-add-up")
    assert 0 == holds(books, "Liabilities:MarketplaceTax")
    given = processor("u", "tax_withheld", "2031-04-07", "3.00", "3.00", order_ref="1")
    answered = Books(tmp_path / "answered").put(orders=sold(**sale), processor=[PAID, held, back, given])
    assert [] == told(answered, "event-does-not-add-up")
    loose = processor("t", "tax_withheld", "2031-04-30", "-4.00", "-4.00")
    summed = Books(tmp_path / "summed").put(orders=sold(**sale), processor=[PAID, loose])
    cause = "the marketplace withheld more tax than the orders have"
    assert [("t", 100, 100, cause)] == told(summed, "event-does-not-add-up")


@pytest.mark.parametrize(
    ("charges", "missing"),
    [
        ([{"sku": "MUG", "quantity": 1}], 3000),
        ([{"sku": "MUG", "quantity": 1}, {"sku": "MUG", "quantity": 1}], None),
        ([{"sku": "mug", "quantity": 2}], None),
        # nothing says what was made
        ([{"sku": "MUG"}], None),
        ([{"sku": "PARTNER-7", "quantity": 1}], None),
    ],
)
def test_made_in_part(charges: list[dict[str, object]], missing: int | None, tmp_path: Path) -> None:
    """An order of two pieces of which one is charged is an item of the other, the usual days after the last charge."""
    made = [
        wallet(f"w{place}", "charge", "2031-04-10", "6.00", order_ref="1", **fields)
        for place, fields in enumerate(charges)
    ]
    books = Books(tmp_path).put(orders=sold(quantity=2, unit_price="30.00"), processor=[PAID], wallet=made)
    found = [item for item in books.open_items() if item.kind == "order-without-fulfilment" and item.order_id == "1"]
    assert ([] if missing is None else [missing]) == [item.amount for item in found]
    if found:
        assert found[0].cause.startswith("wallet exports hold charges for 1 of its 2 pieces; late")
        assert "order-without-fulfilment" not in books.kinds("2031-04-15")
        assert "order-without-fulfilment" in books.kinds("2031-04-16")


def test_refunded_piece_is_not_made(tmp_path: Path) -> None:
    """An order that was refunded in part may have been made in part."""
    books = Books(tmp_path).put(
        orders=sold(quantity=2, unit_price="30.00"),
        processor=[PAID, processor("r", "refund", "2031-04-05", "-30.00", "-30.00", order_ref="1")],
        wallet=[wallet("w", "charge", "2031-04-10", "6.00", order_ref="1", sku="MUG", quantity=1)],
    )
    assert "order-without-fulfilment" not in books.kinds()
