"""Entries that a person writes: what is taken, what it does to an order, and each message about what is not."""

from pathlib import Path

import pytest
from kept_books import Books, order

from ledger_tools.errors import LedgerError
from ledger_tools.hand import read_hand_file

#: The hand file's text, and what is said about it.
WRONG = [
    (
        '2031-04-01 * "x"\n  Assets:Suspense 1.00 USD\n  Assets:Disputed -0.99 USD\n',
        "hand.beancount, line 1: the entry does not balance: 0.01 USD is left over\n    → mend its amounts",
    ),
    (
        '2031-04-01 * "x"\n  Assets:Suspense 1.00 USD\n',
        "hand.beancount, line 1: the entry does not balance: 1.00 USD is left over\n    → mend its amounts",
    ),
    (
        "\n2031-04-01 pad Assets:Suspense Equity:OpeningBalances\n",
        "hand.beancount, line 2: pad makes entries that nobody wrote\n    → write the entry itself",
    ),
    (
        '2031-04-01 * "x" ^order-1 ^order-2\n  Assets:Suspense 1.00 USD\n  Assets:Disputed\n',
        "hand.beancount, line 1: the entry has 2 order links\n    → an entry belongs to one order",
    ),
    (
        '2031-04-01 * "x"\n  Assets:Suspense 1.005 USD\n  Assets:Disputed 1.00 EUR @ -1.005 USD\n',
        "hand.beancount, line 1: 1.005 USD is finer than the currency's minor unit",
    ),
    (
        '2031-04-01 * "x"\n  Assets:Suspense 1.00 HOURS\n  Assets:Disputed -1.00 HOURS\n',
        "hand.beancount, line 1: currency 'HOURS' is not an ISO 4217 currency with a minor unit",
    ),
    ("bla\n", "hand.beancount, line 1: Invalid token: 'bla'\n    → mend the line"),
    (
        '2031-04-01 * "x"\n  Wrong:Account 1.00 USD\n  Assets:Disputed\n',
        "hand.beancount, line 2: Invalid account name: Wrong:Account\n    → mend the line",
    ),
    (
        '2031-04-01 * "x"\n  Assets:Suspense\n  Assets:Disputed\n',
        "hand.beancount, line 3: You may not have more than one auto-posting per currency\n    → mend the line",
    ),
]


def written(folder: Path, text: str | bytes) -> list[Path]:
    """A hand file of this text."""
    file = folder / "hand.beancount"
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return [file, folder / "main.beancount"]


@pytest.mark.parametrize(("text", "message"), WRONG, ids=range(len(WRONG)))
def test_message(text: str, message: str, tmp_path: Path) -> None:
    """What can't be posted is refused with its file and line."""
    with pytest.raises(LedgerError) as caught:
        read_hand_file(written(tmp_path, text), "USD")
    assert message in str(caught.value)


def test_all_messages_come_at_once(tmp_path: Path) -> None:
    """Every wrong entry of the file is told in one run."""
    text = WRONG[0][0] + "2031-04-02 pad Assets:Suspense Equity:OpeningBalances\n"
    with pytest.raises(LedgerError) as caught:
        read_hand_file(written(tmp_path, text), "USD")
    assert ["hand.beancount, line 1", "hand.beancount, line 4"] == [problem.where for problem in caught.value.problems]


def test_file_that_is_not_utf8(tmp_path: Path) -> None:
    """A hand file in another encoding is refused with its line."""
    with pytest.raises(LedgerError) as caught:
        read_hand_file(written(tmp_path, b'; \n2031-04-01 * "caf\xe9"\n'), "USD")
    assert "hand.beancount, line 2" in str(caught.value)


def test_files_that_are_not_there(tmp_path: Path) -> None:
    """Books without hand entries have none."""
    found = read_hand_file([tmp_path / "hand.beancount", tmp_path / "main.beancount"], "USD")
    assert ((), frozenset()) == (found.entries, found.opened)


def test_entry_as_read(tmp_path: Path) -> None:
    """An entry keeps its line, day, flag, text, order link and exact amounts; a total price gives the value."""
    text = (
        '\n2031-04-01 ! "Postage" ^order-1001 ^note-5\n  Expenses:Samples   3.50 EUR @@ 4.20 USD\n  Assets:Disputed\n'
    )
    (entry,) = read_hand_file(written(tmp_path, text), "USD").entries
    assert (2, "2031-04-01", True, "Postage", ("order-1001",)) == (
        entry.line_number, entry.day.isoformat(), entry.flagged, entry.narration, entry.order_links,
    )  # fmt: skip
    assert [("Expenses:Samples", 350, "EUR", 420), ("Assets:Disputed", -420, "USD", -420)] == [
        (line.account, line.amount, line.currency, line.value) for line in entry.lines
    ]


def test_linked_entry_belongs_to_its_order(tmp_path: Path) -> None:
    """An entry with an order's link is posted to that order; one without, or with a link that no order has, to none."""
    books = Books(tmp_path).put(orders=[order("#1001", "2031-04-02", "10.00")])
    books.folder.hand.write_text(
        "2031-01-01 open Expenses:Cards\n"
        '2031-04-03 * "Postage" ^order-1001\n  Expenses:COGS:Shipping  4.20 USD\n  Assets:Bank:Checking\n'
        '2031-04-04 * "Cards"\n  Expenses:Cards  6.00 USD\n  Assets:Bank:Checking\n'
        '2031-04-05 * "Typing error" ^order-1OO1\n  Expenses:Cards  7.00 USD\n  Assets:Bank:Checking\n'
    )
    books.build()
    rows = books.query(
        "SELECT event.posted_on::VARCHAR, event.order_no IS NOT NULL, sum(amount) FILTER (amount > 0)::INTEGER "
        "FROM event JOIN posting USING (event_no) WHERE rule = 'hand' GROUP BY ALL ORDER BY 1"
    )
    assert [("2031-04-03", True, 420), ("2031-04-04", False, 600), ("2031-04-05", False, 700)] == rows


def test_hand_entry_pays_an_order(tmp_path: Path) -> None:
    """A linked entry on the clearing account settles an order that no processor paid."""
    books = Books(tmp_path).put(orders=[order("1001", "2031-04-02", "10.00"), order("1002", "2031-04-20", "1.00")])
    assert ["order-without-payment"] == [
        item.kind for item in books.open_items() if item.kind == "order-without-payment"
    ]
    books.folder.hand.write_text(
        '2031-04-05 * "Paid in cash" ^order-1001\n  Assets:Bank:Checking  10.00 USD\n  Assets:Clearing:Orders\n'
    )
    assert "order-without-payment" not in books.kinds()


def test_account_that_the_person_opens_is_not_opened_again(tmp_path: Path) -> None:
    """What hand.beancount opens, accounts.beancount leaves out; what it only uses is opened for it."""
    books = Books(tmp_path)
    books.folder.hand.write_text(
        "2031-01-01 open Expenses:Cards\n"
        '2031-04-04 * "Cards"\n  Expenses:Cards  6.00 USD\n  Expenses:Tape  1.00 USD\n  Assets:Bank:Checking\n'
    )
    text = books.build().folder.accounts.read_text(encoding="utf-8")
    assert (False, True) == ("Expenses:Cards" in text, "Expenses:Tape" in text)
