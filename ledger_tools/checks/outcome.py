"""What a check says: whether it holds, and what was compared or where it breaks."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Check:
    """One check's outcome; `detail` says what was compared, or the first differences."""

    check: str
    passed: bool
    detail: str


def told(name: str, broken: list[Any], good: str, bad: Callable[[Any], str]) -> Check:
    if not broken:
        return Check(name, True, good)
    more = f"; and {len(broken) - 3} more" if len(broken) > 3 else ""
    return Check(name, False, "; ".join(bad(row) for row in broken[:3]) + more)
