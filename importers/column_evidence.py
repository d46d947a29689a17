"""What each column of a sample says about itself, and which field of a kind it could be by name and by values.

Used by the mapping proposer, after `sample` and before arithmetic. A column whose name or values look personal is
marked and never becomes a field.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from importers.sample import Sample
from importers.value_patterns import (
    COUNTRIES,
    SCALE_DIGITS,
    DateReading,
    NumberStyle,
    find_dates,
    is_time,
    parse_number,
)
from importers.vocabulary import (
    COLUMN_WORDS,
    FILLERS,
    GENERIC,
    PERSONAL_NAME_OF,
    PERSONAL_PHRASES,
    PERSONAL_WORDS,
    fold_name,
)
from ledger_tools.money import currencies_by_digits
from ledger_tools.records import CHOICE, FLAG, KINDS, MOMENT, MONEY, WHOLE, Field

_EMAIL = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s]+")
_LONG_NUMBER = re.compile(r"\d{3}")
YES_AND_NO = frozenset({"true", "false", "yes", "no", "y", "n", "1", "0", "t", "f"})
_REGION = re.compile(r"[A-Z0-9]{1,3}")
_REFERENCE = re.compile(r"(?P<prefix>[^0-9]*)(?P<digits>\d+)(?P<suffix>-\d{1,2})?")
#: Sums of money never have the words of these in the same name: "fee currency" is no fee, "tax rate" no tax.
_NOT_MONEY = frozenset(
    {"currency", "ccy", "rate", "percent", "date", "id", "number", "code", "type", "status", "method"}
)
#: Money that went back: a part of an order only where the field is one of refunds.
_GIVEN_BACK = frozenset({"refunded", "refund", "returned", "back"})
#: Fields that a column fits only by a name of its own, never by a word inside a longer name.
_WHOLE_NAME_ONLY = frozenset({"channel", "memo", "reason", "payout_id", "payment_ref", "item"})
_SURE_SCORE = 90
#: A column without values needs a name that fits so well, and stands behind every column that has values.
_BLANK_SCORE, _WITHOUT_VALUES = 55, 40


@dataclass(frozen=True)
class Column:
    """One column of a sample.

    Attributes:
        name: as the file has it.
        words: the name's words in lower case; empty where the file has no header.
        cells: its cells, blanks around them dropped.
        numbers: the cells as numbers in ten-thousandths; None where blank or no number.
        dates: how its cells read as dates, None where they don't.
        personal: name or values look like a person's data.
    """

    position: int
    name: str
    words: tuple[str, ...]
    cells: tuple[str, ...]
    numbers: tuple[int | None, ...]
    dates: DateReading | None
    personal: bool

    @property
    def filled(self) -> list[str]:
        return [cell for cell in self.cells if cell]

    @property
    def distinct(self) -> int:
        return len(set(self.filled))

    @property
    def is_number(self) -> bool:
        filled = len(self.filled)
        return filled > 0 and sum(number is not None for number in self.numbers) >= 0.98 * filled

    @property
    def is_whole(self) -> bool:
        return self.is_number and all(number % 10**SCALE_DIGITS == 0 for number in self.numbers if number is not None)

    @property
    def shows_decimals(self) -> bool:
        """Whether some number is written with a mark in it, were it "2.00"."""
        return self.is_number and any("." in cell or "," in cell for cell in self.filled)

    @property
    def is_currency(self) -> bool:
        return bool(self.filled) and all(cell.upper() in currencies_by_digits() for cell in set(self.filled))

    @property
    def is_country(self) -> bool:
        return bool(self.filled) and all(cell in COUNTRIES for cell in set(self.filled))

    @property
    def is_time(self) -> bool:
        return bool(self.filled) and all(is_time(cell) for cell in set(self.filled))

    @property
    def signs(self) -> tuple[int, int]:
        """How many cells are positive, and how many negative."""
        values = [number for number in self.numbers if number]
        return sum(value > 0 for value in values), sum(value < 0 for value in values)


@dataclass(frozen=True)
class Evidence:
    """What all steps of the proposer look at.

    Attributes:
        currency: the source's, for amounts without a currency of their own.
        shop_zone: IANA zone of the shop.
    """

    sample: Sample
    columns: tuple[Column, ...]
    style: NumberStyle
    currency: str
    shop_zone: str


@dataclass(frozen=True)
class Choice:
    """Why a column was taken for a field: a score (100 is a name of the field's own) and the reason in words."""

    column: Column
    score: int
    reason: str


def build_columns(sample: Sample, style: NumberStyle) -> list[Column]:
    """Profile of every column of a sample."""
    columns = []
    for position, name in enumerate(sample.columns):
        cells = tuple(sample.cells(position))
        words = fold_name(name) if sample.header_row else ()
        columns.append(
            Column(
                position=position,
                name=name,
                words=words,
                cells=cells,
                numbers=tuple(parse_number(cell, style) if cell else None for cell in cells),
                dates=find_dates([cell for cell in cells if cell]),
                personal=looks_personal(words, cells),
            )
        )
    return columns


def looks_personal(words: Sequence[str], cells: Iterable[str]) -> bool:
    """A person's name, e-mail, phone or address, by the column's name or by e-mail addresses in its cells."""
    filled = [cell for cell in cells if cell]
    if filled and sum(_EMAIL.fullmatch(cell) is not None for cell in filled) > 0.2 * len(filled):
        return True
    if " ".join(words) in PERSONAL_PHRASES or PERSONAL_WORDS.intersection(words):
        return True
    if "billing" in words:
        return True
    return "name" in words and bool(PERSONAL_NAME_OF.intersection(words))


def name_score(words: Sequence[str], phrases: Sequence[str]) -> int:
    """How well a column's name fits a field's phrases: 100 at best, 0 where it doesn't."""
    if not words:
        return 0
    joined, best = "".join(words), 0
    for rank, phrase in enumerate(phrases):
        parts = phrase.split()
        if joined == "".join(parts):
            return max(100 - rank, 70, best)
        if phrase in GENERIC and set(words) - FILLERS != {phrase}:
            continue
        if len(parts) < len(words) and any(
            tuple(words[at : at + len(parts)]) == tuple(parts) for at in range(len(words) - len(parts) + 1)
        ):
            extra = [word for word in words if word not in parts and word not in FILLERS]
            codes = [word for word in extra if word.upper() in currencies_by_digits()]
            score = 72 - rank - 8 * (len(extra) - len(codes)) + 4 * (len(parts) - 1)
            best = max(best, score)
    return max(best, 0)


def fits(column: Column, field: Field, kind: str) -> bool:
    """Whether the column's values could be this field's; a column without values fits by its name alone."""
    if field.type == MONEY and _NOT_MONEY.intersection(column.words):
        return False
    if field.type == MONEY and _GIVEN_BACK.intersection(column.words) and not field.name.startswith("refunded"):
        return False
    if not column.filled:
        return field.type != CHOICE
    if field.type == MONEY:
        return column.is_number
    if field.type == WHOLE:
        return column.is_whole and max((abs(number or 0) for number in column.numbers), default=0) < 10 ** (
            SCALE_DIGITS + 5
        )
    if field.type == MOMENT:
        return column.dates is not None
    if field.type == FLAG:
        return has_few_words(column) or all(cell.lower() in YES_AND_NO for cell in set(column.filled))
    if field.type == CHOICE:
        return has_few_words(column)
    return _fits_text(column, field.name, kind)


def _fits_text(column: Column, field: str, kind: str) -> bool:
    if field in ("currency", "charged_currency"):
        return column.is_currency
    if field == "ship_country":
        return column.is_country
    if field == "ship_region":
        return all(_REGION.fullmatch(cell) for cell in set(column.filled))
    if field == "event_id":
        return kind == "bank" or is_unique(column)
    if field in ("order_id", "order_ref", "payment_ref", "payout_id"):
        money = column.is_number and not column.is_whole
        dated = column.dates is not None and not column.is_number
        return not money and not dated and not column.is_currency
    return column.dates is None or column.is_number


def has_few_words(column: Column) -> bool:
    """Some words that come again and again, and no numbers in them: words for a kind of thing, not texts or ids."""
    if not column.filled or column.dates or column.is_number or column.distinct > max(12, len(column.filled) // 5):
        return False
    words = set(column.filled)
    return sum(_LONG_NUMBER.search(word) is not None for word in words) <= len(words) // 5


def is_unique(column: Column) -> bool:
    """An id on every row, no two alike."""
    return len(column.filled) == len(column.cells) == column.distinct and column.distinct > 0


def score_column(column: Column, field: Field, kind: str) -> int:
    """Score of a column for a field by name, 0 where name or values speak against it."""
    if column.personal and not (kind == "bank" and field.name == "counterparty"):
        return 0
    if "_".join(column.words) == field.name:
        score = 120
    else:
        score = name_score(column.words, COLUMN_WORDS[kind].get(field.name, ()))
        if score < _SURE_SCORE - 20 and field.name in _WHOLE_NAME_ONLY:
            return 0
    if score <= 20 or not fits(column, field, kind):
        return 0
    if column.filled:
        return score
    return max(score - _WITHOUT_VALUES, 0) if score >= _BLANK_SCORE else 0


def choose_by_name(columns: Sequence[Column], kind: str) -> dict[str, Choice]:
    """The columns taken for fields by their names, the best fit first, each column once."""
    scored = [
        (score, -field_place, -column.position, field, column)
        for field_place, field in enumerate(KINDS[kind])
        for column in columns
        if (score := score_column(column, field, kind))
    ]
    scored.sort(key=lambda entry: entry[:3], reverse=True)
    chosen: dict[str, Choice] = {}
    taken: set[int] = set()
    for score, _, _, field, column in scored:
        if field.name in chosen or column.position in taken:
            continue
        taken.add(column.position)
        chosen[field.name] = Choice(column, score, _name_reason(column, field.name))
    return chosen


def _name_reason(column: Column, field: str) -> str:
    if "_".join(column.words) == field:
        return "named so"
    return "no values in the sample" if not column.filled else "by its name, and its values fit"


def reference_shape(column: Column) -> tuple[str, bool] | None:
    """(what stands before the number in every reference, whether some have a part number behind it), or None."""
    matches = [_REFERENCE.fullmatch(cell) for cell in set(column.filled)]
    if not matches or not all(matches):
        return None
    found = [match for match in matches if match]
    prefixes = {match["prefix"] for match in found}
    if len(prefixes) != 1:
        return None
    return prefixes.pop(), any(match["suffix"] for match in found)
