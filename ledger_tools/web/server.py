"""The server: Fava's application with our ledger, pages and guards, on this machine alone."""

from __future__ import annotations

import socket
from collections.abc import Sequence
from typing import Any

import flask
from fava.application import create_app
from fava.ext import FavaExtensionBase

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import people_amount, people_percent
from ledger_tools.web.desk import Desk
from ledger_tools.web.exports import Exports
from ledger_tools.web.guards import guard
from ledger_tools.web.ledger import FIRST_PAGE, BooksLedger
from ledger_tools.web.month import Month
from ledger_tools.web.open_items import OpenItems
from ledger_tools.web.order import Order
from ledger_tools.web.orders import Orders
from ledger_tools.web.packet import Packet
from ledger_tools.web.pages import Pages
from ledger_tools.web.reconciliation import Reconcile
from ledger_tools.web.sales_tax import SalesTax

#: The pages in the order of the side bar.
PAGES: Sequence[type[FavaExtensionBase]] = (
    Pages,
    Month,
    Orders,
    Order,
    OpenItems,
    Reconcile,
    SalesTax,
    Exports,
    Packet,
)

HOST = "127.0.0.1"
#: How many ports after the one asked for are tried.
_PORTS = 50


def make_app(desk: Desk) -> flask.Flask:
    """The application that shows these books."""
    app = create_app([desk.folder.main], read_only=desk.read_only)
    ledgers: Any = app.config["LEDGERS"]
    ledgers._ledgers = [BooksLedger(desk, PAGES)]
    app.add_template_filter(people_amount, "money")
    app.add_template_filter(people_percent, "percent")
    guard(app)
    return app


def free_port(port: int) -> int:
    """The first port from this one on that nobody listens on; 0 stays 0, which lets the system choose.

    Raises:
        LedgerError: none of the next ones is free.
    """
    if port == 0:
        return 0
    for number in range(port, min(port + _PORTS, 65536)):
        with socket.socket() as tried:
            tried.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            try:
                tried.bind((HOST, number))
            except OSError:
                continue
            return number
    raise LedgerError(Problem(f"port {port}", f"and the {_PORTS - 1} after it are taken", "name another: --port N"))


def make_server(app: flask.Flask, port: int) -> Any:
    """A server that is ready to be served from; its address is in `bind_addr`."""
    from cheroot.wsgi import Server

    server = Server((HOST, port), app, numthreads=10)
    server.prepare()
    return server


def first_address(app: flask.Flask, port: int) -> str:
    """Address of the first page."""
    ledgers: Any = app.config["LEDGERS"]
    return f"http://{HOST}:{port}/{ledgers.first_slug()}/{FIRST_PAGE}"
