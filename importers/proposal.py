"""A mapping being proposed: what was decided, what was not, and the commented TOML text that says both.

Used by the mapping proposer. Whatever it refuses to guess is a question; every line that could answer the question
stands in the text as a comment in its place, so that taking away the "#" of one answers it. Column names come from a
file and are data: they are quoted as TOML strings, and stripped of control characters where a comment shows them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import tomlkit

from ledger_tools.errors import Problem

_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]+")
#: Signs that break lines or turn the direction of text without being seen; escaped where a string holds them.
_UNSEEN = re.compile(r"[\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]")
_FILE_KEYS = (
    "encoding", "delimiter", "header_row", "sheet", "decimal_mark", "thousands_mark", "amounts_in", "zone",
    "date_formats", "order_fields", "reference_pattern",
)  # fmt: skip


@dataclass(frozen=True)
class ColumnUse:
    """What became of one column of the file.

    Attributes:
        column: its name in the file.
        field: our field, or empty where no field takes it.
        reason: why, in words.
    """

    column: str
    field: str
    reason: str


@dataclass(frozen=True)
class Proposal:
    """A mapping proposed for an export that was never seen before.

    Attributes:
        source: name of the source.
        kind: kind of export, guessed where it was not given.
        toml: the mapping's text, with comments; `parse_mapping` accepts it once no question is about a required field.
        questions: what was not guessed, each with the line that answers it.
        notes: what was decided beyond names of columns, and on what evidence.
        uses: every column of the file in its order.
    """

    source: str
    kind: str
    toml: str
    questions: tuple[Problem, ...]
    notes: tuple[str, ...]
    uses: tuple[ColumnUse, ...]


@dataclass
class Draft:
    """The mapping while it is put together; a key of `tables` is a table, its rows are (key, TOML value, comment)."""

    name: str
    source: str
    kind: str
    card: bool = False
    tables: dict[str, dict[str, tuple[str, str]]] = field(default_factory=dict)
    words: list[tuple[str, str, str]] = field(default_factory=list)
    skips: list[tuple[str, str, str]] = field(default_factory=list)
    asked: dict[str, list[tuple[str, list[str]]]] = field(default_factory=dict)
    questions: list[Problem] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    uses: dict[str, tuple[list[str], str]] = field(default_factory=dict)

    def put(self, table: str, key: str, value: object, comment: str = "") -> None:
        """Set a key of a table; a later value for the same key replaces the earlier one."""
        self.tables.setdefault(table, {})[key] = (toml_value(value), comment)

    def take_back(self, table: str, key: str) -> None:
        self.tables.get(table, {}).pop(key, None)

    def map_column(self, name: str, columns: Sequence[str], reason: str) -> None:
        """Take one column, or several joined by a blank, for a field."""
        self.put("columns", name, columns[0] if len(columns) == 1 else list(columns), reason)
        for column in columns:
            self.use(column, name, reason)

    def use(self, column: str, name: str, reason: str) -> None:
        fields, _ = self.uses.get(column, ([], ""))
        self.uses[column] = ([*fields, name], reason)

    def ask(self, table: str, where: str, what: str, answers: Sequence[tuple[str, object, str]]) -> None:
        """Put a question; each answer is (key, value, what it would mean) and stands in the table as a comment."""
        lines = [f"{toml_key(key)} = {toml_value(value)}" for key, value, _ in answers]
        said = [
            f"`{line}`" + (f" ({meaning})" if meaning else "")
            for line, (_, _, meaning) in zip(lines, answers, strict=True)
        ]
        heading = f"[{table}]" if table else "the top of the mapping"
        place = f"{self.name}, {where}" if where else self.name
        self.questions.append(Problem(one_line(place), one_line(what), f"put {' or '.join(said)} under {heading}"))
        shown = [
            line + (f"  # {one_line(meaning)}" if meaning else "")
            for line, (_, _, meaning) in zip(lines, answers, strict=True)
        ]
        self.asked.setdefault(table, []).append((what, shown))

    def refuse(self, where: str, what: str, next_step: str) -> None:
        """Say what no line of a mapping can mend."""
        self.questions.append(Problem(one_line(f"{self.name}, {where}"), one_line(what), next_step))


def one_line(text: str) -> str:
    return _CONTROL.sub(" ", text).strip()


def count_rows(number: int) -> str:
    return "1 row" if number == 1 else f"{number:,} rows"


def toml_value(value: object) -> str:
    """A value as TOML; control characters are escaped, so that no text from a file can leave its string."""
    if isinstance(value, tuple):
        value = dict(zip(("positive", "negative"), value, strict=True))
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml_value(entry)}" for key, entry in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(toml_value(entry) for entry in value) + "]"
    return _UNSEEN.sub(lambda sign: f"\\u{ord(sign[0]):04x}", tomlkit.item(value).as_string())


def toml_key(key: str) -> str:
    return key if re.fullmatch(r"[A-Za-z0-9_-]+", key) else toml_value(key)


def render_toml(draft: Draft, preface: str) -> str:
    """The mapping's text: tables in the order of the format's description, reasons behind each line."""
    lines = [f"# {one_line(preface)}"]
    lines += _questions_of(draft, "")
    lines += [f"source = {toml_value(draft.source)}", f"kind = {toml_value(draft.kind)}"]
    words = sorted(table for table in {*draft.tables, *draft.asked} if table.startswith("words."))
    for table in ("file", "columns", "split", "constants", "signs", *words, "derive"):
        rows = [(toml_key(key), value, comment) for key, (value, comment) in _rows_of(draft, table)]
        asked = _questions_of(draft, table)
        if rows or asked:
            lines += ["", f"[{table}]"]
        lines += [f"{key} = {value}" + (f"  # {one_line(comment)}" if comment else "") for key, value, comment in rows]
        lines += asked
    for column, pattern, reason in draft.skips:
        lines += ["", "[[skip]]", f"column = {toml_value(column)}", f"pattern = {toml_value(pattern)}"]
        lines += [f"reason = {toml_value(reason)}"]
    return "\n".join(lines) + "\n"


def _rows_of(draft: Draft, table: str) -> list[tuple[str, tuple[str, str]]]:
    rows = list(draft.tables.get(table, {}).items())
    if table == "file":
        rows.sort(key=lambda row: _FILE_KEYS.index(row[0]))
    return rows


def _questions_of(draft: Draft, table: str) -> list[str]:
    lines: list[str] = []
    for what, answers in draft.asked.get(table, []):
        lines.append(f"# QUESTION: {one_line(what)}")
        lines += [f"# {answer}" for answer in answers]
    return lines


def finish(draft: Draft, columns: Sequence[tuple[str, str]]) -> Proposal:
    """The finished proposal; `columns` are all columns of the file with the reason where no field takes them."""
    uses = []
    for name, why_not in columns:
        fields, reason = draft.uses.get(name, ([], ""))
        uses.append(ColumnUse(name, ", ".join(fields), reason if fields else why_not))
    preface = f"Proposed from {draft.name}; check it, then import. Every line may be edited."
    return Proposal(
        source=draft.source,
        kind=draft.kind,
        toml=render_toml(draft, preface),
        questions=tuple(draft.questions),
        notes=tuple(draft.notes),
        uses=tuple(uses),
    )
