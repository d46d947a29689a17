"""Counting sales against a registration threshold, and the day on which it is passed.

Sources; figures are READ where no DERIVED stands beside them:
- Streamlined Sales Tax Governing Board, Remote Seller Threshold Terms (2024): resale 220,000 in 220 sales, exempt purchasers
  75,000 in 75, exempt products 10,000 in 10, taxable 95,000 in 95; gross 400,000 in 400; retail 180,000 in 180 is DERIVED
- Cal. Code Regs. tit. 18, s. 1684, examples 1 to 3: engaged on 2019-04-01, 2019-04-01 and 2019-08-01. The total of 499,500
  before the sale of 900 is DERIVED from the 500,400 after it
- New York TSB-M-19(4)S: more than 500,000 and more than 100 sales. Cases DERIVED
- Texas Comptroller, remote sellers, and the adopted rule: passed in the twelve months to 2019-06-30, collecting by
  2019-10-01
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from shop_books import CURRENCY, ZONE, build_books

from ledger_tools.new_books import settings_text
from ledger_tools.reports.sales_tax_thresholds import (
    DayOfSales,
    ThresholdRow,
    find_crossing,
    is_over,
    report_thresholds,
    thresholds_on_file,
)
from ledger_tools.tax_settings import Threshold

ON_FILE = {rule.jurisdiction: rule for rule in thresholds_on_file()}


def day(text: str) -> datetime.date:
    """A date."""
    return datetime.date.fromisoformat(text)


def crossing(place: str, sales: list[tuple[str, str]], today: str) -> tuple[str, str] | None:
    """When the threshold on file was passed by these sales, and when collecting begins."""
    rule = ON_FILE[place]
    days = [DayOfSales(day(on), int(Decimal(amount) * 100), 1) for on, amount in sales]
    found = find_crossing(rule, int(Decimal(rule.sales) * 100), days, day(today))
    return None if found is None else (found[0].isoformat(), found[1].isoformat())


def counted(folder: Path, measure: str) -> ThresholdRow:
    """The published seller's year in the books, each sale of 1,000, counted by one measure."""
    kinds = (("wholesale", "", 220), ("web", "", 75 + 10), ("web", "50.00", 95))
    orders = [
        {
            "order_id": f"{channel}{tax}{number}", "placed_at": "2031-02-03", "category": "Goods", "quantity": "1",
            "unit_price": "1000.00", "tax": tax, "total": str(Decimal("1000.00") + Decimal(tax or "0")), "channel": channel,
            "ship_country": "US", "ship_region": "NE",
        }
        for channel, tax, count in kinds
        for number in range(count)
    ]  # fmt: skip
    threshold = f"""
[[threshold]]
jurisdiction = "US-NE"
sales = "100000"
transactions = 200
measure = "{measure}"
effective = 2031-01-01
as_of = 2031-01-01
source = "for this test"
"""
    folder.mkdir()
    top, _, rest = settings_text("Test shop", CURRENCY, ZONE).partition("[[source]]")
    resale = 'resale_channels = ["Wholesale"]'
    with build_books(folder, f"{top}{resale}\n[[source]]{rest}{threshold}", {"shop": orders}).connection as connection:
        (row,) = report_thresholds(connection).rows
    return row


@pytest.mark.parametrize(
    ("measure", "sales", "transactions"), [("gross", 400_000, 400), ("retail", 180_000, 180), ("taxable", 95_000, 95)]
)
def test_three_ways_to_count(measure: str, sales: int, transactions: int, tmp_path: Path) -> None:
    """The same year is 400,000 gross, 180,000 retail and 95,000 taxable; the last passes neither figure."""
    row = counted(tmp_path / measure, measure)
    assert (sales * 100, transactions) == (row.sales, row.transactions)
    assert (None if measure == "taxable" else day("2031-02-03")) == row.crossed_on


@pytest.mark.parametrize(
    ("expected", "sales"),
    [
        ("2019-04-01", [("2018-06-01", "500000.01")]),
        ("2019-04-01", [("2018-06-01", "400000"), ("2019-02-01", "500001")]),
        ("2019-08-01", [("2018-06-01", "1000"), ("2019-05-01", "499500"), ("2019-08-01", "900")]),
        (None, [("2018-06-01", "500000"), ("2019-05-01", "500000")]),
    ],
)
def test_california(expected: str | None, sales: list[tuple[str, str]]) -> None:
    """A year over 500,000 counts through the next; within a year the sale that passes it is not yet to be taxed."""
    found = crossing("US-CA", sales, "2019-12-31")
    assert expected == (found[0] if found else None)


@pytest.mark.parametrize(
    ("sales", "transactions", "expected"),
    [("500000.01", 101, True), ("500000.01", 100, False), ("500000.00", 101, False)],
)
def test_new_york(sales: str, transactions: int, expected: bool) -> None:
    """Both figures must be exceeded."""
    assert expected == is_over(ON_FILE["US-NY"], 50_000_000, int(Decimal(sales) * 100), transactions)


def test_new_york_quarters() -> None:
    """Four sales tax quarters end in February, May, August and November, and are looked at then."""
    rule, sales = ON_FILE["US-NY"], [DayOfSales(day("2031-01-10"), 60_000_000, 101)]
    assert (day("2031-02-28"), day("2031-03-01")) == find_crossing(rule, 50_000_000, sales, day("2031-03-15"))


def test_texas_start() -> None:
    """Passed with June, the duty to collect begins with the first day of the fourth month after: October."""
    assert ("2019-06-30", "2019-10-01") == crossing("US-TX", [("2019-06-10", "500000")], "2019-12-31")
    assert crossing("US-TX", [("2019-06-10", "499999.99")], "2019-12-31") is None


def test_illinois_quarters() -> None:
    """100,000 is enough, and looked at when a calendar quarter ends."""
    assert ("2031-06-30", "2031-07-01") == crossing("US-IL", [("2031-04-10", "100000")], "2031-12-31")
    assert crossing("US-IL", [("2031-04-10", "100000")], "2031-06-29") is None


def test_states_on_file() -> None:
    """Only states whose rule was read are on file, each with a source and the day it was looked up."""
    assert ["US-CA", "US-IL", "US-IN", "US-NY", "US-SD", "US-TX", "US-WY"] == sorted(ON_FILE)
    assert all(rule.source and rule.as_of >= rule.effective for rule in ON_FILE.values())
    assert isinstance(ON_FILE["US-SD"], Threshold)


def test_transactions_alone() -> None:
    """Where one figure is enough, so many orders pass without the sales."""
    rule = ON_FILE["US-SD"].model_copy(update={"transactions": 200, "reached": "at-least"})
    assert is_over(rule, 10_000_000, 1, 200)
    assert not is_over(rule, 10_000_000, 1, 199)
