"""A set of books for a test of one stage: canonical exports go in as rows, entries come back as beancount reads them.

Shared by the tests of the archive, the versions, the postings, the open items and the command line. Base currency USD,
zone America/Denver, the four sources of `init`. Amounts are texts as they stand in the journal, such as "12.50".
"""

import csv
import datetime
import hashlib
import io
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from beancount.core import data
from beancount.parser import parser

from ledger_tools.archive import open_books
from ledger_tools.folder import BooksFolder
from ledger_tools.intake import FileResult, import_files
from ledger_tools.new_books import settings_text, write_books
from ledger_tools.open_items import OpenItem, list_open_items

SOURCES = {"orders": "shop", "processor": "card-processor", "wallet": "fulfilment-wallet", "bank": "checking"}

Row = Mapping[str, object]


def silent(stage: str) -> None:
    """A progress report that nobody listens to."""
    del stage


def csv_text(rows: Sequence[Row]) -> str:
    """Rows as CSV whose header holds every field that any of them has, in order of first appearance."""
    names = list(dict.fromkeys(name for row in rows for name in row))
    stream = io.StringIO()
    writer = csv.DictWriter(stream, names, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def order(order_id: str, day: str, total: str, **fields: object) -> dict[str, object]:
    """An order line at noon; a plain mug at its total unless the fields say otherwise."""
    usual: dict[str, object] = {"category": "Mugs", "sku": "MUG", "quantity": 1, "unit_price": total}
    return {"order_id": order_id, "placed_at": f"{day}T12:00:00", **usual, "total": total, **fields}


def processor(event_id: str, kind: str, day: str, gross: str, net: str, **fields: object) -> dict[str, object]:
    """A processor's event at one in the afternoon, in USD unless the fields say otherwise."""
    usual: dict[str, object] = {"event_id": event_id, "kind": kind, "at": f"{day}T13:00:00", "currency": "USD"}
    return {**usual, "gross": gross, "net": net, **fields}


def wallet(event_id: str, kind: str, day: str, total: str, **fields: object) -> dict[str, object]:
    """A wallet's event at two in the afternoon, in USD unless the fields say otherwise."""
    usual: dict[str, object] = {"event_id": event_id, "kind": kind, "at": f"{day}T14:00:00", "currency": "USD"}
    return {**usual, "total": total, **fields}


def bank(day: str, amount: str, memo: str, **fields: object) -> dict[str, object]:
    """A bank line, in USD unless the fields say otherwise."""
    return {"at": day, "amount": amount, "currency": "USD", "memo": memo, **fields}


@dataclass(frozen=True)
class Entry:
    """One entry of the journal; a line is (account, amount with sign, currency, total price or empty)."""

    day: str
    flag: str
    narration: str
    event: str
    source: str
    note: str
    links: tuple[str, ...]
    lines: tuple[tuple[str, str, str, str], ...]


def parse_journal(text: str) -> list[Entry]:
    """Entries of journal text; text that beancount's parser refuses fails the test."""
    directives, errors, _ = parser.parse_string(text)
    assert [] == [error.message for error in errors]
    return [_entry(directive) for directive in directives if isinstance(directive, data.Transaction)]


def _entry(directive: data.Transaction) -> Entry:
    lines = []
    for posting in directive.postings:
        assert posting.units is not None
        price = ""
        if posting.price is not None:
            total = posting.price.number * abs(posting.units.number)
            price = f"{total:.2f} {posting.price.currency}"
        lines.append((posting.account, str(posting.units.number), posting.units.currency, price))
    meta = directive.meta
    return Entry(
        directive.date.isoformat(), directive.flag, directive.narration or "", str(meta.get("event", "")),
        str(meta.get("source", "")), str(meta.get("note", "")), tuple(sorted(directive.links)), tuple(lines),
    )  # fmt: skip


@dataclass
class Books:
    """A set of books in a folder of the test's own.

    Attributes:
        place: an empty folder; the books stand in `books` below it, exports beside.
        more: TOML that is appended to the settings that `init` writes.
    """

    place: Path
    more: str = ""
    currency: str = "USD"
    folder: BooksFolder = field(init=False)
    _files: int = 0

    def __post_init__(self) -> None:
        """Write the new, empty books."""
        settings = settings_text("Test shop", self.currency, "America/Denver")
        self.folder = write_books(self.place / "books", settings + "\n" + self.more)

    def write(self, name: str, content: str | bytes | Sequence[Row]) -> Path:
        """An export beside the books, from text, bytes or rows."""
        file = self.place / name
        file.parent.mkdir(parents=True, exist_ok=True)
        if isinstance(content, bytes):
            file.write_bytes(content)
        else:
            file.write_text(content if isinstance(content, str) else csv_text(content), encoding="utf-8")
        return file

    def add(self, **rows: Sequence[Row]) -> list[FileResult]:
        """Import rows by kind of export, each kind as one file that nothing else is called like."""
        results = []
        for kind, several in rows.items():
            self._files += 1
            results += self.take(self.write(f"{kind}-{self._files}.csv", several), kind)
        return results

    def put(self, **rows: Sequence[Row]) -> "Books":
        """Lay rows into the archive by kind, to be read by the next build; quicker than an import each."""
        for kind, several in rows.items():
            self._files += 1
            target = self.folder.exports / SOURCES[kind]
            target.mkdir(parents=True, exist_ok=True)
            (target / f"{kind}-{self._files}.csv").write_text(csv_text(several), encoding="utf-8")
        return self

    def take(self, file: Path, kind: str, *, dry_run: bool = False) -> list[FileResult]:
        """Import one file."""
        return import_files(self.folder, [file], SOURCES[kind], silent, dry_run=dry_run)

    def refusals(self, file: Path, kind: str) -> list[str]:
        """What an import of one file says against it."""
        return [str(problem) for result in self.take(file, kind) for problem in result.refused]

    def build(self) -> "Books":
        """Bring the books up to date with what lies in the folder."""
        open_books(self.folder, silent).close()
        return self

    def journal_text(self) -> str:
        """All month files, in order."""
        self.build()
        months = sorted(self.folder.journal.glob("2*.beancount"))
        return "\n".join(file.read_text(encoding="utf-8") for file in months)

    def entries(self) -> list[Entry]:
        """Every entry of the journal."""
        return parse_journal(self.journal_text())

    def entry(self, event: str) -> Entry:
        """The one entry of an event."""
        found = [entry for entry in self.entries() if entry.event == event]
        assert 1 == len(found), f"{len(found)} entries of {event}"
        return found[0]

    def query(self, sql: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """Rows from the built database."""
        with open_books(self.folder, silent) as connection:
            return connection.execute(sql, list(values)).fetchall()

    def open_items(self, as_of: str | None = None) -> list[OpenItem]:
        """What does not tie out, as of the end of a day."""
        day = datetime.date.fromisoformat(as_of) if as_of else None
        with open_books(self.folder, silent) as connection:
            return list_open_items(connection, day)

    def kinds(self, as_of: str | None = None) -> list[str]:
        """Kinds of what does not tie out, in the list's order."""
        return [item.kind for item in self.open_items(as_of)]


def fingerprint(root: Path, left_out: Iterable[str] = (".cache",)) -> dict[str, str]:
    """Digest of every file below a folder, by relative name; `left_out` names top folders that don't count."""
    skipped = set(left_out)
    return {
        str(file.relative_to(root)): hashlib.sha256(file.read_bytes()).hexdigest()
        for file in sorted(root.rglob("*"))
        if file.is_file() and file.relative_to(root).parts[0] not in skipped
    }
