"""An accountant who asks for an order by its number: the packet of the first quarter says what the command line says."""

from __future__ import annotations

import csv
import json
import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner

from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_quarter
from ledger_tools.cli import group
from ledger_tools.cli.periods import period_name
from ledger_tools.folder import BooksFolder
from ledger_tools.packet.contents import make_packet
from ledger_tools.packet.detail_tables import ORDER_COLUMNS
from ledger_tools.packet.separated import write_separated
from ledger_tools.packet.table import Packet
from ledger_tools.packet.workbook import write_workbook

ROOT = Path(__file__).resolve().parents[2]

#: Of three months: one settled in another currency, a plain one, and one paid on the last day and shipped after it.
ASKED = ("10020", "10150", "10315")


def silent(stage: str) -> None:
    """Progress that nobody watches."""
    del stage


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> BooksFolder:
    """A copy of the committed books."""
    target = tmp_path_factory.mktemp("asked") / "books"
    shutil.copytree(ROOT / "books", target, ignore=shutil.ignore_patterns(".cache"))
    return BooksFolder(target)


@pytest.fixture(scope="module")
def quarter(folder: BooksFolder) -> Iterator[Packet]:
    """The packet of the first quarter, while its books are open."""
    with open_books(folder, silent) as connection:
        yield make_packet(connection, parse_quarter("2031-Q1"), "2031-Q1", period_name, silent)


@pytest.fixture(scope="module")
def told(folder: BooksFolder) -> dict[str, dict[str, Any]]:
    """What the command line says of each order at the quarter's end."""
    found = {}
    for order_id in ASKED:
        asked = ["orders", "--order", order_id, "--as-of", "2031-03-31", "--format", "json"]
        done = CliRunner().invoke(group, ["--books", str(folder.root), *asked], catch_exceptions=False)
        (found[order_id],) = json.loads(done.stdout)["orders"]
    return found


@pytest.fixture(params=["csv", "workbook"])
def sheet(request: pytest.FixtureRequest, quarter: Packet, tmp_path: Path) -> Iterator[list[dict[str, Any]]]:
    """The order sheet's lines by heading, from the file that a person opens."""
    if request.param == "csv":
        write_separated(tmp_path / "orders.csv", quarter.table("orders"))
        with (tmp_path / "orders.csv").open(encoding="utf-8-sig", newline="") as file:
            yield list(csv.DictReader(file))
        return
    write_workbook(tmp_path / "packet.xlsx", quarter, tmp_path)
    rows = list(openpyxl.load_workbook(tmp_path / "packet.xlsx", data_only=True)["Orders"].iter_rows(values_only=True))
    top = next(place for place, row in enumerate(rows) if row[0] == "Order")
    yield [dict(zip(map(str, rows[top]), row, strict=True)) for row in rows[top + 1 :]]


def test_orders_are_found_by_their_number(sheet: list[dict[str, Any]], told: dict[str, dict[str, Any]]) -> None:
    """Each number stands in exactly one line, as a text, and every figure there is the command line's, to the cent."""
    for order_id, order in told.items():
        lines = [line for line in sheet if line["Order"] == order_id]
        assert 1 == len(lines), order_id
        (line,) = lines
        assert order["placed_on"] == str(line["Placed"])[:10]
        assert " ".join(order["flags"]) == (line["Flags"] or "")
        for heading, name in ORDER_COLUMNS:
            if name not in ("margin", "other_costs"):
                assert order[name] == f"{float(line[heading]):.2f}", f"{order_id} {heading}"
    assert 315 == len([line for line in sheet if str(line["Order"]).isdigit()])


def test_no_margin_without_the_partners_charge(sheet: list[dict[str, Any]], told: dict[str, dict[str, Any]]) -> None:
    """The margin is the command line's, and blank for the order that the partner had not charged by the quarter's end."""
    shown = {line["Order"]: line["Margin"] for line in sheet}
    assert "no-fulfilment-charge" in told["10315"]["flags"]
    assert not shown["10315"]
    for order_id in ("10020", "10150"):
        assert told[order_id]["margin"] == f"{float(shown[order_id]):.4f}"
