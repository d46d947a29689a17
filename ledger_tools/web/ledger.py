"""The general ledger as Fava shows it: read whole, never between two builds, and with our pages beside it."""

from __future__ import annotations

from collections.abc import Sequence

from fava.core import FavaLedger
from fava.core.extensions import ExtensionModule
from fava.ext import FavaExtensionBase

from ledger_tools.archive import finish_pending
from ledger_tools.web.desk import Desk

#: How often the ledger is loaded again because a build was swapped in under it.
_TRIES = 5

#: The page that the address alone shows.
FIRST_PAGE = "extension/Month/"
_FAVAS_FIRST_PAGE = "income_statement/"


class PagesBesideExtensions(ExtensionModule):
    """The extensions that the ledger names, and our pages, which it need not name."""

    def load_file(self) -> None:
        """Start our pages once, then the ledger's own extensions."""
        ledger = self.ledger
        assert isinstance(ledger, BooksLedger)
        for page in ledger.pages:
            if page not in self._loaded_extensions:
                self._loaded_extensions.add(page)
                started = page(ledger)
                self._instances[started.name] = started
        super().load_file()


class BooksLedger(FavaLedger):
    """A ledger whose files a build may swap at any moment."""

    def __init__(self, desk: Desk, pages: Sequence[type[FavaExtensionBase]]) -> None:
        self.desk = desk
        self.pages = tuple(pages)
        super().__init__(str(desk.folder.main))

    def load_file(self) -> None:
        """Load the ledger again until no build was swapped in meanwhile."""
        if not isinstance(self.extensions, PagesBesideExtensions):
            self.extensions = PagesBesideExtensions(self)
        for _ in range(_TRIES):
            finish_pending(self.desk.folder)  # waits for whoever is swapping
            before = self.desk.build_name()
            super().load_file()
            if not self._is_swapping() and before == self.desk.build_name():
                break
        if self.fava_options.default_page == _FAVAS_FIRST_PAGE:
            self.fava_options.default_page = FIRST_PAGE

    def _is_swapping(self) -> bool:
        """Whether renames are under way, or were cut short."""
        return (self.desk.folder.cache / "intent.json").is_file()
