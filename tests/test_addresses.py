"""What counts as an e-mail address is decided once, and alike in Python, in SQL and in a ledger file."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kept_books import Books, bank

from ledger_tools.addresses import addresses_replaced, without_addresses, without_addresses_in_quotes


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("paid by jo.doe+x@example.org today", "paid by (e-mail) today"),
        ("<jo@example.org>", "(e-mail)"),
        ("jo@localhost", "(e-mail)"),
        ("jo@münchen.example", "(e-mail)"),
        ("jo@a.example,ann@b.example", "(e-mail)"),
        ("@SUM(A1:A9)'", "@SUM(A1:A9)'"),
        ('"@SUM(A1:A9)\'"', '"@SUM(A1:A9)\'"'),
        ("@shop thanks", "@shop thanks"),
        ("3 mugs 5@2.00", "3 mugs 5@2.00"),
        ("a @ b", "a @ b"),
        ("jo@", "jo@"),
        ("\u00a0@SUM(1)", "\u00a0@SUM(1)"),
    ],
)
def test_what_is_an_address(text: str, expected: str) -> None:
    """An @ between two blanks with a letter or digit before it and a letter after it; nothing else is taken out."""
    assert expected == without_addresses(text)


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="a9_.@\"'<( =é\u00a0\n-", max_size=30))
def test_sql_and_python_agree(text: str) -> None:
    """The expression in SQL and the function take out the same of any text."""
    with duckdb.connect() as connection:
        row = connection.execute(f"SELECT {addresses_replaced('$text')}", {"text": text}).fetchone()
    assert row == (without_addresses(text),)


def test_ledger_text_still_loads() -> None:
    """Quotes and line ends around an address stay, and a price is none."""
    text = '2031-01-01 * "jo@example.org" "to ann@example.org"\n  Assets:Cash  1 EUR@1.10 USD\n'
    expected = '2031-01-01 * "(e-mail)" "to (e-mail)"\n  Assets:Cash  1 EUR@1.10 USD\n'
    assert expected == without_addresses_in_quotes(text)


def test_one_memo_reads_alike_everywhere(tmp_path: Path) -> None:
    """A formula in a memo is shown in the journal and in the open items, an address in neither."""
    books = Books(tmp_path).put(bank=[bank("2031-01-02", "-5.00", "@SUM(A1:A9)' jo@example.org")])
    (item,) = books.open_items()
    (entry,) = books.entries()
    assert "@SUM(A1:A9)' (e-mail)" in entry.narration
    assert item.cause == 'no payout, top-up or rule explains "@SUM(A1:A9)\' (e-mail)"'
