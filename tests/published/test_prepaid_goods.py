"""Goods paid in advance, returns that are expected, and balances that are never used, as entries by hand.

Sources:
- READ: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 12.1 and 12.2 (made-to-order uniforms
  prepaid, delivered whole or by halves; a sales discount taken in time; treatments prepaid over the year's end; a catering
  deposit), https://openstax.org/details/books/principles-financial-accounting (commit
  2165bf6454c0279c1284e19ac7febc101f7956ad, modules m67903 and m67904)
- IFRS 15 Illustrative Examples, Example 22 (right of return; same as ASC 606-10-55-202), inputs READ, outputs DERIVED by
  multiplication; the same with other figures, READ, https://finlearnhub.com/2019/06/22/ifrs-15-sale-with-a-right-of-return/
- READ: IFRS 15 handbook (2019), Examples 10A and 10B, pp. 279-280 (revenue follows what is used of what is expected to
  be used), http://hozir.org/revenue--ifrs-15-handbook/hozir.org/revenue--ifrs-15-handbook.html?page=280

An estimate (how many will come back, how many points are used) is a person's and reaches the books by hand; what is
checked is that the statements then say the published figures. Left out is what no entry shows: how the estimate is
made, the allocation by stand-alone prices. Account names are our own; a shop that sells what is made on demand holds
no inventory, so its legs stand on an account by hand.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import ShopBooks, build_shop, decimals, hand_entries

from ledger_tools.calendar import Period, parse_month, parse_year
from ledger_tools.money import round_half_up
from ledger_tools.reports.statements import report_cash_flow

CASH, STOCK, OWED = "Assets:Cash", "Assets:Inventory", "Assets:Receivable"
UNEARNED, REFUNDS, TO_COME_BACK = "Liabilities:PaidInAdvance", "Liabilities:RefundLiability", "Assets:GoodsToComeBack"
POINTS = "Liabilities:Points"
SALES, COST, DISCOUNTS = "Income:Sales:Goods", "Expenses:COGS:Goods", "Income:Discounts"


def used(of: int, so_far: int, expected: int, before: int) -> str:
    """Revenue of a year: the share of what is expected to be used that is used so far, less what was shown before."""
    return str(round_half_up(of * so_far, expected) - before)


#: What goes over the books in each year: one published case a year, so that a year's statement is the case's.
ENTRIES = [
    # uniforms, delivered whole
    ("2021-04-03", ((CASH, "600"), (UNEARNED, "-600"))),
    ("2021-05-06", ((UNEARNED, "600"), (SALES, "-600"))),
    ("2021-05-06", ((COST, "280"), (STOCK, "-280"))),
    # uniforms, by halves
    ("2022-04-03", ((CASH, "600"), (UNEARNED, "-600"))),
    *((day, ((UNEARNED, "300"), (SALES, "-300"))) for day in ("2022-05-06", "2022-06-02")),
    *((day, ((COST, "140"), (STOCK, "-140"))) for day in ("2022-05-06", "2022-06-02")),
    # uniforms on terms, paid within the window
    ("2023-04-03", ((OWED, "600"), (SALES, "-600"))),
    ("2023-04-13", ((CASH, "570"), (DISCOUNTS, "30"), (OWED, "-600"))),
    # three treatments prepaid, one in the year
    ("2024-10-15", ((CASH, "120"), (UNEARNED, "-120"))),
    *((day, ((UNEARNED, "40"), (SALES, "-40"))) for day in ("2024-11-01", "2025-02-01", "2025-04-01")),
    # right of return: 97 of 100 kept; then the second vector
    ("2026-06-01", ((CASH, "10000"), (SALES, "-9700"), (REFUNDS, "-300"))),
    ("2026-06-01", ((COST, "5820"), (TO_COME_BACK, "180"), (STOCK, "-6000"))),
    ("2027-06-01", ((CASH, "2000000"), (SALES, "-1850000"), (REFUNDS, "-150000"))),
    ("2027-06-01", ((COST, "1480000"), (TO_COME_BACK, "120000"), (STOCK, "-1600000"))),
    # points: 9,000 allocated to them, 9,700 expected to be used, 4,500 used; then 8,500 of 9,900
    ("2028-12-31", ((CASH, "100000"), (SALES, "-91000"), (POINTS, "-9000"))),
    ("2029-12-31", ((POINTS, used(9000, 4500, 9700, 0)), (SALES, f"-{used(9000, 4500, 9700, 0)}"))),
    ("2030-12-31", ((POINTS, used(9000, 8500, 9900, 4175)), (SALES, f"-{used(9000, 8500, 9900, 4175)}"))),
    # a catering deposit
    ("2031-03-25", ((CASH, "5500"), (UNEARNED, "-5500"))),
    ("2031-06-10", ((UNEARNED, "5500"), (SALES, "-5500"))),
]  # fmt: skip


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """All cases in one set of books."""
    built = build_shop(tmp_path_factory.mktemp("prepaid"), hand=hand_entries(ENTRIES))
    yield built
    built.connection.close()


def year(books: ShopBooks, number: int) -> dict[str, Decimal]:
    """Revenue, cost and gross profit of a year."""
    found = books.income(parse_year(str(number)))
    return {name: found[name] for name in ("revenue", "cost_of_goods_sold", "gross_profit")}


def owed(books: ShopBooks, day: str, account: str) -> Decimal:
    """What a liability (or an asset, negative) stands at."""
    return -books.balances(datetime.date.fromisoformat(day)).get(account, Decimal(0))


def test_prepaid_and_delivered(books: ShopBooks) -> None:
    """Until the uniforms are delivered 600 are owed and nothing is earned; then 600 are, at a cost of 280."""
    assert Decimal("600") == owed(books, "2021-05-05", UNEARNED)
    assert Decimal(0) == books.income(parse_month("2021-04"))["revenue"]
    assert Decimal(0) == owed(books, "2021-05-06", UNEARNED)
    assert decimals({"revenue": "600", "cost_of_goods_sold": "280", "gross_profit": "320"}) == year(books, 2021)


def test_delivered_by_halves(books: ShopBooks) -> None:
    """Each half earns 300 at a cost of 140, and 300 are owed between them."""
    months = [books.income(parse_month(f"2022-{month}")) for month in ("05", "06")]
    assert [(Decimal("300"), Decimal("140"))] * 2 == [
        (found["revenue"], found["cost_of_goods_sold"]) for found in months
    ]
    assert Decimal("300") == owed(books, "2022-05-31", UNEARNED)
    assert Decimal(0) == owed(books, "2022-06-02", UNEARNED)


def test_discount_taken_in_time(books: ShopBooks) -> None:
    """Of 600 on terms 570 are paid within the window: the 30 are contra-revenue, and cash has 570."""
    found = books.income(parse_year("2023"))
    assert decimals({"gross_sales": "600", "contra_revenue": "-30", "revenue": "570"}) == {
        name: found[name] for name in ("gross_sales", "contra_revenue", "revenue")
    }
    flow = report_cash_flow(books.connection, parse_year("2023"))
    assert Decimal("570") == Decimal(flow.closing - flow.opening) / 100


def test_prepaid_over_the_years_end(books: ShopBooks) -> None:
    """Of 120 prepaid 40 are earned in the first year and 80 in the next; 80 are owed between them."""
    assert [Decimal("40"), Decimal("80")] == [year(books, number)["revenue"] for number in (2024, 2025)]
    assert Decimal("80") == owed(books, "2024-12-31", UNEARNED)


@pytest.mark.parametrize(
    ("number", "expected", "refunds", "goods"),
    [
        (2026, {"revenue": "9700", "cost_of_goods_sold": "5820", "gross_profit": "3880"}, "300", "180"),
        (2027, {"revenue": "1850000", "cost_of_goods_sold": "1480000", "gross_profit": "370000"}, "150300", "120180"),
    ],
)
def test_right_of_return(number: int, expected: dict[str, str], refunds: str, goods: str, books: ShopBooks) -> None:
    """What is expected to come back is no revenue and no cost: a liability and an asset stand for it until it does."""
    assert decimals(expected) == year(books, number)
    assert Decimal(refunds) == owed(books, f"{number}-12-31", REFUNDS)
    assert Decimal(goods) == -owed(books, f"{number}-12-31", TO_COME_BACK)


def test_points_as_they_are_used(books: ShopBooks) -> None:
    """Revenue of points is 4,175 and then 3,552, as printed; with a lower estimate the second would be 4,140."""
    assert [Decimal("91000"), Decimal("4175"), Decimal("3552")] == [
        year(books, number)["revenue"] for number in (2028, 2029, 2030)
    ]
    assert Decimal("9000") - Decimal("4175") - Decimal("3552") == owed(books, "2030-12-31", POINTS)
    assert "4140" == used(9000, 8500, 9200, 4175)


def test_deposit(books: ShopBooks) -> None:
    """A deposit of 5,500 is cash in March and revenue in June."""
    march = report_cash_flow(books.connection, parse_month("2031-03"))
    assert 550000 == march.closing - march.opening
    found = [books.income(parse_month(f"2031-{month}"))["revenue"] for month in ("03", "06")]
    assert [Decimal(0), Decimal("5500")] == found
    assert Decimal("5500") == owed(books, "2031-05-31", UNEARNED)


def test_cash_of_all_years(books: ShopBooks) -> None:
    """Cash received is what the entries brought in, whatever was earned when."""
    flow = report_cash_flow(books.connection, Period(None, datetime.date(2031, 12, 31)))
    expected = 600 + 600 + 570 + 120 + 10000 + 2000000 + 100000 + 5500
    assert (100 * expected, 0) == (flow.closing, flow.difference)
