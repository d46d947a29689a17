"""How books change on disk: exports archived, database and journal swapped in, all or nothing.

Everything is written aside first. Then one small file, the intent, lists the renames that make it real; from the moment
it stands the change is done, and whoever comes next after a kill finishes the renames. Without it the books are as they
were. A lock file keeps two builds apart; readers need none.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import duckdb

import ledger_tools
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.store import connect_for_reading, keep_database, read_fact, write_facts

# The stages of a build are imported where one starts: a report on books that are up to date needs none of them.
if TYPE_CHECKING:
    from filelock import FileLock

    from importers.identify import KnownSource
    from ledger_tools.build import Export, Inputs, Refusal

Progress = Callable[[str], None]

#: How often a build starts again because an input changed under it.
_TRIES = 3
Stamp = dict[str, tuple[int, int, str]]


@dataclass(frozen=True)
class FileResult:
    """What became of one file of an import; counts are rows of the file."""

    file: str
    source: str | None
    kind: str | None
    first_day: str | None
    last_day: str | None
    rows: int
    new: int
    repeated: int
    amended: int
    refused: tuple[Problem, ...]


def _lock(folder: BooksFolder) -> FileLock:
    from filelock import FileLock

    folder.cache.mkdir(exist_ok=True)
    return FileLock(folder.cache / "lock")


def _sha256(file: Path) -> str:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _program() -> str:
    """Fingerprint of the program itself: other code may build other books."""
    found = hashlib.sha256()
    here = Path(str(ledger_tools.__file__)).parent
    for root in (here, here.parent / "importers"):
        for file in sorted(root.rglob("*.py")):
            state = file.stat()
            found.update(f"{file.relative_to(root)} {state.st_size} {state.st_mtime_ns}\n".encode())
    return found.hexdigest()


def _input_files(folder: BooksFolder) -> dict[str, Path]:
    files = [folder.settings, folder.hand, folder.main, folder.decisions, *sorted(folder.mappings.glob("*.toml"))]
    files += [file for _, file in folder.export_files()]
    return {str(file.relative_to(folder.root)): file for file in files if file.is_file()}


def _stamp_of(files: dict[str, Path], known: Stamp) -> Stamp:
    """Size, time and digest of each file; the digest is only read anew where size or time differ from what is known."""
    stamp: Stamp = {}
    for name, file in files.items():
        state = file.stat()
        old = known.get(name)
        unchanged = old is not None and (old[0], old[1]) == (state.st_size, state.st_mtime_ns)
        stamp[name] = (state.st_size, state.st_mtime_ns, old[2] if old is not None and unchanged else _sha256(file))
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
    files = _input_files(folder)
    if set(files) != set(known):
        return False
    return all(now[2] == known[name][2] for name, now in _stamp_of(files, known).items())


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
        (folder.root / name).is_file() and _sha256(folder.root / name) == digest for name, digest in known.items()
    )


def finish_pending(folder: BooksFolder) -> None:
    """Finish the renames of a change that was cut short after it was decided."""
    intent = folder.cache / "intent.json"
    if intent.is_file():
        with _lock(folder):
            _carry_out(folder)


def _carry_out(folder: BooksFolder) -> None:
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
    _carry_out(folder)


@contextlib.contextmanager
def recording(folder: BooksFolder) -> Iterator[None]:
    """While a person's decision is written: no build runs meanwhile."""
    with _lock(folder):
        _carry_out(folder)
        yield


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


def archived_exports(folder: BooksFolder) -> list[Export]:
    """Every archived export, as a build takes it."""
    from ledger_tools.build import Export

    return [Export(source, file.name, file) for source, file in folder.export_files()]


def _fresh_staging(folder: BooksFolder) -> Path:
    staging = folder.cache / "staging"
    shutil.rmtree(staging, ignore_errors=True)
    (staging / "exports").mkdir(parents=True)
    (staging / "journal").mkdir()
    (staging / "scratch").mkdir()
    return staging


