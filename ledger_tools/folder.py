"""A books folder: where each of its files lies. Only paths; nothing is read here."""

from __future__ import annotations

import os
import shlex
from dataclasses import dataclass
from pathlib import Path

from ledger_tools.errors import LedgerError, Problem

SETTINGS_FILE = "shop.toml"


@dataclass(frozen=True)
class BooksFolder:
    """The files of one shop's books under one folder."""

    root: Path

    @property
    def settings(self) -> Path:
        """The shop's settings, written by a person."""
        return self.root / SETTINGS_FILE

    @property
    def main(self) -> Path:
        """The ledger that beancount and Fava open; written once, then the person's own."""
        return self.root / "main.beancount"

    @property
    def accounts(self) -> Path:
        """The chart of accounts; generated."""
        return self.root / "accounts.beancount"

    @property
    def hand(self) -> Path:
        """Entries that a person writes."""
        return self.root / "hand.beancount"

    @property
    def decisions(self) -> Path:
        """What a person decided about open items."""
        return self.root / "decisions.toml"

    @property
    def mappings(self) -> Path:
        """One mapping a source."""
        return self.root / "mappings"

    @property
    def exports(self) -> Path:
        """Every export as it came, in a folder for each source."""
        return self.root / "exports"

    @property
    def journal(self) -> Path:
        """Generated month files."""
        return self.root / "journal"

    @property
    def closed(self) -> Path:
        """Closed months: for each its record, postings and journal as they were frozen."""
        return self.root / "closed"

    @property
    def cache(self) -> Path:
        """Derived and disposable."""
        return self.root / ".cache"

    @property
    def database(self) -> Path:
        """The built database."""
        return self.cache / "books.duckdb"

    def export_files(self) -> list[tuple[str, Path]]:
        """Every archived export as (source, file), in a stable order."""
        if not self.exports.is_dir():
            return []
        return [
            (folder.name, file)
            for folder in sorted(self.exports.iterdir())
            if folder.is_dir()
            for file in sorted(folder.iterdir())
            if file.is_file() and not file.name.startswith(".")
        ]


def find_folder(named: str | None) -> BooksFolder:
    """The books folder that was named, else `$LEDGER_BOOKS`, else `./books` or `.` where it holds settings.

    Raises:
        LedgerError: none is found.
    """
    named = named or os.environ.get("LEDGER_BOOKS")
    if named:
        root = Path(named)
        if not (root / SETTINGS_FILE).is_file():
            raise LedgerError(
                Problem(
                    named,
                    f"holds no {SETTINGS_FILE}",
                    f"start books there with: ledger-tools init {shlex.quote(named)}",
                )
            )
        return BooksFolder(root.resolve())
    for root in (Path("books"), Path(".")):
        if (root / SETTINGS_FILE).is_file():
            return BooksFolder(root.resolve())
    raise LedgerError(
        Problem(
            "books folder",
            f"neither ./books nor this folder holds a {SETTINGS_FILE}",
            "start books with: ledger-tools init books, or name a folder with --books DIR",
        )
    )
