"""How books change on disk: exports archived, database and journal swapped in, all or nothing.

Everything is written aside first. Then one small file, the intent, lists the renames that make it real; from the moment
it stands the change is done, and whoever comes next after a kill finishes the renames. Without it the books are as they
were. A lock file keeps two builds apart; readers need none.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

import ledger_tools
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.store import connect_again, connect_for_reading, keep_facts, keep_tables, read_fact, write_facts

# The stages of a build are imported where one starts: a report on books that are up to date needs none of them.
if TYPE_CHECKING:
    from filelock import FileLock

    from ledger_tools.build import Inputs
    from ledger_tools.export_rows import Export, Refusal

Progress = Callable[[str], None]

#: How often a build starts again because an input changed under it.
_TRIES = 3
Stamp = dict[str, tuple[int, int, str]]


def lock_books(folder: BooksFolder) -> FileLock:
    """The lock that keeps two builds apart."""
    from filelock import FileLock

    folder.cache.mkdir(exist_ok=True)
    return FileLock(folder.cache / "lock")


def sha256_of(file: Path) -> str:
    """SHA-256 of a file."""
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@functools.cache
def _program() -> str:
    """Fingerprint of the program as this process has it: other code may build other books."""
    found = hashlib.sha256()
    here = Path(str(ledger_tools.__file__)).parent
    for root in (here, here.parent / "importers"):
        for file in sorted(root.rglob("*.py")):
            state = file.stat()
            found.update(f"{file.relative_to(root)} {state.st_size} {state.st_mtime_ns}\n".encode())
    return found.hexdigest()


def input_files(folder: BooksFolder) -> dict[str, Path]:
    """Every file that the books are made of, by its path below the folder."""
    files = [folder.settings, folder.hand, folder.main, folder.decisions, *sorted(folder.mappings.glob("*.toml"))]
    files += [file for _, file in folder.export_files()]
    files += [file for file in sorted(folder.closed.glob("*")) if file.is_file()]
    return {str(file.relative_to(folder.root)): file for file in files if file.is_file()}


def stamp_of(files: dict[str, Path], known: Stamp) -> Stamp:
    """Size, time and digest of each file; the digest is only read anew where size or time differ from what is known."""
    stamp: Stamp = {}
    for name, file in files.items():
        state = file.stat()
        old = known.get(name)
        unchanged = old is not None and (old[0], old[1]) == (state.st_size, state.st_mtime_ns)
        stamp[name] = (state.st_size, state.st_mtime_ns, old[2] if old is not None and unchanged else sha256_of(file))
    return stamp


def _is_fresh(folder: BooksFolder) -> bool:
    if not folder.database.is_file():
        return False
    try:
        with connect_for_reading(folder.database) as connection:
            if read_fact(connection, "program") != _program():
                return False
            known: Stamp = json.loads(read_fact(connection, "stamp") or "{}")
    except duckdb.Error:
        return False
    files = input_files(folder)
    if set(files) != set(known):
        return False
    return all(now[2] == known[name][2] for name, now in stamp_of(files, known).items())


def _is_journal_untouched(folder: BooksFolder) -> bool:
    """Whether the journal on disk is what the last build wrote, so that writing it again hides nothing."""
    if not folder.database.is_file():
        return False
    try:
        with connect_for_reading(folder.database) as connection:
            known: dict[str, str] = json.loads(read_fact(connection, "journal") or "{}")
    except duckdb.Error:
        return False
    return bool(known) and all(
        (folder.root / name).is_file() and sha256_of(folder.root / name) == digest for name, digest in known.items()
    )


def finish_pending(folder: BooksFolder) -> None:
    """Finish the renames of a change that was cut short after it was decided."""
    intent = folder.cache / "intent.json"
    if intent.is_file():
        with lock_books(folder):
            carry_out(folder)


def carry_out(folder: BooksFolder) -> None:
    """Finish the renames of a change that was decided; the lock must be held."""
    intent = folder.cache / "intent.json"
    if not intent.is_file():
        return
    planned = json.loads(intent.read_text(encoding="utf-8"))
    for aside, final in planned["renames"]:
        target = folder.root / final
        if (folder.root / aside).exists():
            target.parent.mkdir(parents=True, exist_ok=True)
            os.replace(folder.root / aside, target)
    for old in planned["removals"]:
        (folder.root / old).unlink(missing_ok=True)
    intent.unlink()


def _decide(folder: BooksFolder, renames: Sequence[tuple[Path, Path]], removals: Sequence[Path]) -> None:
    """Write the intent, so that the change is decided, and carry it out."""
    plan = {
        "renames": [
            [str(aside.relative_to(folder.root)), str(final.relative_to(folder.root))] for aside, final in renames
        ],
        "removals": [str(old.relative_to(folder.root)) for old in removals],
    }
    draft = folder.cache / "intent.draft"
    with draft.open("w", encoding="utf-8") as stream:
        json.dump(plan, stream)
        stream.flush()
        os.fsync(stream.fileno())
    os.replace(draft, folder.cache / "intent.json")
    carry_out(folder)


@contextlib.contextmanager
def recording(folder: BooksFolder) -> Iterator[None]:
    """While a person's decision is written: no build runs meanwhile."""
    with lock_books(folder):
        carry_out(folder)
        yield