def _rebuild(
    folder: BooksFolder, inputs: Inputs, staging: Path, exports: Sequence[Export], progress: Progress
) -> tuple[duckdb.DuckDBPyConnection, list[Refusal]]:
    from ledger_tools.build import build_database

    return build_database(staging / "scratch", inputs, exports, progress)


def _swap_in(
    folder: BooksFolder,
    inputs: Inputs,
    staging: Path,
    connection: duckdb.DuckDBPyConnection,
    accepted: Sequence[Export],
    stamp: Stamp,
    progress: Progress,
    *,
    with_journal: bool,
) -> None:
    from ledger_tools.build import write_journal

    renames: list[tuple[Path, Path]] = [
        (export.path, folder.exports / export.source / export.name) for export in accepted
    ]
    removals: list[Path] = []
    written = write_journal(connection, inputs, folder, staging / "journal", progress)
    if with_journal:
        renames += written.staged
        removals = written.old
    for export in accepted:
        state = export.path.stat()
        stamp[f"exports/{export.source}/{export.name}"] = (state.st_size, state.st_mtime_ns, _sha256(export.path))
    journal = json.dumps(written.digests)
    write_facts(connection, [("stamp", json.dumps(stamp)), ("program", _program()), ("journal", journal)])
    keep_database(connection, staging / "books.duckdb")
    connection.close()
    renames.append((staging / "books.duckdb", folder.database))
    _decide(folder, renames, removals)
    shutil.rmtree(staging, ignore_errors=True)


def open_books(folder: BooksFolder, progress: Progress, *, with_journal: bool = True) -> duckdb.DuckDBPyConnection:
    """The built database of a books folder, read only; built first where an input changed.

    Raises:
        LedgerError: the books can't be built from what is there; the last build stays as it was.
    """
    finish_pending(folder)
    if not _is_fresh(folder):
        from ledger_tools.build import read_inputs

        with _lock(folder):
            _carry_out(folder)
            for _ in range(_TRIES):  # an input that is edited while a build reads it makes the result old at once
                if _is_fresh(folder):
                    break
                stamp = _stamp_of(_input_files(folder), {})
                inputs = read_inputs(folder)
                write = with_journal or _is_journal_untouched(folder)
                staging = _fresh_staging(folder)
                connection, _ = _rebuild(folder, inputs, staging, archived_exports(folder), progress)
                _swap_in(folder, inputs, staging, connection, [], stamp, progress, with_journal=write)
    return connect_for_reading(folder.database)


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
    from ledger_tools.build import read_inputs

    with _lock(folder):
        _carry_out(folder)
        stamp = _stamp_of(_input_files(folder), {})
        inputs = read_inputs(folder)
        staging = _fresh_staging(folder)
        connection, _ = _rebuild(folder, inputs, staging, archived_exports(folder), progress)
        _swap_in(folder, inputs, staging, connection, [], stamp, progress, with_journal=True)


def known_sources(inputs: Inputs) -> list[KnownSource]:
    """The declared sources as the importers know them."""
    from importers.identify import KnownSource

    return [
        KnownSource(source.name, source.kind, source.currency, inputs.mappings.get(source.name), source.account_id)
        for source in inputs.settings.source
    ]


@dataclass
class _Taken:
    """Files of an import as they were taken aside, by their place in the call.

    Attributes:
        fresh: exports that the archive doesn't hold yet.
        again: exports that it holds, byte for byte.
        doubles: files that are, byte for byte, an earlier one of the same call, with that one's place.
        refused: files that can't be read.
    """

    fresh: dict[int, Export]
    again: dict[int, Export]
    doubles: dict[int, int]
    refused: dict[int, FileResult]


def _archive_name(folder: BooksFolder, source: str, file: Path, digest: str, taken: set[tuple[str, str]]) -> str:
    """The file's own name; one that is taken by other bytes gets a part of its digest, so the name follows the content."""
    name = file.name.lstrip(".~") or "export"
    there = folder.exports / source / name
    if (there.is_file() and _sha256(there) != digest) or (source, name) in taken:
        stem, dot, ending = name.partition(".")
        name = f"{stem}~{digest[:12]}{dot}{ending}"
    return name


