"""Year-end revaluation and goods made to order and paid in advance, through the month-end close.

Sources, each READ:
- ACCA F7 course text, chapter 11, Example 1 "Unsettled transactions" (IAS 21),
  https://online.flipbuilder.com/bmcx/kgmo/files/basic-html/page324.html
- ICAP CFAP 1 practice kit, chapter 19, question 15(a) (IAS 21), https://scribd.com/document/693501161/SFD-2
- OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 12.1 (20 uniforms made to order, paid on
  3 April, delivered on 6 May), https://openstax.org/details/books/principles-financial-accounting (commit
  2165bf6454c0279c1284e19ac7febc101f7956ad, module m67903)

The books revalue in cents where the sources round to whole units, so figures are compared in whole units. A close
reverses its entries on the next day; that gives the published gain of the next year with the settlement. The uniforms'
inventory legs have no counterpart in a shop that buys each piece when it is sold: the partner's charge takes their place.
"""

from __future__ import annotations

import datetime
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

from shop_books import ShopBooks, build_shop, payment, silent

from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_month
from ledger_tools.close import Signature, close_month
from ledger_tools.close_steps import STEPS

ALL = {step.name: "a published case" for step in STEPS if step.can_be_waived}


def closed(books: ShopBooks, month: str) -> ShopBooks:
    """The books with a month closed."""
    books.connection.close()
    assert close_month(books.folder, month, Signature("bookkeeper", datetime.date(2032, 2, 1), ALL), silent).closed
    return ShopBooks(books.folder, open_books(books.folder, silent))


def whole(amount: Decimal) -> Decimal:
    """An amount in whole units, as the sources print it."""
    return amount.quantize(Decimal(1), ROUND_HALF_UP)


def rate(day: str, per_unit: str) -> str:
    """A setting for a rate that is quoted as foreign units for one of ours."""
    value = (Decimal(1) / Decimal(per_unit)).quantize(Decimal("0.00000000001"))
    return f'\n[[rate]]\ncurrency = "EUR"\non = {day}\nrate = "{value}"\n'


def test_payable_at_year_end(tmp_path: Path) -> None:
    """60,000 bought at 1.50 and owed at 1.80: a payable of 33,333 and a gain of 6,667 at the year's end."""
    hand = """
2031-12-10 * "Goods bought on credit"
  Assets:Goods                 40000 USD
  Liabilities:Supplier        -60000 EUR @@ 40000 USD
"""
    books = closed(build_shop(tmp_path, hand=hand, settings=rate("2031-12-31", "1.80")), "2031-12")
    owed = books.connection.execute(
        """SELECT sum(value)::BIGINT, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE name = 'Liabilities:Supplier' AND posted_on <= DATE '2031-12-31'"""
    ).fetchall()
    assert [(Decimal(-33333), -6000000)] == [(whole(Decimal(value) / 100), amount) for value, amount in owed]
    assert Decimal(6667) == whole(books.income(parse_month("2031-12"))["net_income"])
    books.connection.close()


def test_payable_settled_after_year_end(tmp_path: Path) -> None:
    """1,000,000 bought at 0.8, owed at 0.7 at the year's end and paid at 0.8: a loss of 178,571, then a gain of as much."""
    hand = """
2031-12-10 * "Equipment bought on credit"
  Assets:Equipment           1250000 USD
  Liabilities:EquipmentLoan -1000000 EUR @@ 1250000 USD
2032-01-20 * "Paid"
  Liabilities:EquipmentLoan  1000000 EUR @@ 1250000 USD
  Assets:Cash               -1250000 USD
"""
    books = closed(build_shop(tmp_path, hand=hand, settings=rate("2031-12-31", "0.7")), "2031-12")
    assert Decimal(-178571) == whole(books.income(parse_month("2031-12"))["net_income"])
    assert Decimal(178571) == whole(books.income(parse_month("2032-01"))["net_income"])
    assert Decimal(1250000) == books.balances()["Assets:Equipment"]
    assert not {"Liabilities:EquipmentLoan", "Liabilities:EquipmentLoan EUR"} & books.balances().keys()
    books.connection.close()


def test_made_to_order_and_prepaid(tmp_path: Path) -> None:
    """20 uniforms at 30 paid in April and delivered in May at a cost of 14: owed in April, revenue 600 and cost 280 in May."""
    books = build_shop(
        tmp_path,
        {
            "shop": [
                {
                    "order_id": "U1", "placed_at": "2031-04-03T10:00:00", "shipped_at": "2031-05-06T10:00:00", "sku": "UNIFORM",
                    "category": "Uniforms", "quantity": "20", "unit_price": "30.00", "total": "600.00",
                }
            ],
            "card-processor": [payment("c1", "2031-04-03T10:00:00", "U1", "600.00")],
            "fulfilment-wallet": [
                {
                    "event_id": "w1", "kind": "charge", "at": "2031-05-06T09:00:00", "order_ref": "U1", "sku": "UNIFORM",
                    "quantity": "20", "production": "280.00", "total": "280.00", "currency": "USD",
                }
            ],
        },
    )  # fmt: skip
    books = closed(books, "2031-04")
    april, may = (books.income(parse_month(month)) for month in ("2031-04", "2031-05"))
    assert Decimal(-600) == books.balances(datetime.date(2031, 4, 30))["Liabilities:UnearnedRevenue"]
    assert (0, 0) == (april["revenue"], april["cost_of_goods_sold"])
    assert (Decimal(600), Decimal(280)) == (may["revenue"], may["cost_of_goods_sold"])
    books.connection.close()
