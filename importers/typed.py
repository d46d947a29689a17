"""Texts to typed rows, set-wise in DuckDB: the one typing path of all kinds of file.

Place in the flow: `TextTable` → this module → a temporary table with every canonical field. One statement types the
whole file; unreadable cells carry a mark, which a second, cheap statement counts; only then, and only for the rows that
are marked, `diagnosis` reads the texts again to say what is wrong with them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import duckdb

from importers import cells
from importers.layout import SIGNED_BY, Mapping, Split
from importers.text_tables import TextTable, quote_name, quote_text
from ledger_tools.money import minor_digits
from ledger_tools.records import CHOICE, FLAG, KINDS, MOMENT, MONEY, SQL_TYPES, TEXT, WHOLE, Field

FREE_TEXTS = frozenset({"item", "memo", "counterparty"})
#: Columns of the stage beside the canonical fields: the declared skip that takes the row, whether it states a
#: currency itself, and unknown words.
SKIPPED_BY = "skipped_by"
CURRENCY_GIVEN = "currency_given"
UNKNOWN_WORD = "unknown_word_of_"
_WORD = "word_of_"


@dataclass(frozen=True)
class Typing:
    """What the typing of one file needs to know.

    Attributes:
        currency: of rows that state none.
        shop_zone: IANA name of the zone that moments are converted to.
        careful: understand every way of writing amounts and moments. Most files are plain, and a plain statement is
            planned many times faster, so a file is typed plainly first and carefully only where a cell asks for it.
    """

    table: TextTable
    mapping: Mapping
    currency: str
    shop_zone: str
    careful: bool = False

    @property
    def fields(self) -> tuple[Field, ...]:
        """The canonical fields of the kind."""
        return KINDS[self.mapping.kind]

    def sources(self, field: str) -> tuple[str, ...]:
        """SQL names of the columns that give a field; none where the file lacks them."""
        names = [self.table.sql_name(column) for column in self.mapping.columns.get(field, ())]
        return tuple(name for name in names if name)

    def is_given(self, field: str) -> bool:
        """Whether the file or the mapping states the field at all."""
        return bool(self.sources(field)) or field in self.mapping.split or field in self.mapping.constants

    def choice_fields(self) -> tuple[Field, ...]:
        """The fields with fixed words that the file states."""
        return tuple(entry for entry in self.fields if entry.type in (CHOICE, FLAG) and self.is_given(entry.name))

    def cell(self, field: str) -> str:
        """SQL expression of the text of a field: its columns joined by a blank, the constant where they are blank."""
        names, constant = self.sources(field), self.mapping.constants.get(field)
        if not names:
            return quote_text(constant) if constant is not None else "NULL::VARCHAR"
        joined = (
            names[0]
            if len(names) == 1
            else f"nullif(concat_ws(' ', {', '.join(f'trim({each})' for each in names)}), '')"
        )
        return f"coalesce(nullif(trim({joined}), ''), {quote_text(constant)})" if constant is not None else joined


def create_stage(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> None:
    """Creates the temporary table of typed rows, in the file's order, with `record` and the helper columns.

    Raises:
        duckdb.Error: the file's rows have no common shape; `TextTable.explain` tells more.
    """
    name = quote_name(stage)
    connection.execute(f"CREATE TEMP TABLE {name} AS {stage_query(typing)}")
    if _has_unreadable(connection, typing, stage):
        for statement in cells.macro_statements():
            connection.execute(statement)
        connection.execute(f"DROP TABLE {name}")
        connection.execute(f"CREATE TEMP TABLE {name} AS {stage_query(replace(typing, careful=True))}")
    connection.execute(f"UPDATE {quote_name(stage)} SET record = rowid + 1")


def _has_unreadable(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> bool:
    """Whether any amount, count or moment carries the mark of an unreadable cell."""
    marks = {MONEY: cells.UNREADABLE_NUMBER, WHOLE: cells.UNREADABLE_NUMBER, MOMENT: cells.UNREADABLE_MOMENT}
    tests = [
        f"bool_or({quote_name(entry.name)} = {marks[entry.type]})"
        for entry in typing.fields
        if entry.type in marks and typing.is_given(entry.name)
    ]
    if not tests:
        return False
    return any(connection.execute(f"SELECT {', '.join(tests)} FROM {quote_name(stage)}").fetchall()[0])


def stage_query(typing: Typing) -> str:
    """The statement that types all rows of a file."""
    currency = typing.cell("currency")
    has_currency = bool(typing.sources("currency"))
    row_currency = f"coalesce({cells.code(currency)}, {quote_text(typing.currency)})" if has_currency else quote_text(
        typing.mapping.constants.get("currency", typing.currency)
    )  # fmt: skip
    usual = minor_digits(typing.currency if has_currency else typing.mapping.constants.get("currency", typing.currency))
    decimals = cells.digits("row_currency", typing.currency) if has_currency else str(usual)
    columns = [f"{_value(typing, entry, usual)} AS {quote_name(entry.name)}" for entry in typing.fields]
    columns += [f"{typing.cell(entry.name)} AS {_WORD}{entry.name}" for entry in typing.choice_fields()]
    unknown = "".join(f", {_unknown_word(entry)}" for entry in typing.choice_fields())
    words = ", ".join(f"{_WORD}{entry.name}" for entry in typing.choice_fields())
    hidden = f" EXCLUDE ({words})" if words else ""
    given = f"coalesce(trim({currency}), '') <> ''" if has_currency else "true"
    return (
        f"SELECT *{hidden}{unknown} FROM ("
        f"SELECT 0::INTEGER AS record, {_skip_place(typing)} AS {SKIPPED_BY}, {given} AS {CURRENCY_GIVEN}, "
        f"{', '.join(columns)} FROM (SELECT *, {decimals} AS decimals, {_charged_decimals(typing)} AS charged_decimals "
        f"FROM (SELECT *, {row_currency} AS row_currency FROM {typing.table.relation})))"
    )


def _charged_decimals(typing: Typing) -> str:
    if not typing.is_given("charged_currency"):
        return "NULL"
    return cells.digits(f"coalesce({cells.code(typing.cell('charged_currency'))}, row_currency)", typing.currency)


def _skip_place(typing: Typing) -> str:
    """1-based place of the declared skip that takes a row, else NULL."""
    cases = []
    for place, skip in enumerate(typing.mapping.skips, start=1):
        name = typing.table.sql_name(skip.column)
        test = f"regexp_full_match(coalesce(trim({name}), ''), {quote_text(skip.pattern)}, 'i')"
        cases.append(f"WHEN {test} THEN {place}")
    return f"CASE {' '.join(cases)} END" if cases else "NULL::INTEGER"


def _value(typing: Typing, entry: Field, usual: int) -> str:
    cell, shape, name = typing.cell(entry.name), typing.mapping.file, entry.name
    sign = typing.mapping.signs.get(name)
    if name == "currency":
        return "row_currency"
    if not typing.is_given(name):
        return f"NULL::{SQL_TYPES[entry.type]}"
    if name == "charged_currency":
        return cells.code(cell)
    if entry.type == MONEY:
        return _money(typing, name, usual, sign)
    if entry.type == WHOLE:
        return cells.whole_number(cell, shape, sign, careful=typing.careful)
    if entry.type == MOMENT:
        return cells.moment(cell, shape, typing.shop_zone, careful=typing.careful)
    if entry.type in (CHOICE, FLAG):
        value = cells.word(cell, _meanings(typing, entry), _deciding_amount(typing, usual))
        return f"({value})::BOOLEAN" if entry.type == FLAG else value
    assert entry.type == TEXT
    return cells.text(cell, typing.table.plain, typing.table.quoted, name in FREE_TEXTS)


def _money(typing: Typing, name: str, usual: int, sign: str | None) -> str:
    shape = typing.mapping.file
    decimals, currency = "decimals", "row_currency"
    if not typing.sources("currency"):
        decimals = str(usual)
    if name == "charged_amount" and typing.is_given("charged_currency"):
        decimals = "charged_decimals"
        currency = f"coalesce({cells.code(typing.cell('charged_currency'))}, row_currency)"
    split = typing.mapping.split.get(name)
    if split is None:
        return cells.amount(typing.cell(name), shape, decimals, usual, currency, sign, careful=typing.careful)
    return _split_money(typing, split, decimals, usual, currency)


def _split_money(typing: Typing, split: Split, decimals: str, usual: int, currency: str) -> str:
    """Money in less money out; a row that states both is unreadable."""
    shape = typing.mapping.file
    paid_in, paid_out = (typing.table.sql_name(column) for column in (split.paid_in, split.paid_out))
    assert paid_in is not None, "missing columns are refused before a file is typed"
    assert paid_out is not None, "missing columns are refused before a file is typed"
    amount_in = cells.amount(paid_in, shape, decimals, usual, currency, None, careful=typing.careful)
    amount_out = cells.amount(paid_out, shape, decimals, usual, currency, "absolute", careful=typing.careful)
    bad = str(cells.UNREADABLE_NUMBER)
    return (
        f"CASE WHEN ({amount_in}) = {bad} OR ({amount_out}) = {bad} "
        f"OR (coalesce({amount_in}, 0) <> 0 AND coalesce({amount_out}, 0) <> 0) THEN {bad} "
        f"ELSE coalesce({amount_in} - coalesce({amount_out}, 0), -({amount_out})) END"
    )


def _meanings(typing: Typing, entry: Field) -> dict[str, tuple[str, str]]:
    own = typing.mapping.words.get(entry.name, {})
    if entry.type == FLAG:
        return cells.flag_meanings(own)
    return {choice: (choice, choice) for choice in entry.choices} | own


def _deciding_amount(typing: Typing, usual: int) -> str:
    """The amount whose sign picks the meaning of a word: after a flip, but before a sign is taken off."""
    name = SIGNED_BY[typing.mapping.kind]
    if typing.mapping.derive.get(name) == "net+fee":
        net, fee = (_money(typing, each, usual, typing.mapping.signs.get(each)) for each in ("net", "fee"))
        return f"(({net}) + coalesce({fee}, 0))"
    sign = typing.mapping.signs.get(name)
    return f"({_money(typing, name, usual, None if sign == 'absolute' else sign)})"


def _unknown_word(entry: Field) -> str:
    cell = f"{_WORD}{entry.name}"
    test = f"{quote_name(entry.name)} IS NULL AND NOT {cells.is_blank(cell)}"
    return f"CASE WHEN {test} THEN trim({cell}) END AS {quote_name(UNKNOWN_WORD + entry.name)}"


def drop_helpers(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> None:
    """Leaves `record` and the canonical fields."""
    for helper in (SKIPPED_BY, CURRENCY_GIVEN, *(f"{UNKNOWN_WORD}{entry.name}" for entry in typing.choice_fields())):
        connection.execute(f"ALTER TABLE {quote_name(stage)} DROP COLUMN {quote_name(helper)}")
