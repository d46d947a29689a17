"""Exact money: reading, printing, rounding and splitting amounts of minor units."""

from decimal import ROUND_HALF_UP, Decimal

import pytest
from hypothesis import assume, given
from hypothesis import strategies as some

from ledger_tools.errors import LedgerError
from ledger_tools.money import allocate, currencies_by_digits, format_amount, minor_digits, parse_amount, round_half_up

CURRENCIES = some.sampled_from(["USD", "JPY", "KWD", "CLF"])
AMOUNTS = some.integers(-(10**18), 10**18)


@pytest.mark.parametrize(
    ("minor", "text", "currency", "decimal_mark"),
    [
        (1250, "12.50", "USD", "."),
        (1250, "12.5", "USD", "."),
        (1250, " +12.50 ", "USD", "."),
        (-1250, "-12.50", "USD", "."),
        (1250, "12,50", "EUR", ","),
        (1200, "12", "USD", "."),
        (1200, "12.", "USD", "."),
        (50, ".5", "USD", "."),
        (0, "0", "USD", "."),
        (0, "-0.00", "USD", "."),
        (1250, "1250", "JPY", "."),
        (1250, "1250.00", "JPY", "."),
        (12500, "12.5", "KWD", "."),
        (1250, "12.50000", "USD", "."),
        (10**20, "1" + "0" * 18, "USD", "."),
    ],
)
def test_reading(minor: int, text: str, currency: str, decimal_mark: str) -> None:
    """A plain decimal is read into minor units, zeros beyond the currency's digits let through."""
    assert minor == parse_amount(text, currency, decimal_mark)


@pytest.mark.parametrize(
    "text",
    ["", " ", "-", ".", "12,50", "1,250.00", "1 250", "$5", "(5.00)", "1e3", "nan", "inf", "5-", "--5", "+-5", "1_000"]
    + ["٣", "\N{MINUS SIGN}5", "5\x00", "1.2.3", "9" * 5000],
)
def test_refused_text(text: str) -> None:
    """What is not a plain decimal number is refused, blank is not zero, and no comma is guessed at."""
    with pytest.raises(LedgerError) as refused:
        parse_amount(text, "USD")
    assert f"amount {text!r}: is not a number with '.' as its decimal mark" == str(refused.value)


@pytest.mark.parametrize("text", ["12.50", "1.250,00", "", "12,5,0"])
def test_refused_with_comma_as_mark(text: str) -> None:
    """With a comma as the decimal mark a point is a mistake."""
    with pytest.raises(LedgerError) as refused:
        parse_amount(text, "EUR", ",")
    assert f"amount {text!r}: is not a number with ',' as its decimal mark" == str(refused.value)


@pytest.mark.parametrize(("text", "currency", "digits"), [("12.505", "USD", 2), ("12.5", "JPY", 0)])
def test_too_fine(text: str, currency: str, digits: int) -> None:
    """An amount finer than the currency's minor unit is refused, never rounded."""
    with pytest.raises(LedgerError) as refused:
        parse_amount(text, currency)
    assert f"amount {text!r}: has more decimals than {currency} has ({digits})" == str(refused.value)


@pytest.mark.parametrize("currency", ["", "usd", "US", "XAU", "dollar"])
def test_unknown_currency(currency: str) -> None:
    """A code that ISO 4217 has not, or has without a minor unit, is refused."""
    with pytest.raises(LedgerError) as refused:
        minor_digits(currency)
    assert (
        f"currency {currency!r}: is not an ISO 4217 currency with a minor unit\n    → use a code such as USD"
    ) == str(refused.value)


def test_digits_of_all_currencies() -> None:
    """The table of all currencies says the same as the look-up of each."""
    table = currencies_by_digits()
    assert len(table) > 150
    assert table == {code: minor_digits(code) for code in table}


@pytest.mark.parametrize(
    ("text", "minor", "currency"),
    [
        ("12.50", 1250, "USD"),
        ("1250", 1250, "JPY"),
        ("-1250", -1250, "JPY"),
        ("1.250", 1250, "KWD"),
        ("-0.05", -5, "USD"),
        ("0.00", 0, "USD"),
        ("0", 0, "JPY"),
    ],
)
def test_printing(text: str, minor: int, currency: str) -> None:
    """An amount is printed in the currency's own digits, the sign first, zero without one."""
    assert text == format_amount(minor, currency)


