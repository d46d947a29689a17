"""`view`: the books in the browser, on this machine only."""

from __future__ import annotations

import os
import sys

import click

from ledger_tools.cli import Context
from ledger_tools.cli.login import login_name
from ledger_tools.cli.output import echo


@click.command("view")
@click.option(
    "--port",
    type=click.IntRange(0, 65535),
    default=5000,
    show_default=True,
    help="Where to listen; the next free port where it is taken.",
)
@click.option("--read-only", is_flag=True, help="Change nothing from the browser.")
@click.option("--no-browser", is_flag=True, help="Say the address and open no browser.")
@click.pass_obj
def command(context: Context, port: int, read_only: bool, no_browser: bool) -> None:
    """Show the books in the browser: the month, each order, what is open, and the general ledger.

    The server listens on this machine alone and needs no network. Leave it with Ctrl-C.

    \b
    Example:
      ledger-tools view
      ledger-tools view --port 8040 --read-only
    """
    import datetime
    import tempfile
    import webbrowser
    from pathlib import Path

    from ledger_tools.archive import bring_up_to_date
    from ledger_tools.web.desk import Desk
    from ledger_tools.web.server import first_address, free_port, make_app, make_server
    from ledger_tools.web.waiting import Waiting

    folder = context.folder()
    bring_up_to_date(folder, context.progress, with_journal=not read_only)
    context.progress("opening the ledger")
    with tempfile.TemporaryDirectory(prefix="ledger-tools-") as aside:
        desk = Desk(folder, datetime.date.today, login_name(), read_only, Waiting(Path(aside)))
        with desk.books():  # begins to work out, aside, what the first pages ask for
            app = make_app(desk)
        server = make_server(app, free_port(port))
        context.end_progress()
        address = first_address(app, server.bind_addr[1])
        echo(f"The books are at {address} (Ctrl-C ends)", err=True)
        if read_only:
            echo("Nothing can be changed from the browser.", err=True)
        if not no_browser:
            webbrowser.open(address)
        try:
            server.serve()
        except KeyboardInterrupt:
            pass
        finally:
            server.stop()
    # a thread may still work something out aside; the interpreter's own way out would abort under it
    sys.stdout.flush()
    sys.stderr.flush()
    os._exit(0)