def move_files(folder: BooksFolder, renames: Sequence[tuple[Path, Path]]) -> None:
    """Move files of the books folder, all or none; the lock must be held."""
    _decide(folder, renames, [])


def write_mapping(folder: BooksFolder, source: str, text: str, *, replace_old: bool) -> None:
    """Write a source's mapping, whole.

    Raises:
        LedgerError: there is one already that is not to be replaced.
    """
    target = folder.mappings / f"{source}.toml"
    if target.exists() and not replace_old:
        raise LedgerError(Problem(str(target), "is there already", "look at it, or replace it with --replace"))
    target.parent.mkdir(exist_ok=True)
    draft = target.with_suffix(".draft")
    draft.write_text(text, encoding="utf-8")
    os.replace(draft, target)


def write_settings(folder: BooksFolder, content: bytes) -> None:
    """Replace the settings, whole or not at all; the lock must be held (`recording`)."""
    draft = folder.settings.with_suffix(".draft")
    with draft.open("wb") as stream:
        stream.write(content)
        stream.flush()
        os.fsync(stream.fileno())
    shutil.copymode(folder.settings, draft)
    os.replace(draft, folder.settings)


def archived_exports(folder: BooksFolder) -> list[Export]:
    """Every archived export, as a build takes it."""
    from ledger_tools.export_rows import Export

    return [Export(source, file.name, file) for source, file in folder.export_files()]


def fresh_staging(folder: BooksFolder) -> Path:
    """An empty folder to build in."""
    staging = folder.cache / "staging"
    shutil.rmtree(staging, ignore_errors=True)
    (staging / "exports").mkdir(parents=True)
    (staging / "journal").mkdir()
    (staging / "scratch").mkdir()
    return staging


def rebuild(
    folder: BooksFolder, inputs: Inputs, staging: Path, exports: Sequence[Export], progress: Progress
) -> tuple[duckdb.DuckDBPyConnection, list[Refusal]]:
    """Build the database of these exports."""
    from ledger_tools.build import build_database

    return build_database(staging / "scratch", inputs, exports, progress)


