"""Moments of the demo: UTC seconds and the wall clocks of the zones that exports are written in.

A moment is an integer of seconds since 1970 in UTC. Wall seconds are the same count read off a zone's clock, so that
a date is wall seconds divided by a day. Offsets come from the zone's rules, hour by hour, as arrays. The demo has no
hour that a clock shows twice.
"""

from __future__ import annotations

import datetime
import zoneinfo
from functools import cache

import numpy as np

from ledger_tools.demo.scenario import FIRST_DAY, TIME_ZONE

Whole = np.ndarray[tuple[int, ...], np.dtype[np.int64]]

HOUR, DAY = 3600, 86400
_TABLE_FROM = int(datetime.datetime(2030, 12, 1, tzinfo=datetime.UTC).timestamp())
_TABLE_HOURS = 24 * 240
_MIDNIGHT = int(datetime.datetime.combine(FIRST_DAY, datetime.time(), datetime.UTC).timestamp())


@cache
def _offsets(zone: str) -> Whole:
    rules = zoneinfo.ZoneInfo(zone)
    moments = (datetime.datetime.fromtimestamp(_TABLE_FROM + HOUR * hour, rules) for hour in range(_TABLE_HOURS))
    offsets = (moment.utcoffset() for moment in moments)
    return np.array([int(offset.total_seconds()) if offset else 0 for offset in offsets], dtype=np.int64)


def wall_seconds(moments: Whole, zone: str = TIME_ZONE) -> Whole:
    """What a zone's clock shows at moments."""
    return moments + _offsets(zone)[np.clip((moments - _TABLE_FROM) // HOUR, 0, _TABLE_HOURS - 1)]


def moments_of(days: Whole, seconds: Whole) -> Whole:
    """Moments at which the shop's clock shows a second of a day (day 0 is the demo's first)."""
    wall = _MIDNIGHT + days * DAY + seconds
    guess = wall - wall_seconds(wall) + wall
    return wall - (wall_seconds(guess) - guess)


def moment_of(day: int, clock: str = "00:00") -> int:
    """The moment at which the shop's clock shows "HH:MM" on a day."""
    hours, minutes = clock.split(":")
    seconds = HOUR * int(hours) + 60 * int(minutes)
    return int(moments_of(np.array([day], dtype=np.int64), np.array([seconds], dtype=np.int64))[0])


def days_of(moments: Whole) -> Whole:
    """Day numbers of moments on the shop's calendar."""
    return (wall_seconds(moments) - _MIDNIGHT) // DAY
