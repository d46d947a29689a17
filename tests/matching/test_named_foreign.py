"""A bank line that names a foreign payout or top-up belongs to it, and completes of it what it is worth."""

from pathlib import Path

import pytest
from kept_books import Books, bank, processor, wallet

from ledger_tools.archive import open_books
from ledger_tools.checks import check_control_accounts, check_in_transit
from ledger_tools.matching.bank_lines import NAMED_WITHOUT_RATE

RATE = '[[rate]]\ncurrency = "EUR"\non = 2031-01-01\nrate = "1.10"\n'

#: Text of the line, its amount in USD, what it completes, amount of the open item, exchange difference. A payout of 100 EUR
#: is worth 110.00 USD (at 3 % from 106.70 to 113.30), a top-up of 50 EUR 55.00; of PO-7003 the processor states 125.00.
CASES = [
    ("PO-7001", "5.00", 455, 9545, "0.01"),
    ("PO-7001", "106.70", 10000, None, "3.30"),
    ("PO-7001", "106.69", 9699, 301, None),
    ("PO-7001", "113.30", 10000, None, "-3.30"),
    ("PO-7001", "220.00", 20000, -10000, None),
    ("T-9001", "-55.55", -5000, None, "0.55"),
    ("T-9001", "-550.00", -50000, 45000, None),
    ("PO-7003", "125.00", 10000, None, "-15.00"),
    ("PO-7003", "62.50", 5000, 5000, "-7.50"),
]


def build(place: Path, line: tuple[str, str], settings: str = RATE) -> Books:
    """Books with two payouts and a top-up in euros, and one line of the bank four days later."""
    told = {"charged_currency": "USD", "charged_amount": "-125.00"}
    return Books(place, settings).put(
        processor=[
            processor("PO-7001", "payout", "2031-01-04", "-100.00", "-100.00", currency="EUR"),
            processor("PO-7003", "payout", "2031-01-04", "-100.00", "-100.00", currency="EUR", **told),
        ],
        wallet=[wallet("T-9001", "top_up", "2031-01-04", "50.00", currency="EUR")],
        bank=[bank("2031-01-08", line[1], f"SETTLEMENT {line[0]}")],
    )


@pytest.mark.parametrize(("name", "amount", "moved", "open_amount", "exchange"), CASES)
def test_named_line_completes_what_it_is_worth(
    name: str, amount: str, moved: int, open_amount: int | None, exchange: str | None, tmp_path: Path
) -> None:
    """Within the tolerance it completes the whole; beyond, its share, and the rest is listed and stays in transit."""
    books = build(tmp_path, (name, amount))
    assert [(name, moved, "reference")] == books.query(
        "SELECT event_id, moved, matched_by FROM bank_match JOIN movement USING (movement_no)"
    )
    items = {item.event_id: item for item in books.open_items("2031-01-08")}
    assert open_amount == (items[name].amount if name in items else None)
    (entry,) = [entry for entry in books.entries() if name in entry.narration and entry.source == "checking"]
    differences = [line[1] for line in entry.lines if line[0] == "Expenses:ExchangeDifferences"]
    assert ([exchange] if exchange else []) == differences
    with open_books(books.folder, lambda stage: None) as connection:
        assert [True, True] == [check_in_transit(connection).passed, check_control_accounts(connection).passed]


def test_a_person_says_that_it_is_the_whole(tmp_path: Path) -> None:
    """The item is settled by tying the line to the payout: then the rest is an exchange difference."""
    books = build(tmp_path, ("PO-7001", "100.00"))
    (item,) = [item for item in books.open_items("2031-01-08") if item.event_id == "PO-7001"]
    assert ("payout-not-in-bank", 909, "EUR") == (item.kind, item.amount, item.currency)
    decided = f"""[[decision]]
item = "{item.id}"
kind = "payout-not-in-bank"
action = "match"
reason = "the bank gave a bad rate"
by = "Owner"
decided_on = 2031-01-09
item_date = 2031-01-04
source = "card-processor"
event_id = "PO-7001"
match_source = "checking"
match_id = "20310108:10000:1"
"""
    books.folder.decisions.write_text(decided, encoding="utf-8")
    assert "PO-7001" not in {item.event_id for item in books.open_items("2031-01-08")}
    assert ("Expenses:ExchangeDifferences", "10.00", "USD", "") == books.entry("20310108:10000:1").lines[-1]


def test_without_a_rate_the_line_completes_the_whole(tmp_path: Path) -> None:
    """Where no rate is known nothing can be compared: the text decides, and the entry says so."""
    books = build(tmp_path, ("PO-7001", "5.00"), settings="")
    assert "PO-7001" not in {item.event_id for item in books.open_items("2031-01-08")}
    assert NAMED_WITHOUT_RATE == books.entry("20310108:500:1").note
