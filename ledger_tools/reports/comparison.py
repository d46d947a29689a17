"""What a statement is compared with: the period or month-end before, or the same a year earlier; and the change."""

from __future__ import annotations

import datetime

from ledger_tools.calendar import Period, month_end, next_month
from ledger_tools.money import format_amount, round_half_up


def _months_before(day: datetime.date, months: int) -> datetime.date:
    """The same day of an earlier month, or that month's last day."""
    number = 12 * day.year + day.month - 1 - months
    first = datetime.date(number // 12, number % 12 + 1, 1)
    return min(first + datetime.timedelta(days=day.day - 1), month_end(first))


def _whole_months(first: datetime.date, last: datetime.date) -> int:
    """Number of months that two days bound, or 0 where they don't begin and end with one."""
    if first.day != 1 or last != month_end(last):
        return 0
    after = next_month(last)
    return 12 * (after.year - first.year) + after.month - first.month


def _shifted(first: datetime.date, last: datetime.date, months: int) -> Period:
    end = _months_before(last, months)
    return Period(_months_before(first, months), month_end(end) if _whole_months(first, last) else end)


def period_before(first: datetime.date, last: datetime.date) -> Period:
    """The period of the same length just before: of whole months where it is made of whole months, else of days."""
    months = _whole_months(first, last)
    if months:
        return _shifted(first, last, months)
    day_before = first - datetime.timedelta(days=1)
    return Period(day_before - (last - first), day_before)


def period_a_year_before(first: datetime.date, last: datetime.date) -> Period:
    """The same period of the year before; the 29th of February becomes the 28th."""
    return _shifted(first, last, 12)


def day_before(as_of: datetime.date) -> datetime.date:
    """The day that a balance is compared with: the end of the month before."""
    return as_of.replace(day=1) - datetime.timedelta(days=1)


def day_a_year_before(as_of: datetime.date) -> datetime.date:
    """The same day of the year before; the end of a month stays the end of that month."""
    earlier = _months_before(as_of, 12)
    return month_end(earlier) if as_of == month_end(as_of) else earlier


def change_percent(amount: int, compared: int) -> str | None:
    """Change from one amount to another in percent of the former, one decimal rounded half up; None from zero."""
    if not compared:
        return None
    tenths = round_half_up(1000 * (amount - compared), abs(compared))
    return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10}"


def compared_as_json(amount: int, compared: int | None, currency: str) -> dict[str, str | None]:
    """An amount as it is printed; where it is compared with another, that one and the change too."""
    told: dict[str, str | None] = {"amount": format_amount(amount, currency)}
    if compared is not None:
        told["compared"] = format_amount(compared, currency)
        told["change"] = format_amount(amount - compared, currency)
        told["change_percent"] = change_percent(amount, compared)
    return told
