"""Transfers, cheques and deposits under way on a day, each with the account that has not seen it yet.

Amounts are as the account in question will show them, minor units, into the account positive.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import duckdb


@dataclass(frozen=True)
class TransferItem:
    """What one transfer means for one account on a day.

    Attributes:
        state: `under way` (the account lacks it), `other amount` (it has it with another amount), `early` (it has it
            before the entry by hand says so).
        amount: what the account lacks, or has more than was written.
        in_transit: what the account of transfers under way holds for it on the day.
    """

    state: str
    day: datetime.date
    name: str
    event_id: str | None
    amount: int
    in_transit: int
    what: str


@dataclass(frozen=True)
class _End:
    """One end of a transfer; `decided` is what a person moved of its difference to another account."""

    pair_no: int
    source_no: int | None
    source: str | None
    event_id: str
    moved_on: datetime.date
    amount: int
    to_source_no: int | None
    text: str
    decided: int

    @property
    def name(self) -> str:
        return f"{self.source or 'by hand'}{'' if self.source else ','} {self.event_id}"


_ENDS = """
    SELECT coalesce(pair_no, end_no), side.source_no, source.name, side.event_id, moved_on, side.amount, to_source_no,
           CASE WHEN side.source_no IS NULL THEN side.text ELSE '' END, coalesce(decision.amount, 0)
    FROM transfer_end AS side LEFT JOIN source USING (source_no)
    LEFT JOIN decision ON decision.source = source.name AND decision.event_id = side.event_id AND decision.action = 'account'
    WHERE side.currency = $currency AND coalesce(decision.amount <> -side.amount, true)
    ORDER BY coalesce(pair_no, end_no), side.source_no NULLS FIRST, moved_on, end_no
"""


def list_transfer_items(
    connection: duckdb.DuckDBPyConnection, source_no: int, currency: str, on: datetime.date, banks: tuple[int, ...]
) -> list[TransferItem]:
    """What transfers mean for one bank account or card on a day; `banks` are all of them, the first takes what names none."""
    ends = [_End(*row) for row in connection.execute(_ENDS, {"currency": currency}).fetchall()]
    items: list[TransferItem] = []
    for _, group in itertools.groupby(ends, lambda end: end.pair_no):
        items += _items(list(group), source_no, on, banks)
    return sorted(items, key=lambda item: (item.day, item.name))


def _items(ends: list[_End], source_no: int, on: datetime.date, banks: tuple[int, ...]) -> Iterator[TransferItem]:
    if ends[0].source_no is None:
        written = [end for end in ends if end.source_no is None]
        line = next((end for end in ends if end.source_no is not None), None)
        yield from _hand_items(written, line, source_no, on, banks)
        return
    first, second = ends[0], ends[1] if len(ends) == 2 else None
    if second is not None and second.moved_on < first.moved_on:
        first, second = second, first
    if second is not None:
        owner: int | None = second.source_no
    else:
        owner = first.to_source_no or next((bank for bank in banks if bank != first.source_no), None)
    if owner == source_no and first.moved_on <= on and (second is None or second.moved_on > on):
        yield TransferItem(
            "under way", first.moved_on, first.name, first.event_id, -first.amount, -first.amount, first.text
        )


def _hand_items(
    entries: list[_End], line: _End | None, source_no: int, on: datetime.date, banks: tuple[int, ...]
) -> Iterator[TransferItem]:
    owner = line.source_no if line is not None else next(iter(banks), None)
    if owner != source_no:
        return
    known = [entry for entry in entries if entry.moved_on <= on]
    written = sum(entry.amount for entry in known)
    if line is None or line.moved_on > on:
        if written:
            yield TransferItem("under way", known[0].moved_on, known[0].name, None, written, written, known[0].text)
    elif change := line.amount - written + line.decided:
        state, what = ("other amount", f"{known[0].text} ({known[0].name})") if known else ("early", entries[0].text)
        yield TransferItem(state, line.moved_on, line.name, line.event_id, change, -change, what)
