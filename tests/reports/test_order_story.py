"""The story of one order."""

import datetime
from pathlib import Path

import duckdb
from click.testing import CliRunner
from kept_books import Books, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.cli import group
from ledger_tools.matching.order_lookup import find_order
from ledger_tools.reports.order_story import StoryPosting, tell_story


def test_events_in_time_order(books: duckdb.DuckDBPyConnection) -> None:
    """Every event stands in time order, entries by hand among them, with its source and how it was matched."""
    story = tell_story(books, find_order(books, "1001"), None)
    assert [
        ("2031-04-02", "Sale", "shop", "1001", None),
        ("2031-04-02", "Payment", "card-processor", "ch-1", "reference"),
        ("2031-04-03", "Fulfilment", "fulfilment-wallet", "w-1a", "reference"),
        ("2031-04-03", "Fulfilment", "fulfilment-wallet", "w-1b", "reference"),
        ("2031-04-06", "Entry by hand", "hand.beancount", "line 9", None),
        ("2031-05-04", "Refund", "card-processor", "re-1", "reference"),
    ] == [
        (event.day.isoformat(), event.title, event.source, event.event_id, event.matched_by) for event in story.events
    ]
    assert "Bubble wrap" == story.events[4].memo
    assert () == story.open_in_clearing


def test_how_the_money_came(books: duckdb.DuckDBPyConnection) -> None:
    """A payment says with which payout it left, and when the bank had it; not before that day."""
    number = find_order(books, "1001")
    payment = tell_story(books, number, None).events[1]
    assert ("po-1", datetime.date(2031, 4, 14)) == (payment.payout, payment.in_bank_on)
    earlier = tell_story(books, number, datetime.date(2031, 4, 13))
    assert ("po-1", None) == (earlier.events[1].payout, earlier.events[1].in_bank_on)
    assert 5 == len(earlier.events)


def test_loose_match(books: duckdb.DuckDBPyConnection) -> None:
    """A reference that was read without its prefix says so."""
    story = tell_story(books, find_order(books, "1003"), None)
    assert "reference without prefix or suffix" == story.events[2].matched_by


def test_entries(books: duckdb.DuckDBPyConnection) -> None:
    """An entry in another currency carries what it is worth; one without a rate says that it is not known."""
    payment = tell_story(books, find_order(books, "1006"), None).events[1]
    assert (
        StoryPosting("Assets:Processor:CardProcessor", 3514, "USD", 3514),
        StoryPosting("Expenses:Fees:Processing", 136, "USD", 136),
        StoryPosting("Assets:Clearing:Orders", -5000, "CAD", -3650),
    ) == payment.postings
    sale = tell_story(books, find_order(books, "1010"), None).events[0]
    assert {None} == {posting.value for posting in sale.postings}


def test_what_is_left_to_pay(books: duckdb.DuckDBPyConnection) -> None:
    """What is open in Clearing stands in the order's own currency."""
    assert (("GBP", 1800),) == tell_story(books, find_order(books, "1010"), None).open_in_clearing
    assert (("USD", 2500),) == tell_story(books, find_order(books, "1004"), None).open_in_clearing


def test_json(books: duckdb.DuckDBPyConnection) -> None:
    """The JSON is the order report of one order with the key story; money is text, empty facts are left out."""
    told = tell_story(books, find_order(books, "1004"), None).as_json()
    assert ["period", "currency", "orders", "totals", "not_tied_to_an_order", "story"] == list(told)
    assert ["1004"] == [order["order_id"] for order in told["orders"]]
    story = told["story"]
    assert {
        "source": "shop",
        "placed_at": "2031-04-05 10:00:00",
        "currency": "USD",
        "total": "25.00",
        "order_discount": "0.00",
        "shipping_charged": "5.00",
        "tip": "0.00",
        "tax": "0.00",
        "channel": "web",
        "ship_country": "US",
        "ship_region": "WA",
    } == story["facts"]
    line = {"sku": "TEE", "item": "Night tee", "category": "T-shirts", "quantity": 1}
    assert [{**line, "unit_price": "20.00", "line_discount": "0.00"}] == story["lines"]
    assert [{"currency": "USD", "amount": "25.00"}] == story["open_in_clearing"]
    assert [
        {"account": "Assets:Clearing:Orders", "amount": "25.00", "currency": "USD", "value": "25.00"},
        {"account": "Income:Sales:TShirts", "amount": "-20.00", "currency": "USD", "value": "-20.00"},
        {"account": "Income:Shipping", "amount": "-5.00", "currency": "USD", "value": "-5.00"},
    ] == story["events"][0]["postings"]


def test_export_files(tmp_path: Path) -> None:
    """Each event names the exports that cover its record's day, the latest first, and that name stands on the command line."""
    books = Books(tmp_path)
    books.put(orders=[order("1", "2031-04-10", "10.00"), order("2", "2031-04-20", "9.00")])
    books.put(
        orders=[order("1", "2031-04-10", "10.00"), order("3", "2031-05-02", "8.00")],
        processor=[processor("c1", "charge", "2031-04-11", "10.00", "10.00", order_ref="1")],
    )
    books.put(processor=[processor("c9", "charge", "2031-05-11", "8.00", "8.00", order_ref="3")])
    with open_books(books.folder, silent) as connection:
        events = tell_story(connection, find_order(connection, "1"), None).events
    assert [("Sale", ("orders-2.csv", "orders-1.csv")), ("Payment", ("processor-3.csv",))] == [
        (event.title, event.files) for event in events
    ]
    done = CliRunner().invoke(group, ["--books", str(books.folder.root), "orders", "--order", "1"])
    assert "shop, 1\n            file: orders-2.csv, else orders-1.csv\n" in done.stdout
