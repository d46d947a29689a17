"""Periods: what is a month, a quarter, a year and a date, and where each begins and ends."""

import calendar
import datetime
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as some

from ledger_tools.calendar import (
    ALL_TIME,
    Period,
    month_end,
    next_month,
    parse_date,
    parse_month,
    parse_quarter,
    parse_year,
)
from ledger_tools.errors import LedgerError

DAY = datetime.date


@pytest.mark.parametrize(
    ("first", "last", "parse", "text"),
    [
        (DAY(2031, 4, 1), DAY(2031, 4, 30), parse_month, "2031-04"),
        (DAY(2031, 12, 1), DAY(2031, 12, 31), parse_month, "2031-12"),
        (DAY(2032, 2, 1), DAY(2032, 2, 29), parse_month, "2032-02"),
        (DAY(2031, 2, 1), DAY(2031, 2, 28), parse_month, "2031-02"),
        (DAY(2031, 1, 1), DAY(2031, 3, 31), parse_quarter, "2031-Q1"),
        (DAY(2031, 10, 1), DAY(2031, 12, 31), parse_quarter, "2031-q4"),
        (DAY(2031, 1, 1), DAY(2031, 12, 31), parse_year, "2031"),
    ],
)
def test_period(first: DAY, last: DAY, parse: Callable[[str], Period], text: str) -> None:
    """A period begins with its first and ends with its last day, leap years minded."""
    assert Period(first, last) == parse(text)


@pytest.mark.parametrize(
    ("message", "parse", "text"),
    [
        ("month '2031-13': is not a month\n    → write it like 2031-04", parse_month, "2031-13"),
        ("month '2031-00': is not a month\n    → write it like 2031-04", parse_month, "2031-00"),
        ("month '2031-4': is not a month\n    → write it like 2031-04", parse_month, "2031-4"),
        ("month '2031-04 ': is not a month\n    → write it like 2031-04", parse_month, "2031-04 "),
        ("quarter '2031-Q5': is not a quarter\n    → write it like 2031-Q2", parse_quarter, "2031-Q5"),
        ("quarter '2031': is not a quarter\n    → write it like 2031-Q2", parse_quarter, "2031"),
        ("year '31': is not a year\n    → write it like 2031", parse_year, "31"),
        ("year '0000': is not a year\n    → write it like 2031", parse_year, "0000"),
        ("date '2031-02-29': is not a date\n    → write it like 2031-04-30", parse_date, "2031-02-29"),
        ("date 'today': is not a date\n    → write it like 2031-04-30", parse_date, "today"),
        ("date '': is not a date\n    → write it like 2031-04-30", parse_date, ""),
    ],
)
def test_refusal(message: str, parse: Callable[[str], object], text: str) -> None:
    """What is no period is refused with a pattern of how to write one."""
    with pytest.raises(LedgerError) as refused:
        parse(text)
    assert message == str(refused.value)


@pytest.mark.parametrize(
    ("parse", "text"),
    [(parse_month, "0000-05"), (parse_quarter, "0000-Q1"), (parse_month, "9999-12"), (parse_quarter, "9999-Q4")]
    + [(parse_year, "9999"), (parse_year, "٢٠٣١"), (parse_month, "٢٠٣١-٠٤")],
)
def test_beyond_the_calendar(parse: Callable[[str], Period], text: str) -> None:
    """Year zero, the year whose end has no day after it, and foreign digits are refused like any other slip."""
    with pytest.raises(LedgerError):
        parse(text)


@given(some.dates(DAY(1900, 1, 1), DAY(2200, 12, 31)))
def test_months_touch(day: DAY) -> None:
    """A month ends the day before the next begins, and both ends are what the almanac says."""
    assert DAY(day.year, day.month, calendar.monthrange(day.year, day.month)[1]) == month_end(day)
    assert next_month(day) == month_end(day) + datetime.timedelta(days=1)


@given(some.integers(1900, 2200))
def test_quarters_make_the_year(year: int) -> None:
    """Four quarters follow each other without gap or overlap and are the year, as twelve months are."""
    for parts in (
        [parse_quarter(f"{year}-Q{number}") for number in range(1, 5)],
        [parse_month(f"{year}-{number:02d}") for number in range(1, 13)],
    ):
        assert parse_year(str(year)) == Period(parts[0].first, parts[-1].last)
        for earlier, later in zip(parts, parts[1:], strict=False):
            assert earlier.last is not None
            assert later.first == earlier.last + datetime.timedelta(days=1)


@given(some.dates())
def test_date_read_as_printed(day: DAY) -> None:
    """Every date is read from its ISO 8601 text."""
    assert day == parse_date(day.isoformat())


@pytest.mark.parametrize(
    ("text", "json", "period"),
    [
        ("all time", {"from": None, "to": None}, ALL_TIME),
        ("to 2031-04-30", {"from": None, "to": "2031-04-30"}, Period(None, DAY(2031, 4, 30))),
        ("from 2031-04-01", {"from": "2031-04-01", "to": None}, Period(DAY(2031, 4, 1), None)),
        ("2031-04-01 to 2031-04-30", {"from": "2031-04-01", "to": "2031-04-30"}, parse_month("2031-04")),
    ],
)
def test_printing(text: str, json: dict[str, str | None], period: Period) -> None:
    """A period reads well with both ends, one or none, and JSON gets both keys always."""
    assert text == str(period)
    assert json == period.as_json()
