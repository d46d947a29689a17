"""From gross receipts to gross profit and net income.

Sources, each READ:
- OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 6.6 (multi-step income statement, year
  ended 2018-12-31), https://openstax.org/details/books/principles-financial-accounting (commit
  2165bf6454c0279c1284e19ac7febc101f7956ad, module m67866)
- IRS Publication 334, Tax Guide for Small Business, chapter 7, illustration of gross profit (editions 2001, 2019,
  2022), https://www.unclefed.com/IRS-Forms/2001/HTML/p33407in.html

The entries go through `hand.beancount`; account names are our own. Groups of expenses are the first part of their
names.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable
from decimal import ROUND_HALF_UP, Decimal

from shop_books import ShopBooks, decimals, hand_entries

from ledger_tools.calendar import Period
from ledger_tools.reports.statements import report_income

CASH = "Assets:Cash"
LINES = (
    (CASH, "51700"),
    ("Income:Sales:Goods", "-300000"),
    ("Income:Discounts", "2000"),
    ("Income:Returns", "4500"),
    ("Expenses:COGS:Goods", "180000"),
    ("Expenses:Selling:Advertising", "6250"),
    ("Expenses:Selling:Salaries", "40000"),
    ("Expenses:General:Depreciation", "4700"),
    ("Expenses:General:OfficeSupplies", "1200"),
    ("Expenses:General:Insurance", "6900"),
    ("Income:Interest", "-5650"),
    ("Expenses:Interest", "8400"),
)
YEAR = Period(datetime.date(2018, 1, 1), datetime.date(2018, 12, 31))


def test_multi_step_income_statement(new_shop: Callable[..., ShopBooks]) -> None:
    """Net sales, gross margin and its ratio, both groups of costs, operating and net income are the published ones."""
    books = new_shop(hand=hand_entries([("2018-12-31", LINES)]))
    statement = report_income(books.connection, YEAR)
    expected = {
        "revenue": "293500",
        "cost_of_goods_sold": "180000",
        "gross_profit": "113500",
        "operating_expenses": "59050",
        "operating_income": "54450",
        "other_income": "5650",
        "other_expenses": "8400",
        "net_income": "51700",
    }
    found = books.income(YEAR)
    assert decimals(expected) == {name: found[name] for name in expected}
    assert Decimal("67450") == found["expenses"]  # operating and other ones
    assert Decimal("0.39") == Decimal(statement.totals.gross_margin or "0").quantize(Decimal("0.01"), ROUND_HALF_UP)
    groups: dict[str, Decimal] = {}
    for row in statement.rows:
        groups[row.group] = groups.get(row.group, Decimal(0)) + Decimal(row.amount) / 100
    assert (Decimal("46250"), Decimal("12800")) == (groups["Selling"], groups["General"])


def test_contra_revenue_is_negative_within_revenue(new_shop: Callable[..., ShopBooks]) -> None:
    """Discounts and returns stand among the revenue as what they take from it."""
    books = new_shop(hand=hand_entries([("2018-12-31", LINES)]))
    rows = {row.account: (row.section, row.amount) for row in report_income(books.connection).rows}
    assert ("revenue", 300000_00) == rows["Income:Sales:Goods"]
    assert ("revenue", -2000_00) == rows["Income:Discounts"]
    assert ("revenue", -4500_00) == rows["Income:Returns"]


def test_gross_profit_with_goods_taken_by_the_owner(new_shop: Callable[..., ShopBooks]) -> None:
    """Net receipts, cost of goods sold and gross profit are the published ones; what the owner took is a draw."""
    goods, stock = "Expenses:COGS:Goods", "Assets:Stock"
    entries = [
        ("2018-12-31", ((stock, "37845"), ("Equity:OpeningBalances", "-37845"))),
        ("2019-06-01", ((CASH, "400000"), ("Income:Sales:Goods", "-400000"))),
        ("2019-06-02", (("Income:Returns", "14940"), (CASH, "-14940"))),
        ("2019-12-31", ((goods, "37845"), (stock, "-37845"))),
        ("2019-06-03", ((goods, "285900"), (CASH, "-285900"))),
        ("2019-06-04", (("Equity:OwnerDraws", "2650"), (goods, "-2650"))),
        ("2019-12-31", ((stock, "32955"), (goods, "-32955"))),
    ]
    books = new_shop(hand=hand_entries(entries))
    year = Period(datetime.date(2019, 1, 1), datetime.date(2019, 12, 31))
    found = books.income(year)
    expected = {"revenue": "385060", "cost_of_goods_sold": "288140", "gross_profit": "96920"}
    assert decimals(expected) == {name: found[name] for name in expected}
    before_closing = Period(year.first, datetime.date(2019, 12, 30))
    assert Decimal("283250") == books.income(before_closing)["cost_of_goods_sold"]  # net purchases
    balances = books.balances()
    assert decimals({stock: "32955", "Equity:OwnerDraws": "2650"}) == {
        name: balances[name] for name in (stock, "Equity:OwnerDraws")
    }


def test_gross_profit_percentage(new_shop: Callable[..., ShopBooks]) -> None:
    """Gross profit of 100,000 on net receipts of 300,000 is 33 1/3 %; a markup of 18 % of cost is a margin of 15 %.

    Sources, READ: IRS Publication 334, chapter 7, Testing Gross Profit Accuracy; U.S. Tax Court, Smith v. Commissioner,
    T.C. Memo. (1998), p. 6, where both percentages are rounded (18/118 is 15.25 %).
    """
    entries = [
        ("2031-01-31", ((CASH, "100000"), ("Income:Sales:Goods", "-300000"), ("Expenses:COGS:Goods", "200000"))),
        ("2031-02-28", ((CASH, "18"), ("Income:Sales:Goods", "-118"), ("Expenses:COGS:Goods", "100"))),
    ]
    books = new_shop(hand=hand_entries(entries))
    january = Period(datetime.date(2031, 1, 1), datetime.date(2031, 1, 31))
    february = Period(datetime.date(2031, 2, 1), datetime.date(2031, 2, 28))
    assert ["0.3333", "0.1525"] == [
        report_income(books.connection, month).totals.gross_margin for month in (january, february)
    ]
    found = books.income(february)
    assert Decimal("0.18") == found["gross_profit"] / found["cost_of_goods_sold"]
