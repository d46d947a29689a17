"""Published examples of rounding half to even, to prove that the money code rounds half up instead.

Source: Hartnell College, chemistry 22 laboratory handout "Rules for rounding off",
http://www.hartnell.cc.ca.us/faculty/shovde/chem22s/roundingrules.htm. Exactness: READ; the half-up result of the last
example is DERIVED.
"""

from decimal import ROUND_HALF_EVEN, Decimal

import pytest

from ledger_tools.money import round_half_up

HALF_EVEN = [
    ("56.748", "0.1", "56.7"),
    ("2.146", "0.01", "2.15"),
    ("21.4501", "0.1", "21.5"),
    ("21.350", "0.1", "21.4"),
    ("21.45", "0.1", "21.4"),
]


def half_up(value: str, step: str) -> Decimal:
    """The value rounded to a multiple of the step by the project's own rounding."""
    numerator, denominator = (Decimal(value) / Decimal(step)).as_integer_ratio()
    return round_half_up(numerator, denominator) * Decimal(step)


@pytest.mark.parametrize(("value", "step", "published"), HALF_EVEN)
def test_published_figures_are_half_even(value: str, step: str, published: str) -> None:
    """The handout's figures are what half-even gives, so they tell the two modes apart."""
    assert Decimal(published) == Decimal(value).quantize(Decimal(step), ROUND_HALF_EVEN)


@pytest.mark.parametrize(("value", "step", "published"), HALF_EVEN[:-1])
def test_modes_agree(value: str, step: str, published: str) -> None:
    """Away from an exact half before an even digit the two modes give the same figure."""
    assert Decimal(published) == half_up(value, step)


def test_exact_half_goes_up() -> None:
    """21.45 to one decimal is 21.5 in the money code, where the handout's half-even says 21.4."""
    assert Decimal("21.5") == half_up("21.45", "0.1")
