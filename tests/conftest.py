"""What every test shares: how hard hypothesis tries, and ready-made books.

`ci` tries the same examples on every run, so that a red run can be repeated; `dev` is quicker and looks somewhere new
each time. `HYPOTHESIS_PROFILE` chooses; else `ci` where the variable CI is set.
"""

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from shop_books import DemoBooks, ShopBooks, build_demo, build_shop

from ledger_tools.demo import DEFAULT_ORDERS, DEFAULT_SEED

settings.register_profile("ci", derandomize=True, deadline=None, max_examples=200, print_blob=True)
settings.register_profile("dev", deadline=None, max_examples=50)
settings.load_profile(os.environ.get("HYPOTHESIS_PROFILE") or ("ci" if os.environ.get("CI") else "dev"))


@pytest.fixture
def new_shop(tmp_path: Path) -> Iterator[Callable[..., ShopBooks]]:
    """Builds a shop's books from canonical rows, hand entries and settings; see `shop_books.build_shop`."""
    built: list[ShopBooks] = []

    def build(*arguments: object, **named: object) -> ShopBooks:
        root = tmp_path / f"shop{len(built)}"
        root.mkdir()
        built.append(build_shop(root, *arguments, **named))  # type: ignore[arg-type]
        return built[-1]

    yield build
    for books in built:
        books.connection.close()


@pytest.fixture(scope="session")
def demo_books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[DemoBooks]:
    """The built books of the default demo shop, for reading only; a test that changes files takes a copy."""
    books = build_demo(tmp_path_factory.mktemp("demo-books"), DEFAULT_ORDERS, DEFAULT_SEED)
    yield books
    books.connection.close()
