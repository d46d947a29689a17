"""Sales tax collected is owed, not earned.

Sources, each READ:
- OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 12.1 (sales tax payable, invoice) and
  12.2, https://openstax.org/details/books/principles-financial-accounting (commit
  2165bf6454c0279c1284e19ac7febc101f7956ad, modules m67903 and m67904)
- IRS Publication 583, sample record system, daily summary of 3 January (Rev. January 2015, p. 16),
  http://www.mlmattorney.com/Sample.html: receipts split into sales and sales tax; the tax is neither income nor a
  deduction

Sales come from an order export, payments from a processor export, the remittance from a bank statement and a bank
rule. The prepaid and partly delivered orders of 12.2 stand in test_prepaid_goods.py.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import ShopBooks, build_shop, decimals, payment

from ledger_tools.calendar import parse_month
from ledger_tools.reports.statements import report_cash_flow, report_income

RULE = """
[[bank_rule]]
pattern = "state revenue"
account = "Liabilities:SalesTax:US-CO"
"""

ORDERS = [
    {
        "order_id": "A", "placed_at": "2031-08-20", "category": "Uniforms", "quantity": "1",
        "unit_price": "18000.00", "tax": "1080.00", "total": "19080.00", "ship_country": "US", "ship_region": "CO",
    },
    {
        "order_id": "B", "placed_at": "2031-01-03", "category": "Counter sales", "quantity": "1",
        "unit_price": "263.60", "tax": "4.20", "total": "267.80", "ship_country": "US", "ship_region": "MN",
    },
    {
        "order_id": "C", "placed_at": "2031-09-01", "category": "Invoiced goods", "quantity": "10",
        "unit_price": "45.99",
        "shipping_charged": "56.00", "total": "515.90",
    },
]  # fmt: skip
PAYMENTS = [payment("p1", "2031-08-20", "A", "19080.00"), payment("p2", "2031-01-03", "B", "267.80")]
BANK = [{"at": "2031-10-01", "amount": "-1080.00", "currency": "USD", "memo": "STATE REVENUE OFFICE, RETURN OF AUGUST"}]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The sales, payments and the remittance in one set of books."""
    exports = {"shop": ORDERS, "card-processor": PAYMENTS, "checking": BANK}
    built = build_shop(tmp_path_factory.mktemp("tax"), exports, settings=RULE)
    yield built
    built.connection.close()


def test_sale_with_tax(books: ShopBooks) -> None:
    """A sale of 18,000 at 6 % gives cash 19,080, tax payable 1,080 and sales 18,000."""
    expected = {
        "Assets:Processor:CardProcessor": "19080",
        "Liabilities:SalesTax:US-CO": "-1080",
        "Income:Sales:Uniforms": "-18000",
    }
    assert decimals(expected) == books.cleared("A")


def test_remittance_settles_the_liability(books: ShopBooks) -> None:
    """The bank line of 1,080 leaves no tax payable and is no expense."""
    balances = books.balances()
    assert "Liabilities:SalesTax:US-CO" not in balances
    assert Decimal("-1080") == balances["Assets:Bank:Checking"]
    assert [] == [row for row in report_income(books.connection).rows if row.account.startswith("Expenses:")]
    flow = report_cash_flow(books.connection, parse_month("2031-10"))
    assert [("Sales tax remitted", -108000)] == [(row.title, row.amount) for row in flow.rows]


def test_daily_receipts(books: ShopBooks) -> None:
    """Receipts of 267.80 are sales of 263.60 and tax of 4.20; the tax is in no income account."""
    expected = {
        "Assets:Processor:CardProcessor": "267.80",
        "Liabilities:SalesTax:US-MN": "-4.20",
        "Income:Sales:CounterSales": "-263.60",
    }
    assert decimals(expected) == books.cleared("B")
    assert Decimal("18000") + Decimal("263.60") + Decimal("515.90") == books.income()["revenue"]


def test_invoice_arithmetic(books: ShopBooks) -> None:
    """Ten at 45.99 are 459.90 and with 56.00 for shipping 515.90; nothing is left over for suspense."""
    expected = {
        "Assets:Clearing:Orders": "515.90",
        "Income:Sales:InvoicedGoods": "-459.90",
        "Income:Shipping": "-56.00",
    }
    assert decimals(expected) == books.cleared("C")
