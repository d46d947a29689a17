"""Where a difference between stated balances and the books arose: its steps, from one stated day to the next.

Amounts are minor units of the account's currency, debit positive; a difference is stated less books.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

#: Where no earlier balance is stated, events are looked at this many days back.
_DAYS_BACK = 45
#: So many steps at most are looked into; older ones count as one.
_STEPS = 12


@dataclass(frozen=True)
class StatedDay:
    """A stated balance and the books' at the end of the same day."""

    on: datetime.date
    stated: int
    stated_by: str
    books: int

    @property
    def difference(self) -> int:
        """Stated less books."""
        return self.stated - self.books


@dataclass(frozen=True)
class Step:
    """A change of the difference: after one stated day (None: before the first) and by another."""

    after: datetime.date | None
    by: datetime.date
    change: int

    @property
    def first_day(self) -> datetime.date:
        """The first day whose events come into question."""
        if self.after is None:
            return self.by - datetime.timedelta(days=_DAYS_BACK)
        return self.after + datetime.timedelta(days=1)


def find_steps(days: Sequence[StatedDay]) -> list[Step]:
    """Changes of the difference since the account last agreed; changes that undo one another are left out."""
    agreed = max((place for place, day in enumerate(days) if day.difference == 0), default=-1)
    before = days[agreed] if agreed >= 0 else None
    steps: list[Step] = []
    for day in days[agreed + 1 :]:
        change = day.difference - (before.difference if before else 0)
        if change:
            undone = next((step for step in reversed(steps) if step.change == -change), None)
            if undone is not None:
                steps.remove(undone)
            else:
                steps.append(Step(before.on if before else None, day.on, change))
        before = day
    if len(steps) > _STEPS:
        older = steps[: 1 - _STEPS]
        steps = [Step(older[0].after, older[-1].by, sum(step.change for step in older)), *steps[1 - _STEPS :]]
    return [step for step in steps if step.change]
