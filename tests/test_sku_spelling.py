"""One SKU in capitals or not is one SKU wherever SKUs are compared, and is shown as it was written."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import duckdb
import pytest
from kept_books import Books, order, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.open_items import list_open_items
from ledger_tools.reports.order_groups import group_orders
from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.order_rows import OrderChoice, list_groups, prepare_all

CARD = """
[rate_card]

[[rate_card.production]]
sku = "CAP"
price = "6.00"

[[rate_card.shipping]]
category = "Mugs"
first = "9.00"
additional = "9.00"
"""

TO = {"ship_country": "US", "ship_region": "CO"}


def made(event_id: str, sku: str, total: str, **fields: object) -> dict[str, object]:
    """A charge of production only."""
    return wallet(event_id, "charge", "2031-04-02", total, production=total, sku=sku, quantity=1, **fields)


@pytest.fixture(scope="module", params=["lower", "title"])
def shop(
    request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[duckdb.DuckDBPyConnection]:
    """A partner that writes the shop's SKUs in its own way: goods without a reference, a double charge, a dear cap."""

    def spelt(sku: str) -> str:
        return str(getattr(sku, request.param)())

    place: Path = tmp_path_factory.mktemp("spelling")
    books = Books(place, CARD).put(
        orders=[
            order("goods", "2031-04-01", "20.00", sku="MUG", unit_price="10.00", **TO),
            order("goods", "2031-04-01", "20.00", sku="mug", unit_price="10.00", **TO),
            order("twice", "2031-04-01", "11.00"),
            order("dear", "2031-04-01", "30.00", sku="MUG", unit_price="10.00"),
            order("dear", "2031-04-01", "30.00", sku="CAP", unit_price="20.00"),
        ],
        wallet=[
            made("g1", spelt("MUG"), "5.00", **TO),
            made("g2", spelt("MUG"), "5.00", **TO),
            made("t1", spelt("MUG"), "5.00", order_ref="twice"),
            made("t2", spelt("MUG"), "5.10", order_ref="twice"),
            made("d1", spelt("MUG"), "4.00", order_ref="dear"),
            made("d2", spelt("CAP"), "7.00", order_ref="dear"),
        ],
    )
    with open_books(books.folder, silent) as connection:
        yield connection


def test_goods_and_extra_charges(shop: duckdb.DuckDBPyConnection) -> None:
    """Two mugs for an order of two are that order's and no double charge; the second mug of an order of one is."""
    matched = shop.execute(
        "SELECT event_id, order_id FROM wallet_row JOIN order_head USING (order_no) WHERE matched_by LIKE '%goods%' ORDER BY 1"
    )
    assert [("g1", "goods"), ("g2", "goods")] == matched.fetchall()
    items = list_open_items(shop, None)
    assert [("twice", "t2", 510)] == [
        (item.order_id, item.event_id, item.amount) for item in items if item.kind == "charged-twice"
    ]


def test_rate_card(shop: duckdb.DuckDBPyConnection) -> None:
    """The card's price is that of the charge, whose SKU is told as the partner writes it."""
    (sku,) = shop.execute("SELECT sku FROM wallet_row WHERE event_id = 'd2'").fetchall()[0]
    causes = [item.cause for item in list_open_items(shop, None) if item.kind == "cost-above-rate-card"]
    assert [f"production of {sku} is 7.00, on the rate card 6.00"] == causes


def test_cost_of_a_line(shop: duckdb.DuckDBPyConnection) -> None:
    """A line bears its own SKU's charge, in both ways of working it out, and the group is named as the shop writes it."""
    report = report_orders(shop)
    groups = group_orders(shop, report, "sku").groups
    assert 700 == next(group.figures.production for group in groups if group.name == "CAP")
    assert {"MUG", "mug", "CAP"} == {group.name for group in groups}
    prepare_all(shop)
    assert set(groups) == set(list_groups(shop, OrderChoice(), "sku"))
