"""Combinations of open amounts that make up one amount: found exactly, counted, and taken only where there is one.

Amounts are positive minor units of one currency. The search meets in the middle, so its cost is bounded by the number
of elements: the sums of one half are looked up among those of the other.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Hashable, Iterable, Sequence, Set
from dataclasses import dataclass, replace

from ledger_tools.matching.stages import AMOUNTS_TO_A_COMBINATION, COMBINATIONS_AT_MOST, ELEMENTS_AT_MOST

#: Why no sum was sought among so many records; Python's and the database's `format` fill it alike.
TOO_MANY = "sums were not tried: {} open records in the days around are more than can be told apart"

#: Why no sum was sought among records that could be told apart: the search is bounded over all amounts together.
TOO_LONG = (
    "sums were not tried among {} open records: the sums of other records took all the work that one build may do"
)


@dataclass(frozen=True)
class Target:
    """One amount that several others may make up.

    Attributes:
        key: the record that has it; a record may have several targets, and then takes a combination of one of them only.
        elements: key and amount of each record that could be part of it.
    """

    key: Hashable
    amount: int
    elements: tuple[tuple[Hashable, int], ...]


@dataclass(frozen=True)
class Finding:
    """What was found for a target.

    Attributes:
        combination: keys of the only combination; empty where there is none or more than one.
        rivals: keys that take part in its combination; where there are several or they are unknown, all of its elements.
        tried: combinations that there are of its elements.
        why: in words, also where nothing was taken.
        fitting: the combinations that were found, two at most.
    """

    key: Hashable
    combination: tuple[Hashable, ...]
    rivals: frozenset[Hashable]
    tried: int
    why: str
    fitting: tuple[tuple[Hashable, ...], ...] = ()


def find_combinations(amount: int, amounts: Sequence[int], most: int = 2) -> list[tuple[int, ...]]:
    """Places of up to `most` combinations of two or more amounts that sum to `amount`."""
    middle = len(amounts) // 2
    left, right = _half_sums(amounts[:middle]), _half_sums(amounts[middle:])
    meeting = {amount - total for total in right}.intersection(left)
    if not meeting:  # the usual case
        return []
    seconds: dict[int, list[int]] = {}
    for chosen, total in enumerate(right):
        if amount - total in meeting:
            seconds.setdefault(amount - total, []).append(chosen << middle)
    found: list[tuple[int, ...]] = []
    for total, first in sorted((total, chosen) for chosen, total in enumerate(left) if total in meeting):
        for second in seconds[total]:
            if (first | second).bit_count() >= 2:
                found.append(tuple(place for place in range(len(amounts)) if (first | second) >> place & 1))
                if len(found) == most:
                    return found
    return found


def _half_sums(amounts: Sequence[int]) -> list[int]:
    """The sum of every choice of amounts; bit by bit, a sum's place says which amounts are in it."""
    sums = [0]
    for amount in amounts:
        sums += [total + amount for total in sums]
    return sums


def seek_sums(targets: Iterable[Target]) -> list[Finding]:
    """What makes up each target; a combination is taken only where it is its only one and shares no record with another."""
    findings = []
    left = COMBINATIONS_AT_MOST
    for target in targets:
        finding, cost = _seek(target, left)
        left -= cost
        if finding is not None:
            findings.append(finding)
    return _without_rivals(findings)


def _seek(target: Target, left: int) -> tuple[Finding | None, int]:
    parts = [(key, amount) for key, amount in target.elements if 0 < amount < target.amount]
    if len(parts) < 2 or sum(amount for _, amount in parts) < target.amount:
        return None, 0
    tried = 2 ** len(parts) - len(parts) - 1
    cost = 2 ** (len(parts) // 2 + 1)
    everybody = frozenset(key for key, _ in parts)
    if len(parts) > ELEMENTS_AT_MOST or cost > left:
        why = TOO_MANY if len(parts) > ELEMENTS_AT_MOST else TOO_LONG
        return Finding(target.key, (), everybody, tried, why.format(len(parts))), 0
    found = find_combinations(target.amount, [amount for _, amount in parts])
    if not found:
        return None, cost
    fitting = tuple(tuple(parts[place][0] for place in combination) for combination in found)
    rivals = frozenset(key for combination in fitting for key in combination)
    if len(found) > 1:
        why = f"several combinations of {len(parts)} open records make up this amount"
        return Finding(target.key, (), everybody, tried, why, fitting), cost
    spread = sum(amount for _, amount in parts) - sum(sorted(amount for _, amount in parts)[:2]) + 1
    if tried > 3 and tried * AMOUNTS_TO_A_COMBINATION > spread:
        why = f"a combination fits, but among {tried} of {len(parts)} open records one would fit by chance"
        return Finding(target.key, (), rivals, tried, why, fitting), cost
    why = f"the only combination of {len(parts)} open records that makes up this amount"
    return Finding(target.key, fitting[0], rivals, tried, why, fitting), cost


def _without_rivals(findings: Sequence[Finding]) -> list[Finding]:
    """A record that takes part in the combinations of two targets, or is a target itself, decides for neither."""
    uses: Counter[Hashable] = Counter()
    for finding in findings:
        uses.update(finding.rivals)
        if finding.rivals:
            uses[finding.key] += 1
    kept = []
    for finding in findings:
        if finding.combination and any(uses[key] > 1 for key in (finding.key, *finding.rivals)):
            why = "its combination shares a record with another one that fits as well"
            finding = replace(finding, combination=(), why=why)
        kept.append(finding)
    return kept


def leave_to_singles(findings: Iterable[Finding], singles: Set[Hashable]) -> list[Finding]:
    """The findings without combinations in which a record is, or is made up of, one that fits a single other record.

    Args:
        singles: keys of open records that have exactly the amount of another open one in the days around.
    """
    kept = []
    for finding in findings:
        if finding.combination and not singles.isdisjoint((finding.key, *finding.combination)):
            finding = replace(finding, combination=(), why="a combination fits, but so does a single record")
        kept.append(finding)
    return kept
