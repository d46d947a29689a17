"""What a person decided about open items: `decisions.toml`, an input of the books like the exports.

Each decision says what it is about (the open item as it was), what was decided, why, by whom and when. `match` ties two
records together, `account` moves the item's balance to an account, `take-out` takes a vanished record out of the books,
`accept` takes the item off the list and changes nothing else. An item can be matched with several records, and what is
left of it then be decided once more. The file is a person's: comments in it are kept, and what is wrong with it is
reported with its place.
"""

from __future__ import annotations

import codecs
import os
import re
import tomllib
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import duckdb
from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from ledger_tools.accounts import ACCOUNT_PATTERN
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import parse_amount
from ledger_tools.setting_types import Day
from ledger_tools.settings import told_plainly

SOURCE_NAME = "decisions"

#: What a file that the program begins says first.
HEADING = "# What was decided about open items: who, when, why.\n"

#: What a file begins with, after comments, whose decisions are tables each of its own: more can be appended to it. Nothing
#: else is known to the file, so that its first line of content tells the form of all.
_TABLES = re.compile(r"(?:[ \t]*(?:#[^\n]*)?\r?\n)*[ \t]*\[\[")


class Decision(BaseModel):
    """One decision about one open item.

    Attributes:
        item: id of the open item; a longer one where two items shared it.
        kind: its kind.
        action: what was decided.
        reason: why, in the person's words.
        by: who decided.
        decided_on: the day of the decision.
        item_date: the item's date; an entry of the decision has it.
        source, event_id, order_id: the record that the item is about.
        match_source, match_id: the record that it belongs to (`match`); `match_source` is empty for an order id.
        account, balance_account: where the balance goes to and comes from (`account`).
        amount: the balance moved, debit positive, as decimal text.
        currency: of the amount.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)

    item: str = Field(pattern=r"^[0-9a-f]{8}([0-9a-f]{4})?$")
    kind: str
    action: Literal["match", "account", "accept", "take-out"]
    reason: str = Field(min_length=1)
    by: str = Field(min_length=1)
    decided_on: Day
    item_date: Day
    source: str | None = None
    event_id: str | None = None
    order_id: str | None = None
    match_source: str | None = None
    match_id: str | None = None
    account: str | None = None
    balance_account: str | None = None
    amount: str | None = None
    currency: str | None = None

    @field_validator("account", "balance_account")
    @classmethod
    def _check_account(cls, name: str | None) -> str | None:
        if name is not None and not ACCOUNT_PATTERN.match(name):
            raise ValueError(f"{name!r} is not an account name such as Expenses:BankFees")
        return name

    @model_validator(mode="after")
    def _check_whole(self) -> Decision:
        needed = {
            "match": ("match_id",),
            "account": ("account", "balance_account", "amount", "currency"),
            "accept": (),
            "take-out": (),
        }[self.action]
        missing = [name for name in needed if getattr(self, name) is None]
        if missing:
            raise ValueError(f"the action {self.action} needs {', '.join(missing)}")
        if self.amount is not None and self.currency is not None:
            try:
                parse_amount(self.amount, self.currency)
            except LedgerError as trouble:
                raise ValueError(str(trouble)) from None
        return self


def read_decisions(file: Path) -> tuple[Decision, ...]:
    """Decisions of a books folder, in the file's order; none where there is no file.

    Raises:
        LedgerError: everything that is wrong with the file.
    """
    return _parse(file.read_bytes(), file.name) if file.is_file() else ()


def _parse(content: bytes, name: str) -> tuple[Decision, ...]:
    """Decisions of a file's content; `name` is what a problem calls the file.

    Raises:
        LedgerError: everything that is wrong with it.
    """
    try:
        text = content.decode("utf-8-sig")
        raw = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as trouble:
        raise LedgerError(Problem(name, f"is not valid TOML: {trouble}", "mend the line that it names")) from None
    problems = [Problem(f"{name}, {key}", "is not known", "take it out") for key in raw if key != "decision"]
    tables = raw.get("decision", [])
    if raw and not problems and not (isinstance(tables, list) and _TABLES.match(text)):
        form = "one table" if isinstance(tables, dict) else "a value behind an equals sign"
        step = "write each decision as a table of its own that begins with the line [[decision]]"
        problems.append(Problem(f"{name}, decision", f"is {form}, to which no other decision can be added", step))
    decisions: list[Decision] = []
    for place, table in enumerate(tables if isinstance(tables, list) else [tables], start=1):
        try:
            decisions.append(Decision.model_validate(table))
        except ValidationError as trouble:
            for error in trouble.errors():
                key = ".".join(str(part) for part in error["loc"])
                where = f"{name}, decision {place}" + (f", {key}" if key else "")
                problems.append(Problem(where, told_plainly(error)))
    problems += [
        Problem(f"{name}, item {item}", "is decided twice", "keep one of the two decisions")
        for item in sorted({item for (item, _), times in Counter(map(_said, decisions)).items() if times > 1})
    ]
    if problems:
        raise LedgerError(problems)
    return tuple(decisions)


def _said(decision: Decision) -> tuple[str, tuple[str | None, str | None] | None]:
    """What may be said once only: that an item belongs to a record, and, of what is left of it then, where it goes."""
    is_match = decision.action == "match"
    return decision.item, (decision.match_source, decision.match_id) if is_match else None


def _is_same_item(one: Decision, other: Decision) -> bool:
    """Whether two decisions are about one item: a longer id tells it from another item, which may be gone by now."""
    records = {(each.kind, each.source, each.event_id, each.order_id) for each in (one, other)}
    short, long = sorted((one.item, other.item), key=len)
    return short == long or (len(records) == 1 and long.startswith(short))


#: The line that begins a decision.
_HEAD = re.compile(r"^[ \t]*\[\[[ \t]*[\"']?decision[\"']?[ \t]*\]\]", re.MULTILINE)


@dataclass(frozen=True)
class _Written:
    """The file as it stands: its text with plain line ends, and what surrounds it, so that all of it stays."""

    text: str
    mark: bytes
    line_end: str

    @classmethod
    def read(cls, file: Path) -> _Written:
        """The file's text; our heading where there is no file yet."""
        if not file.is_file():
            return cls(HEADING, b"", "\n")
        content = file.read_bytes()
        text = content.decode("utf-8-sig")
        line_end = "\r\n" if text.count("\r\n") == text.count("\n") > 0 else "\n"
        mark = codecs.BOM_UTF8 if content.startswith(codecs.BOM_UTF8) else b""
        return cls(text.replace("\r\n", "\n") if line_end == "\r\n" else text, mark, line_end)

    def replace(self, file: Path, text: str, decisions: Sequence[Decision]) -> None:
        """Write the file with another text, whole or not at all; the file goes where nothing but our heading is left.

        Raises:
            LedgerError: the text would not read back as the decisions that it shall hold.
        """
        if text.strip() == HEADING.strip():
            file.unlink(missing_ok=True)
            return
        content = self.mark + text.replace("\n", self.line_end).encode("utf-8")
        if _parse(content, file.name) != tuple(decisions):
            what = "would not read back as it was written, so it is left as it was"
            raise LedgerError(Problem(file.name, what, "write each decision in it as a plain [[decision]] table"))
        draft = file.with_suffix(".draft")
        draft.write_bytes(content)
        os.replace(draft, file)


