"""Orders summed by group: nothing is lost or doubled, and a line gets what is its own."""

import duckdb
import pytest
from hypothesis import given
from hypothesis import strategies as some

from ledger_tools.reports.order_figures import Figures, add_figures
from ledger_tools.reports.order_groups import (
    GROUPINGS,
    StatedLine,
    discount_band,
    group_orders,
    split_over_lines,
)
from ledger_tools.reports.order_profit import report_orders

AMOUNTS = some.integers(-(10**6), 10**6)
FIGURES = some.builds(Figures, *[AMOUNTS] * len(Figures._fields))
LINES = some.builds(
    StatedLine,
    some.sampled_from(["A", "B", "C"]),
    some.just("Other"),
    some.integers(0, 10**5),
    some.integers(0, 10**4),
    some.integers(0, 5),
    some.booleans(),
    some.sampled_from(["A", "B", "C"]),
)


@pytest.mark.parametrize("by", GROUPINGS)
def test_groups_sum_to_the_orders(by: str, books: duckdb.DuckDBPyConnection) -> None:
    """However the orders are grouped, column by column the groups are the orders."""
    report = report_orders(books)
    grouped = group_orders(books, report, by)
    assert report.totals == add_figures(group.figures for group in grouped.groups)
    assert report.totals == grouped.totals


@pytest.mark.parametrize(
    ("by", "expected"),
    [
        ("month", [("2031-04", 10, 1685), ("2031-05", 1, -2903)]),
        ("channel", [("web", 9, 2088), ("market", 2, -3306)]),
        (
            "region",
            [
                *(("CA-ON", 1, 1514), ("US-CO", 3, 565), ("GB", 1, 0)),
                *(("(no region)", 1, -103), ("US-OR", 1, -1300), ("US-WA", 4, -1894)),
            ],
        ),
        (
            "discount",
            [("no discount", 8, -571), ("up to 10 %", 1, 1509), ("10 to 25 %", 1, -856), ("over 25 %", 1, -1300)],
        ),
        ("category", [("Mugs", 5, -51), ("Gift card", 1, -103), ("T-shirts", 6, -1064)]),
        ("sku", [("MUG", 5, -51), ("CARD", 1, -103), ("TEE", 6, -1064)]),
    ],
)
def test_groups(by: str, expected: list[tuple[str, int, int]], books: duckdb.DuckDBPyConnection) -> None:
    """Groups stand by month, band or falling profit, and count each order once."""
    grouped = group_orders(books, report_orders(books), by)
    assert expected == [(group.name, group.orders, group.figures.profit) for group in grouped.groups]


def test_shape(books: duckdb.DuckDBPyConnection) -> None:
    """A group is printed with its name, its orders and the columns of the order report."""
    report = report_orders(books)
    told = group_orders(books, report, "channel").as_json()
    assert ["period", "currency", "by", "groups", "totals"] == list(told)
    assert ["group", "orders", *report.as_json()["totals"]] == list(told["groups"][0])


def test_a_line_gets_what_is_its_own() -> None:
    """Items, discounts and production go by what the line states, the rest by what it brought: 36.36 to 13.64."""
    lines = [
        StatedLine("TEE", "T-shirts", 4000, 364, 2, False, "TEE"),
        StatedLine("MUG", "Mugs", 1500, 136, 1, False, "MUG"),
    ]
    figures = Figures(items=5500, discounts=500, shipping_charged=600, production=2400, processing_fees=207)
    tee, mug = split_over_lines(lines, figures, {"TEE": 1800, "MUG": 600})
    assert Figures(items=4000, discounts=364, shipping_charged=436, production=1800, processing_fees=151) == tee
    assert Figures(items=1500, discounts=136, shipping_charged=164, production=600, processing_fees=56) == mug


def test_production_without_skus() -> None:
    """Where the partner's SKUs are not the order's, production goes by what the lines brought."""
    lines = [
        StatedLine("TEE", "T-shirts", 3000, 0, 1, False, "TEE"),
        StatedLine("MUG", "Mugs", 1000, 0, 1, False, "MUG"),
    ]
    parts = split_over_lines(lines, Figures(production=2000), {"partner-1": 2000})
    assert [1500, 500] == [part.production for part in parts]


def test_gift_card_line_gets_no_items() -> None:
    """Beside a gift card, all of the items, costs and fees belong to the other lines."""
    lines = [
        StatedLine("CARD", "Gift card", 5000, 0, 1, True, "CARD"),
        StatedLine("MUG", "Mugs", 1500, 0, 1, False, "MUG"),
    ]
    card, mug = split_over_lines(lines, Figures(items=1500, production=600, processing_fees=90), {})
    assert Figures() == card
    assert Figures(items=1500, production=600, processing_fees=90) == mug


@given(
    some.lists(LINES, min_size=1, max_size=4),
    FIGURES,
    some.dictionaries(some.sampled_from("ABC"), some.integers(0, 9999)),
)
def test_parts_sum_to_the_order(lines: list[StatedLine], figures: Figures, made: dict[str, int]) -> None:
    """Whatever lines state, an order's parts sum to it in every column."""
    assert figures == add_figures(split_over_lines(lines, figures, made))


@pytest.mark.parametrize(
    ("band", "items", "discounts"),
    [
        ("no discount", 1000, 0),
        ("no discount", 0, 0),
        ("up to 10 %", 1000, 1),
        ("up to 10 %", 1000, 100),
        ("10 to 25 %", 1000, 101),
        ("10 to 25 %", 1000, 250),
        ("over 25 %", 1000, 251),
        ("over 25 %", 0, 5),
    ],
)
def test_discount_band(band: str, items: int, discounts: int) -> None:
    """A band includes its upper end."""
    assert band == discount_band(Figures(items=items, discounts=discounts))
