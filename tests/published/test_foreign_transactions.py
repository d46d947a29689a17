"""Purchases and sales in a foreign currency: booked at one rate, settled at another, the difference a gain or loss.

Sources, each READ:
- ACCA F7 course text, chapter 11, Example 1 "Unsettled transactions" (IAS 21),
  https://online.flipbuilder.com/bmcx/kgmo/files/basic-html/page324.html
- ICAP CFAP 1 practice kit, chapter 19, question 15(a) (IAS 21), https://scribd.com/document/693501161/SFD-2

Hand entries state what a foreign amount is worth as its total price (`@@`). The sources name no pair of currencies
that matters; here the books are in USD and the foreign currency is EUR. The figures at
the year's end (33,333 and 6,667; 1,428,571 and 178,571) are in test_month_end_cases.py, for a close posts them.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from decimal import Decimal

import pytest
from shop_books import ShopBooks, build_shop, decimals

from ledger_tools.calendar import Period
from ledger_tools.reports.statements import report_balance_sheet

HAND = """
2031-01-10 * "Goods bought on credit, 60,000 at 1.50"
  Assets:Goods                 40000 USD
  Liabilities:Supplier        -60000 EUR @@ 40000 USD
2031-02-10 * "Sale on credit, 96,000 at 0.8"
  Assets:Receivable            96000 EUR @@ 120000 USD
  Income:Sales:Export        -120000 USD
2031-02-20 * "Collected at 0.9"
  Assets:Cash                 106667 USD
  Assets:Receivable           -96000 EUR @@ 120000 USD
  Expenses:ExchangeDifferences
2031-03-10 * "Equipment bought on credit, 1,000,000 at 0.8"
  Assets:Equipment           1250000 USD
  Liabilities:EquipmentLoan -1000000 EUR @@ 1250000 USD
2031-03-20 * "Paid at 0.8"
  Liabilities:EquipmentLoan  1000000 EUR @@ 1250000 USD
  Assets:Cash               -1250000 USD
"""


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The three transactions by hand."""
    built = build_shop(tmp_path_factory.mktemp("foreign"), hand=HAND)
    yield built
    built.connection.close()


def worth(books: ShopBooks, as_of: datetime.date | None = None) -> dict[str, Decimal]:
    """What each account of the balance sheet is worth in the base currency."""
    sheet = report_balance_sheet(books.connection, as_of)
    return {row.account: Decimal(row.amount) / 100 for row in (*sheet.assets, *sheet.liabilities)}


def test_purchase_is_booked_at_the_days_rate(books: ShopBooks) -> None:
    """60,000 at 1.50 for one unit of ours is booked as 40,000, and the payable holds 60,000."""
    assert Decimal("-60000") == books.balances()["Liabilities:Supplier EUR"]
    found = worth(books)
    assert (Decimal("40000"), Decimal("40000")) == (found["Assets:Goods"], found["Liabilities:Supplier"])


def test_sale_collected_at_another_rate(books: ShopBooks) -> None:
    """Booked 120,000, received 106,667: a loss of 13,333 and no receivable left in either currency."""
    february = Period(datetime.date(2031, 2, 1), datetime.date(2031, 2, 28))
    found = books.income(february)
    expected = {"revenue": "120000", "expenses": "13333", "net_income": "106667"}
    assert decimals(expected) == {name: found[name] for name in expected}
    assert (Decimal("120000"), Decimal("13333")) == (found["operating_income"], found["other_expenses"])
    assert Decimal("13333") == books.balances()["Expenses:ExchangeDifferences"]
    assert "Assets:Receivable EUR" not in books.balances()
    assert Decimal("120000") == worth(books, datetime.date(2031, 2, 10))["Assets:Receivable"]
    assert "Assets:Receivable" not in worth(books)


def test_purchase_paid_at_the_first_rate(books: ShopBooks) -> None:
    """The equipment stays at 1,250,000, 1,250,000 are paid, and the payable is gone without gain or loss."""
    march = Period(datetime.date(2031, 3, 1), datetime.date(2031, 3, 31))
    assert Decimal(0) == books.income(march)["net_income"]
    found = worth(books)
    assert Decimal("1250000") == found["Assets:Equipment"]
    assert "Liabilities:EquipmentLoan" not in found
    assert Decimal("106667") - Decimal("1250000") == found["Assets:Cash"]


def test_sale_settled_by_the_processor(new_shop: Callable[..., ShopBooks]) -> None:
    """An exported order is worth what it settled at: revenue of 106,667, which is the book's sale less its loss."""
    order = {
        "order_id": "A", "placed_at": "2031-02-10", "currency": "EUR", "category": "Export", "quantity": "1",
        "unit_price": "96000.00", "total": "96000.00",
    }  # fmt: skip
    charge = {
        "event_id": "p1", "kind": "charge", "at": "2031-02-20", "order_ref": "A", "currency": "USD",
        "gross": "106667.00", "net": "106667.00", "charged_currency": "EUR", "charged_amount": "96000.00",
    }  # fmt: skip
    rate = '\n[[rate]]\ncurrency = "EUR"\non = 2031-02-10\nrate = "1.25"\n'
    books = new_shop({"shop": [order], "card-processor": [charge]}, settings=rate)
    found = books.income()
    assert (Decimal("106667"), Decimal("106667")) == (found["revenue"], found["net_income"])
    assert (
        decimals({"Assets:Processor:CardProcessor": "106667", "Income:Sales:Export EUR": "-96000"}) == books.balances()
    )
    assert {"Assets:Processor:CardProcessor": Decimal("106667")} == worth(books)
