"""The text of a mapping file, read and checked: every problem at once, each with the key that holds it.

Place in the flow: `mappings/<source>.toml` → this module → `Mapping`, before an export is typed. Patterns and date
formats are tried on DuckDB,
which applies them later.
"""

from __future__ import annotations

import codecs
import contextlib
import datetime
import tomllib
import zoneinfo
from collections.abc import Iterable
from typing import Any

import duckdb

from importers.layout import (
    DELIMITERS,
    SUPPLIED,
    WHITESPACE,
    FileShape,
    Mapping,
    Skip,
    Split,
    canonical_mapping,
    fold_word,
)
from ledger_tools.calendar import Period
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import currencies_by_digits
from ledger_tools.records import CHOICE, DATED_BY, FLAG, KINDS, MOMENT, MONEY, WHOLE, Field

__all__ = ["WHITESPACE", "FileShape", "Mapping", "Skip", "Split", "canonical_mapping", "parse_mapping"]

_DERIVATIONS = {
    ("processor", "net"): "gross-fee",
    ("processor", "gross"): "net+fee",
    ("orders", "total"): "lines",
    ("orders", "order_id"): "content",
    ("processor", "event_id"): "content",
    ("wallet", "event_id"): "content",
    ("bank", "event_id"): "content",
}


def parse_mapping(text: str, where: str) -> Mapping:
    """The mapping that a TOML text describes.

    Raises:
        LedgerError: with every problem of the text; `where` (the file's name) leads each, the key follows.
    """
    try:
        document = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise LedgerError(Problem(where, f"is not valid TOML: {error}", "mend the line that is named")) from None
    reading = _Reading(where)
    mapping = reading.mapping(document)
    if reading.problems:
        raise LedgerError(reading.problems)
    return mapping


def pattern_problem(pattern: str, groups: int | None = None) -> str | None:
    """Why DuckDB can't use a regular expression, or has another number of groups in it; None where all is well."""
    connection = duckdb.connect(":memory:")
    try:
        connection.execute("SELECT regexp_matches('', ?)", [pattern]).fetchall()
        if groups is not None and _group_count(connection, pattern) != groups:
            return f"found {_group_count(connection, pattern)} groups in {pattern!r}, expected {groups}"
    except duckdb.Error as error:
        return f"found {pattern!r}, expected a regular expression ({str(error).splitlines()[0]})"
    finally:
        connection.close()
    return None


def _group_count(connection: duckdb.DuckDBPyConnection, pattern: str) -> int:
    count = 0
    while count < 100:
        names = [f"g{place}" for place in range(count + 1)]
        quoted = "'" + pattern.replace("'", "''") + "'"
        try:
            connection.execute(f"SELECT regexp_extract('', {quoted}, {names!r})").fetchall()
        except duckdb.Error:
            return count
        count += 1
    return count


