"""The journal of a packet: what beancount loads to the same figures, up to the end of the period.

The generated month files are the books' own, byte for byte; the index names those that are there. Of the person's file
the e-mail addresses are taken out.
"""

from __future__ import annotations

import datetime
import json
import shutil
from pathlib import Path

import duckdb

from ledger_tools.addresses import without_addresses_in_quotes
from ledger_tools.archive import sha256_of
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import GENERATED
from ledger_tools.store import read_fact


def copy_journal(connection: duckdb.DuckDBPyConnection, folder: BooksFolder, last: datetime.date, target: Path) -> None:
    """Write the journal up to the month of a day below `target`.

    Raises:
        LedgerError: a generated file is not what the books were built to, so that its figures may be others.
    """
    built: dict[str, str] = json.loads(read_fact(connection, "journal") or "{}")
    changed = [
        name
        for name, digest in built.items()
        if not (folder.root / name).is_file() or sha256_of(folder.root / name) != digest
    ]
    if changed:
        problems = [
            Problem(name, "is not as it was written", "write it again: ledger-tools check --rewrite")
            for name in changed
        ]
        raise LedgerError(problems)
    months = target / "journal"
    months.mkdir(parents=True)
    names = []
    for file in sorted(folder.journal.glob("*.beancount")):
        if file.name != "index.beancount" and file.stem <= f"{last:%Y-%m}":
            shutil.copyfile(file, months / file.name)
            names.append(file.name)
    index = GENERATED + "".join(f'include "{name}"\n' for name in names)
    (months / "index.beancount").write_text(index, encoding="utf-8")
    for file in (folder.main, folder.accounts, folder.hand):
        if file.is_file():
            text = file.read_text(encoding="utf-8")
            (target / file.name).write_text(without_addresses_in_quotes(text), encoding="utf-8")
