"""The demo shop's books, served: once for reading, and as a copy of its own for each test that changes them."""

import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from browsing import Browser, start_browser
from served import Site, serve
from shop_books import DemoBooks

from ledger_tools.folder import BooksFolder


@pytest.fixture(scope="session")
def demo_site(demo_books: DemoBooks, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Site]:
    """The demo shop, served for reading only by the tests (not read-only to the pages)."""
    root = tmp_path_factory.mktemp("site") / "books"
    shutil.copytree(demo_books.folder.root, root)
    with serve(BooksFolder(root), tmp_path_factory.mktemp("uploads")) as site:
        yield site


@pytest.fixture
def new_site(demo_books: DemoBooks, tmp_path: Path) -> Iterator[Callable[..., Site]]:
    """Serves a copy of the demo shop's books, or other books, for a test that changes them."""
    with ExitStack() as stack:

        def start(folder: BooksFolder | None = None, *, read_only: bool = False) -> Site:
            if folder is None:
                folder = BooksFolder(tmp_path / "books")
                shutil.copytree(demo_books.folder.root, folder.root)
            (tmp_path / "uploads").mkdir(exist_ok=True)
            return stack.enter_context(serve(folder, tmp_path / "uploads", read_only=read_only))

        yield start


@pytest.fixture(scope="session")
def started_browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One browser for all tests."""
    with start_browser(tmp_path_factory.mktemp("browser")) as started:
        yield started


@pytest.fixture
def browser(started_browser: Browser) -> Browser:
    """The browser on an empty page, light and wide, with nothing to complain about yet."""
    started_browser.driver.get("about:blank")
    started_browser.look()
    started_browser.complaints()
    return started_browser
