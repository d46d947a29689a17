"""Closed months: nothing moves them; what comes late is posted after them; they are opened and closed to the same bytes."""

from __future__ import annotations

import datetime
import shutil
from pathlib import Path

import pytest
from april_shop import DAY, WAIVABLE, balances, close
from kept_books import Books, fingerprint, order, processor, silent, wallet

from ledger_tools import archive
from ledger_tools.archive import finish_pending, open_books
from ledger_tools.checks import run_checks
from ledger_tools.checks.closed_months import check_closed_months
from ledger_tools.close import Signature, close_months, reopen_month
from ledger_tools.closed import Reopening, read_closed_months, read_reopenings
from ledger_tools.errors import LedgerError
from ledger_tools.folder import BooksFolder
from ledger_tools.status import read_status


def test_late_record(books: Books) -> None:
    """A charge that arrives after its month was closed is posted in the open month, names its day and order, and is listed."""
    close(books, "2031-04")
    frozen = balances(books, "2031-04-30")
    books.put(wallet=[wallet("w3", "charge", "2031-04-15", "1.25", order_ref="1", sku="BAG", production="1.25")])
    assert frozen == balances(books, "2031-04-30")
    late = books.entry("w3")
    assert ("2031-05-01", "Prior period: Fulfilment", ("order-1",)) == (late.day, late.narration, late.links)
    assert "2031-04-15" in late.note
    (item,) = [item for item in books.open_items() if item.kind == "late-for-closed-month"]
    assert ("w3", "1", 125, datetime.date(2031, 4, 15)) == (item.event_id, item.order_id, item.amount, item.date)
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_amended_record(books: Books) -> None:
    """A later export that changes a closed record posts the difference alone; the first amount stays where it was."""
    close(books, "2031-04")
    frozen = balances(books, "2031-04-30")
    books.put(
        processor=[
            processor("c1", "charge", "2031-04-10", "10.80", "10.20", fee="0.60", order_ref="1"),
            processor("c9", "fee", "2031-05-03", "-1.00", "-1.00"),
        ]
    )
    assert frozen == balances(books, "2031-04-30")
    late = [entry for entry in books.entries() if entry.event == "c1" and entry.day == "2031-05-01"]
    assert [
        (("Assets:Processor:CardProcessor", "-0.10", "USD", ""), ("Expenses:Fees:Processing", "0.10", "USD", ""))
    ] == [entry.lines for entry in late]
    assert 60 + 100 + 100 == balances(books)["Expenses:Fees:Processing"]


def test_late_order_with_tax(books: Books) -> None:
    """A late order and a changed one: their tax is collected in the open month, which can be closed with them in it."""
    close(books, "2031-04")
    usual = {"unit_price": "10.00", "ship_country": "US", "ship_region": "CO", "shipped_at": "2031-04-12T09:00:00"}
    books.put(
        orders=[
            order("1b", "2031-04-10", "10.80", tax="0.80", **usual),
            order("1", "2031-04-10", "10.90", tax="0.90", **usual),
            order("7", "2031-05-10", "10.80", tax="0.80", **usual),
        ]
    )
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]
    report = close(books, "2031-05", *WAIVABLE)
    tied = next(step for step in report.steps if step.step == "sales-tax")
    assert "owed 1.80 + collected 1.70 - refunded 0.00 - remitted 0.00 = 3.50 USD" == tied.items[0].text
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_prior_period_is_closed_too(books: Books) -> None:
    """Once May is closed with the late record in it, June shows nothing of it again."""
    close(books, "2031-04")
    books.put(wallet=[wallet("w3", "charge", "2031-04-15", "1.25", order_ref="1", sku="BAG", production="1.25")],
              orders=[order("5", "2031-06-10", "10.00", shipped_at="2031-06-11T09:00:00")])  # fmt: skip
    assert close(books, "2031-05", *WAIVABLE).closed
    frozen = balances(books, "2031-05-31")
    books.put(wallet=[wallet("w4", "charge", "2031-06-15", "1.00", order_ref="5", sku="MUG", production="1.00")])
    assert frozen == balances(books, "2031-05-31")
    assert ["2031-05-01"] == [entry.day for entry in books.entries() if entry.event == "w3"]
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_hand_entry_of_closed_month(books: Books) -> None:
    """A hand entry can't be slipped into a closed month: the message names day, account and what to do."""
    close(books, "2031-04")
    hand = books.folder.hand
    hand.write_text(
        hand.read_text(encoding="utf-8")
        + '\n2031-04-20 * "Rent"\n  Expenses:Rent  5.00 USD\n  Equity:OwnerContributions\n',
        encoding="utf-8",
    )
    with pytest.raises(LedgerError) as caught:
        books.build()
    (first, *_) = caught.value.problems
    assert ("hand.beancount, 2031-04-20, Equity:OwnerContributions") == first.where
    assert "2031-04 is closed" in first.what
    assert "ledger-tools reopen 2031-04" in first.next_step


