"""Sales of a CD shop in 1997 and 1998: one purchase a line, columns between blanks, no order numbers.

Data set: the CD sales file known from studies of customer bases, as packed in `lifetimes` 0.11.3. Figures of the file:
69,659 purchases of 23,570 customers, 2,500,315.63 in all; 215 lines stand there more than once, word for word.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest

pytestmark = pytest.mark.open_data


@pytest.fixture
def imported(open_data: Callable[[str], Path], import_file: Callable[..., Any]) -> Any:
    """The file as orders.

    The proposer asks one thing, and the test answers it: the file has no order numbers, so every line is an order of
    its own with an id made from its content. Two columns that the proposer leaves out are added by the test: the
    customer's number (as `payment_ref`, to count customers) and the number of CDs.
    """
    return import_file(
        open_data("cd-sales.txt"),
        kind="orders",
        answers=('order_id = "content"',),
        added=('payment_ref = "customer_id"', 'quantity = "number_of_cds"'),
    )


def test_every_purchase_is_read_once(imported: Any, database: duckdb.DuckDBPyConnection) -> None:
    """All 69,659 lines become records, lines that repeat included, with ids of their own."""
    proposal, facts = imported
    assert [question.what for question in proposal.questions] == ["no column identifies the orders"]
    assert (facts.rows_read, facts.records, facts.skipped) == (69_659, 69_659, ())
    row = database.execute(
        "SELECT count(*), count(DISTINCT order_id), count(DISTINCT payment_ref) FROM rows"
    ).fetchone()
    assert row == (69_659, 69_659, 23_570)


def test_the_total_is_exact(imported: Any, database: duckdb.DuckDBPyConnection) -> None:
    """The sum over all purchases is the file's, to the cent; 80 of them are zero and stay."""
    assert imported
    row = database.execute("SELECT sum(total), count(*) FILTER (total = 0) FROM rows").fetchone()
    assert row == (250_031_563, 80)


def test_lines_that_repeat_stay(imported: Any, database: duckdb.DuckDBPyConnection) -> None:
    """215 lines stand more than once, on 470 lines in all: each copy is a purchase of its own and none is dropped."""
    assert imported
    repeated = "SELECT count(*) AS copies FROM rows GROUP BY split_part(order_id, '-', 1) HAVING count(*) > 1"
    assert database.execute(f"SELECT count(*), sum(copies) FROM ({repeated})").fetchone() == (215, 470)


def test_the_span_is_the_files(imported: Any) -> None:
    """Dates of eight digits without marks are read: 1 January 1997 to 30 June 1998."""
    _, facts = imported
    assert (facts.first_day, facts.last_day) == (datetime.date(1997, 1, 1), datetime.date(1998, 6, 30))
