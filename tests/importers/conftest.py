"""Fixtures of the importer tests: a file from text or bytes, read through the one door."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest

from importers.mapping import parse_mapping
from importers.readers import ExportFacts, ExportRequest, read_export
from ledger_tools.errors import LedgerError

Rows = list[dict[str, Any]]


@pytest.fixture
def read(tmp_path: Path) -> Callable[..., tuple[ExportFacts, Rows]]:
    """Reads a file's content as an export; gives the facts and the rows without what is None."""

    def read(
        content: str | bytes,
        kind: str,
        mapping: str | None = None,
        name: str = "export.csv",
        currency: str = "USD",
        zone: str = "America/Chicago",
    ) -> tuple[ExportFacts, Rows]:
        path = tmp_path / name
        path.write_bytes(content.encode() if isinstance(content, str) else content)
        scratch = tmp_path / "scratch"
        scratch.mkdir(exist_ok=True)
        parsed = parse_mapping(mapping, "mappings/source.toml") if mapping else None
        connection = duckdb.connect(":memory:")
        try:
            request = ExportRequest(path, "source", kind, currency, zone, parsed, scratch)
            facts = read_export(connection, request, "rows")
            cursor = connection.execute("SELECT * FROM rows ORDER BY record")
            names = [column[0] for column in cursor.description]
            found = [dict(zip(names, row, strict=True)) for row in cursor.fetchall()]
        finally:
            connection.close()
        return facts, [{name: value for name, value in row.items() if value is not None} for row in found]

    return read


@pytest.fixture
def refusal(read: Callable[..., tuple[ExportFacts, Rows]]) -> Callable[..., list[str]]:
    """Reads a file that must be refused; gives each problem as one text."""

    def refusal(*arguments: Any, **named: Any) -> list[str]:
        with pytest.raises(LedgerError) as caught:
            read(*arguments, **named)
        return [str(problem) for problem in caught.value.problems]

    return refusal
