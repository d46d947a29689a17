"""The period that a statement is compared with."""

import datetime

import pytest

from ledger_tools.calendar import Period, parse_month, parse_quarter, parse_year
from ledger_tools.reports.comparison import period_a_year_before, period_before

DAY = datetime.date


@pytest.mark.parametrize(
    ("expected", "period"),
    [
        (parse_month("2031-02"), parse_month("2031-03")),
        (parse_month("2030-12"), parse_month("2031-01")),
        (parse_quarter("2030-Q4"), parse_quarter("2031-Q1")),
        (parse_year("2030"), parse_year("2031")),
        (Period(DAY(2031, 4, 1), DAY(2031, 4, 10)), Period(DAY(2031, 4, 11), DAY(2031, 4, 20))),
        (Period(DAY(2031, 3, 31), DAY(2031, 3, 31)), Period(DAY(2031, 4, 1), DAY(2031, 4, 1))),
    ],
)
def test_before(expected: Period, period: Period) -> None:
    """Whole months are compared with as many whole months before, other spans with as many days."""
    assert period.first is not None
    assert period.last is not None
    assert expected == period_before(period.first, period.last)


@pytest.mark.parametrize(
    ("expected", "period"),
    [
        (parse_month("2031-02"), parse_month("2032-02")),
        (parse_month("2032-02"), parse_month("2033-02")),
        (parse_quarter("2030-Q3"), parse_quarter("2031-Q3")),
        (Period(DAY(2031, 2, 10), DAY(2031, 2, 28)), Period(DAY(2032, 2, 10), DAY(2032, 2, 29))),
        (Period(DAY(2030, 4, 11), DAY(2030, 4, 20)), Period(DAY(2031, 4, 11), DAY(2031, 4, 20))),
    ],
)
def test_year_before(expected: Period, period: Period) -> None:
    """The same span a year before; February ends where it ends."""
    assert period.first is not None
    assert period.last is not None
    assert expected == period_a_year_before(period.first, period.last)
