"""Orders and payments of an invented café: 99 orders, 113 payments of 167,200 cents, 13 orders paid in several parts.

Data set: the seeds of dbt's café sample project, as packed in `dagster-dbt` 0.29.27. Its payments carry no date and its
orders no total, so the test set-up joins the two files plainly: a payment gets the date of its order, an order the sum
of its payments.
"""

from __future__ import annotations

import csv
import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest

pytestmark = pytest.mark.open_data


def read_rows(path: Path) -> list[dict[str, str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def write_rows(path: Path, rows: list[dict[str, str]]) -> Path:
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(rows)
    return path


@pytest.fixture
def payments_file(open_data: Callable[[str], Path], tmp_path: Path) -> Path:
    """The payments, each with the date of its order."""
    dates = {row["id"]: row["order_date"] for row in read_rows(open_data("shop-orders.csv"))}
    payments = read_rows(open_data("shop-payments.csv"))
    return write_rows(tmp_path / "payments.csv", [{**row, "date": dates[row["order_id"]]} for row in payments])


@pytest.fixture
def orders_file(open_data: Callable[[str], Path], tmp_path: Path) -> Path:
    """The orders, each with the sum of its payments."""
    totals: dict[str, int] = {}
    for row in read_rows(open_data("shop-payments.csv")):
        totals[row["order_id"]] = totals.get(row["order_id"], 0) + int(row["amount"])
    orders = read_rows(open_data("shop-orders.csv"))
    return write_rows(tmp_path / "orders.csv", [{**row, "total": str(totals[row["id"]])} for row in orders])


CENTS = ('amounts_in = "minor"',)


def test_payments(payments_file: Path, import_file: Callable[..., Any], database: duckdb.DuckDBPyConnection) -> None:
    """113 payments of 99 orders, 167,200 cents; the proposer asks whether they are cents, and the test says yes."""
    proposal, facts = import_file(payments_file, kind="processor", answers=CENTS)
    assert [question.what for question in proposal.questions] == ["no amount has decimals: are they whole cents?"]
    assert (facts.rows_read, facts.records) == (113, 113)
    row = database.execute(
        "SELECT count(DISTINCT event_id), count(DISTINCT order_ref), sum(gross), sum(net), any_value(kind) FROM rows"
    ).fetchone()
    assert row == (113, 99, 167_200, 167_200, "charge")


def test_orders_paid_in_parts(
    payments_file: Path, import_file: Callable[..., Any], database: duckdb.DuckDBPyConnection
) -> None:
    """13 orders have several payments: all of them keep their own event id and the same order reference."""
    import_file(payments_file, kind="processor", answers=CENTS)
    row = database.execute(
        "SELECT count(*), sum(parts) FROM (SELECT count(*) AS parts FROM rows GROUP BY order_ref HAVING count(*) > 1)"
    ).fetchone()
    assert row == (13, 27)


def test_orders(orders_file: Path, import_file: Callable[..., Any], database: duckdb.DuckDBPyConnection) -> None:
    """99 orders of one row each, 1 January to 9 April 2018, with the payments' total."""
    proposal, facts = import_file(orders_file, kind="orders", answers=CENTS)
    assert [question.what for question in proposal.questions] == ["no amount has decimals: are they whole cents?"]
    assert (facts.records, facts.first_day, facts.last_day) == (
        99,
        datetime.date(2018, 1, 1),
        datetime.date(2018, 4, 9),
    )
    assert database.execute("SELECT count(DISTINCT order_id), sum(total) FROM rows").fetchone() == (99, 167_200)
