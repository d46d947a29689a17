"""A set of books served as `view` serves it, and what a test asks of it without a browser."""

from __future__ import annotations

import datetime
import re
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from decimal import Decimal
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

from flask.testing import FlaskClient

from ledger_tools.folder import BooksFolder
from ledger_tools.web.desk import Desk
from ledger_tools.web.server import first_address, make_app, make_server
from ledger_tools.web.waiting import Waiting

TODAY = datetime.date(2031, 5, 6)


@dataclass(frozen=True)
class Site:
    """A served set of books; `home` is where its pages lie."""

    desk: Desk
    app: Any
    home: str

    def client(self) -> FlaskClient:
        """Asks the application directly."""
        client: FlaskClient = self.app.test_client()
        return client

    def path(self, page: str) -> str:
        """Path of a page, "Orders/?sort=profit" say."""
        return "/" + self.home.split("/", 3)[3] + page

    def read(self, page: str) -> Read:
        """A page, asked for without a browser."""
        answer = self.client().get(self.path(page), base_url="http://127.0.0.1")
        assert 200 == answer.status_code, (page, answer.status_code)
        return Read(answer.get_data(as_text=True))

    def post(self, page: str, data: Any, **headers: str) -> Any:
        """A write as one of the pages sends it."""
        own = {"Origin": "http://127.0.0.1", **{name.replace("_", "-"): text for name, text in headers.items()}}
        return self.client().post(self.path(page), base_url="http://127.0.0.1", json=data, headers=own)


class Read(HTMLParser):
    """What stands on a page: its text, its links, and the figures that carry a name."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.source = source
        self.text = ""
        self.links: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        #: Figures in the order of the page, as (attributes of the row around, name, text).
        self.figures: list[tuple[dict[str, str | None], str, str]] = []
        self._row: dict[str, str | None] = {}
        self._name: str | None = None
        self.feed(source)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Notes a tag, its link and its name."""
        values = dict(attrs)
        self.tags.append((tag, values))
        if tag == "a" and values.get("href"):
            self.links.append(str(values["href"]))
        if any(name in values for name in ("data-order", "data-group", "data-item")):
            self._row = values
        name = values.get("data-field") or values.get("data-account") or values.get("data-kind")
        if name:
            self._name = name
            self.figures.append((self._row, name, ""))

    def handle_endtag(self, tag: str) -> None:
        """A named figure ends with its element."""
        if tag in ("td", "span", "strong"):
            self._name = None

    def handle_data(self, data: str) -> None:
        """Gathers text."""
        self.text += data
        if self._name is not None:
            row, name, text = self.figures[-1]
            self.figures[-1] = (row, name, text + data)

    def figure(self, name: str, **row: str) -> str:
        """Text of the one figure of this name in the row that has these attributes (`order="10191"`)."""
        wanted = {f"data-{key}": text for key, text in row.items()}
        found = [text for around, known, text in self.figures if known == name and wanted.items() <= around.items()]
        assert 1 == len(found), (name, row, found)
        return found[0].strip()

    def amount(self, name: str, **row: str) -> Decimal:
        """That figure as a number."""
        return decimal(self.figure(name, **row))


def decimal(text: str) -> Decimal:
    """A figure as people read it, as a number."""
    plain = text.replace(",", "").strip()
    assert re.fullmatch(r"-?\d+(\.\d+)?", plain), text
    return Decimal(plain)


@contextmanager
def serve(folder: BooksFolder, uploads: Path, *, read_only: bool = False) -> Iterator[Site]:
    """Serve books from a thread, as `view` does, on any free port."""
    desk = Desk(folder, lambda: TODAY, "Robin", read_only, Waiting(uploads))
    app = make_app(desk)
    server = make_server(app, 0)
    home = first_address(app, server.bind_addr[1]).removesuffix("Month/")
    thread = threading.Thread(target=server.serve, daemon=True)
    thread.start()
    try:
        yield Site(desk, app, home)
    finally:
        server.stop()
        thread.join(10)
