"""Bank lines and the payouts and top-ups that they complete: by reference, by rule, by amount and date, or not at all."""

from collections.abc import Sequence
from pathlib import Path

import pytest
from kept_books import Books, bank, processor, wallet

RULE = """
[[bank_rule]]
pattern = "rent"
account = "Expenses:Rent"

[[bank_rule]]
pattern = "processor in"
account = "Assets:InTransit:Payouts"
"""


def payout(event_id: str, day: str, amount: str, **fields: object) -> dict[str, object]:
    """A payout of an amount."""
    return processor(event_id, "payout", day, f"-{amount}", f"-{amount}", **fields)


PAYOUTS = [
    payout("po-1000", "2031-04-05", "100.00"),
    payout("x1", "2031-04-05", "200.00", payout_id="BATCH-9"),
    payout("po-3000", "2031-04-05", "300.00"),
    payout("po-4000", "2031-04-05", "400.00"),
    payout("po-5000", "2031-04-05", "500.00"),
    payout("po-6000", "2031-04-05", "600.00"),
    payout("po-7000", "2031-04-05", "700.00"),
    payout("po-8001", "2031-04-05", "800.00"),
    payout("po-8002", "2031-04-06", "800.00"),
    payout("po-9000", "2031-04-05", "900.00", currency="EUR"),
]

#: A bank line, the payout or top-up that it completes, and how that was found.
LINES: Sequence[tuple[dict[str, object], str | None, str | None]] = [
    (bank("2031-04-07", "100.00", "po-1000"), "po-1000", "reference"),
    (bank("2031-04-07", "190.00", "SETTLEMENT", counterparty="ref/batch-9"), "x1", "reference"),
    (bank("2031-04-15", "300.00", "SETTLEMENT"), "po-3000", "amount and date"),
    (bank("2031-04-16", "400.00", "SETTLEMENT"), None, None),
    (bank("2031-04-02", "500.00", "SETTLEMENT"), "po-5000", "amount and date"),
    (bank("2031-04-07", "600.00", "RENT OF A FLAT"), None, None),
    (bank("2031-04-07", "700.00", "PROCESSOR IN"), "po-7000", "amount and date"),
    (bank("2031-04-08", "800.00", "SETTLEMENT"), None, None),
    (bank("2031-04-07", "900.00", "SETTLEMENT"), None, None),
    (bank("2031-04-07", "-50.00", "PARTNER tu-0050"), "tu-0050", "reference"),
    (bank("2031-04-09", "-60.00", "PARTNER"), "tu-0060", "amount and date"),
    (bank("2031-04-07", "70.00", "PARTNER tu-0070"), None, None),
]


@pytest.fixture(scope="module")
def matched(tmp_path_factory: pytest.TempPathFactory) -> dict[tuple[str, int], tuple[str | None, str | None]]:
    """What each bank line of one set of books completes."""
    top_ups = [
        wallet(name, "top_up", "2031-04-07", f"{int(name[3:])}.00") for name in ("tu-0050", "tu-0060", "tu-0070")
    ]
    books = Books(tmp_path_factory.mktemp("bank"), RULE)
    books.put(processor=PAYOUTS, wallet=top_ups, bank=[line for line, _, _ in LINES])
    rows = books.query(
        'SELECT "at"::DATE::VARCHAR, bank_row.amount, event_id_of.event_id, matched_by FROM bank_row '
        "LEFT JOIN (SELECT movement_no, event_id FROM movement) AS event_id_of USING (movement_no)"
    )
    return {(day, int(amount)): (event_id, how) for day, amount, event_id, how in rows}


@pytest.mark.parametrize(
    ("line", "event_id", "how"), LINES, ids=[f"{line['amount']} {line['memo']}" for line, _, _ in LINES]
)
def test_line_completes(
    line: dict[str, object],
    event_id: str | None,
    how: str | None,
    matched: dict[tuple[str, int], tuple[str | None, str | None]],
) -> None:
    """A line completes what its text names, else what alone has its amount within days; a rule's line only by its word."""
    cents = int(str(line["amount"]).replace(".", ""))
    assert (event_id, how) == matched[str(line["at"]), cents]


def test_two_payouts_of_one_amount_stay_open(tmp_path: Path) -> None:
    """Where two payouts could be one line's, none is taken: the line is told as a deposit, the payouts as under way."""
    books = Books(tmp_path).put(
        processor=[payout("po-1000", "2031-04-01", "10.00"), *PAYOUTS[7:9]],
        bank=[
            bank("2031-04-02", "10.00", "SETTLEMENT OF ACME 1"),
            bank("2031-04-08", "800.00", "SETTLEMENT OF ACME 2"),
            bank("2031-04-30", "-1.00", "FEE"),
        ],
    )
    assert [
        ("payout-not-in-bank", "po-8001"),
        ("payout-not-in-bank", "po-8002"),
        ("deposit-without-payout", "20310408:80000:1"),
        ("bank-line-without-rule", "20310430:-100:1"),
    ] == [(item.kind, item.event_id) for item in books.open_items()]


def test_text_that_names_what_is_taken(tmp_path: Path) -> None:
    """A line that names a payout which another line completes speaks of no third one, though the amount fits."""
    books = Books(tmp_path).put(
        processor=[payout("po-1000", "2031-04-05", "11.00"), payout("po-2000", "2031-04-06", "10.00")],
        bank=[bank("2031-04-07", "11.00", "settlement po-1000 a"), bank("2031-04-08", "10.00", "settlement po-1000 b")],
    )
    found = books.query("SELECT key, event_id FROM bank_match JOIN movement USING (movement_no)")
    assert [("20310407:1100:1", "po-1000")] == found
