"""What the tests on open data share: the fetched files, and an import through a mapping that the proposer wrote."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb
import pytest

from importers.mapping import parse_mapping
from importers.propose import Proposal, propose_mapping
from importers.readers import ExportFacts, ExportRequest, read_export

FOLDER = Path(__file__).resolve().parents[2] / ".cache" / "open-data"


@pytest.fixture
def open_data() -> Callable[[str], Path]:
    """A fetched file by its name; the test fails where it is missing."""

    def find(name: str) -> Path:
        path = FOLDER / name
        if not path.is_file():
            pytest.fail(
                f"{name} is missing: run `python tests/open_data/fetch.py` once, it downloads the open data sets"
            )
        return path

    return find


@pytest.fixture
def database() -> Iterator[duckdb.DuckDBPyConnection]:
    with duckdb.connect(":memory:") as connection:
        yield connection


@pytest.fixture
def import_file(tmp_path: Path, database: duckdb.DuckDBPyConnection) -> Callable[..., tuple[Proposal, ExportFacts]]:
    """Proposes a file's mapping, answers its questions as the test says, and reads all of it into the table `rows`.

    An answer is a line that the proposal holds as a comment; `added` are lines that the test puts under [columns].
    """

    def run(
        path: Path, *, kind: str, answers: tuple[str, ...] = (), added: tuple[str, ...] = ()
    ) -> tuple[Proposal, ExportFacts]:
        proposal = propose_mapping(path, source="open-data", kind=kind, currency="USD", shop_zone="UTC")
        text = proposal.toml
        for answer in answers:
            assert f"\n# {answer}" in text, text
            text = text.replace(f"\n# {answer}", f"\n{answer}")
        for line in added:
            text = text.replace("[columns]\n", f"[columns]\n{line}\n")
        scratch = tmp_path / "scratch"
        scratch.mkdir()
        mapping = parse_mapping(text, "proposal")
        request = ExportRequest(path, "open-data", kind, "USD", "UTC", mapping, scratch)
        return proposal, read_export(database, request, "rows")

    return run
