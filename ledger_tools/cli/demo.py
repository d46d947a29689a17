"""`demo`: a demo shop's books, and what they say."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import echo


@click.command("demo")
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--orders", "orders", type=int, default=400, show_default=True, help="How many orders the shop has had.")
@click.option("--seed", type=int, help="Another shop's luck: the same seed gives the same bytes.")
@click.pass_obj
def command(context: Context, directory: Path, orders: int, seed: int | None) -> None:
    """Write a demo shop's books with its exports to DIR, build them, close its months, and show what they say.

    The shop, its customers and its prices are invented. About a dozen faults are planted in the exports; `open-items`
    finds them.

    \b
    Example:
      ledger-tools demo demo-books
      ledger-tools --books demo-books orders --month 2031-04
    """
    from ledger_tools.archive import open_books
    from ledger_tools.demo import DEFAULT_SEED, write_demo
    from ledger_tools.demo.closing import CLOSED_BY, close_demo
    from ledger_tools.new_books import complete_books

    write_demo(directory, orders=orders, seed=DEFAULT_SEED if seed is None else seed, progress=context.progress)
    folder = complete_books(directory)
    closed = close_demo(folder, context.progress)
    with open_books(folder, context.progress) as connection:
        context.end_progress()
        _show(connection, directory)
    echo(f"Closed through {closed[-1]} by {CLOSED_BY}; what is planted was waived.", err=True)


def _show(connection: object, directory: Path) -> None:
    """What each order of the last month earned, the month's result, and what stands open."""
    import duckdb

    from ledger_tools.calendar import Period, month_end
    from ledger_tools.cli.income_statement import show_income_statement
    from ledger_tools.cli.orders import show_orders
    from ledger_tools.open_items import last_known_day, list_open_items

    assert isinstance(connection, duckdb.DuckDBPyConnection)
    last = last_known_day(connection)
    assert last is not None
    month = Period(last.replace(day=1), month_end(last))
    show_orders(connection, month)
    echo()
    show_income_statement(connection, month)
    echo()
    items = list_open_items(connection, None)
    named = shlex.quote(str(directory))
    echo(f"{len(items)} things do not tie out. See them with: ledger-tools --books {named} open-items", err=True)
    echo(f"One order's whole story: ledger-tools --books {named} orders --order {_an_order(connection)}", err=True)


def _an_order(connection: object) -> str:
    import duckdb

    assert isinstance(connection, duckdb.DuckDBPyConnection)
    row = connection.execute(
        "SELECT order_id FROM order_head JOIN posting USING (order_no) GROUP BY ALL ORDER BY count(*) DESC, order_id LIMIT 1"
    ).fetchone()
    return str(row[0]) if row else ""
