"""Figures of an order: net revenue, costs, profit and margin."""

import pytest
from hypothesis import given
from hypothesis import strategies as some

from ledger_tools.accounts import PROFIT_COLUMNS, ROLES
from ledger_tools.reports.order_figures import FIGURE_NAMES, Figures, add_figures, roles_of_column

AMOUNTS = some.integers(-(10**9), 10**9)
FIGURES = some.builds(Figures, *[AMOUNTS] * len(Figures._fields))


def test_arithmetic() -> None:
    """Each sum takes its own columns with their own signs; no two columns cancel unseen."""
    figures = Figures(1, 2, 4, 8, 16, 32, 64, 128, 256, 512, 1024, 2048, 4096)
    assert 1 - 2 + 4 + 8 - 16 == figures.net_revenue
    assert 32 + 64 + 128 + 256 == figures.direct_cost
    assert 512 + 1024 + 2048 == figures.payment_cost
    assert -5 - 480 - 3584 == figures.profit


@pytest.mark.parametrize(
    ("margin", "net_revenue", "profit"),
    [
        ("1.0000", 100, 100),
        ("0.3333", 300, 100),
        ("0.6667", 300, 200),
        ("0.0001", 20000, 1),
        ("0.0000", 20001, 1),
        ("-0.0001", 20000, -1),
        ("-1.1612", 2500, -2903),
        ("0.0000", 100, 0),
        (None, 0, -500),
        ("2.0000", -100, -200),
    ],
)
def test_margin(margin: str | None, net_revenue: int, profit: int) -> None:
    """A margin has four digits, an exact half rounds up, and without net revenue there is none."""
    assert margin == Figures(items=net_revenue, production=net_revenue - profit).margin


def test_printed_columns() -> None:
    """Every name of the report has its own amount, in the currency's own digits."""
    expected = {
        "items": "5000",
        "discounts": "100",
        "shipping_charged": "20",
        "tips": "3",
        "returns": "4",
        "net_revenue": "4919",
        "production": "1000",
        "shipping_cost": "200",
        "supplier_tax": "30",
        "reprints": "4",
        "processing_fees": "5",
        "dispute_fees": "6",
        "chargebacks": "7",
        "profit": "3667",
        "margin": "0.7455",
        "tax_collected": "8",
    }
    figures = Figures(5000, 100, 20, 3, 4, 1000, 200, 30, 4, 5, 6, 7, 8)
    assert expected == figures.as_json("JPY")
    assert FIGURE_NAMES == tuple(figures.as_json("JPY"))


def test_columns_and_roles_agree() -> None:
    """Every profit column has accounts that feed it, and every role with a column feeds one that exists."""
    assert [] == [column for column in Figures._fields if not roles_of_column(column)]
    assert {role.profit_column for role in ROLES if role.profit_column} == set(PROFIT_COLUMNS)


@given(some.lists(FIGURES, max_size=5))
def test_sum(figures: list[Figures]) -> None:
    """Profit of a sum is the sum of the profits."""
    assert sum(one.profit for one in figures) == add_figures(figures).profit
    assert sum(one.tax_collected for one in figures) == add_figures(figures).tax_collected
