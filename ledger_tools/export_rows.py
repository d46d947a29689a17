"""Every row of every export, typed, in the raw tables: two files are read at a time, and kept in the order given.

Place in the flow: importers → here → `versions`. A file is staged by a connection of its own to the same database, so
that one is parsed while another one is kept; the result does not depend on which is done first.
"""

from __future__ import annotations

import collections
import hashlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

import duckdb

from importers.mapping import Mapping as ColumnMapping
from importers.readers import ExportFacts, ExportRequest, read_export
from ledger_tools import versions
from ledger_tools.coverage import join_days, note_days
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.settings import ShopSettings
from ledger_tools.stated_balances import CLOSING, OPENING
from ledger_tools.store import connect_again

Progress = Callable[[str], None]

#: Files that are parsed at the same time: a file of usual size keeps one core busy, and each takes memory.
_AT_ONCE = 2

_ROWS = "incoming_rows"


@dataclass(frozen=True)
class Export:
    """One export file that goes into a build.

    Attributes:
        name: its name in the archive, below its source's folder.
        path: where its bytes are now.
        incoming: it is being imported; one that can't be read is then left out and reported.
    """

    source: str
    name: str
    path: Path
    incoming: bool = False


@dataclass(frozen=True)
class Refusal:
    """An incoming export that was left out, and why."""

    export: Export
    error: LedgerError


@dataclass(frozen=True)
class _Staged:
    """An export's rows, in a temporary table of a connection of their own."""

    connection: duckdb.DuckDBPyConnection
    facts: ExportFacts


def read_exports(
    connection: duckdb.DuckDBPyConnection,
    scratch: Path,
    settings: ShopSettings,
    mappings: Mapping[str, ColumnMapping],
    exports: Sequence[Export],
    progress: Progress,
) -> list[Refusal]:
    """Fill `raw_*`, `export`, `skipped` and the stated balances of statements; returns the incoming files left out.

    Raises:
        LedgerError: all problems of archived exports that can't be read.
    """
    versions.create_raw_tables(connection)
    numbers = {source.name: number for number, source in enumerate(settings.source, start=1)}
    refusals: list[Refusal] = []
    problems: list[Problem] = []
    for export_no, (export, reading) in enumerate(_staged(connection, scratch, settings, mappings, exports), start=1):
        progress(f"reading {export.source}/{export.name}")
        try:
            staged = reading.result()
        except LedgerError as trouble:
            if export.incoming:
                refusals.append(Refusal(export, trouble))
            else:
                problems.extend(trouble.problems)
            continue
        kind, source_no = settings.source_named(export.source).kind, numbers[export.source]
        with staged.connection:
            versions.add_rows(staged.connection, kind, _ROWS, export_no, source_no)
        _note_export(connection, export_no, source_no, export, staged.facts)
    if problems:
        raise LedgerError(problems)
    join_days(connection)
    versions.rank_exports(connection)
    return refusals


def _staged(
    connection: duckdb.DuckDBPyConnection,
    scratch: Path,
    settings: ShopSettings,
    mappings: Mapping[str, ColumnMapping],
    exports: Sequence[Export],
) -> Iterator[tuple[Export, Future[_Staged]]]:
    """Each export with its reading, in their order; no more are begun than can be read at once, and one more."""

    def read(place: int, export: Export) -> _Staged:
        source = settings.source_named(export.source)
        aside = scratch / f"reading-{place}"
        aside.mkdir(exist_ok=True)
        request = ExportRequest(
            export.path,
            source.name,
            source.kind,
            source.currency,
            settings.time_zone,
            mappings.get(source.name),
            aside,
            source.account_id,
        )
        own = connect_again(connection)
        try:
            return _Staged(own, read_export(own, request, _ROWS))
        except BaseException:
            own.close()
            raise

    waiting = collections.deque(enumerate(exports))
    begun: collections.deque[tuple[Export, Future[_Staged]]] = collections.deque()
    with ThreadPoolExecutor(_AT_ONCE, thread_name_prefix="reading") as pool:
        while waiting or begun:
            while waiting and len(begun) <= _AT_ONCE:
                place, export = waiting.popleft()
                begun.append((export, pool.submit(read, place, export)))
            yield begun.popleft()


def _note_export(
    connection: duckdb.DuckDBPyConnection, export_no: int, source_no: int, export: Export, facts: ExportFacts
) -> None:
    connection.execute(
        "INSERT INTO export VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, NULL, 0, 0, 0, NULL)",
        [
            export_no, source_no, export.name, _digest(export.path), facts.first_day, facts.last_day,
            facts.time_stamp, facts.whole_days, facts.rows_read, facts.records,
        ],
    )  # fmt: skip
    note_days(connection, export_no, source_no, facts.spans)
    for reason, rows in facts.skipped:
        connection.execute("INSERT INTO skipped VALUES (?, ?, ?)", [export_no, reason, rows])
    for balance in facts.balances:
        connection.execute(
            "INSERT INTO claimed_balance VALUES (?, ?, ?, ?, ?, ?)",
            [
                source_no,
                balance.on,
                balance.currency,
                balance.amount,
                OPENING if balance.opening else CLOSING,
                export_no,
            ],
        )


def _digest(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
