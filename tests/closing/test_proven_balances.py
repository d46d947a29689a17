"""A month closes on balances that something states and the books have, or a person has accepted as they are."""

import datetime
from pathlib import Path

import pytest
from april_shop import DAY, WAIVABLE, close, put_april, states
from april_shop import SETTINGS as APRIL
from kept_books import Books, bank, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.settlement import Verdict
from ledger_tools.settling import settle_item

SETTINGS = """
[[bank_rule]]
pattern = "rent"
account = "Expenses:Rent"

[[stated_balance]]
source = "checking"
on = 2031-04-30
amount = "{stated}"
"""


def quiet_april(root: Path, stated: str) -> Books:
    """Two lines of rent, the last two days before the month's end, and what the settings state for it."""
    books = Books(root, more=SETTINGS.format(stated=stated))
    return books.put(bank=[bank("2031-04-01", "-1.00", "rent"), bank("2031-04-28", "-99.00", "rent")])


@pytest.mark.parametrize(("stated", "state"), [("-100.00", "done"), ("800.00", "blocked")])
def test_balance_stated_after_the_last_event(stated: str, state: str, tmp_path: Path) -> None:
    """A balance that the settings state for the month's last day is held against the books, though nothing happened on it."""
    books = quiet_april(tmp_path, stated)
    assert state == states(close(books, "2031-04", "sources"))["balances"]
    assert (["balance-differs"] if state == "blocked" else []) == [item.kind for item in books.open_items()]


def test_accepted_difference_covers_no_other(tmp_path: Path) -> None:
    """What was accepted closes the month; a difference of another amount later is asked about again."""
    books = quiet_april(tmp_path, "-110.00")
    (item,) = books.open_items()
    settle_item(books.folder, item.id, Verdict(accept=True), reason="so", by="R. Vale", decided_on=DAY, progress=silent)
    assert "done" == states(close(books, "2031-04", "sources"))["balances"]
    text = books.folder.settings.read_text(encoding="utf-8")
    more = '\n[[stated_balance]]\nsource = "checking"\non = 2031-05-31\namount = "-700.00"\n'
    books.folder.settings.write_text(text + more, encoding="utf-8")
    books.put(bank=[bank("2031-05-10", "-90.00", "rent")])
    assert "blocked" == states(close(books, "2031-05", "sources"))["balances"]


def test_broken_chain_blocks(tmp_path: Path) -> None:
    """Where the next statement opens with another balance than this one closed with, lines may be missing between them."""
    books = Books(tmp_path, more=SETTINGS[: SETTINGS.index("[[stated")])
    parts = [("4", "31", "0,00", "100,00", "30"), ("5", "31", "90,00", "190,00", "31")]
    before = {"4": "310331", "5": "310430"}
    text = "".join(
        f":20:S\n:25:1\n:28C:{month}/1\n:60F:C{before[month]}USD{opened}\n:61:310{month}100{month}10C100,00NMSCNONREF\n"
        f":86:rent\n:62F:C310{month}{last}USD{closed}\n-\n"
        for month, _, opened, closed, last in parts
    )
    file = tmp_path / "both.sta"
    file.write_text(text, encoding="utf-8")
    books.take(file, "bank")
    report = close(books, "2031-04", "sources")
    (step,) = [step for step in report.steps if step.step == "balances"]
    assert ("blocked", ["100.00 USD (statement) and 90.00 USD (opening balance) are stated for 2031-04-30"]) == (
        step.state,
        [item.text.split(":")[0] for item in step.items],
    )


@pytest.mark.parametrize("late", [True, False], ids=["after the close", "before it"])
def test_closed_month_stays_reconciled(late: bool, tmp_path: Path) -> None:
    """A payout of April that comes after April was closed is the books' from May on: April's two sides still agree."""
    books = Books(tmp_path, more=APRIL).build()
    put_april(books)
    payouts = [
        processor(f"po-{number}", "payout", f"2031-04-{day}", amount, amount)
        for number, day, amount in ((1, 28, "-7.00"), (2, 29, "-5.00"))
    ]
    if not late:
        books.put(processor=payouts)
    assert close(books, "2031-04", *WAIVABLE).closed
    if late:
        books.put(processor=payouts)
    books.put(bank=[bank("2031-05-02", "7.00", "SETTLEMENT")])
    with open_books(books.folder, silent) as connection:
        report = report_reconciliation(connection, datetime.date(2031, 4, 30))
    (sides,) = [each for each in report.sides if each.source == "checking"]
    assert (0, [] if late else [700, 500]) == (sides.remaining, [each.amount for each in sides.statement_lines])
