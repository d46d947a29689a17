"""A record of exactly the amount competes with every combination that makes it up: nothing is taken, all of it is named."""

from pathlib import Path

from kept_books import Books, bank, order, processor


def charge(event_id: str, amount: str, on: str = "2031-04-07") -> dict[str, object]:
    """A payment that names no order."""
    return processor(event_id, "charge", on, amount, amount)


def test_payment_for_one_order_or_for_two(tmp_path: Path) -> None:
    """Two orders owe what was paid, and so do two others together: the payment stays open with all three."""
    sold = [("700", "05", "60.00"), ("701", "06", "60.00"), ("705", "07", "25.00"), ("706", "07", "35.00")]
    books = Books(tmp_path).put(
        orders=[order(name, f"2031-04-{day}", total) for name, day, total in sold], processor=[charge("d", "60.00")]
    )
    assert [(None,)] == books.query("SELECT order_no FROM processor_row")
    (item,) = [item for item in books.open_items() if item.kind == "payment-without-order"]
    assert [("701",), ("700",), ("705", "706")] == [candidate.matches for candidate in item.candidates]


def test_order_of_a_combination_that_has_a_payment_of_its_own(tmp_path: Path) -> None:
    """An order that two payments fit is no free part of a third one's combination."""
    sold = [("705", "07", "25.00"), ("706", "07", "35.00")]
    books = Books(tmp_path).put(
        orders=[order(name, f"2031-04-{day}", total) for name, day, total in sold],
        processor=[charge("d", "60.00"), charge("e", "25.00"), charge("f", "25.00")],
    )
    assert [None] * 3 == [order_no for (order_no,) in books.query("SELECT order_no FROM processor_row")]


def test_deposit_of_one_payout_or_of_two(tmp_path: Path) -> None:
    """Two payouts are the deposit each, and two others are it together: it stays open with all three."""
    payouts = [("p0", "10", "-90.00"), ("p1", "11", "-90.00"), ("p2", "12", "-40.00"), ("p3", "13", "-50.00")]
    books = Books(tmp_path).put(
        processor=[processor(name, "payout", f"2031-04-{day}", amount, amount) for name, day, amount in payouts],
        bank=[bank("2031-04-14", "90.00", "SETTLEMENT")],
    )
    assert [] == books.query("SELECT movement_no FROM bank_match")
    (item,) = [item for item in books.open_items() if item.source == "checking"]
    names = [("card-processor/p1",), ("card-processor/p0",), ("card-processor/p2", "card-processor/p3")]
    assert names == [candidate.matches for candidate in item.candidates]


def test_combination_with_no_rival_is_taken(tmp_path: Path) -> None:
    """Where no single record has the amount, the only combination is taken as before."""
    payouts = [("p0", "10", "-91.00"), ("p2", "12", "-40.00"), ("p3", "13", "-50.00")]
    books = Books(tmp_path).put(
        processor=[processor(name, "payout", f"2031-04-{day}", amount, amount) for name, day, amount in payouts],
        bank=[bank("2031-04-14", "90.00", "SETTLEMENT")],
    )
    assert [("p2",), ("p3",)] == books.query(
        "SELECT event_id FROM bank_match JOIN movement USING (movement_no) ORDER BY 1"
    )
