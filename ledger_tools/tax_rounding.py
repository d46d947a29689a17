"""Sales tax on a price at a percentage: the exact product, rounded once, half up.

Units: amounts are minor units, rates are percentages as decimal text ("8.25"), so that no rate is ever a float. The
states of the Streamlined agreement carry the tax to the third decimal and round up where that digit is above four;
for a currency with two decimals that is half up on the exact product. A seller elects the basis, each item or the
whole invoice, and whether state and local rates are added before rounding; the choice can move a cent, so it is said.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import Literal

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import round_half_up

Basis = Literal["item", "invoice"]

_RATE = re.compile(r"(\d{1,3})(?:\.(\d{1,9}))?")


def parse_rate(text: str) -> tuple[int, int]:
    """The fraction, numerator and denominator, of a percentage: "8.25" is 825 / 10000.

    Raises:
        LedgerError: not a plain decimal number of percent.
    """
    found = _RATE.fullmatch(text) if text.isascii() else None
    if not found:
        raise LedgerError(Problem(f"tax rate {text!r}", "is not a percentage", "write it like 8.25"))
    decimals = found[2] or ""
    return int(found[1] + decimals), 100 * 10 ** len(decimals)


def _add_rates(rates: Sequence[tuple[int, int]]) -> tuple[int, int]:
    denominator = max(below for _, below in rates)  # each is a power of ten, so the greatest is a common one
    return sum(above * (denominator // below) for above, below in rates), denominator


def sales_tax(
    prices: Sequence[int], rates: Sequence[str], basis: Basis = "invoice", aggregate: bool = True
) -> list[int]:
    """Tax on the items of one invoice, one amount for each rate, or a single one where rates are aggregated.

    Args:
        prices: taxable price of each item in minor units; negative for what is given back.
        rates: the percentages that apply to every item, state and local.
        basis: round the tax of each item, or of the invoice's sum.
        aggregate: add the rates up before rounding.

    Raises:
        LedgerError: a rate is not a percentage.
    """
    fractions = [parse_rate(rate) for rate in rates]
    if aggregate and fractions:
        fractions = [_add_rates(fractions)]
    bases = list(prices) if basis == "item" else [sum(prices)]
    return [sum(round_half_up(base * above, below) for base in bases) for above, below in fractions]


def tax_within(gross: int, rate: str) -> int:
    """The part of a tax-inclusive price, in minor units, that is tax: gross × rate / (100 + rate), half up.

    Raises:
        LedgerError: the rate is not a percentage.
    """
    above, below = parse_rate(rate)
    return round_half_up(gross * above, below + above)
