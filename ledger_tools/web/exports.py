"""The page that brings exports in: drop files, see what each would add, see and correct how it is read, import."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb
import flask

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.intake import FileResult, import_files
from ledger_tools.settings import read_settings
from ledger_tools.status import Status, read_status
from ledger_tools.trial_reading import Reading, keep_mapping, read_trial
from ledger_tools.web.page import BooksPage, answers_at, sent_text, takes_json
from ledger_tools.web.waiting import Dropped


@dataclass(frozen=True)
class DroppedFile:
    """One dropped file and what it would add, or has added."""

    place: int
    name: str
    chosen: str
    result: FileResult | None


@dataclass(frozen=True)
class ExportsView:
    """What the page shows: nothing dropped yet, a set of files, or how one of them is read."""

    dropped: Dropped | None
    files: tuple[DroppedFile, ...]
    sources: tuple[tuple[str, str], ...]
    status: Status
    looked_at: DroppedFile | None
    reading: Reading | None
    new_rows: int
    refused: int


def _place(text: str) -> int:
    if not text.isascii() or not text.isdigit():
        raise LedgerError(Problem(f"file {text!r}", "is not one of the dropped files", "drop the files again"))
    return int(text)


class Exports(BooksPage):
    """Exports on their way in."""

    report_title = "Bring in exports"
    lead = "Drop the exports of the shop, the processor, the fulfilment partner and the bank. Nothing changes until you say so."

    def view(self, connection: duckdb.DuckDBPyConnection) -> ExportsView:
        """The set of files that the address names, and how one of them is read."""
        given = flask.request.args
        settings = read_settings(self.desk.folder.root)
        sources = tuple((source.name, source.kind) for source in settings.source)
        status = read_status(connection, len(self.desk.open_items(connection)))
        if not given.get("upload"):
            return ExportsView(None, (), sources, status, None, None, 0, 0)
        dropped = self.desk.waiting.find(given["upload"])
        files = tuple(
            DroppedFile(place, file.name, dropped.sources.get(place, ""), result)
            for place, (file, result) in enumerate(itertools.zip_longest(dropped.files, dropped.results))
        )
        looked_at = reading = None
        if given.get("file") and not dropped.done:
            place = _place(given["file"])
            if place >= len(files):
                raise LedgerError(Problem(f"file {place}", "is not one of the dropped files", "drop the files again"))
            looked_at = files[place]
            source = given.get("source", "")
            if source:
                reading = read_trial(
                    self.desk.folder,
                    dropped.files[place],
                    source,
                    dropped.drafts.get((place, source)),
                    anew=given.get("anew") == "yes",
                )
        results = [result for result in dropped.results if result is not None]
        new_rows = sum(result.new + result.amended for result in results if not result.refused)
        refused = sum(1 for result in results if result.refused)
        return ExportsView(dropped, files, sources, status, looked_at, reading, new_rows, refused)

    @answers_at("piece", "POST")
    @takes_json
    def piece(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Take one piece of a dropped file."""
        waiting, name = self.desk.waiting, sent_text(sent, "upload")
        dropped = waiting.find(name) if name else waiting.start()
        place = _place(sent_text(sent, "place", needed="drop the file again"))
        waiting.add_piece(dropped, place, sent_text(sent, "name", needed="name the file"), sent_text(sent, "piece"))
        return {"upload": dropped.name}

    @answers_at("look", "POST")
    @takes_json
    def look(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Say what the dropped files would add, and change nothing."""
        dropped = self.desk.waiting.find(sent_text(sent, "upload"))
        for place in range(len(dropped.files)):
            chosen = sent_text(sent, f"source-{place}") if f"source-{place}" in sent else dropped.sources.get(place, "")
            dropped.sources[place] = chosen
        dropped.results = self._import(dropped, dry_run=True)
        return {"message": _told(dropped.results, "would bring"), "go": self._address(dropped)}

    @answers_at("import", "POST")
    @takes_json
    def bring_in(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Archive the dropped files and rebuild the books; what is refused stays out."""
        dropped = self.desk.waiting.find(sent_text(sent, "upload"))
        if dropped.done:
            raise LedgerError(Problem("these files", "are brought in already", "drop the next ones"))
        dropped.results = self._import(dropped, dry_run=False)
        dropped.done = True
        self.desk.waiting.forget(dropped)
        return {"message": _told(dropped.results, "brought"), "go": self._address(dropped)}

    @answers_at("try", "POST")
    @takes_json
    def try_mapping(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Show how a file reads by an edited mapping, which is not kept."""
        dropped, place, source = self._named(sent)
        dropped.drafts[place, source] = str(sent.get("text", ""))
        return {"message": "", "go": self._address(dropped, file=str(place), source=source)}

    @answers_at("keep", "POST")
    @takes_json
    def keep(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Keep a mapping, and look at the files again."""
        dropped, place, source = self._named(sent)
        text = str(sent.get("text", "")).replace("\r\n", "\n")
        results = keep_mapping(self.desk.folder, dropped.files[place], source, text, self.desk.stage.tell)
        dropped.drafts.pop((place, source), None)
        dropped.sources[place] = source
        dropped.results = results if len(dropped.files) == 1 else self._import(dropped, dry_run=True)
        return {"message": f"The mapping of {source} is kept.", "go": self._address(dropped)}

    def _named(self, sent: Mapping[str, Any]) -> tuple[Dropped, int, str]:
        dropped = self.desk.waiting.find(sent_text(sent, "upload"))
        place = _place(sent_text(sent, "file"))
        if place >= len(dropped.files) or dropped.done:
            raise LedgerError(Problem(f"file {place}", "is not one of the dropped files", "drop the files again"))
        return dropped, place, sent_text(sent, "source", needed="choose the source")

    def _address(self, dropped: Dropped, **more: str) -> str:
        return self.page_link(self.name, upload=dropped.name, **more)

    def _import(self, dropped: Dropped, *, dry_run: bool) -> list[FileResult]:
        """Import, or try to, the files of each chosen source together, those without one together."""
        found: dict[int, FileResult] = {}
        for source in sorted(set(dropped.sources.values()) | {""}):
            places = [place for place in range(len(dropped.files)) if dropped.sources.get(place, "") == source]
            files: list[Path] = [dropped.files[place] for place in places]
            if files:
                results = import_files(self.desk.folder, files, source or None, self.desk.stage.tell, dry_run=dry_run)
                found |= dict(zip(places, results, strict=True))
        return [found[place] for place in range(len(dropped.files))]


def _told(results: list[FileResult], verb: str) -> str:
    new = sum(result.new + result.amended for result in results if not result.refused)
    refused = sum(1 for result in results if result.refused)
    text = f"{len(results)} file(s): {verb} {new:,} new or amended row(s)"
    return f"{text}; {refused} refused." if refused else f"{text}."
