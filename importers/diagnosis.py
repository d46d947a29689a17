"""What is wrong with the rows of a file, in words: where, what was found, what was expected, and what to do.

Place in the flow: after `typed` has staged a file. Counting is one cheap statement over the typed rows; the texts are
read again only for the records that are listed.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable

import duckdb

from importers import cells
from importers.layout import SUPPLIED
from importers.text_tables import PROBLEMS_LISTED, quote_name, quote_text
from importers.typed import FREE_TEXTS, UNKNOWN_WORD, Typing
from importers.value_patterns import DateReading, find_dates, swapped
from ledger_tools.errors import Problem
from ledger_tools.money import currencies_by_digits, format_amount
from ledger_tools.records import CHOICE, FLAG, MOMENT, MONEY, TEXT, WHOLE, Field

FIRST_YEAR, LAST_YEAR = 1990, 2100


def find_problems(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> list[Problem]:
    """Every unreadable cell, unknown word and unknown currency of the staged rows, in the order of the file."""
    tests = {entry.name: test for entry in typing.fields if (test := _fault(connection, typing, stage, entry))}
    counts = _count(connection, stage, tests)
    problems: list[tuple[int, Problem]] = []
    for entry in typing.fields:
        if not counts.get(entry.name):
            continue
        if entry.type in (CHOICE, FLAG):
            problems += _unknown_words(connection, typing, stage, entry)
        elif entry.name in ("currency", "charged_currency"):
            problems += _unknown_currencies(connection, typing, stage, entry, tests[entry.name])
        else:
            problems += _unreadable_cells(connection, typing, stage, entry, tests[entry.name])
    return [problem for _, problem in sorted(problems, key=lambda each: each[0])]


def find_missing(
    connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, supplied: Iterable[str] = ()
) -> list[Problem]:
    """Every required field that a record leaves blank, `supplied` ones apart."""
    spared = {*supplied, "currency"}
    required = [entry for entry in typing.fields if entry.required and entry.name not in spared]
    tests = {entry.name: f"{quote_name(entry.name)} IS NULL{_no_word(typing, entry)}" for entry in required}
    counts = _count(connection, stage, tests)
    problems = []
    for entry in required:
        if counts.get(entry.name):
            for record, _ in _marked_records(connection, typing, stage, entry.name, tests[entry.name]):
                problems.append((record, _missing(typing, record, entry)))
    return [problem for _, problem in sorted(problems, key=lambda each: each[0])]


def column_label(typing: Typing, field: str) -> str:
    """The file's own name for a field, as messages give it."""
    split = typing.mapping.split.get(field)
    columns = (split.paid_in, split.paid_out) if split else typing.mapping.columns.get(field, (field,))
    return f"column{'s' if len(columns) > 1 else ''} {' and '.join(columns)}"


def _first_column(typing: Typing, field: str) -> str:
    split = typing.mapping.split.get(field)
    return split.paid_in if split else typing.mapping.columns.get(field, (field,))[0]


def skip_line(typing: Typing, column: str, text: str) -> str:
    """The mapping's line that declares rows with this cell as skipped."""
    escaped = re.sub(r"([\\.^$*+?()\[\]{}|])", r"\\\1", text)
    pattern = json.dumps(f"^{escaped}$", ensure_ascii=False)
    return f'skip = [{{ column = {json.dumps(column, ensure_ascii=False)}, pattern = {pattern}, reason = "…" }}]'


def mapping_file(typing: Typing) -> str:
    """Where the mapping of the file's source stands."""
    return f"mappings/{typing.mapping.source}.toml"


def cell_texts(
    connection: duckdb.DuckDBPyConnection, typing: Typing, field: str, records: Iterable[int]
) -> dict[int, str]:
    """What the file says in a field's columns, by record."""
    split = typing.mapping.split.get(field)
    cell = typing.cell(field)
    if split:
        names = [typing.table.sql_name(column) for column in (split.paid_in, split.paid_out)]
        cell = f"concat_ws(' and ', {', '.join(str(name) for name in names)})"
    wanted = ", ".join(str(record) for record in records)
    if not wanted:
        return {}
    rows = connection.execute(
        f"SELECT record, text FROM (SELECT row_number() OVER () AS record, {cell} AS text "
        f"FROM {typing.table.relation}) WHERE record IN ({wanted})"
    ).fetchall()
    return {record: "" if text is None else str(text) for record, text in rows}


def _no_word(typing: Typing, entry: Field) -> str:
    return f" AND {quote_name(UNKNOWN_WORD + entry.name)} IS NULL" if entry in typing.choice_fields() else ""


