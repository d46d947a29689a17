"""Months, quarters and years as closed ranges of local dates; both ends are included everywhere."""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

from ledger_tools.errors import LedgerError, Problem


@dataclass(frozen=True)
class Period:
    """A range of local dates, both ends included; an end that is None is open."""

    first: datetime.date | None
    last: datetime.date | None

    def as_json(self) -> dict[str, str | None]:
        """The period as reports print it."""
        return {
            "from": self.first.isoformat() if self.first else None,
            "to": self.last.isoformat() if self.last else None,
        }

    def __str__(self) -> str:
        if self.first is None and self.last is None:
            return "all time"
        if self.first is None:
            return f"to {self.last}"
        return f"from {self.first}" if self.last is None else f"{self.first} to {self.last}"


ALL_TIME = Period(None, None)


#: Years that a month, quarter or year can name; the ends of the calendar have no month before or after.
_YEARS = range(1, 9999)


def next_month(day: datetime.date) -> datetime.date:
    """First day of the month after the one that holds this day."""
    return datetime.date(day.year + day.month // 12, day.month % 12 + 1, 1)


def month_end(day: datetime.date) -> datetime.date:
    """Last day of the month that holds this day."""
    return next_month(day) - datetime.timedelta(days=1)


def _months(first: datetime.date, count: int) -> Period:
    last = first
    for _ in range(count - 1):
        last = next_month(last)
    return Period(first, month_end(last))


def parse_month(text: str) -> Period:
    """The month "2031-04".

    Raises:
        LedgerError: not a month.
    """
    found = re.fullmatch(r"([0-9]{4})-([0-9]{2})", text)
    if not found or not 1 <= int(found[2]) <= 12 or int(found[1]) not in _YEARS:
        raise LedgerError(Problem(f"month {text!r}", "is not a month", "write it like 2031-04"))
    return _months(datetime.date(int(found[1]), int(found[2]), 1), 1)


def parse_quarter(text: str) -> Period:
    """The quarter "2031-Q2".

    Raises:
        LedgerError: not a quarter.
    """
    found = re.fullmatch(r"([0-9]{4})-[Qq]([1-4])", text)
    if not found or int(found[1]) not in _YEARS:
        raise LedgerError(Problem(f"quarter {text!r}", "is not a quarter", "write it like 2031-Q2"))
    return _months(datetime.date(int(found[1]), 3 * int(found[2]) - 2, 1), 3)


def parse_year(text: str) -> Period:
    """The year "2031".

    Raises:
        LedgerError: not a year.
    """
    if not re.fullmatch(r"[0-9]{4}", text) or int(text) not in _YEARS:
        raise LedgerError(Problem(f"year {text!r}", "is not a year", "write it like 2031"))
    return _months(datetime.date(int(text), 1, 1), 12)


def parse_date(text: str) -> datetime.date:
    """An ISO 8601 date.

    Raises:
        LedgerError: not a date of the calendar.
    """
    try:
        return datetime.date.fromisoformat(text)
    except ValueError:
        raise LedgerError(Problem(f"date {text!r}", "is not a date", "write it like 2031-04-30")) from None


def period_name(period: Period) -> str:
    """What people call a period: its year, quarter or month where it is one, else its two ends."""
    if period.first is not None and period.last is not None:
        first = period.first
        names = (
            f"{first.year:04d}",
            f"{first.year:04d}-Q{(first.month + 2) // 3}",
            f"{first.year:04d}-{first.month:02d}",
        )
        for name, parse in zip(names, (parse_year, parse_quarter, parse_month), strict=True):
            if parse(name) == period:
                return name
    return str(period)
