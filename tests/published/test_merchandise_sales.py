"""Merchandise sold with discounts, returned, and reduced in price.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 6.4 (perpetual system),
https://openstax.org/details/books/principles-financial-accounting (commit 2165bf6454c0279c1284e19ac7febc101f7956ad,
module m67864). Exactness: READ; the two sales without a printed entry for the return are the "your turn" exercises.
Sales come from an order export, payments and refunds from a processor export. The book gives the discount when the
customer pays; a shop's export states it on the order, so it stands there. Left out are the inventory legs (a shop that
sells what is made on demand holds none), the sale on credit of 20 desktops, which differs from the cash sale by
nothing that an export shows, and the purchases.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import Row, ShopBooks, build_shop, decimals, payment

#: Order id, category, pieces, price, order discount, refunds, cash in the end.
SALES: list[tuple[str, str, str, str, str, tuple[str, ...], str]] = [
    ("packages", "Packages", "10", "1200", "0", (), "12000"),
    ("tablets", "Tablets", "56", "300", "336", (), "16464"),
    ("tablets-late", "Tablets", "56", "300", "0", (), "16800"),
    ("telephones", "Telephones", "250", "150", "0", ("6000", "200"), "31300"),
    ("printers", "Printers", "55", "350", "1545", ("3500", "300"), "13905"),
    ("turn-january", "Retail", "1", "2450", "39", ("500",), "1911"),
    ("turn-may", "Retail", "1", "8600", "356", ("1250", "230"), "6764"),
]


def order(row: tuple[str, str, str, str, str, tuple[str, ...], str]) -> Row:
    """The order export's row of a sale."""
    name, category, pieces, price, discount, _, _ = row
    total = Decimal(pieces) * Decimal(price) - Decimal(discount)
    return {
        "order_id": name, "placed_at": "2031-07-01", "category": category, "quantity": pieces, "unit_price": price,
        "order_discount": discount, "total": str(total),
    }  # fmt: skip


def events(row: tuple[str, str, str, str, str, tuple[str, ...], str]) -> list[Row]:
    """The processor's rows of a sale: one payment, then the refunds day by day."""
    total = order(row)["total"]
    amounts = [("charge", total), *(("refund", f"-{refund}") for refund in row[5])]
    return [
        payment(f"{row[0]}/{day}", f"2031-07-{day:02}", row[0], amount, kind=kind)
        for day, (kind, amount) in enumerate(amounts, start=1)
    ]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """All sales in one set of books."""
    exports = {
        "shop": [order(row) for row in SALES],
        "card-processor": [event for row in SALES for event in events(row)],
    }
    built = build_shop(tmp_path_factory.mktemp("sales"), exports)
    yield built
    built.connection.close()


@pytest.mark.parametrize(
    ("name", "sales", "discounts", "returns", "cash"),
    [
        ("packages", "12000", "0", "0", "12000"),
        ("tablets", "16800", "336", "0", "16464"),
        ("tablets-late", "16800", "0", "0", "16800"),
        ("telephones", "37500", "0", "6200", "31300"),
        ("printers", "19250", "1545", "3800", "13905"),
        ("turn-january", "2450", "39", "500", "1911"),
        ("turn-may", "8600", "356", "1480", "6764"),
    ],
)
def test_sale(name: str, sales: str, discounts: str, returns: str, cash: str, books: ShopBooks) -> None:
    """Sales, sales discounts, returns and allowances, and cash are the published ones; clearing comes out even."""
    (category,) = (row[1] for row in SALES if row[0] == name)
    expected = {
        "Assets:Processor:CardProcessor": cash,
        f"Income:Sales:{category}": f"-{sales}",
        "Income:Discounts": discounts,
        "Income:Returns": returns,
    }
    assert {account: amount for account, amount in decimals(expected).items() if amount} == books.cleared(name)


def test_return_and_allowance_are_the_refunds(books: ShopBooks) -> None:
    """The return of 40 telephones posts 6,000 and the allowance 200, each on its day, against the cash given back."""
    rows = books.connection.execute(
        """SELECT event_id, account.name, sum(amount)::BIGINT
           FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
           WHERE rule = 'refund' AND event_id LIKE 'telephones/%' GROUP BY ALL ORDER BY 1, 2"""
    ).fetchall()
    assert [
        ("telephones/2", "Assets:Processor:CardProcessor", -6000_00),
        ("telephones/2", "Income:Returns", 6000_00),
        ("telephones/3", "Assets:Processor:CardProcessor", -200_00),
        ("telephones/3", "Income:Returns", 200_00),
    ] == rows


def test_discount_is_taken_of_what_is_kept(books: ShopBooks) -> None:
    """2 % of 16,800, 10 % of 15,450, 2 % of 1,950 and 5 % of 7,120 are the published discounts that the books hold."""
    rates = {"tablets": 2, "printers": 10, "turn-january": 2, "turn-may": 5}
    found = books.orders()
    for name, rate in rates.items():
        figures = found[name].figures
        assert rate * (figures.items - figures.returns) == 100 * figures.discounts
