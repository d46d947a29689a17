"""`reconcile` on the command line: what its last line counts, and its exit status."""

from __future__ import annotations

from pathlib import Path

from command_line import call
from kept_books import Books, bank, processor

from ledger_tools.open_items import item_id

WRONG_DECISION = """[[decision]]
item = "{item}"
kind = "payout-not-in-bank"
action = "account"
reason = "the bank kept its fee"
by = "Ana"
decided_on = 2031-04-30
item_date = 2031-04-04
source = "card-processor"
event_id = "PO-1001"
account = "Expenses:BankFees"
balance_account = "Assets:InTransit:Payouts"
amount = "48.00"
currency = "USD"
"""


def test_what_remains_between_the_sides_is_told_at_the_end(tmp_path: Path) -> None:
    """Where the balance agrees and the sides do not (a decision moved more than was open), the last line counts it."""
    books = Books(tmp_path).put(
        processor=[processor("PO-1001", "payout", "2031-04-04", "-100.00", "-100.00")],
        bank=[bank("2031-04-06", "85.00", "PO-1001", balance="85.00")],
    )
    item = item_id("payout-not-in-bank", "card-processor", "PO-1001")
    books.folder.decisions.write_text(WRONG_DECISION.format(item=item), encoding="utf-8")
    told = call("--books", books.folder.root, "reconcile")
    assert 1 == told.status
    assert "remaining difference" in told.out
    assert "1 stated balance(s), 1 differ, 1 unexplained, as of 2031-04-06." in told.out
    assert "Assets:Bank:Checking: 33.00 USD on 2031-04-06 is unexplained" in told.err
