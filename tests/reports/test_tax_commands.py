"""The sales tax commands from end to end: what a person is told beside the tables, and what programs get."""

import json
from pathlib import Path

import pytest
import tax_shop
from click.testing import CliRunner, Result
from shop_books import build_shop

from ledger_tools.cli import group

THRESHOLD = """
[[threshold]]
jurisdiction = "US-TX"
sales = "40.00"
reached = "at-least"
effective = 2031-01-01
as_of = 2031-01-01
source = "for this test"
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The small taxed shop's books folder, nothing paid into its bank yet, with a threshold of its own."""
    built = build_shop(
        tmp_path_factory.mktemp("taxed"), {"shop": tax_shop.ORDERS}, settings=tax_shop.SETTINGS + THRESHOLD
    )
    built.connection.close()
    return built.folder.root


def run(folder: Path, *words: str) -> Result:
    """Run one command on the books, 80 columns wide."""
    return CliRunner(env={"COLUMNS": "80"}).invoke(group, ["--books", str(folder), *words], catch_exceptions=False)


def test_all_parts_in_one_table(folder: Path) -> None:
    """The table shows every part, in 80 columns; what needs a person and the usual caution stand on stderr."""
    result = run(folder, "sales-tax")
    assert 0 == result.exit_code
    assert [] == [line for line in result.stdout.splitlines() if len(line) > 80]
    titles = ("Sales by jurisdiction", "Sales tax,", "Returns of", "Registration thresholds", "How tax was worked out")
    assert [] == [title for title in titles if title not in result.stdout]
    assert "2 liability account(s) tie out" in result.stdout
    assert "US-TX: the threshold was passed on 2031-02-03, and no registration is in shop.toml." in result.stderr
    assert "a licensed accountant" in result.stderr


def test_overdue_return(tmp_path: Path) -> None:
    """A return past its date that no payment settles is told."""
    orders = [*tax_shop.ORDERS, {**tax_shop.ORDERS[-1], "order_id": "late", "placed_at": "2031-03-01"}]
    books = build_shop(tmp_path, {"shop": orders}, settings=tax_shop.SETTINGS)
    books.connection.close()
    told = run(books.folder.root, "sales-tax", "--show", "returns").stderr
    assert "1 return(s) are past their date and not paid in these books: US-CO 2031-01" in told


def test_parts_as_json(folder: Path) -> None:
    """Each part has its rows; returns carry what a return asks for."""
    returns = json.loads(run(folder, "sales-tax", "--show", "returns", "--month", "2031-01", "--format", "json").stdout)
    first = returns["returns"][0]
    assert ("US-CO", "125.00", "50.00", "30.00", "10.00", "0.25") == tuple(
        first[name]
        for name in ("jurisdiction", "taxable_sales", "exempt_sales", "marketplace_sales", "payable", "allowance")
    )
    rows = json.loads(run(folder, "sales-tax", "--show", "thresholds", "--format", "json").stdout)["thresholds"]
    assert [("US-CO", None, None), ("US-TX", 100, "2031-02-03")] == [
        (row["jurisdiction"], row["percent"], row["crossed_on"]) for row in rows
    ]


def test_parts_as_csv(folder: Path) -> None:
    """Yes and no are written as in JSON."""
    lines = run(folder, "sales-tax", "--show", "thresholds", "--format", "csv").stdout.splitlines()
    place = lines[0].split(",").index("registered")
    assert ["true", "false"] == [line.split(",")[place] for line in lines[1:]]


def test_tax_forms_in_both_shapes(folder: Path) -> None:
    """Receipts and lines stand in one JSON, the lines in the CSV; the caution stands on stderr."""
    result = run(folder, "tax-forms", "--year", "2031", "--format", "json")
    told = json.loads(result.stdout)
    assert ("0.00", "0.00") == (told["difference"], told["totals"]["difference"])
    assert "No tax advice" in result.stderr
    assert "line,meaning,account,amount" == run(folder, "tax-forms", "--format", "csv").stdout.splitlines()[0]