def test_reopened_and_closed_again(books: Books) -> None:
    """Opening keeps the old freeze with the reason; closing again gives the same bytes."""
    close(books, "2031-04")
    closed = {name: text for name, text in fingerprint(books.folder.root).items() if "reopened" not in name}
    reopening = Reopening("2031-04", DAY, "R. Vale", 'the bank said "sorry"')
    reopen_month(books.folder, reopening, silent)
    opened = fingerprint(books.folder.root)
    books.build()
    assert opened == fingerprint(books.folder.root)
    assert () == read_closed_months(books.folder)
    assert (reopening,) == read_reopenings(books.folder)
    assert [] == [entry for entry in books.entries() if entry.source == "month-end"]
    close(books, "2031-04")
    assert closed == {name: text for name, text in fingerprint(books.folder.root).items() if "reopened" not in name}
    kept = {file.name for file in (books.folder.closed / "reopened").iterdir()}
    assert {f"2031-04.1{end}" for end in (".toml", ".csv", ".beancount", ".reason.toml")} == kept


def test_reopening_is_one_change(books: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    """Cut short before the renames, a reopening is carried out by whoever comes next: freeze, journal and database at once."""

    def killed(folder: BooksFolder) -> None:
        raise KeyboardInterrupt

    close(books, "2031-04")
    closed = fingerprint(books.folder.root)
    with monkeypatch.context() as patched:
        patched.setattr(archive, "carry_out", killed)
        with pytest.raises(KeyboardInterrupt):
            reopen_month(books.folder, Reopening("2031-04", DAY, "R. Vale", "why"), silent)
    assert closed == fingerprint(books.folder.root)
    finish_pending(books.folder)
    opened = fingerprint(books.folder.root)
    assert closed["journal/2031-04.beancount"] != opened["journal/2031-04.beancount"]
    books.build()
    assert opened == fingerprint(books.folder.root)


@pytest.mark.parametrize(
    "name", ["closed/2031-04.toml", "closed/2031-04.csv", "closed/2031-04.beancount", "journal/2031-04.beancount"]
)
def test_changed_byte_shows(books: Books, name: str) -> None:
    """One digit changed in any file of a closed month fails the check, which names the file."""
    close(books, "2031-04")
    file = books.folder.root / name
    text = file.read_text(encoding="utf-8")
    place = max(place for place, letter in enumerate(text) if letter == "0")
    file.write_text(text[:place] + "1" + text[place + 1 :], encoding="utf-8")
    with open_books(books.folder, silent, with_journal=False) as connection:
        check = check_closed_months(connection, books.folder)
    assert not check.passed
    assert name.rpartition("/")[2] in check.detail


def test_months_in_one_go(books: Books, tmp_path: Path) -> None:
    """Two months closed in one call are, byte for byte, the two closed one after the other."""
    books.put(
        orders=[order("5", "2031-05-10", "10.00", shipped_at="2031-06-11T09:00:00"), order("6", "2031-06-10", "1.00")]
    )
    books.build()
    other = archive.BooksFolder(shutil.copytree(books.folder.root, tmp_path / "other"))
    signature = Signature("R. Vale", DAY, dict.fromkeys(WAIVABLE, "known"))
    reports = close_months(other, {"2031-04": signature, "2031-05": signature}, silent)
    assert [True, True] == [report.closed for report in reports]
    for month in ("2031-04", "2031-05"):
        close(books, month, *WAIVABLE)
    assert fingerprint(books.folder.root) == fingerprint(other.root)


def test_dry_run(books: Books) -> None:
    """A dry run shows the month-end entries as journal text and leaves every file as it was."""
    books.build()
    before = fingerprint(books.folder.root)
    report = close(books, "2031-04", dry_run=True)
    assert not report.closed
    assert "Liabilities:UnearnedRevenue                           -22.00 USD" in report.entries
    assert before == fingerprint(books.folder.root)


@pytest.mark.parametrize("fails_at", [1, 2, 3, 5])
def test_killed_close(books: Books, monkeypatch: pytest.MonkeyPatch, fails_at: int) -> None:
    """A close that is killed at a rename leaves the month open or closed as a whole, and all checks hold."""
    books.build()
    calls = 0
    replace = archive.os.replace

    class KilledError(BaseException):
        pass

    def failing(*names: object) -> None:
        nonlocal calls
        calls += 1
        if calls == fails_at:
            raise KilledError
        replace(*names)  # type: ignore[arg-type]

    with monkeypatch.context() as patched:
        patched.setattr(archive.os, "replace", failing)
        with pytest.raises(KilledError):
            close(books, "2031-04")
    with open_books(books.folder, silent) as connection:
        check = check_closed_months(connection, books.folder)
        assert check.passed, check.detail
        closed = read_status(connection).closed_through
    assert closed == (None if fails_at == 1 else "2031-04")


def test_damaged_freeze(books: Books) -> None:
    """A freeze that can't be read says which file and offers to open the month, which works also where a file is gone."""
    close(books, "2031-04")
    postings = books.folder.closed / "2031-04.csv"
    postings.write_text(postings.read_text(encoding="utf-8") + "rubbish\n", encoding="utf-8")
    with pytest.raises(LedgerError) as caught:
        books.build()
    (problem,) = caught.value.problems
    assert ("closed/2031-04.csv", "is not the postings of a closed month any more") == (problem.where, problem.what)
    assert "ledger-tools reopen 2031-04" in problem.next_step
    (books.folder.closed / "2031-04.beancount").unlink()
    reopen_month(books.folder, Reopening("2031-04", DAY, "R. Vale", "damaged"), silent)
    assert close(books, "2031-04").closed