def _fault(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, entry: Field) -> str | None:
    """SQL test for a value that the file states and that can't stand; None where the file doesn't state the field."""
    name = quote_name(entry.name)
    if entry.name in ("currency", "charged_currency"):
        codes = connection.execute(
            f"SELECT DISTINCT {name} FROM {quote_name(stage)} WHERE {name} IS NOT NULL"
        ).fetchall()
        unknown = sorted({str(row[0]) for row in codes} - currencies_by_digits().keys())
        return f"{name} IN ({', '.join(map(quote_text, unknown)) or 'NULL'})"
    if not typing.is_given(entry.name):
        return None
    if entry.type in (MONEY, WHOLE):
        return f"{name} = {cells.UNREADABLE_NUMBER}"
    if entry.type == MOMENT:
        return f"({name} < TIMESTAMP '{FIRST_YEAR}-01-01' OR {name} >= TIMESTAMP '{LAST_YEAR + 1}-01-01')"
    if entry.type in (CHOICE, FLAG):
        return f"{quote_name(UNKNOWN_WORD + entry.name)} IS NOT NULL"
    if entry.type == TEXT and entry.name not in FREE_TEXTS:
        # bytes are counted first, which costs next to nothing
        return f"strlen({name}) > {cells.TEXT_LENGTH} AND length({name}) > {cells.TEXT_LENGTH}"
    return None


def _count(connection: duckdb.DuckDBPyConnection, stage: str, tests: dict[str, str]) -> dict[str, int]:
    if not tests:
        return {}
    counts = ", ".join(f"count(*) FILTER (WHERE {test})" for test in tests.values())
    row = connection.execute(f"SELECT {counts} FROM {quote_name(stage)}").fetchall()[0]
    return dict(zip(tests, row, strict=True))


def _marked_records(
    connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, field: str, test: str
) -> list[tuple[int, str]]:
    """The marked records with their texts: enough to fill the list, the rest with an empty text."""
    rows = connection.execute(f"SELECT record FROM {quote_name(stage)} WHERE {test} ORDER BY record").fetchall()
    records = [int(row[0]) for row in rows]
    texts = cell_texts(connection, typing, field, records[: PROBLEMS_LISTED + 1])
    return [(record, texts.get(record, "")) for record in records]


def _unreadable_cells(
    connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, entry: Field, test: str
) -> Iterable[tuple[int, Problem]]:
    currency = "coalesce(charged_currency, currency)" if entry.name == "charged_amount" else "currency"
    stated = f"SELECT record, {currency} FROM {quote_name(stage)} WHERE {test}" if entry.type == MONEY else None
    currencies = dict(connection.execute(stated).fetchall()) if stated else {}
    marked = _marked_records(connection, typing, stage, entry.name, test)
    together = find_dates([text for _, text in marked if text]) if entry.type == MOMENT else None
    for record, text in marked:
        where = f"{typing.table.file}, record {record}, {column_label(typing, entry.name)}"
        if entry.type == MOMENT:
            what, hint = _expected_moment(typing, text, together or find_dates([text]))
            if hint or re.search(
                r"[0-9]", text
            ):  # every row has a date: a skip by it would leave out all that are alike
                yield record, Problem(where, what, hint or "mend the cell")
                continue
        else:
            what, hint = _expectation(typing, entry, text, str(currencies.get(record)))
        column = _first_column(typing, entry.name)
        declare = f"declare such rows in {mapping_file(typing)}: {skip_line(typing, column, text[:60])}"
        yield record, Problem(where, what, f"{hint}, or {declare}" if hint else f"mend the cell, or {declare}")


def _expectation(typing: Typing, entry: Field, text: str, currency: str) -> tuple[str, str]:
    """What was found and expected in a cell, and the mapping's line that would make it readable, where there is one."""
    found = f"found {text[:60]!r}"
    if entry.type == TEXT:
        return f"found a text of more than {cells.TEXT_LENGTH} characters, expected a short one", ""
    if entry.type == WHOLE:
        return f"{found}, expected a whole number", ""
    if entry.name in typing.mapping.split:
        return f"{found}, expected an amount in one of the two columns", ""
    shape = typing.mapping.file
    if currency not in currencies_by_digits():
        return f"{found}, expected an amount", ""
    digits = currencies_by_digits()[currency]
    mark = re.escape(shape.decimal_mark)
    if re.fullmatch(rf"\s*[-+]?\d+{mark}\d+\s*", text):
        return f"{found}, expected an amount of at most {digits} decimals ({currency})", ""
    example = format_amount(1250, currency).replace(".", shape.decimal_mark)
    expected = f"{found}, expected an amount such as {example}"
    where = f"in {mapping_file(typing)} under [file]"
    if shape.decimal_mark == "." and re.fullmatch(r"[^,]*\d,\d{1,2}\D*", text):
        return expected, f'set decimal_mark = "," {where}'
    if not shape.thousands_mark and re.fullmatch(r"\D*\d{1,3}(,\d{3})+(\.\d*)?\D*", text):
        return expected, f'set thousands_mark = "," {where}'
    if not shape.thousands_mark and re.fullmatch(r"\D*\d{1,3}(\.\d{3})+(,\d*)?\D*", text):
        return expected, f'set thousands_mark = "." and decimal_mark = "," {where}'
    return expected, ""


