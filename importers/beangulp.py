"""Adapter to beangulp: each source of the shop as one importer for beangulp's commands and Fava's import page.

Place in the flow: beside our own `import`, never instead of it. What is posted comes from the same mappings and rules,
through a callable that the caller injects, because importers know nothing of postings. Duplicates are found by identity
(`source` and `event` of each entry), in one pass; beangulp's likeness of amounts and dates would call two different
orders at the same price one.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Sequence
from pathlib import Path

from beancount.core import data
from beangulp import Ingest
from beangulp.extract import DUPLICATE
from beangulp.importer import Importer

#: From an export to its directives; raises `LedgerError` for a file that is refused.
Post = Callable[[Path], list[data.Directive]]
#: Whether an export is one of this source.
Recognise = Callable[[Path], bool]
#: What identifies an entry: the name of its source and the id of its event there.
EntryKey = tuple[str, str]


def entry_key(entry: data.Directive) -> EntryKey | None:
    """Source and event of an entry; None for what no export brought (hand entries, balances, sums of a day)."""
    meta = entry.meta or {}
    source, event = meta.get("source"), meta.get("event")
    return (source, event) if isinstance(source, str) and isinstance(event, str) else None


def same_event(entry: data.Directive, other: data.Directive) -> bool:
    """Whether two entries are of the same event; amounts and dates play no part."""
    key = entry_key(entry)
    return key is not None and key == entry_key(other)


class ExportImporter(Importer):
    """One source of the shop as a beangulp importer.

    Attributes:
        cmp: beangulp's comparison of two entries, by identity; `deduplicate` does the same without comparing pairs.
    """

    cmp = staticmethod(same_event)

    def __init__(self, source: str, account: str, *, recognise: Recognise, post: Post) -> None:
        self._source = source
        self._account = account
        self._recognise = recognise
        self._post = post
        self._posted: tuple[tuple[str, int, int], list[data.Directive]] | None = None

    @property
    def name(self) -> str:
        """The source's name: unique, where the class alone would not be."""
        return f"ledger-tools.{self._source}"

    def identify(self, filepath: str) -> bool:
        """Whether the file is an export of this source."""
        return bool(self._recognise(Path(filepath)))

    def account(self, filepath: str) -> str:
        """The account that beangulp files the document under."""
        return self._account

    def date(self, filepath: str) -> datetime.date | None:
        """Date of the latest entry; None (beangulp then takes the file's own) where the export holds none."""
        return max((entry.date for entry in self._directives(filepath)), default=None)

    def filename(self, filepath: str) -> str:
        """Name in beangulp's archive: the source's before the file's, as no name there may begin with a date."""
        return f"{self._source}.{Path(filepath).name}"

    def extract(self, filepath: str, existing: data.Entries) -> data.Entries:
        """The directives of the export.

        Raises:
            LedgerError: the export is refused; beangulp reports it and goes on with the next file.
        """
        return [entry._replace(meta=dict(entry.meta)) for entry in self._directives(filepath)]

    def deduplicate(self, entries: data.Entries, existing: data.Entries) -> None:
        """Mark entries whose event the ledger or an earlier entry of this file has already; others stay unmarked."""
        first: dict[EntryKey, data.Directive] = {}
        for entry in existing:
            key = entry_key(entry)
            if key is not None:
                first.setdefault(key, entry)
        for entry in entries:
            key = entry_key(entry)
            if key is None:
                continue
            known = first.setdefault(key, entry)
            if known is not entry:
                entry.meta[DUPLICATE] = known

    def _directives(self, filepath: str) -> list[data.Directive]:
        """What the file posts; kept for the file's next question (date, then extract) while it is unchanged."""
        state = Path(filepath).stat()
        stamp = (filepath, state.st_mtime_ns, state.st_size)
        if self._posted is None or self._posted[0] != stamp:
            self._posted = (stamp, self._post(Path(filepath)))
        return self._posted[1]


def run(importers: Sequence[ExportImporter]) -> None:
    """Beangulp's own command line (identify, extract, archive) over the importers; ends the process with its status."""
    Ingest(list(importers))()  # type: ignore[no-untyped-call]
