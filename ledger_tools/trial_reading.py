"""How an export would read before it is brought in: the mapping proposed or kept, its first rows, and a new mapping tried.

Place in the flow: above `intake`, for whoever shows a person an export that waits. A mapping that makes earlier exports
unreadable is not kept.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from pathlib import Path

from importers.formats import STATEMENTS, detect_format
from importers.mapping import parse_mapping
from importers.preview import render_preview
from importers.propose import propose_mapping
from ledger_tools.archive import Progress, recording, write_mapping
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.intake import FileResult, import_files
from ledger_tools.settings import read_settings


@dataclass(frozen=True)
class Reading:
    """How one file would be read.

    Attributes:
        text: the mapping's text; empty for a statement, which needs none.
        is_kept: it is the mapping that the books have; else it was proposed or edited.
        questions: what a proposal could not know.
        notes: what a proposal decided, and on what evidence.
        unused: columns that no field takes, each with the reason.
        rows: the first records, field by field as text.
        problems: why they can't be shown.
    """

    source: str
    kind: str
    text: str
    is_kept: bool
    questions: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    unused: tuple[tuple[str, str], ...] = ()
    rows: tuple[dict[str, str], ...] = ()
    problems: tuple[Problem, ...] = ()


def read_trial(folder: BooksFolder, file: Path, source: str, text: str | None = None, *, anew: bool = False) -> Reading:
    """How a file of a source reads by this text, else by the mapping that the books have, else by a proposed one.

    Args:
        anew: propose a mapping even where the books have one.

    Raises:
        LedgerError: the source is not declared, or the file can't be looked at.
    """
    settings = read_settings(folder.root)
    declared = settings.source_named(source)
    if detect_format(file) in STATEMENTS:
        return Reading(source, declared.kind, "", is_kept=True)
    kept = folder.mappings / f"{source}.toml"
    questions: tuple[Problem, ...] = ()
    notes: tuple[str, ...] = ()
    unused: tuple[tuple[str, str], ...] = ()
    is_kept = False
    if text is None and kept.is_file() and not anew:
        text, is_kept = kept.read_text(encoding="utf-8"), True
    if text is None:
        proposal = propose_mapping(
            file,
            source=source,
            kind=declared.kind,
            currency=declared.currency,
            shop_zone=settings.time_zone,
            card=declared.card,
        )
        text, questions, notes = proposal.toml, proposal.questions, proposal.notes
        unused = tuple((use.column, use.reason) for use in proposal.uses if not use.field)
    rows: tuple[dict[str, str], ...] = ()
    problems: tuple[Problem, ...] = ()
    try:
        mapping = parse_mapping(text, f"mappings/{source}.toml")
        rows = tuple(render_preview(file, mapping, currency=declared.currency, shop_zone=settings.time_zone))
    except LedgerError as trouble:
        problems = trouble.problems
    return Reading(source, declared.kind, text, is_kept, questions, notes, unused, rows, problems)


def keep_mapping(folder: BooksFolder, file: Path, source: str, text: str, progress: Progress) -> list[FileResult]:
    """Keep a mapping of a source and say how the file reads by it; one that earlier exports can't be read by is taken back.

    Raises:
        LedgerError: the text is no mapping, or makes what the books hold already unreadable.
    """
    mapping = parse_mapping(text, f"mappings/{source}.toml")
    declared = read_settings(folder.root).source_named(source)
    if mapping.source != source or mapping.kind != declared.kind:
        raise LedgerError(
            Problem(
                f"mappings/{source}.toml",
                f"is of {mapping.source} ({mapping.kind}), expected {source} ({declared.kind})",
                "correct the lines source and kind",
            )
        )
    kept = folder.mappings / f"{source}.toml"
    old = kept.read_text(encoding="utf-8") if kept.is_file() else None
    with recording(folder):
        write_mapping(folder, source, text, replace_old=True)
    try:
        return import_files(folder, [file], source, progress, dry_run=True)
    except LedgerError:
        with recording(folder):
            if old is None:
                os.unlink(kept)
            else:
                write_mapping(folder, source, old, replace_old=True)
        raise