class _Reading:
    """One pass over a mapping's tables; gathers problems instead of stopping at the first."""

    def __init__(self, where: str) -> None:
        self.where = where
        self.problems: list[Problem] = []
        self.fields: dict[str, Field] = {}

    def add(self, key: str, what: str, next_step: str = "") -> None:
        self.problems.append(Problem(f"{self.where}, {key}", what, next_step))

    def mapping(self, document: dict[str, Any]) -> Mapping:
        tables = {"file", "columns", "split", "constants", "signs", "words", "derive", "skip", "covers"}
        for key in document.keys() - tables - {"source", "kind"}:
            self.add(key, "is not a key of a mapping", f"known keys: source, kind, {', '.join(sorted(tables))}")
        source = self.text(document, "source", "source") or ""
        kind = self.text(document, "kind", "kind") or ""
        if kind not in KINDS:
            self.add("kind", f"found {kind!r}, expected one of {', '.join(KINDS)}")
        self.fields = {entry.name: entry for entry in KINDS.get(kind, ())}
        mapping = Mapping(
            source=source,
            kind=kind,
            file=self.shape(self.table(document, "file"), kind),
            columns=self.columns(self.table(document, "columns")),
            split=self.splits(self.table(document, "split")),
            constants=self.constants(self.table(document, "constants")),
            signs=self.signs(self.table(document, "signs")),
            words=self.words(self.table(document, "words")),
            derive=self.derivations(self.table(document, "derive"), kind),
            skips=tuple(self.skips(document.get("skip", []))),
            covers=self.covers(document["covers"]) if "covers" in document else None,
        )
        if kind in KINDS:
            self.check_whole(mapping)
        return mapping

    def table(self, document: dict[str, Any], key: str) -> dict[str, Any]:
        value = document.get(key, {})
        if isinstance(value, dict):
            return value
        self.add(f"[{key}]", f"found {value!r}, expected a table")
        return {}

    def text(self, table: dict[str, Any], name: str, key: str, required: bool = True) -> str | None:
        value = table.get(name)
        if value is None and not required:
            return None
        if isinstance(value, str) and value:
            return value
        self.add(key, "is missing" if value is None else f"found {value!r}, expected a text that is not empty")
        return None

    def known(self, name: str, key: str) -> Field | None:
        """The field of that name; a problem where the kind has none. Silent while the kind itself is unknown."""
        if self.fields and name not in self.fields:
            self.add(key, f"{name!r} is not a field of this kind", f"fields: {', '.join(self.fields)}")
        return self.fields.get(name)

    def one_of(self, table: dict[str, Any], name: str, allowed: Iterable[str], default: str) -> str:
        value = table.get(name, default)
        if value not in allowed:
            self.add(f"[file] {name}", f"found {value!r}, expected one of {', '.join(map(repr, allowed))}")
        return str(value)

    def shape(self, table: dict[str, Any], kind: str) -> FileShape:
        for key in table.keys() - FileShape.__dataclass_fields__.keys():
            self.add(
                f"[file] {key}", "is not a key of this table", f"keys: {', '.join(FileShape.__dataclass_fields__)}"
            )
        texts = {
            name: self.text(table, name, f"[file] {name}", required=False)
            for name in ("name_pattern", "encoding", "delimiter", "sheet", "zone", "reference_pattern")
        }
        self.check_file_texts(texts)
        header_row = table.get("header_row", 1)
        if not isinstance(header_row, int) or isinstance(header_row, bool) or not 0 <= header_row <= 1000:
            self.add("[file] header_row", f"found {header_row!r}, expected a whole number from 0 to 1000")
            header_row = 1
        decimal_mark = self.one_of(table, "decimal_mark", (".", ","), ".")
        thousands_mark = self.one_of(table, "thousands_mark", ("", ".", ",", " ", "'"), "")
        if decimal_mark == thousands_mark:
            self.add("[file] thousands_mark", "is the same as decimal_mark, expected another mark")
        order_fields = self.one_of(table, "order_fields", ("every-line", "first-line"), "every-line")
        if "order_fields" in table and kind != "orders":
            self.add("[file] order_fields", "is for orders only", "leave it out")
        return FileShape(
            **texts,
            header_row=header_row,
            decimal_mark=decimal_mark,
            thousands_mark=thousands_mark,
            amounts_in=self.one_of(table, "amounts_in", ("major", "minor"), "major"),
            date_formats=self.date_formats(table.get("date_formats", [])),
            order_fields=order_fields,
        )

    def check_file_texts(self, texts: dict[str, str | None]) -> None:
        encoding, zone, delimiter = texts["encoding"], texts["zone"], texts["delimiter"]
        if encoding is not None:
            try:
                codecs.lookup(encoding)
            except LookupError:
                self.add("[file] encoding", f"found {encoding!r}, expected an encoding such as 'cp1252' or 'utf-8'")
        if zone is not None:
            try:
                zoneinfo.ZoneInfo(zone)
            except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
                self.add("[file] zone", f"found {zone!r}, expected an IANA time zone such as 'UTC'")
        if delimiter is not None and delimiter not in (*DELIMITERS, WHITESPACE):
            self.add("[file] delimiter", f"found {delimiter!r}, expected one of {', '.join(map(repr, DELIMITERS))}"
                     f" or {WHITESPACE!r}")  # fmt: skip
        for name, groups in (("name_pattern", None), ("reference_pattern", 1)):
            pattern = texts[name]
            problem = pattern_problem(pattern, groups) if pattern is not None else None
            if problem:
                self.add(f"[file] {name}", problem)

    def date_formats(self, value: Any) -> tuple[str, ...]:
        if not isinstance(value, list) or not all(isinstance(entry, str) for entry in value):
            self.add("[file] date_formats", f"found {value!r}, expected a list of texts")
            return ()
        connection = duckdb.connect(":memory:")
        try:
            for entry in value:
                try:
                    connection.execute("SELECT try_strptime('', '" + entry.replace("'", "''") + "')").fetchall()
                except duckdb.Error:
                    self.add("[file] date_formats", f"found {entry!r}, expected a format such as '%d/%m/%Y %H:%M'")
        finally:
            connection.close()
        return tuple(value)

    def columns(self, table: dict[str, Any]) -> dict[str, tuple[str, ...]]:
        columns = {}
        for name, value in table.items():
            self.known(name, f"[columns] {name}")
            names = [value] if isinstance(value, str) else value
            if isinstance(names, list) and names and all(isinstance(entry, str) and entry for entry in names):
                columns[name] = tuple(names)
            else:
                self.add(f"[columns] {name}", f"found {value!r}, expected a column's name or a list of them")
        return columns

    def splits(self, table: dict[str, Any]) -> dict[str, Split]:
        splits = {}
        for name, value in table.items():
            entry = self.known(name, f"[split] {name}")
            if entry and entry.type != MONEY:
                self.add(f"[split] {name}", "is not an amount, expected a field that holds money")
            if isinstance(value, dict) and set(value) == {"in", "out"} and all(map(_is_text, value.values())):
                splits[name] = Split(value["in"], value["out"])
            else:
                self.add(f"[split] {name}", f'found {value!r}, expected {{ in = "column", out = "column" }}')
        return splits

    def constants(self, table: dict[str, Any]) -> dict[str, str]:
        for name, value in table.items():
            entry = self.known(name, f"[constants] {name}")
            if not _is_text(value):
                self.add(f"[constants] {name}", f"found {value!r}, expected a text in quotes")
            elif entry and entry.choices and value not in entry.choices:
                self.add(f"[constants] {name}", f"found {value!r}, expected one of {', '.join(entry.choices)}")
            elif name.endswith("currency") and value not in currencies_by_digits():
                self.add(f"[constants] {name}", f"found {value!r}, expected an ISO 4217 code such as 'USD'")
        return {name: value for name, value in table.items() if _is_text(value)}

    def signs(self, table: dict[str, Any]) -> dict[str, str]:
        for name, value in table.items():
            entry = self.known(name, f"[signs] {name}")
            if entry and entry.type not in (MONEY, WHOLE):
                self.add(f"[signs] {name}", "is not a number, expected a field that holds money or a count")
            if value not in ("flip", "absolute"):
                self.add(f"[signs] {name}", f"found {value!r}, expected 'flip' or 'absolute'")
        return {name: str(value) for name, value in table.items()}

    def words(self, table: dict[str, Any]) -> dict[str, dict[str, tuple[str, str]]]:
        words: dict[str, dict[str, tuple[str, str]]] = {}
        for name, entries in table.items():
            entry = self.known(name, f"[words.{name}]")
            if entry and entry.type not in (CHOICE, FLAG):
                self.add(f"[words.{name}]", "holds free text, expected a field with fixed words")
                continue
            if not isinstance(entries, dict):
                self.add(f"[words.{name}]", f"found {entries!r}, expected a table")
                continue
            allowed = ("true", "false") if entry and entry.type == FLAG else entry.choices if entry else ()
            words[name] = {}
            for word, meaning in entries.items():
                pair = _meanings(meaning)
                key = f"[words.{name}] {word!r}"
                if pair is None:
                    self.add(key, f'found {meaning!r}, expected a word or {{ positive = "…", negative = "…" }}')
                    continue
                for value in dict.fromkeys(pair):
                    if allowed and value not in allowed:
                        self.add(key, f"found {value!r}, expected one of {', '.join(allowed)}")
                if fold_word(word) in words[name] and words[name][fold_word(word)] != pair:
                    self.add(key, "stands twice with different meanings (case is ignored)")
                words[name][fold_word(word)] = pair
        return words

    def derivations(self, table: dict[str, Any], kind: str) -> dict[str, str]:
        for name, rule in table.items():
            self.known(name, f"[derive] {name}")
            expected = _DERIVATIONS.get((kind, name))
            if kind in KINDS and expected is None:
                possible = ", ".join(
                    f"{known} = {entry!r}" for (of, known), entry in _DERIVATIONS.items() if of == kind
                )
                self.add(f"[derive] {name}", "can't be derived", f"what can be: {possible}")
            elif expected is not None and rule != expected:
                self.add(f"[derive] {name}", f"found {rule!r}, expected {expected!r}")
        return {name: str(rule) for name, rule in table.items()}

    def skips(self, value: Any) -> Iterable[Skip]:
        if not isinstance(value, list):
            self.add("[[skip]]", f"found {value!r}, expected tables [[skip]]")
            return
        for place, entry in enumerate(value, start=1):
            key = f"[[skip]] {place}"
            if not isinstance(entry, dict) or set(entry) != {"column", "pattern", "reason"}:
                self.add(key, f"found {entry!r}, expected the keys column, pattern and reason")
                continue
            column, pattern, reason = (
                self.text(entry, name, f"{key} {name}") for name in ("column", "pattern", "reason")
            )
            if column and pattern and reason:
                problem = pattern_problem(pattern)
                if problem:
                    self.add(f"{key} pattern", problem)
                yield Skip(column, pattern, reason)

    def covers(self, value: Any) -> Period | None:
        ends = []
        for name in ("from", "to"):
            entry = value.get(name) if isinstance(value, dict) else None
            if isinstance(entry, str):
                with contextlib.suppress(ValueError):
                    entry = datetime.date.fromisoformat(entry)
            if isinstance(entry, datetime.date) and not isinstance(entry, datetime.datetime):
                ends.append(entry)
            else:
                self.add(f"[covers] {name}", f'found {entry!r}, expected a date such as "2031-04-30"')
        if len(ends) < 2:
            return None
        if ends[0] > ends[1]:
            self.add("[covers] to", f"found {ends[1]}, expected a date not before {ends[0]}")
        return Period(ends[0], ends[1])

    def check_whole(self, mapping: Mapping) -> None:
        """What only the tables together can show: fields with two origins, required fields with none."""
        origins = [*mapping.columns, *mapping.split, *mapping.constants, *mapping.derive]
        for name in dict.fromkeys(origins):
            if origins.count(name) > 1 and not (name in mapping.columns and name in mapping.constants):
                self.add(name, "has more than one of a column, a split, a constant and a derivation", "keep one")
        for name in mapping.constants:
            if self.fields.get(name) and self.fields[name].type == MOMENT and name == DATED_BY[mapping.kind]:
                self.add(f"[constants] {name}", "can't be the same for all records", "name its column in [columns]")
        for entry in KINDS[mapping.kind]:
            if entry.required and entry.name not in origins and entry.name not in SUPPLIED:
                step = f'name its column under [columns]: {entry.name} = "…"'
                if entry.name == "order_id":
                    step += ', or, only where every order has one row, put order_id = "content" under [derive]'
                self.add(f"[columns] {entry.name}", "is missing: the field is required", step)
        for name in mapping.signs:
            if name in self.fields and name not in mapping.columns:
                self.add(f"[signs] {name}", "has no column whose sign could change", "name its column under [columns]")
        net_and_gross = {"net", "gross"} <= mapping.derive.keys()
        if net_and_gross:
            self.add("[derive] net", "net and gross can't both be derived from each other", "name a column for one")


def _is_text(value: object) -> bool:
    return isinstance(value, str) and value != ""


def _meanings(value: object) -> tuple[str, str] | None:
    if isinstance(value, str) and value:
        return value, value
    if isinstance(value, dict) and set(value) == {"positive", "negative"} and all(map(_is_text, value.values())):
        return value["positive"], value["negative"]
    return None
