"""How a packet gets onto disk: a folder or one archive, whole or not at all, with a manifest of digests.

Everything is written aside and moved in when it is complete. A folder is replaced only if nothing but a packet is in it.
"""

from __future__ import annotations

import contextlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import duckdb
from filelock import FileLock, Timeout

from ledger_tools.archive import sha256_of
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.packet import separated
from ledger_tools.packet.document import write_document
from ledger_tools.packet.journal_copy import copy_journal
from ledger_tools.packet.table import Packet
from ledger_tools.packet.workbook import write_workbook

MANIFEST = "manifest.json"

#: What drafts of packets are called, and what may stand in one; an empty one is being made.
_DRAFT, _LOCK = ".packet-", "lock"
_DRAFT_NAMES = {"new", "old", "files", "packet.zip", _LOCK}

#: What beancount leaves beside a ledger that it has loaded.
_CACHE = ".*.picklecache"

#: Every file of an archive has this time: the earliest that the format knows.
_TIME = (1980, 1, 1, 0, 0, 0)
_PLAIN_FILE = 0o100644 << 16

_NOTES = (
    separated.NOTE,
    "journal/ holds the books as beancount reads them, up to the end of the period; of hand.beancount the e-mail addresses are "
    "taken out. No name, e-mail or street address of a customer is in the packet; hand.beancount is as its writer left it "
    "otherwise.",
)

Progress = Callable[[str], None]


def _write_files(
    target: Path, packet: Packet, connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress
) -> None:
    """Every file of the packet below an empty folder."""
    name = packet.standing.name
    progress("workbook")
    with tempfile.TemporaryDirectory() as scratch:
        write_workbook(target / f"packet-{name}.xlsx", packet, Path(scratch))
    progress("PDF")
    write_document(target / f"packet-{name}.pdf", packet)
    progress("CSV")
    (target / "csv").mkdir()
    for table in packet.tables:
        separated.write_separated(target / "csv" / f"{table.name}.csv", table)
    progress("journal")
    copy_journal(connection, folder, packet.standing.last_day, target / "journal")
    (target / MANIFEST).write_text(
        json.dumps(_manifest(target, packet), indent=2, ensure_ascii=False) + "\n", encoding="utf-8"
    )


def files_of(root: Path) -> list[Path]:
    """Every file below a folder, in a stable order."""
    return sorted(
        (file for file in root.rglob("*") if not file.is_dir()), key=lambda file: file.relative_to(root).as_posix()
    )


def _manifest(target: Path, packet: Packet) -> dict[str, Any]:
    standing = packet.standing
    return {
        "packet": standing.name,
        "shop": standing.shop,
        "currency": standing.currency,
        "from": standing.first_day.isoformat(),
        "to": standing.last_day.isoformat(),
        "state": standing.state,
        "open_months": list(standing.open_months),
        "notes": list(_NOTES),
        "files": [
            {"file": file.relative_to(target).as_posix(), "bytes": file.stat().st_size, "sha256": sha256_of(file)}
            for file in files_of(target)
        ],
    }


def _check_replaceable(target: Path) -> None:
    """See that a folder holds nothing but a packet.

    Raises:
        LedgerError: there is something else in it.
    """
    if not target.exists():
        return
    if not target.is_dir():
        raise LedgerError(Problem(str(target), "is a file", "name a folder with --out"))
    left = (file for file in files_of(target) if not file.match(_CACHE))
    found = {file.relative_to(target).as_posix() for file in left} - {MANIFEST}
    listed: set[str] = set()
    manifest = target / MANIFEST
    if manifest.is_file():
        try:
            listed = {str(entry["file"]) for entry in json.loads(manifest.read_text(encoding="utf-8"))["files"]}
        except (ValueError, KeyError, TypeError):
            listed = set()
    strange = sorted(found - listed)
    if strange:
        raise LedgerError(
            Problem(
                str(target), f"holds what is not of a packet: {strange[0]}", "name a new or empty folder with --out"
            )
        )


@contextlib.contextmanager
def _draft_folder(place: Path) -> Iterator[Path]:
    """A folder of our own in which a packet is written, locked as long as it is in use; what a killed run left is removed."""
    for folder in place.glob(f"{_DRAFT}*"):
        _remove_stale(folder)
    with (
        tempfile.TemporaryDirectory(dir=place, prefix=_DRAFT, ignore_cleanup_errors=True) as aside,
        FileLock(Path(aside) / _LOCK),
    ):
        yield Path(aside)


def _remove_stale(folder: Path) -> None:
    """Remove a draft that nobody writes any more; one that holds the only copy of the packet it was to replace stays."""
    if folder.is_symlink() or not folder.is_dir():
        return
    names = {file.name for file in folder.iterdir()}
    if not names or names - _DRAFT_NAMES or {"new", "old"} <= names:
        return
    with contextlib.suppress(Timeout), FileLock(folder / _LOCK, timeout=0):
        shutil.rmtree(folder, ignore_errors=True)


def write_folder(
    target: Path, packet: Packet, connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress
) -> Path:
    """Write the packet as a folder, in the place of an earlier packet if there is one; the workbook's path.

    Raises:
        LedgerError: the folder holds something else, or the journal on disk is not the books'.
    """
    _check_replaceable(target)
    target.parent.mkdir(parents=True, exist_ok=True)
    with _draft_folder(target.parent) as aside:
        draft, old = aside / "new", aside / "old"
        draft.mkdir()
        _write_files(draft, packet, connection, folder, progress)
        if target.exists():
            os.replace(target, old)
        os.replace(draft, target)
    return target / f"packet-{packet.standing.name}.xlsx"


def write_archive(
    place: Path, packet: Packet, connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress
) -> Path:
    """Write the packet as one zip file into a folder; its path.

    Raises:
        LedgerError: the journal on disk is not the books'.
    """
    place.mkdir(parents=True, exist_ok=True)
    name = f"packet-{packet.standing.name}"
    target = place / f"{name}.zip"
    with _draft_folder(place) as aside:
        draft, files = aside / "packet.zip", aside / "files"
        files.mkdir()
        _write_files(files, packet, connection, folder, progress)
        with zipfile.ZipFile(draft, "w") as archive:
            for file in files_of(files):
                entry = zipfile.ZipInfo(f"{name}/{file.relative_to(files).as_posix()}", _TIME)
                entry.compress_type, entry.external_attr, entry.create_system = zipfile.ZIP_DEFLATED, _PLAIN_FILE, 3
                with file.open("rb") as source, archive.open(entry, "w") as stored:
                    shutil.copyfileobj(source, stored)
        os.replace(draft, target)
    return target
