"""Exports on their way in: copied aside, read, archived with the books rebuilt, or refused.

Place in the flow: above `archive`, which makes each change whole or not at all. A file is taken as it is at the first
look: what is read is what is archived.
"""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import duckdb

from importers.identify import KnownSource, identify_source
from ledger_tools.archive import (
    Progress,
    archived_exports,
    carry_out,
    fresh_staging,
    input_files,
    lock_books,
    rebuild,
    sha256_of,
    stamp_of,
    swap_in,
)
from ledger_tools.build import Inputs, read_inputs
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.export_rows import Export
from ledger_tools.folder import BooksFolder


@dataclass(frozen=True)
class FileResult:
    """What became of one file of an import; counts are rows of the file.

    Attributes:
        archived: the name under which the books keep it, which is another where the file's own was taken.
        overruled_by: an archived file that counts as the later one where this file says something else.
        overruled_days: first and last day of that file, where they are others than this one's.
    overruled_at: the time at which that file says it was made, where the days are the same and this one says another;
            where it is None as well, the name decides.
    """

    file: str
    source: str | None
    kind: str | None
    first_day: str | None
    last_day: str | None
    rows: int
    new: int
    repeated: int
    amended: int
    overruled_by: str | None
    overruled_days: tuple[str, str] | None
    refused: tuple[Problem, ...]
    archived: str | None = None
    overruled_at: str | None = None


def known_sources(inputs: Inputs) -> list[KnownSource]:
    """The declared sources as the importers know them."""
    return [
        KnownSource(
            one.name, one.kind, one.currency, inputs.mappings.get(one.name), account_id=one.account_id, card=one.card
        )
        for one in inputs.settings.source
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
    if (there.is_file() and sha256_of(there) != digest) or (source, name) in taken:
        stem, dot, ending = name.partition(".")
        name = f"{stem}~{digest[:12]}{dot}{ending}"
    return name


def _take_aside(
    folder: BooksFolder, inputs: Inputs, files: Sequence[Path], source: str | None, staging: Path
) -> _Taken:
    """Copy each file aside, so that what is read is what is archived, and find out what is known of it."""
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
        except OSError as trouble:
            told = Problem(str(file), f"can't be read: {trouble.strerror}", "look at the file and who may read it")
            taken.refused[place] = _refusal(file, source, None, LedgerError(told))
            continue
        except LedgerError as trouble:
            taken.refused[place] = _refusal(file, source, None, trouble)
            continue
        digest = sha256_of(aside)
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
    return FileResult(str(file), source, kind, None, None, 0, 0, 0, 0, None, None, trouble.problems)


def import_files(
    folder: BooksFolder, files: Sequence[Path], source: str | None, progress: Progress, *, dry_run: bool = False
) -> list[FileResult]:
    """Archive exports and rebuild the books; a file that can't be read whole is refused and changes nothing.

    Raises:
        LedgerError: settings, mappings or earlier exports are wrong; nothing was changed.
    """
    with lock_books(folder):
        carry_out(folder)
        stamp = stamp_of(input_files(folder), {})
        inputs = read_inputs(folder)
        if source is not None:
            inputs.settings.source_named(source)
        staging = fresh_staging(folder)
        taken = _take_aside(folder, inputs, files, source, staging)
        exports = [*archived_exports(folder), *taken.fresh.values()]
        connection, refusals = rebuild(folder, inputs, staging, exports, progress)
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
            swap_in(folder, inputs, staging, connection, list(accepted.values()), stamp, progress, with_journal=True)
    return [results[place] for place in range(len(files))]


def _results(
    connection: duckdb.DuckDBPyConnection, files: Sequence[Path], accepted: dict[int, Export], again: dict[int, Export]
) -> dict[int, FileResult]:
    results: dict[int, FileResult] = {}
    for place, export in {**accepted, **again}.items():
        row = connection.execute(
            """SELECT source.kind, export.first_day::VARCHAR, export.last_day::VARCHAR, export.rows_read, export.rows_new,
                      export.rows_repeated, export.rows_amended, export.overruled_by, counting.first_day::VARCHAR,
                      counting.last_day::VARCHAR, export.time_stamp, counting.time_stamp
               FROM export JOIN source USING (source_no)
               LEFT JOIN export AS counting
                   ON counting.source_no = export.source_no AND counting.file = export.overruled_by
               WHERE source.name = ? AND export.file = ?""",
            [export.source, export.name],
        ).fetchone()
        assert row is not None
        kind, first_day, last_day, rows, new, repeated, amended, overruled_by, *days, made_at, counting_at = row
        by_days = days != [first_day, last_day]
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
            overruled_by,
            (days[0], days[1]) if overruled_by and by_days else None,
            (),
            export.name,
            counting_at if overruled_by and not by_days and counting_at != made_at else None,
        )
    return results
