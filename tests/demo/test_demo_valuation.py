"""The rule by which the truth values foreign entries: cumulative rounding, one rate an order."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ledger_tools.demo.valuation import Rates, round_half_up, values_of_entry
from ledger_tools.money import round_half_up as round_one


@given(st.lists(st.integers(-10_000_000, 10_000_000), min_size=1, max_size=8), st.integers(1, 10**7))
def test_values_of_a_balanced_entry_sum_to_zero(amounts: list[int], numerator: int) -> None:
    """An entry that sums to zero in its currency has values that sum to zero, each within a cent of its worth."""
    entry = [*amounts, -sum(amounts)]
    rates = Rates(np.array([numerator]), np.array([10_000]))
    values = [int(value[0]) for value in values_of_entry([np.array([amount]) for amount in entry], rates)]
    assert 0 == sum(values)
    assert all(abs(value * 10_000 - amount * numerator) <= 10_000 for amount, value in zip(entry, values, strict=True))


@given(st.integers(-(10**9), 10**9), st.integers(1, 10**6))
def test_rounding_of_arrays_is_the_rounding_of_money(numerator: int, denominator: int) -> None:
    """The truth rounds as the program's one rounding does."""
    assert round_one(numerator, denominator) == round_half_up(np.array([numerator]), np.array([denominator]))[0]


def test_base_currency_stays_as_it_is() -> None:
    """At a rate of one every amount is its own value."""
    rates = Rates(np.array([1]), np.array([1]))
    assert [5, -3, -2] == [int(value[0]) for value in values_of_entry([np.array([x]) for x in (5, -3, -2)], rates)]
