"""The shop's exports for somebody who keeps a beancount ledger of their own: one beangulp importer a source.

Place in the flow: above the build. An export is read by the same mappings and posted by the same rules, together with
the archived exports of the books folder, so that payments find their orders; only the entries of the file's own events
are given. A config for beangulp is three lines:

    from importers.beangulp import run
    from ledger_tools.other_ledger import shop_importers
    run(shop_importers("books"))
"""

from __future__ import annotations

import functools
import tempfile
from pathlib import Path
from typing import Any

from beancount.core import data

from importers.beangulp import ExportImporter
from importers.identify import identify_source
from importers.readers import ExportRequest, read_export
from ledger_tools import versions
from ledger_tools.accounts import ROLES_BY_NAME, account_name
from ledger_tools.archive import archived_exports
from ledger_tools.build import Inputs, build_database, read_inputs
from ledger_tools.errors import LedgerError
from ledger_tools.export_rows import Export
from ledger_tools.folder import BooksFolder
from ledger_tools.intake import known_sources
from ledger_tools.journal import render_events
from ledger_tools.settings import Source
from ledger_tools.store import connect_for_build


def shop_importers(books: str | Path) -> list[ExportImporter]:
    """One importer for each source that the settings of a books folder declare.

    Raises:
        LedgerError: settings or mappings are wrong.
    """
    folder = BooksFolder(Path(books).resolve())
    inputs = read_inputs(folder)
    return [
        ExportImporter(
            source.name,
            _account_of(source, inputs),
            recognise=functools.partial(_is_of_source, inputs, source),
            post=functools.partial(_post, folder, inputs, source),
        )
        for source in inputs.settings.source
    ]


def _account_of(source: Source, inputs: Inputs) -> str:
    """The account that an export is filed under: its balance, for orders the clearing account."""
    role = ROLES_BY_NAME["clearing" if source.kind == "orders" else source.role]
    parameter = inputs.settings.names.get(source.name, source.name)
    return account_name(role, inputs.settings.template_of(role.name), parameter)


def _is_of_source(inputs: Inputs, source: Source, path: Path) -> bool:
    try:
        return identify_source(path, known_sources(inputs)) == source.name
    except LedgerError:
        return False


def _keys(inputs: Inputs, source: Source, path: Path, scratch: Path) -> list[str]:
    """Keys of the records in one file."""
    with connect_for_build(scratch) as connection:
        versions.create_raw_tables(connection)
        request = ExportRequest(
            path, source.name, source.kind, source.currency, inputs.settings.time_zone,
            inputs.mappings.get(source.name), scratch, source.account_id,
        )  # fmt: skip
        read_export(connection, request, "incoming_rows")
        versions.add_rows(connection, source.kind, "incoming_rows", 1, 1)
        return [str(row[0]) for row in connection.execute(f"SELECT DISTINCT key FROM raw_{source.kind}").fetchall()]


def _post(folder: BooksFolder, inputs: Inputs, source: Source, path: Path) -> list[data.Directive]:
    from beancount.parser import parser

    with tempfile.TemporaryDirectory(prefix="ledger-tools-") as name:
        scratch = Path(name)
        keys = _keys(inputs, source, path, scratch)
        exports = [*archived_exports(folder), Export(source.name, path.name, path, incoming=True)]
        connection, refusals = build_database(scratch, inputs, exports, lambda stage: None)
        with connection:
            if refusals:
                raise refusals[0].error
            text = render_events(connection, inputs.settings.currency, source.name, keys)
    entries: Any
    entries, errors, _ = parser.parse_string(text)
    assert not errors, errors
    return list(entries)
