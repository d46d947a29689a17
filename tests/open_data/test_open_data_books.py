"""Open data through the command line, from `init` and `map` to the reports: what the data sets hold is what the books say.

The data sets and their figures are those of the neighbouring modules. The questions of `map` are answered as it says: by
taking the mark off the line that it wrote.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from test_shop_payments import read_rows, write_rows

pytestmark = pytest.mark.open_data


def run(books: Path, *words: str, status: int = 0) -> str:
    """What a command prints; it must end with the status."""
    command = [sys.executable, "-m", "ledger_tools", "--books", str(books), *words]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert status == done.returncode, done.stdout + done.stderr
    return done.stdout


def start(folder: Path) -> Path:
    """New books with one journal entry a day and kind, so that beancount loads large data sets quickly."""
    books = folder / "books"
    command = [sys.executable, "-m", "ledger_tools", "init", str(books), "--yes"]
    subprocess.run(command, check=True, capture_output=True)
    settings = books / "shop.toml"
    settings.write_text(
        settings.read_text(encoding="utf-8").replace('detail = "order"', 'detail = "day"'), encoding="utf-8"
    )
    return books


def take_in(books: Path, file: Path, source: str, answer: str) -> dict[str, Any]:
    """`map --write`, the answer to its question, `import`; gives what the import says."""
    run(books, "map", str(file), "--source", source, "--write", status=1)
    mapping = books / "mappings" / f"{source}.toml"
    text = mapping.read_text(encoding="utf-8")
    assert f"\n# {answer}" in text
    mapping.write_text(text.replace(f"\n# {answer}", f"\n{answer}"), encoding="utf-8")
    (told,) = json.loads(run(books, "import", str(file), "--source", source, "--format", "json"))["files"]
    return told  # type: ignore[no-any-return]


def test_every_purchase_is_revenue(open_data: Callable[[str], Path], tmp_path: Path) -> None:
    """69,659 purchases, those that repeat word for word included, are 2,500,315.63 of revenue, and `check` holds."""
    books = start(tmp_path)
    told = take_in(books, open_data("cd-sales.txt"), "shop", 'order_id = "content"')
    assert (69_659, 69_659, 0, 0) == (told["rows"], told["new"], told["repeated"], told["amended"])
    statement = json.loads(run(books, "income-statement", "--format", "json"))
    assert "2500315.63" == statement["totals"]["revenue"]
    balances = {
        row["account"]: row["balance"] for row in json.loads(run(books, "trial-balance", "--format", "json"))["rows"]
    }
    assert {"Assets:Clearing:Orders": "2500315.63", "Income:Sales:Other": "-2500315.63"} == balances
    checks = json.loads(run(books, "check", "--format", "json"))["checks"]
    assert [] == [check for check in checks if not check["passed"]]


def test_orders_paid_in_parts_are_paid(open_data: Callable[[str], Path], tmp_path: Path) -> None:
    """113 payments pay 99 orders in full, 13 of them in several parts: clearing ends at zero, no payment item is open."""
    payments = read_rows(open_data("shop-payments.csv"))
    orders = read_rows(open_data("shop-orders.csv"))
    dates = {row["id"]: row["order_date"] for row in orders}
    totals: dict[str, int] = {}
    for row in payments:
        totals[row["order_id"]] = totals.get(row["order_id"], 0) + int(row["amount"])
    books = start(tmp_path)
    cents = 'amounts_in = "minor"'
    sold = write_rows(tmp_path / "orders.csv", [{**row, "total": str(totals[row["id"]])} for row in orders])
    paid = write_rows(tmp_path / "payments.csv", [{**row, "date": dates[row["order_id"]]} for row in payments])
    assert 99 == take_in(books, sold, "shop", cents)["new"]
    assert 113 == take_in(books, paid, "card-processor", cents)["new"]
    report = json.loads(run(books, "orders", "--format", "json"))
    assert (99, "1672.00") == (len(report["orders"]), report["totals"]["net_revenue"])
    balances = {
        row["account"]: row["balance"] for row in json.loads(run(books, "trial-balance", "--format", "json"))["rows"]
    }
    assert {"Assets:Processor:CardProcessor": "1672.00", "Income:Sales:Other": "-1672.00"} == balances
    items = json.loads(run(books, "open-items", "--format", "json", status=1))["items"]
    assert {"order-without-fulfilment"} == {item["kind"] for item in items}
