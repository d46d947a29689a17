"""How one source's export is laid out, as values: what a mapping file says.

Place in the flow: read before an export is typed, and only there. The file format is described in DEVELOPERS.md;
`mapping` reads and checks it.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, field

from ledger_tools.calendar import Period
from ledger_tools.records import KINDS

WHITESPACE = "whitespace"
DELIMITERS = (",", ";", "\t", "|")
#: Fields that a file may lack: the reader supplies an event's id from the content, and the source's currency. An order's
#: id is none of them: from the content, each line of an order would become an order. A mapping may say that it is meant.
SUPPLIED = frozenset({"event_id", "currency"})
#: The money field whose sign picks the meaning of a word, by kind of export.
SIGNED_BY = {"orders": "total", "processor": "gross", "wallet": "total", "bank": "amount"}


@dataclass(frozen=True)
class FileShape:
    """How the file itself is written.

    Attributes:
        delimiter: one character, `WHITESPACE`, or None to take the one under which the mapped columns are found.
        header_row: 1-based row of the column names; 0 where there is none and columns are called "1", "2", ….
        thousands_mark: empty where amounts have none; apostrophes and no-break spaces are understood regardless.
        amounts_in: "major" for decimals, "minor" for whole cents.
        order_fields: "every-line" or "first-line", for orders.
        reference_pattern: RE2 pattern with one group, applied by the matcher, not by the importers.
    """

    name_pattern: str | None = None
    encoding: str | None = None
    delimiter: str | None = None
    header_row: int = 1
    sheet: str | None = None
    decimal_mark: str = "."
    thousands_mark: str = ""
    amounts_in: str = "major"
    zone: str | None = None
    date_formats: tuple[str, ...] = ()
    order_fields: str = "every-line"
    reference_pattern: str | None = None


@dataclass(frozen=True)
class Split:
    """A signed amount that stands in two columns: money in as positive, money out as negative."""

    paid_in: str
    paid_out: str


@dataclass(frozen=True)
class Skip:
    """Rows that are left out on purpose: the whole cell of the column matches the pattern, case ignored."""

    column: str
    pattern: str
    reason: str


@dataclass(frozen=True)
class Mapping:
    """The layout of one source's export.

    Attributes:
        columns: our field → the file's columns, joined by a blank where there are several.
        split: our field → the two columns of a signed amount.
        constants: our field → a fixed text.
        signs: our field → "flip" or "absolute".
        words: our field → the file's word in lower case → our word where the row's amount (`SIGNED_BY`) is positive
            or zero, and our word where it is negative.
        derive: our field → the rule that supplies it.
        skips: declared skips, the first that matches counts.
        covers: the span of every file of this source, where it can't be read from the events.
        canonical: the header uses our own field names; columns that the file lacks are left blank.
    """

    source: str
    kind: str
    file: FileShape = FileShape()
    columns: dict[str, tuple[str, ...]] = field(default_factory=dict)
    split: dict[str, Split] = field(default_factory=dict)
    constants: dict[str, str] = field(default_factory=dict)
    signs: dict[str, str] = field(default_factory=dict)
    words: dict[str, dict[str, tuple[str, str]]] = field(default_factory=dict)
    derive: dict[str, str] = field(default_factory=dict)
    skips: tuple[Skip, ...] = ()
    covers: Period | None = None
    canonical: bool = False

    def columns_used(self) -> tuple[str, ...]:
        """Every column of the file that the mapping names, once each, in a stable order."""
        names = [column for columns in self.columns.values() for column in columns]
        names += [column for split in self.split.values() for column in (split.paid_in, split.paid_out)]
        names += [skip.column for skip in self.skips]
        return tuple(dict.fromkeys(names))


def canonical_mapping(kind: str, source: str) -> Mapping:
    """The mapping of a file whose header already uses our field names."""
    columns: dict[str, tuple[str, ...]] = {entry.name: (entry.name,) for entry in KINDS[kind]}
    return Mapping(source=source, kind=kind, columns=columns, canonical=True)


def fold_word(word: str) -> str:
    """A word of a file as words are compared: lower case, runs of blanks as one, none around it."""
    return re.sub(r"\s+", " ", word).strip().lower()