def add_decisions(file: Path, decisions: Sequence[Decision]) -> None:
    """Append decisions, all of them or none; all else in the file stays as it is.

    Raises:
        LedgerError: an item is decided already, or the file is wrong.
    """
    import tomlkit

    known = read_decisions(file)
    for decision in decisions:
        if any(
            _is_same_item(decision, one) and (one.action != "match" or _said(decision)[1] == _said(one)[1])
            for one in known
        ):
            raise LedgerError(
                Problem(
                    f"item {decision.item}",
                    "is decided already",
                    f"withdraw it first: ledger-tools settle {decision.item} --withdraw",
                )
            )
    written = _Written.read(file)
    document = tomlkit.parse(written.text)
    for decision in decisions:
        table = tomlkit.table()
        for name, value in decision.model_dump(exclude_none=True).items():
            table.add(name, value)
        table.add(tomlkit.nl())
        if "decision" not in document:
            document.add("decision", tomlkit.aot())
        tables: Any = document["decision"]
        tables.append(table)
    written.replace(file, tomlkit.dumps(document), [*known, *decisions])


def withdraw_decision(file: Path, item: str) -> tuple[Decision, ...]:
    """Take back the last thing that was decided about an item; all else in the file stays as it is.

    Of an item that was matched and then decided again, for what was left of it, that later decision; else all its matches.

    Args:
        item: the item's id, or an unambiguous beginning of it.

    Returns: what was taken back.

    Raises:
        LedgerError: the item is not decided, or the file is wrong.
    """
    known = read_decisions(file)
    items = sorted({decision.item for decision in known if item and decision.item.startswith(item)})
    if item in items:
        items = [item]
    if len(items) != 1:
        what = "is not decided" if not items else f"begins {len(items)} decided ids: {', '.join(items)}"
        raise LedgerError(Problem(f"item {item}", what, "see what is with: ledger-tools open-items --settled"))
    about = [place for place, decision in enumerate(known) if decision.item == items[0]]
    last = [place for place in about if known[place].action != "match"] or about
    written = _Written.read(file)
    left = [decision for place, decision in enumerate(known) if place not in last]
    written.replace(file, _without(written.text, last), left)
    return tuple(known[place] for place in last)


def _without(text: str, places: Sequence[int]) -> str:
    """The file's text without the tables at these places; comments after a table's last line speak of the next one and stay."""
    starts = [found.start() for found in _HEAD.finditer(text)] + [len(text)]
    for place in reversed(places):
        lines = text[starts[place] : starts[place + 1]].splitlines(keepends=True)
        kept = len(lines)
        while kept and (not lines[kept - 1].strip() or lines[kept - 1].lstrip().startswith("#")):
            kept -= 1
        after = "".join(lines[kept:]).lstrip("\n")
        text = text[: starts[place]] + after + text[starts[place + 1] :]
    return text


def list_decisions(connection: duckdb.DuckDBPyConnection, decisions: tuple[Decision, ...]) -> None:
    """Fill `decision`: what matching, posting and the list of open items take from the decisions."""
    for decision in decisions:
        amount = None
        if decision.amount is not None and decision.currency is not None:
            amount = parse_amount(decision.amount, decision.currency)
        connection.execute(
            "INSERT INTO decision VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
            [
                decision.item, decision.kind, decision.action, decision.reason, decision.by, decision.decided_on,
                decision.item_date, decision.source, decision.event_id, decision.order_id, decision.match_source,
                decision.match_id, decision.account, decision.balance_account, amount, decision.currency,
            ],
        )  # fmt: skip
