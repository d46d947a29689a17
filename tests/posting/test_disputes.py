"""Disputes from beginning to end: what is lost stays lost on its day, and what is given back twice is an open item."""

from pathlib import Path

import pytest
from kept_books import Books, order, processor

from ledger_tools.posting.disputes import Outcome, Step, follow_disputes


@pytest.mark.parametrize(
    ("steps", "outcomes"),
    [
        ([("a", "dispute", -100), ("b", "dispute_won", 100)], [Outcome("b")]),
        ([("a", "dispute", -100), ("b", "dispute_lost", 0)], [Outcome("b", lost=100)]),
        ([("a", "dispute_lost", -100)], [Outcome("a")]),
        # lost, then won on appeal, in two parts and with something on top
        (
            [("a", "dispute", -100), ("b", "dispute_lost", 0), ("c", "dispute_won", 60), ("d", "dispute_won", 45)],
            [Outcome("b", lost=100), Outcome("c", regained=60), Outcome("d", regained=40, not_won=-5)],
        ),
        # won in two parts; the rest is nobody's word
        (
            [("a", "dispute", -100), ("b", "dispute_won", 30), ("c", "dispute_won", 50)],
            [Outcome("b"), Outcome("c", not_won=20)],
        ),
        # a loss that the processor takes when it is decided, and gives back
        ([("a", "dispute_lost", -70), ("b", "dispute_won", 70)], [Outcome("a"), Outcome("b", regained=70)]),
        # opened before the first export, or by no row at all: what comes back is of a balance that was brought in, or of none
        ([("b", "dispute_won", 100)], [Outcome("b", unopened=100)]),
        ([("b", "dispute_won", 100), ("c", "dispute_won", 20)], [Outcome("b"), Outcome("c", unopened=120)]),
        ([("b", "dispute_won", 100), ("c", "dispute", -100)], [Outcome("b")]),
        # disputed again after it was won
        (
            [("a", "dispute", -100), ("b", "dispute_won", 100), ("c", "dispute", -100), ("d", "dispute_lost", 0)],
            [Outcome("b"), Outcome("d", lost=100)],
        ),
    ],
)
def test_outcomes(steps: list[tuple[str, str, int]], outcomes: list[Outcome]) -> None:
    """Each ending row does what the rows before it left."""
    assert outcomes == follow_disputes([Step(*step) for step in steps])


def test_a_later_win_leaves_the_loss_on_its_day(tmp_path: Path) -> None:
    """Chargebacks at the end of January are the same before and after the win of February is known."""
    lost = [
        processor("c-1", "charge", "2031-01-05", "108.00", "108.00", order_ref="1001"),
        processor("x-1", "dispute", "2031-01-10", "-108.00", "-108.00", order_ref="1001"),
        processor("l-1", "dispute_lost", "2031-01-20", "0.00", "0.00", order_ref="1001"),
    ]
    won = processor("w-1", "dispute_won", "2031-02-10", "108.00", "108.00", order_ref="1001")
    query = """SELECT account.name, strftime(posted_on, '%Y-%m'), sum(amount)::BIGINT
               FROM posting JOIN account USING (account_no) WHERE name IN ('Expenses:Chargebacks', 'Assets:Disputed')
               GROUP BY ALL HAVING sum(amount) <> 0 ORDER BY 1, 2"""
    sold = [order("1001", "2031-01-05", "108.00")]
    before = Books(tmp_path / "before").put(orders=sold, processor=lost)
    after = Books(tmp_path / "after").put(orders=sold, processor=[*lost, won])
    assert [("Expenses:Chargebacks", "2031-01", 10800)] == before.query(query)
    assert [("Expenses:Chargebacks", "2031-01", 10800), ("Expenses:Chargebacks", "2031-02", -10800)] == after.query(
        query
    )


def test_given_back_twice(tmp_path: Path) -> None:
    """A payment that is lost in a dispute and refunded as well is an open item of what is too much."""
    books = Books(tmp_path).put(
        orders=[order("1001", "2031-01-05", "108.00")],
        processor=[
            processor("c-1", "charge", "2031-01-05", "108.00", "108.00", order_ref="1001"),
            processor("x-1", "dispute", "2031-01-10", "-108.00", "-108.00", order_ref="1001"),
            processor("l-1", "dispute_lost", "2031-01-20", "0.00", "0.00", order_ref="1001"),
            processor("r-1", "refund", "2031-01-21", "-50.00", "-50.00", order_ref="1001"),
        ],
    )
    items = [item for item in books.open_items() if item.kind == "event-does-not-add-up"]
    assert [("r-1", 5000, "refunds and lost disputes give back more than was paid")] == [
        (item.event_id, item.amount, item.cause) for item in items
    ]
