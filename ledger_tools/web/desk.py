"""What the pages are given from the edge of the program, and how they read the books.

One opened database serves all requests as long as it is the newest build; each request works on a cursor of its own. A
build that is swapped in meanwhile is opened by the next request, so no page ever shows half of one.
"""

from __future__ import annotations

import contextlib
import datetime
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field

import duckdb

from ledger_tools.archive import bring_up_to_date
from ledger_tools.close import CloseReport
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import Found, OpenItem, find_items, last_known_day, without_settled
from ledger_tools.reports.order_rows import prepare_all
from ledger_tools.store import connect_for_reading, read_fact
from ledger_tools.web.waiting import Waiting

#: So many lists of open items are kept: those of the last builds and days that were looked at.
_KEPT_ITEMS = 6


@dataclass
class Stage:
    """What the program is doing for a page right now, in words; empty where it does nothing."""

    text: str = ""

    def tell(self, text: str) -> None:
        """Say what is being done."""
        self.text = text


@dataclass
class _Opened:
    build: tuple[int, int, int]
    connection: duckdb.DuckDBPyConnection


@dataclass
class Desk:
    """The books that are shown, who looks at them, and what they may do.

    Attributes:
        folder: the books.
        today: the person's own calendar day, read anew each time.
        person: who decides, where a form does not say.
        read_only: whether nothing may be changed from the browser.
        waiting: dropped files and finished packets.
        looked_through: the steps of a month's close, by the build that they were looked through for and the month.
    """

    folder: BooksFolder
    today: Callable[[], datetime.date]
    person: str
    read_only: bool
    waiting: Waiting
    stage: Stage = field(default_factory=Stage)
    looked_through: dict[tuple[str, str], CloseReport] = field(default_factory=dict)
    _opened: _Opened | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)
    _found: dict[tuple[int, datetime.date | None], Found] = field(default_factory=dict)
    _finding: threading.Lock = field(default_factory=threading.Lock)

    def build(self) -> tuple[int, int, int]:
        """What tells the present build from every other one."""
        state = self.folder.database.stat()
        return state.st_ino, state.st_mtime_ns, state.st_size

    def build_name(self) -> str:
        """The present build as a text that changes with every build."""
        return "-".join(f"{part:x}" for part in self.build()) if self.folder.database.is_file() else "none"

    @contextlib.contextmanager
    def books(self) -> Iterator[duckdb.DuckDBPyConnection]:
        """The newest build, built first where an input changed, for the length of a request.

        Raises:
            LedgerError: the books can't be built from what is there.
        """
        try:
            bring_up_to_date(self.folder, self.stage.tell, with_journal=not self.read_only)
        finally:
            self.stage.tell("")
        with self._lock:
            while self._opened is None or self._opened.build != self.build():
                build = self.build()
                self._opened = _Opened(build, connect_for_reading(self.folder.database))
                threading.Thread(target=self._prepare, args=(self._opened.connection.cursor(),), daemon=True).start()
            cursor = self._opened.connection.cursor()
        with cursor:
            cursor.execute("USE books")
            yield cursor

    def found_items(self, connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> Found:
        """What is open and under way as of a day, worked out once for a build."""
        day = as_of or last_known_day(connection)
        build = hash((read_fact(connection, "program"), read_fact(connection, "stamp")))
        with self._finding:
            if (build, day) not in self._found:
                while len(self._found) >= _KEPT_ITEMS:
                    del self._found[next(iter(self._found))]
                self._found[build, day] = find_items(connection, day)
            return self._found[build, day]

    def open_items(self, connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None = None) -> list[OpenItem]:
        """Open items as of a day that no decision has settled, as `list_open_items` gives them."""
        return without_settled(connection, self.found_items(connection, as_of)).late

    def _prepare(self, cursor: duckdb.DuckDBPyConnection) -> None:
        """Work out, aside, what the pages will ask for first."""
        with cursor:
            cursor.execute("USE books")
            prepare_all(cursor)
            self.found_items(cursor, None)
