"""Finding the order that a person means."""

from pathlib import Path

import duckdb
import pytest
import small_books

from ledger_tools.errors import LedgerError
from ledger_tools.matching.order_lookup import find_order


@pytest.mark.parametrize(
    "text", ["1001", "#1001", " 1001 ", "SO-1001", "so-1001", "order-1001", "^order-1001", "shop/1001"]
)
def test_forms(text: str, books: duckdb.DuckDBPyConnection) -> None:
    """An order is found by its id, with `#` or a prefix before it, and by its link in the journal."""
    assert 1 == find_order(books, text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("1009x", "order '1009x': is not in any shop export\n    → the nearest are 1009, 1008, 1007"),
        ("", "order '': is not in any shop export\n    → the nearest are 1011, 1008, 1010"),
        ("'; DROP TABLE event", None),
    ],
)
def test_unknown(text: str, message: str | None, books: duckdb.DuckDBPyConnection) -> None:
    """An id that no export holds is told with the nearest ones, and is never code."""
    with pytest.raises(LedgerError) as trouble:
        find_order(books, text)
    assert message is None or message == str(trouble.value)


def test_two_shops(tmp_path: Path) -> None:
    """An id that two shops use is told with the links that tell them apart, and each link finds its own."""
    second = '\n[[source]]\nname = "stall"\nkind = "orders"\ncurrency = "USD"\n'
    with small_books.build_small_books(tmp_path, small_books.SETTINGS + second, hand="") as books:
        with pytest.raises(LedgerError) as trouble:
            find_order(books, "1001")
        expected = "fits several orders: 1001 (shop): order-1001.shop, 1001 (stall): order-1001.stall"
        assert expected == trouble.value.problems[0].what
        assert find_order(books, "order-1001.shop") != find_order(books, "order-1001.stall")


def test_no_orders(tmp_path: Path) -> None:
    """Books without orders say so."""
    header = small_books.ORDERS.splitlines()[0] + "\n"
    with small_books.build_small_books(tmp_path, orders=header, hand="") as books:
        with pytest.raises(LedgerError, match="the books hold no orders"):
            find_order(books, "1001")
