"""Wall clocks of the demo against the standard library's zones."""

from __future__ import annotations

import datetime
import zoneinfo

import numpy as np
import pytest

from ledger_tools.demo.clock import DAY, days_of, moment_of, moments_of, wall_seconds
from ledger_tools.demo.scenario import DAYS, date_of


@pytest.mark.parametrize("zone", ["America/Denver", "America/New_York", "Europe/Berlin", "UTC"])
def test_wall_seconds_are_the_zones_own(zone: str) -> None:
    """Hour by hour over the four months, a zone's clock shows what the standard library says."""
    moments = np.arange(moment_of(0), moment_of(DAYS), 3600)
    rules = zoneinfo.ZoneInfo(zone)
    expected = [
        int(datetime.datetime.fromtimestamp(moment, rules).replace(tzinfo=datetime.UTC).timestamp())
        for moment in moments.tolist()
    ]
    assert expected == wall_seconds(moments, zone).tolist()


def test_moments_come_back_from_the_shops_clock() -> None:
    """A day and a second after seven in the morning give a moment whose local date is that day, summer time or not."""
    days = np.repeat(np.arange(DAYS), 3)
    seconds = np.tile(np.array([7 * 3600, 12 * 3600, DAY - 1]), DAYS)
    moments = moments_of(days, seconds)
    assert days.tolist() == days_of(moments).tolist()
    assert seconds.tolist() == (wall_seconds(moments) % DAY).tolist()


def test_half_past_eleven_on_the_last_of_january() -> None:
    """23:30 in Denver on 31 January is 06:30 UTC on 1 February."""
    moment = moment_of(30, "23:30")
    assert datetime.date(2031, 1, 31) == date_of(30)
    assert "2031-02-01T06:30:00+00:00" == datetime.datetime.fromtimestamp(moment, datetime.UTC).isoformat()
