"""Sales tax: rates as text, the signs of what is given back, and how far rounding can move."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from ledger_tools.errors import LedgerError
from ledger_tools.tax_rounding import parse_rate, sales_tax, tax_within

RATES = some.sampled_from(["0", "4", "5.5", "6.35", "8.25", "8.875", "20"])


@pytest.mark.parametrize(
    ("fraction", "text"),
    [((5, 100), "5"), ((825, 10_000), "8.25"), ((730, 10_000), "7.30"), ((0, 100), "0"), ((8875, 100_000), "8.875")],
)
def test_rate(fraction: tuple[int, int], text: str) -> None:
    """A percentage is read as an exact fraction."""
    assert fraction == parse_rate(text)


@pytest.mark.parametrize("text", ["", "5%", "-5", "1e1", "5,5", ".5", "5.", " 5", "5\n", "nan", "٥", "1000"])
def test_refused_rate(text: str) -> None:
    """What is not a plain percentage is refused with how to write it."""
    with pytest.raises(LedgerError) as refused:
        parse_rate(text)
    assert f"tax rate {text!r}: is not a percentage\n    → write it like 8.25" == str(refused.value)


def test_no_rate() -> None:
    """Where no rate applies no tax is listed."""
    assert [] == sales_tax([100], [])


@given(some.lists(some.integers(-(10**9), 10**9), max_size=8), some.lists(RATES, min_size=1, max_size=3))
def test_return_mirrors_sale(prices: list[int], rates: list[str]) -> None:
    """The tax given back on a return is the tax that was charged, on every basis."""
    for basis in ("item", "invoice"):
        for aggregate in (True, False):
            charged = sales_tax(prices, rates, basis, aggregate)
            returned = sales_tax([-price for price in prices], rates, basis, aggregate)
            assert charged == [-tax for tax in returned]


@given(some.lists(some.integers(0, 10**9), min_size=1, max_size=8), RATES)
def test_bases_differ_by_less_than_the_items(prices: list[int], rate: str) -> None:
    """Item and invoice basis differ by at most half a minor unit an item and half a unit for the sum."""
    (by_item,) = sales_tax(prices, [rate], "item")
    (by_invoice,) = sales_tax(prices, [rate], "invoice")
    assert 2 * abs(by_item - by_invoice) <= len(prices) + 1


@given(some.integers(0, 10**12), RATES)
def test_tax_taken_out_of_a_gross_price(net: int, rate: str) -> None:
    """Tax put on a net price and taken out of the gross price again is the same to the minor unit."""
    (tax,) = sales_tax([net], [rate])
    assert tax == tax_within(net + tax, rate)