@given(AMOUNTS, CURRENCIES, some.sampled_from([".", ","]))
def test_read_as_printed(minor: int, currency: str, decimal_mark: str) -> None:
    """Every amount is read back from its print, with either decimal mark."""
    printed = format_amount(minor, currency).replace(".", decimal_mark)
    assert minor == parse_amount(printed, currency, decimal_mark)


@given(some.text(max_size=12))
def test_junk_is_refused_or_exact(text: str) -> None:
    """Any text is either refused with a listed problem or read as exactly the number that Decimal reads."""
    try:
        minor = parse_amount(text, "USD")
    except LedgerError:
        return
    assert Decimal(text.strip()) * 100 == minor


@pytest.mark.parametrize(
    ("rounded", "numerator", "denominator"),
    [(3, 5, 2), (-3, -5, 2), (-3, 5, -2), (2, 3, 2), (2, 2, 1), (0, 0, 7), (0, 49, 100), (1, 50, 100), (-1, -50, 100)],
)
def test_rounding(rounded: int, numerator: int, denominator: int) -> None:
    """An exact half goes away from zero, whatever the signs; all else to the nearest."""
    assert rounded == round_half_up(numerator, denominator)


@given(some.integers(-(10**12), 10**12), some.integers(1, 10**6))
def test_rounding_as_decimal_does(numerator: int, denominator: int) -> None:
    """The standard library's half-up mode gives the same, wherever the quotient is a finite decimal."""
    power = 2 ** (denominator % 8) * 5 ** (denominator % 5)
    expected = (Decimal(numerator) / Decimal(power)).to_integral_value(ROUND_HALF_UP)
    assert int(expected) == round_half_up(numerator, power)


@given(some.integers(), some.integers())
def test_rounding_is_nearest(numerator: int, denominator: int) -> None:
    """The result is never more than half a unit away from the quotient."""
    assume(denominator != 0)
    away = abs(round_half_up(numerator, denominator) * denominator - numerator)
    assert 2 * away <= abs(denominator)


@pytest.mark.parametrize(
    ("parts", "total", "weights"),
    [
        ([34, 33, 33], 100, [1, 1, 1]),
        ([-34, -33, -33], -100, [1, 1, 1]),
        ([1, 0], 1, [1, 1]),
        ([0, 1], 1, [1, 2]),
        ([0, 0, 0], 0, [0, 0, 0]),
        ([], 0, []),
        ([0, 7], 7, [0, 3]),
        ([5], 5, [1]),
    ],
)
def test_split(parts: list[int], total: int, weights: list[int]) -> None:
    """Remainders go to the largest, ties to the earlier part, and a negative total mirrors the positive."""
    assert parts == allocate(total, weights)


@given(some.integers(-(10**12), 10**12), some.lists(some.integers(0, 10**9), min_size=1, max_size=12))
def test_split_is_exact_and_fair(total: int, weights: list[int]) -> None:
    """Parts sum to the total, each is less than a unit from its exact share, and no weight means no part."""
    assume(sum(weights) > 0)
    parts = allocate(total, weights)
    assert total == sum(parts)
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part * sum(weights) - total * weight) < sum(weights)
        assert weight or not part


@given(some.integers(0, 10**9), some.lists(some.integers(1, 10**6), min_size=2, max_size=8))
def test_greater_weight_never_gets_less(total: int, weights: list[int]) -> None:
    """A part with a greater weight is at least as large as one with a smaller."""
    parts = allocate(total, weights)
    by_weight = sorted(zip(weights, parts, strict=True))
    for (lighter, smaller), (heavier, larger) in zip(by_weight, by_weight[1:], strict=False):
        assert lighter == heavier or smaller <= larger


@pytest.mark.parametrize(("total", "weights"), [(5, [0, 0]), (5, []), (5, [2, -1])])
def test_impossible_split(total: int, weights: list[int]) -> None:
    """Splitting over nothing or over a negative weight is a mistake of the program."""
    with pytest.raises(AssertionError):
        allocate(total, weights)