def _take_aside(
    folder: BooksFolder, inputs: Inputs, files: Sequence[Path], source: str | None, staging: Path
) -> _Taken:
    """Copy each file aside, so that what is read is what is archived, and find out what is known of it."""
    from importers.identify import identify_source
    from ledger_tools.build import Export

    taken = _Taken({}, {}, {}, {})
    names: set[tuple[str, str]] = set()
    places: dict[tuple[str, str], int] = {}
    for place, file in enumerate(files):
        try:
            if not file.is_file():
                raise LedgerError(Problem(str(file), "is not a file", "name a file that exists"))
            of_source = source or identify_source(file, known_sources(inputs))
            aside = staging / "exports" / str(place) / file.name
            aside.parent.mkdir()
            shutil.copyfile(file, aside)
        except LedgerError as trouble:
            taken.refused[place] = _refusal(file, source, None, trouble)
            continue
        digest = _sha256(aside)
        first = places.setdefault((of_source, digest), place)
        if first != place:
            taken.doubles[place] = first
            continue
        name = _archive_name(folder, of_source, file, digest, names)
        names.add((of_source, name))
        is_there = (folder.exports / of_source / name).is_file()
        (taken.again if is_there else taken.fresh)[place] = Export(of_source, name, aside, incoming=True)
    return taken


def _refusal(file: Path, source: str | None, kind: str | None, trouble: LedgerError) -> FileResult:
    return FileResult(str(file), source, kind, None, None, 0, 0, 0, 0, trouble.problems)


def import_files(
    folder: BooksFolder, files: Sequence[Path], source: str | None, progress: Progress, *, dry_run: bool = False
) -> list[FileResult]:
    """Archive exports and rebuild the books; a file that can't be read whole is refused and changes nothing.

    Raises:
        LedgerError: settings, mappings or earlier exports are wrong; nothing was changed.
    """
    from ledger_tools.build import read_inputs

    with _lock(folder):
        _carry_out(folder)
        stamp = _stamp_of(_input_files(folder), {})
        inputs = read_inputs(folder)
        if source is not None:
            inputs.settings.source_named(source)
        staging = _fresh_staging(folder)
        taken = _take_aside(folder, inputs, files, source, staging)
        exports = [*archived_exports(folder), *taken.fresh.values()]
        connection, refusals = _rebuild(folder, inputs, staging, exports, progress)
        results = dict(taken.refused)
        for refusal in refusals:
            place = next(place for place, export in taken.fresh.items() if export is refusal.export)
            kind = inputs.settings.source_named(refusal.export.source).kind
            results[place] = _refusal(files[place], refusal.export.source, kind, refusal.error)
        accepted = {place: export for place, export in taken.fresh.items() if place not in results}
        results |= _results(connection, files, accepted, taken.again)
        for place, first in taken.doubles.items():
            told = results[first]
            results[place] = replace(told, file=str(files[place]), new=0, amended=0, repeated=told.rows)
        if dry_run or not accepted:
            connection.close()
            shutil.rmtree(staging, ignore_errors=True)
        else:
            _swap_in(folder, inputs, staging, connection, list(accepted.values()), stamp, progress, with_journal=True)
    return [results[place] for place in range(len(files))]


def _results(
    connection: duckdb.DuckDBPyConnection, files: Sequence[Path], accepted: dict[int, Export], again: dict[int, Export]
) -> dict[int, FileResult]:
    results: dict[int, FileResult] = {}
    for place, export in {**accepted, **again}.items():
        row = connection.execute(
            """SELECT source.kind, first_day::VARCHAR, last_day::VARCHAR, rows_read, rows_new, rows_repeated, rows_amended
               FROM export JOIN source USING (source_no) WHERE source.name = ? AND export.file = ?""",
            [export.source, export.name],
        ).fetchone()
        assert row is not None
        kind, first_day, last_day, rows, new, repeated, amended = row
        if place in again:
            new, repeated, amended = 0, rows, 0
        results[place] = FileResult(
            str(files[place]),
            export.source,
            kind,
            first_day,
            last_day,
            int(rows),
            int(new),
            int(repeated),
            int(amended),
            (),
        )
    return results