def swap_in(
    folder: BooksFolder,
    inputs: Inputs,
    staging: Path,
    connection: duckdb.DuckDBPyConnection,
    accepted: Sequence[Export],
    stamp: Stamp,
    progress: Progress,
    *,
    with_journal: bool,
    aside: Sequence[tuple[Path, Path]] = (),
    given_up: Sequence[tuple[Path, Path]] = (),
) -> None:
    """Write journal and database aside, decide the change and carry it out.

    `aside` are more inputs that come with it, as (where the file lies now, where it belongs); `given_up` are files that
    the books were made of and are no more, as (where the file lies now, where it is kept).
    """
    from ledger_tools.build import write_journal

    renames: list[tuple[Path, Path]] = [
        *((export.path, folder.exports / export.source / export.name) for export in accepted),
        *aside,
    ]
    for now, final in renames:
        state = now.stat()
        stamp[str(final.relative_to(folder.root))] = (state.st_size, state.st_mtime_ns, sha256_of(now))
    for now, _ in given_up:
        stamp.pop(str(now.relative_to(folder.root)), None)
    renames += given_up
    removals: list[Path] = []
    with connection:
        # the pool is left first, so that its connection is closed only when no call runs on it
        with connect_again(connection) as beside, ThreadPoolExecutor(1, thread_name_prefix="keeping") as pool:
            keeping = pool.submit(keep_tables, beside, staging / "books.duckdb")
            written = write_journal(connection, inputs, folder, staging / "journal", progress)
            keeping.result()
        journal = json.dumps(written.digests)
        write_facts(connection, [("stamp", json.dumps(stamp)), ("program", _program()), ("journal", journal)])
        keep_facts(connection)
    if with_journal:
        renames += written.staged
        removals = written.old
    renames.append((staging / "books.duckdb", folder.database))
    _decide(folder, renames, removals)
    shutil.rmtree(staging, ignore_errors=True)


def open_books(folder: BooksFolder, progress: Progress, *, with_journal: bool = True) -> duckdb.DuckDBPyConnection:
    """The built database of a books folder, read only; built first where an input changed.

    Raises:
        LedgerError: the books can't be built from what is there; the last build stays as it was.
    """
    bring_up_to_date(folder, progress, with_journal=with_journal)
    return connect_for_reading(folder.database)


def bring_up_to_date(folder: BooksFolder, progress: Progress, *, with_journal: bool = True) -> None:
    """Finish what was cut short, and build the books where an input changed.

    Raises:
        LedgerError: the books can't be built from what is there; the last build stays as it was.
    """
    finish_pending(folder)
    if not _is_fresh(folder):
        with lock_books(folder):
            carry_out(folder)
            for _ in range(_TRIES):  # an input that is edited while a build reads it makes the result old at once
                if _is_fresh(folder):
                    break
                _build_anew(folder, progress, with_journal=with_journal or _is_journal_untouched(folder))


def remembered(connection: duckdb.DuckDBPyConnection, name: str, work: Callable[[], int]) -> int:
    """A figure that is worked out once for each build and then read from the cache."""
    build = hashlib.sha256(f"{read_fact(connection, 'program')} {read_fact(connection, 'stamp')}".encode()).hexdigest()
    where = connection.execute("SELECT path FROM duckdb_databases() WHERE database_name = 'books'").fetchone()
    if where is None:
        return work()
    file = Path(str(where[0])).parent / f"{name}.json"
    with contextlib.suppress(OSError, ValueError):
        known = json.loads(file.read_text(encoding="utf-8"))
        if known["build"] == build:
            return int(known["figure"])
    figure = work()
    with contextlib.suppress(OSError):  # books that can't be written to are still read
        draft = file.with_suffix(".draft")
        draft.write_text(json.dumps({"build": build, "figure": figure}), encoding="utf-8")
        os.replace(draft, file)
    return figure


def rewrite_journal(folder: BooksFolder, progress: Progress) -> None:
    """Build everything anew and write the journal again, whatever was done to its files."""
    with lock_books(folder):
        carry_out(folder)
        _build_anew(folder, progress, with_journal=True)


def _build_anew(folder: BooksFolder, progress: Progress, *, with_journal: bool) -> None:
    """Build the books of what is archived and swap them in; the lock must be held."""
    from ledger_tools.build import read_inputs

    stamp = stamp_of(input_files(folder), {})
    inputs = read_inputs(folder)
    staging = fresh_staging(folder)
    connection, _ = rebuild(folder, inputs, staging, archived_exports(folder), progress)
    swap_in(folder, inputs, staging, connection, [], stamp, progress, with_journal=with_journal)
