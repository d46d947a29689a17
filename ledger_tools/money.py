"""Exact money: integers of a currency's minor unit, from the moment they are read to the moment they are printed.

Units: every amount is an `int` in minor units (cents for USD, yen for JPY, fils for KWD). `Decimal` appears only
inside `parse_amount` and `format_amount`; `float` never. Digits come from ISO 4217. Every rounding in the project is
`round_half_up` and every split is `allocate`, so that parts always sum to the whole.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import cache, lru_cache

from ledger_tools.errors import LedgerError, Problem

_NUMBER = re.compile(r"[+-]?([0-9]{1,30}(\.[0-9]{0,30})?|\.[0-9]{1,30})\Z")


@cache
def minor_digits(currency: str) -> int:
    """Number of decimals of an ISO 4217 currency.

    Raises:
        LedgerError: the code is unknown, or the entry has no minor unit (gold, say).
    """
    from iso4217 import Currency

    try:
        digits = Currency(currency).exponent
    except ValueError:
        digits = None
    if digits is None:
        raise LedgerError(
            Problem(f"currency {currency!r}", "is not an ISO 4217 currency with a minor unit", "use a code such as USD")
        )
    return int(digits)


@cache
def currencies_by_digits() -> dict[str, int]:
    """Every ISO 4217 code that has a minor unit, with its number of decimals."""
    from iso4217 import Currency

    return {str(entry.code): int(entry.exponent) for entry in Currency if entry.exponent is not None}


def parse_amount(text: str, currency: str, decimal_mark: str = ".") -> int:
    """Minor units of a plain decimal number; a sign may lead, blanks around it are dropped.

    Thousands marks, symbols and brackets are the mapping's business and must be gone by now. Digits beyond the
    minor unit are accepted only where they are zeros.

    Raises:
        LedgerError: blank, not a number, or finer than the currency's minor unit.
    """
    plain = text.strip()
    if decimal_mark != ".":
        plain = plain.replace(".", "\0").replace(decimal_mark, ".")
    if not _NUMBER.match(plain):
        raise LedgerError(Problem(f"amount {text!r}", f"is not a number with {decimal_mark!r} as its decimal mark"))
    digits = minor_digits(currency)
    negative = plain.startswith("-")
    whole, _, fraction = plain.lstrip("+-").partition(".")
    if fraction[digits:].strip("0"):
        raise LedgerError(Problem(f"amount {text!r}", f"has more decimals than {currency} has ({digits})"))
    minor: int = int(whole or "0") * 10**digits + int(fraction[:digits].ljust(digits, "0") or "0")
    return -minor if negative else minor


def format_amount(minor: int, currency: str) -> str:
    """Decimal text in the currency's own digits: 1250 USD is "12.50", 1250 JPY is "1250"."""
    digits = minor_digits(currency)
    sign = "-" if minor < 0 else ""
    if not digits:
        return f"{minor}"
    whole, fraction = divmod(abs(minor), 10**digits)
    return f"{sign}{whole}.{fraction:0{digits}d}"


def round_half_up(numerator: int, denominator: int) -> int:
    """Nearest integer to the quotient; an exact half goes away from zero (the trade's "half up")."""
    assert denominator != 0
    if denominator < 0:
        numerator, denominator = -numerator, -denominator
    magnitude = (2 * abs(numerator) + denominator) // (2 * denominator)
    return -magnitude if numerator < 0 else magnitude


@lru_cache(maxsize=1 << 16)
def people_amount(minor: int, currency: str) -> str:
    """An amount with a mark at the thousands: 123456 USD is "1,234.56"."""
    whole, point, fraction = format_amount(abs(minor), currency).partition(".")
    return f"{'-' if minor < 0 else ''}{int(whole):,}{point}{fraction}"


def people_percent(margin: str | None) -> str:
    """A margin of four digits as per cent: "0.4712" is "47.1 %"; a dash where there is none."""
    if margin is None:
        return "-"
    tenths = round_half_up(int(margin.replace(".", "")), 10)
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10} %"


def allocate(total: int, weights: Sequence[int]) -> list[int]:
    """Split a total in proportion to weights by the largest-remainder method; the parts sum to the total exactly.

    Ties go to the earlier part. Weights must not be negative and not all zero, unless the total is zero.
    A negative total is the mirror of its positive.
    """
    assert all(weight >= 0 for weight in weights), "weights of a split can't be negative"
    if total < 0:
        return [-part for part in allocate(-total, weights)]
    whole = sum(weights)
    if total == 0:
        return [0] * len(weights)
    assert whole > 0, "a split needs a weight"
    parts = [total * weight // whole for weight in weights]
    remainders = [total * weight % whole for weight in weights]
    missing = total - sum(parts)
    for position in sorted(range(len(weights)), key=lambda place: (-remainders[place], place))[:missing]:
        parts[position] += 1
    return parts
