"""How the first rows of an export would read under a mapping: canonical fields as text, for a person to check.

Place in the flow: behind `propose`, for the command `map`. The rows go through `read_export` itself, so that what is
shown is what an import would do. Of a large text file only the beginning is read.
"""

from __future__ import annotations

import datetime
import tempfile
from dataclasses import replace
from pathlib import Path

import duckdb

from importers.mapping import Mapping
from importers.readers import ExportRequest, read_export
from importers.sample import copy_beginning
from importers.text_tables import quote_name
from ledger_tools.money import format_amount
from ledger_tools.records import KINDS, MONEY

WHOLE_FILE_BYTES = 2_000_000


def render_preview(
    path: Path, mapping: Mapping, *, currency: str, shop_zone: str, rows: int = 5
) -> list[dict[str, str]]:
    """The first records as {canonical field: text}, blank fields left out; amounts in decimals, moments in local time.

    Raises:
        LedgerError: with every reason why the file (or its beginning) can't be read so.
    """
    with tempfile.TemporaryDirectory(prefix="ledger-tools-") as folder:
        scratch = Path(folder)
        sample = path
        if path.stat().st_size > WHOLE_FILE_BYTES and mapping.file.sheet is None:
            sample = copy_beginning(path, scratch / "beginning" / path.name, WHOLE_FILE_BYTES)
        request = ExportRequest(
            path=sample,
            source=mapping.source,
            kind=mapping.kind,
            currency=currency,
            shop_zone=shop_zone,
            mapping=replace(mapping, covers=None),
            scratch=scratch,
        )
        with duckdb.connect(":memory:") as connection:
            read_export(connection, request, "preview")
            names = [field.name for field in KINDS[mapping.kind]]
            found = connection.execute(
                f"SELECT {', '.join(map(quote_name, names))} FROM preview ORDER BY record LIMIT ?", [rows]
            ).fetchall()
    return [_texts(dict(zip(names, row, strict=True)), mapping.kind) for row in found]


def _texts(values: dict[str, object], kind: str) -> dict[str, str]:
    texts = {}
    for field in KINDS[kind]:
        value = values[field.name]
        if value is None:
            continue
        if field.type == MONEY:
            of = values.get("charged_currency") if field.name == "charged_amount" else None
            assert isinstance(value, int), "money is whole minor units"
            texts[field.name] = format_amount(value, str(of or values["currency"]))
        elif isinstance(value, datetime.datetime):
            midnight = value.time() == datetime.time()
            texts[field.name] = value.date().isoformat() if midnight else value.isoformat(sep=" ")
        elif isinstance(value, bool):
            texts[field.name] = "yes" if value else "no"
        else:
            texts[field.name] = str(value)
    return texts
