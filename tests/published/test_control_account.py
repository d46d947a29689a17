"""Control accounts against their subsidiary ledgers: what each customer and supplier owes, as `reconcile` lists it.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 7.2 and 7.3,
https://openstax.org/details/books/principles-financial-accounting (commit 2165bf6454c0279c1284e19ac7febc101f7956ad,
modules m67870 and m67871). Exactness: READ; the control total of the payables, 305, is DERIVED.
A sale on credit is an order here and a receipt a payment of the processor, so that clearing is the receivables' control
account; purchases and payments on credit are written by hand, one account a supplier. The days of the first example are
not printed.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterator
from decimal import Decimal
from typing import Any

import pytest
from click.testing import CliRunner
from shop_books import Row, ShopBooks, build_shop, hand_entries, payment

from ledger_tools.cli import group
from ledger_tools.reports.statements import report_trial_balance

CONTROL = "Assets:Clearing:Orders"

#: Order, day, sale, cost: the two movements of each customer, then the sales journal by invoice.
SALES = [
    ("Smith-1", "2018-12-01", "100", None),
    ("Smith-2", "2018-12-02", "300", None),
    ("Jones-1", "2018-12-01", "200", None),
    ("Jones-2", "2018-12-02", "300", None),
    ("Lee-1", "2018-12-01", "300", None),
    ("Baker-45321", "2019-01-03", "850", "625"),
    ("Alpha-45322", "2019-01-03", "625", "480"),
    ("Tau-45323", "2019-01-05", "700", "510"),
    ("Baker-45324", "2019-01-06", "600", "420"),
]
RECEIPTS = [
    payment("r-lee", "2018-12-02", "Lee-1", "200"),
    payment("r-45321", "2019-01-22", "Baker-45321", "850"),
    payment("r-45324", "2019-01-22", "Baker-45324", "600"),
]
PAYABLES = {"ABC": ("200", "-75", "50"), "XYZ": ("100", "-20", "50")}


def orders() -> list[Row]:
    """The order export."""
    return [
        {"order_id": name, "placed_at": day, "category": "Goods", "quantity": "1", "unit_price": sale, "total": sale}
        for name, day, sale, _ in SALES
    ]


def charges() -> list[Row]:
    """What each sale cost, from the wallet."""
    return [
        {"event_id": f"w-{name}", "kind": "charge", "at": day, "order_ref": name, "total": cost, "currency": "USD"}
        for name, day, _, cost in SALES
        if cost is not None
    ]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """Both examples in one set of books."""
    purchases = hand_entries(
        [
            ("2018-12-01", (("Expenses:Purchases", amount), (f"Liabilities:Payable:{name}", f"-{amount}".replace("--", ""))))
            for name, amounts in PAYABLES.items()
            for amount in amounts
        ]
    )  # fmt: skip
    exports = {"shop": orders(), "card-processor": RECEIPTS, "fulfilment-wallet": charges()}
    built = build_shop(tmp_path_factory.mktemp("control"), exports, hand=purchases)
    yield built
    built.connection.close()


def control_on(books: ShopBooks, as_of: str) -> dict[str, Any]:
    """The control account of the receivables, as the command line prints it."""
    result = CliRunner().invoke(
        group, ["--books", str(books.folder.root), "reconcile", "--as-of", as_of, "--format", "json"]
    )
    (control,) = [each for each in json.loads(result.stdout)["controls"] if each["account"] == CONTROL]
    return dict(control)


def by_customer(control: dict[str, Any]) -> dict[str, Decimal]:
    """The subsidiary ledger: items summed by customer."""
    found: Counter[str] = Counter()
    for item in control["items"]:
        found[item["order_id"].split("-")[0]] += Decimal(item["amount"])
    return dict(found)


def test_receivables_of_each_customer(books: ShopBooks) -> None:
    """READ: Smith 400, Jones 500, Lee 100; their sum 1,000 is the control account's balance."""
    control = control_on(books, "2018-12-31")
    assert {"Smith": 400, "Jones": 500, "Lee": 100} == by_customer(control)
    assert "1000.00" == control["balance"]


def test_sales_journal_is_posted_to_each_customer(books: ShopBooks) -> None:
    """READ: sales of 2,775 at a cost of 2,035; Baker 1,450, Alpha 625, Tau 700 stand behind the control account."""
    control = control_on(books, "2019-01-21")
    customers = {name: amount for name, amount in by_customer(control).items() if name in ("Baker", "Alpha", "Tau")}
    assert {"Baker": 1450, "Alpha": 625, "Tau": 700} == customers
    assert Decimal("2775") + 1000 == Decimal(control["balance"])
    assert Decimal("2035") == books.balances()["Expenses:COGS:Production"]


def test_collection_clears_the_customer(books: ShopBooks) -> None:
    """READ: 1,450 from Baker on 22 January leave nothing open of Baker; the control account falls by as much."""
    control = control_on(books, "2019-01-22")
    assert "Baker" not in by_customer(control)
    assert Decimal("2775") + 1000 - 1450 == Decimal(control["balance"])


def test_payables_of_each_supplier(books: ShopBooks) -> None:
    """READ: ABC 175, XYZ 130; DERIVED: together 305."""
    rows = report_trial_balance(books.connection, None).rows
    payable = {row.account.rsplit(":", 1)[1]: -row.balance for row in rows if ":Payable:" in row.account}
    assert {"ABC": 175_00, "XYZ": 130_00} == payable
    assert 305_00 == sum(payable.values())
