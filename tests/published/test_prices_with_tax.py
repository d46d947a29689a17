"""Orders whose prices contain the tax, and order discounts spread over the goods, through the order export.

Sources, each READ:
- HM Revenue and Customs, "Calculating VAT for VAT-inclusive and VAT-exclusive prices",
  http://www.hmrc.gov.uk/vat/forms-rates/rates/calculating.htm
- accountant's note "VAT fraction" of 2014-06-11 (1/6 and 1/21),
  http://itsrelative.co.uk/headlines/2014-06-11-vat-fraction
- VAT adviser's note (1/6 and 7/47), https://www.vatark.co.uk/vat/howto/whats-the-new-vat-fraction/
- Australian Taxation Office, media release 2000/36 (1/11 of the whole invoice),
  https://paperzz.com/doc/8687312/certainty-for-business-in-gst-calculations-and-rounding-p...
- ICAI, Final Financial Reporting question bank, chapter 19, Ind AS 115, pages 32, 33 and 12,
  https://vsmartdownload.com/downloads/bookpreview/cafinal/M22/compiler/Volume%202/CH%2019/files/basic-html/page32.html
  (and page33, page12); International GAAP 2019, chapter 28, Example 28.53, https://whosread.com/26922/711249

The allocations are printed in whole units; one unit there is one cent here. That a refund is spread by the same rule
is our own reading: those figures are READ, but their parts are the goods of a bundle there, goods, shipping and tax
here.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import Row, ShopBooks, build_shop, decimals, payment

from ledger_tools.reports.order_groups import group_orders
from ledger_tools.reports.order_profit import report_orders

#: Order, gross price, tax within it, net.
VAT = [
    ("vat-20", "120.00", "20.00", "100.00"),
    ("vat-5", "105.00", "5.00", "100.00"),
    ("fraction-6", "60.00", "10.00", "50.00"),
    ("fraction-21", "80.00", "3.81", "76.19"),
    ("fraction-6b", "24.00", "4.00", "20.00"),
    ("fraction-47", "24.00", "3.57", "20.43"),
    ("fraction-11", "11.00", "1.00", "10.00"),
]
#: Stand-alone prices and what each is worth once the discount is spread, in cents.
BUNDLES = [
    ("bundle-32", [90000, 44000, 66000], [85500, 41800, 62700]),
    ("bundle-33", [44000, 66000], [40000, 60000]),
    ("bundle-12", [100000, 20000], [83333, 16667]),
    ("bundle-28", [75000, 14000, 20000], [68807, 12844, 18349]),
]


def money(cents: int) -> str:
    """Cents as decimal text."""
    return str(Decimal(cents) / 100)


def inclusive(order: str, gross: str, tax: str) -> Row:
    """An order of one piece whose price contains the tax."""
    return {
        "order_id": order, "placed_at": "2031-05-01", "category": order, "quantity": "1", "unit_price": gross,
        "tax": tax,
        "prices_include_tax": "true", "total": gross, "ship_country": "GB",
    }  # fmt: skip


def bundle(order: str, standalone: list[int], allocated: list[int]) -> list[Row]:
    """An order of several goods with a discount on the whole."""
    discount = sum(standalone) - sum(allocated)
    return [
        {
            "order_id": order, "placed_at": "2031-05-02", "sku": f"{order}/{place}", "category": "Bundles",
            "quantity": "1", "unit_price": money(price), "order_discount": money(discount),
            "total": money(sum(allocated)),
        }
        for place, price in enumerate(standalone)
    ]  # fmt: skip


#: An order of goods 900.00, shipping 440.00 and tax 660.00, of which 1,900.00 are given back.
REFUNDED = {
    "order_id": "refunded", "placed_at": "2031-05-03", "category": "Refunded", "quantity": "1", "unit_price": "900.00",
    "shipping_charged": "440.00", "tax": "660.00", "total": "2000.00", "ship_country": "GB",
}  # fmt: skip
EVENTS = [
    payment("p1", "2031-05-03", "refunded", "2000.00"),
    payment("p2", "2031-05-04", "refunded", "-1900.00", kind="refund"),
]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """All orders in one set of books."""
    orders = [inclusive(*row[:3]) for row in VAT]
    orders += [row for case in BUNDLES for row in bundle(*case)]
    built = build_shop(tmp_path_factory.mktemp("prices"), {"shop": [*orders, REFUNDED], "card-processor": EVENTS})
    yield built
    built.connection.close()


@pytest.mark.parametrize(("order", "gross", "tax", "net"), VAT)
def test_tax_is_taken_out_of_the_price(order: str, gross: str, tax: str, net: str, books: ShopBooks) -> None:
    """What the customer owes is the gross price; sales hold the net price, and the tax is owed."""
    found = books.cleared(order)
    (sales,) = (amount for name, amount in found.items() if name.startswith("Income:Sales:"))
    expected = decimals({"Assets:Clearing:Orders": gross, "Liabilities:SalesTax:GB": f"-{tax}"})
    assert expected == {name: found[name] for name in expected}
    assert (-Decimal(net), 3) == (sales, len(found))


@pytest.mark.parametrize(("order", "standalone", "allocated"), BUNDLES)
def test_order_discount_is_spread_by_price(
    order: str, standalone: list[int], allocated: list[int], books: ShopBooks
) -> None:
    """By SKU each of the goods bears its part of the discount, so that what it brought is the published allocation."""
    grouped = group_orders(books.connection, report_orders(books.connection), "sku")
    found = {group.name: group.figures for group in grouped.groups}
    own = [found[f"{order}/{place}"] for place in range(len(standalone))]
    assert standalone == [figures.items for figures in own]
    assert allocated == [figures.net_revenue for figures in own]


def test_refund_is_spread_by_the_same_rule(books: ShopBooks) -> None:
    """1,900.00 of 900.00, 440.00 and 660.00 are 855.00, 418.00 and 627.00, as in the question bank."""
    rows = books.connection.execute("SELECT items, shipping, tax_shop FROM fact_refund").fetchall()
    assert [(85500, 41800, 62700)] == rows
    expected = {
        "Assets:Processor:CardProcessor": "100.00",
        "Income:Sales:Refunded": "-900.00",
        "Income:Shipping": "-440.00",
        "Income:Returns": "1273.00",
        "Liabilities:SalesTax:GB": "-33.00",
    }
    assert decimals(expected) == books.cleared("refunded")
