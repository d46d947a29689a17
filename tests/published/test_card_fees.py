"""Sales paid by card: revenue is the gross amount, what the processor keeps is an expense, the rest is received.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 9.1 (text and two "your turn"
solutions), https://openstax.org/details/books/principles-financial-accounting (commit
2165bf6454c0279c1284e19ac7febc101f7956ad, module m67881). Exactness: READ; the profits are DERIVED from the published
sale, fee and cost. The book's receivable from the card company is our balance at the processor; its cost of goods,
which it takes from an inventory, comes from the fulfilment wallet here, since goods made on demand are never in stock.
"""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import ShopBooks, build_shop, decimals

#: Order id, pieces, price of each, sale, fee, what is received, cost.
SALES = [
    ("A", "1", "300.00", "300", "15", "285", "150"),
    ("B", "1", "1200.00", "1200", "48", "1152", "865"),
    ("C", "1", "1790.00", "1790", "53.70", "1736.30", "1100"),
    ("D", "80", "14.00", "1120", "33.60", "1086.40", "584"),
]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The four sales, and the settlement of the first."""
    orders = [
        {
            "order_id": name,
            "placed_at": "2031-03-01",
            "category": "Goods",
            "quantity": pieces,
            "unit_price": price,
            "total": sale,
        }
        for name, pieces, price, sale, *_ in SALES
    ]
    events = [
        {
            "event_id": f"p{name}",
            "kind": "charge",
            "at": "2031-03-01",
            "order_ref": name,
            "currency": "USD",
            "gross": sale,
            "fee": fee,
            "net": net,
        }
        for name, _, _, sale, fee, net, _ in SALES
    ]
    payout = {
        "event_id": "po-1",
        "kind": "payout",
        "at": "2031-03-02",
        "currency": "USD",
        "gross": "-285",
        "net": "-285",
    }
    charges = [
        {
            "event_id": f"w{name}",
            "kind": "charge",
            "at": "2031-03-02",
            "order_ref": name,
            "reason": "order",
            "production": cost,
            "total": cost,
            "currency": "USD",
        }
        for name, *_, cost in SALES
    ]
    bank = [{"at": "2031-03-04", "amount": "285", "currency": "USD", "memo": "PAYOUT PO-1"}]
    exports = {"shop": orders, "card-processor": [*events, payout], "fulfilment-wallet": charges, "checking": bank}
    built = build_shop(tmp_path_factory.mktemp("fees"), exports)
    yield built
    built.connection.close()


@pytest.mark.parametrize(("order", "sale", "fee", "received", "cost"), [(row[0], *row[3:]) for row in SALES])
def test_entry_of_a_card_sale(order: str, sale: str, fee: str, received: str, cost: str, books: ShopBooks) -> None:
    """Receivable, fee, revenue and cost of each sale are the published ones, and clearing comes out even."""
    expected = {
        "Assets:Processor:CardProcessor": received,
        "Expenses:Fees:Processing": fee,
        "Income:Sales:Goods": f"-{sale}",
        "Expenses:COGS:Production": cost,
        "Assets:Wallet:FulfilmentWallet": f"-{cost}",
    }
    assert decimals(expected) == books.cleared(order)


@pytest.mark.parametrize(("order", "sale", "fee", "received", "cost"), [(row[0], *row[3:]) for row in SALES])
def test_profit_of_a_card_sale(order: str, sale: str, fee: str, received: str, cost: str, books: ShopBooks) -> None:
    """The fee never reduces revenue; profit is what was received less the cost."""
    found = books.orders()[order].figures
    assert Decimal(sale) * 100 == found.net_revenue
    assert Decimal(fee) * 100 == found.processing_fees
    assert (Decimal(received) - Decimal(cost)) * 100 == found.profit


def test_settlement(books: ShopBooks) -> None:
    """The settled 285 are in the bank, and nothing of it is under way or still at the processor."""
    balances = books.balances()
    assert Decimal("285") == balances["Assets:Bank:Checking"]
    assert "Assets:InTransit:Payouts" not in balances
    assert Decimal("1152") + Decimal("1736.30") + Decimal("1086.40") == balances["Assets:Processor:CardProcessor"]
