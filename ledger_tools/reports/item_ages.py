"""Open items by age: how many of each kind are how old."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ledger_tools.open_items import KIND_ORDER, OpenItem

#: Bands of age in days: the last day of each, and its words; the last band has no end. Common practice.
AGE_BANDS: tuple[tuple[int | None, str], ...] = (
    (7, "up to 7 days"),
    (30, "8 to 30 days"),
    (60, "31 to 60 days"),
    (None, "over 60 days"),
)


@dataclass(frozen=True)
class KindAges:
    """Items of one kind; `counts` stand in the order of `AGE_BANDS`."""

    kind: str
    counts: tuple[int, ...]

    @property
    def items(self) -> int:
        """How many there are."""
        return sum(self.counts)


def _band(age_days: int) -> int:
    return next(place for place, (end, _) in enumerate(AGE_BANDS) if end is None or age_days <= end)


def count_by_age(items: Iterable[OpenItem]) -> tuple[KindAges, ...]:
    """Items by kind and age, kinds in the order of the list of open items."""
    ages: dict[str, list[int]] = {}
    for item in items:
        ages.setdefault(item.kind, []).append(item.age_days)
    return tuple(
        KindAges(
            kind,
            tuple(sum(1 for age in ages[kind] if _band(age) == place) for place in range(len(AGE_BANDS))),
        )
        for kind in sorted(ages, key=lambda kind: KIND_ORDER[kind])
    )