def _expected_moment(typing: Typing, text: str, reading: DateReading | None) -> tuple[str, str]:
    """What was found and expected in a date, and the formats that would read it: both where day and month could be swapped."""
    found = f"found {text[:60]!r}"
    year = re.match(r"\s*(\d{4})-", text)
    if year and not FIRST_YEAR <= int(year[1]) <= LAST_YEAR:
        return f"{found}, expected a year from {FIRST_YEAR} to {LAST_YEAR}", ""
    if re.match(r"\s*\d{4}-\d{2}-\d{2}", text):
        return f"{found}, expected a date of the calendar, ISO 8601", ""
    known = typing.mapping.file.date_formats
    expected = f"{found}, expected a date such as 2031-04-30" + (f" or as in {', '.join(known)}" if known else "")
    if reading is None or not reading.formats:
        return expected, ""
    likeliest, other = reading.formats[0], swapped(reading.formats[0])
    line = f"date_formats = {json.dumps([likeliest])}"
    if reading.ambiguous:
        orders = ("day", "month") if likeliest.startswith("%d") else ("month", "day")
        line += f" ({orders[0]} first) or {json.dumps([other])} ({orders[1]} first), as the file means it,"
    elif other in known and other != likeliest:
        line += ", if all dates of the file are so,"
    elif known:
        line = f"date_formats = {json.dumps([*known, likeliest])}"
    return expected, f"set {line} in {mapping_file(typing)} under [file]"


def _unknown_words(
    connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, entry: Field
) -> Iterable[tuple[int, Problem]]:
    name = quote_name(UNKNOWN_WORD + entry.name)
    rows = connection.execute(
        f"SELECT any_value(left({name}, 60)), count(*), min(record) FROM {quote_name(stage)} WHERE {name} IS NOT NULL "
        f"GROUP BY lower({name}) ORDER BY 3"
    ).fetchall()
    choices = entry.choices if entry.type == CHOICE else ("true", "false")
    for word, count, record in rows:
        where = f"{typing.table.file}, record {record}, {column_label(typing, entry.name)}"
        times = "once" if count == 1 else f"{count} times"
        line = f"[words.{entry.name}] {json.dumps(word, ensure_ascii=False)} = {json.dumps(choices[0])}"
        column = _first_column(typing, entry.name)
        yield (
            record,
            Problem(
                where,
                f"found the unknown word {word!r} ({times}), expected one of {', '.join(choices)}",
                f"say in {mapping_file(typing)} what it means: {line} (or another of these words), "
                f"or leave such rows out: {skip_line(typing, column, word)}",
            ),
        )


def _unknown_currencies(
    connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, entry: Field, test: str
) -> Iterable[tuple[int, Problem]]:
    name = quote_name(entry.name)
    rows = connection.execute(
        f"SELECT left({name}, 60), count(*), min(record) FROM {quote_name(stage)} WHERE {test} GROUP BY 1 ORDER BY 3"
    ).fetchall()
    for code, count, record in rows:
        where = f"{typing.table.file}, record {record}, {column_label(typing, entry.name)}"
        times = "once" if count == 1 else f"{count} times"
        column = _first_column(typing, entry.name)
        yield (
            record,
            Problem(
                where,
                f"found {code!r} ({times}), expected an ISO 4217 currency code such as USD",
                f"mend the cell, or leave such rows out in {mapping_file(typing)}: {skip_line(typing, column, code)}",
            ),
        )


def _missing(typing: Typing, record: int, entry: Field) -> Problem:
    where = f"{typing.table.file}, record {record}, {column_label(typing, entry.name)}"
    column = _first_column(typing, entry.name)
    hint = skip_line(typing, column, "")
    if entry.name in SUPPLIED:
        hint = f'[derive] {entry.name} = "content" (instead of its column), or {hint}'
    return Problem(
        where,
        f"found nothing, expected {entry.means}",
        f"fill the cell, or say in {mapping_file(typing)}: {hint}",
    )
