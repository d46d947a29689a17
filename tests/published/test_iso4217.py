"""Decimals of 39 currencies, as the ISO 4217 list gives them.

Source: ISO 4217, list one (current currency and funds codes), table A.1 as published by the maintenance agency,
https://www.six-group.com/en/products-services/financial-information/data-standards.html, read through the public data
set "currency-codes" (state of 2026-02-01). Exactness: READ.
"""

import pytest

from ledger_tools.errors import LedgerError
from ledger_tools.money import currencies_by_digits, format_amount, minor_digits, parse_amount

CODES_BY_DIGITS = {
    2: "USD EUR GBP CAD AUD NZD CHF SEK HUF TWD MGA MRU",
    0: "JPY KRW VND CLP ISK PYG UGX BIF DJF GNF KMF RWF VUV XAF XOF XPF UYI",
    3: "BHD IQD JOD KWD LYD OMR TND",
    4: "CLF UYW",
}
DIGITS = [(code, digits) for digits, codes in CODES_BY_DIGITS.items() for code in codes.split()]


@pytest.mark.parametrize(("code", "digits"), DIGITS)
def test_minor_unit(code: str, digits: int) -> None:
    """Each listed currency has the published number of decimals."""
    assert digits == minor_digits(code)
    assert digits == currencies_by_digits()[code]


@pytest.mark.parametrize(("code", "digits"), DIGITS)
def test_one_whole_unit(code: str, digits: int) -> None:
    """One whole unit is ten to the number of decimals in minor units, and is printed with that many decimals."""
    assert 10**digits == parse_amount("1", code)
    assert f"{1:.{digits}f}" == format_amount(10**digits, code)


def test_gold_has_no_minor_unit() -> None:
    """Gold is on the list without a minor unit, so no amount can be booked in it."""
    with pytest.raises(LedgerError, match="XAU"):
        minor_digits("XAU")
    assert "XAU" not in currencies_by_digits()


def test_count_of_published_codes() -> None:
    """The check covers 38 currencies with a minor unit and one without."""
    assert 38 == len({code for code, _ in DIGITS})
