"""Fixtures of the tests of the close."""

from __future__ import annotations

from pathlib import Path

import pytest
from april_shop import SETTINGS, put_april
from kept_books import Books


@pytest.fixture
def books(tmp_path: Path) -> Books:
    """April's books, in which nothing is wrong."""
    made = Books(tmp_path, SETTINGS)
    put_april(made)
    return made
