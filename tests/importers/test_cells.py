"""Properties of amounts: what is printed reads back as the same integer, and junk never reads at all."""

from __future__ import annotations

import csv
import io
import re

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger_tools.errors import LedgerError
from ledger_tools.money import currencies_by_digits, format_amount, parse_amount

AMOUNTS = st.integers(min_value=-(10**14), max_value=10**14)
CURRENCIES = st.sampled_from(sorted(currencies_by_digits()))


def as_file(rows):
    """A canonical bank file with these amounts and currencies."""
    buffer = io.StringIO()
    csv.writer(buffer, lineterminator="\n").writerows(
        [("at", "amount", "currency"), *(("2031-04-01", *row) for row in rows)]
    )
    return buffer.getvalue()


@settings(max_examples=15, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.tuples(AMOUNTS, CURRENCIES), min_size=1, max_size=40))
def test_printed_amounts_read_back(read, amounts):
    """format_amount and the importer are inverse, in every currency of ISO 4217 and in files that mix them."""
    _, rows = read(as_file([(format_amount(units, currency), currency) for units, currency in amounts]), "bank")
    assert [units for units, _ in amounts] == [row["amount"] for row in rows]


@settings(max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.text(alphabet="0123456789.,-+eE_ ()$x\u00a0'", min_size=1, max_size=8).filter(str.strip))
def test_plain_numbers_read_and_nothing_else_is_guessed(read, text):
    """Where the strict parser reads a number the importer reads the same; what it reads beyond is only dressed up."""
    try:
        expected = parse_amount(text, "USD")
    except LedgerError:
        expected = None
    try:
        _, rows = read(as_file([(text, "USD")]), "bank")
    except LedgerError:
        assert expected is None
        return
    if expected is not None:
        assert expected == rows[0]["amount"]
    else:
        bare = "".join(mark for mark in text if mark in "0123456789.")
        assert abs(rows[0]["amount"]) == parse_amount(bare, "USD")
        plain = re.sub(r"[A-Z]{1,2}\$", "$", text)  # letters before the sign are part of a symbol, as in US$
        assert not set(plain) & set(",eE_x")


def test_fifteen_digits_are_the_limit(read, refusal):
    """Sums over a whole shop must stay within 64 bits."""
    assert 10**15 - 1 == read(as_file([("9" * 15, "JPY")]), "bank")[1][0]["amount"]
    assert 10**15 - 1 == read(as_file([("\u00a5" + "9" * 13 + ".99", "USD")]), "bank")[1][0]["amount"]
    assert 3 == len(refusal(as_file([("9" * 16, "JPY"), ("9" * 30, "JPY"), ("9" * 14 + ".00", "USD")]), "bank"))
