"""The small shop as a database that the tests of reports share, and as a books folder for those of the commands."""

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest
import small_books


@pytest.fixture(scope="session")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[duckdb.DuckDBPyConnection]:
    """The small shop's database; no test changes it."""
    with small_books.build_small_books(tmp_path_factory.mktemp("small")) as connection:
        yield connection


@pytest.fixture(scope="session")
def books_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small shop's books folder, with its exports archived."""
    folder = tmp_path_factory.mktemp("folder") / "books"
    small_books.write_books_folder(folder)
    return folder
