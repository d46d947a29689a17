"""Receivables customer by customer against the control account: here order by order against clearing.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 7.4 (worked solution),
https://openstax.org/details/books/principles-financial-accounting (commit 2165bf6454c0279c1284e19ac7febc101f7956ad,
module m67872). Exactness: READ; the split of the opening receivables and the total of the trial balance are DERIVED.
Each customer is one order here: two of December, two of January and the cash sales of the month. Sales come from an
order export, what customers paid from a processor export (with what the bank account paid out, it is the book's cash),
all else from `hand.beancount`. The sales of December are income of the year before, which the book's opening equity
holds. The source's misprints must not tie; each has a test below.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator
from decimal import Decimal

import pytest
from shop_books import Row, ShopBooks, build_shop, decimals, hand_entries, payment

from ledger_tools.calendar import Period
from ledger_tools.errors import LedgerError
from ledger_tools.open_items import list_open_items

CASH, STOCK, INSURANCE, PAYABLE = "Assets:Cash", "Assets:Stock", "Assets:PrepaidInsurance", "Liabilities:Payable"
PROCESSOR, CONTROL = "Assets:Processor:CardProcessor", "Assets:Clearing:Orders"
COST, SALES = "Expenses:COGS:Goods", "Income:Sales:Goods"

#: Customer, day, amount.
CUSTOMERS = [
    ("december-1", "2018-12-10", "915"),
    ("december-2", "2018-12-11", "2661"),
    ("january-5", "2019-01-05", "328"),
    ("january-8", "2019-01-08", "2100"),
    ("cash-sales", "2019-01-31", "3408"),
]
PAID = [("december-1", "2019-01-03", "915"), ("january-8", "2019-01-15", "2079"), ("cash-sales", "2019-01-31", "3408")]

OPENING = (
    (CASH, "3116"),
    (INSURANCE, "130"),
    (STOCK, "8917"),
    (PAYABLE, "-6382"),
    ("Equity:Stock", "-5000"),
    ("Equity:EarlierYears", "-781"),
)
HAND = hand_entries(
    [
        ("2018-12-31", OPENING),
        ("2019-01-02", (("Expenses:Rent", "350"), (CASH, "-350"))),
        ("2019-01-04", ((PAYABLE, "736"), (CASH, "-736"))),
        ("2019-01-05", ((COST, "164"), (STOCK, "-164"))),
        ("2019-01-06", ((STOCK, "4300"), (PAYABLE, "-4300"))),
        ("2019-01-08", ((COST, "1050"), (STOCK, "-1050"))),
        ("2019-01-09", (("Expenses:Utilities", "72"), (CASH, "-72"))),
        ("2019-01-10", ((PAYABLE, "4300"), (CASH, "-4214"), (STOCK, "-86"))),
        ("2019-01-20", ((STOCK, "525"), (PAYABLE, "-525"))),
        ("2019-01-26", ((PAYABLE, "100"), (STOCK, "-100"))),
        ("2019-01-31", ((COST, "1704"), (STOCK, "-1704"))),
        ("2019-01-31", (("Expenses:Insurance", "65"), (INSURANCE, "-65"))),
    ]
)  # fmt: skip
DISCOUNT = (
    '\n2019-01-15 * "Discount of 1 %" ^order-january-8\n  Income:Discounts  21 USD\n  Assets:Clearing:Orders  -21 USD\n'
)


def orders(**totals: str) -> list[Row]:
    """The order export; a total can be replaced by customer (with _ for -)."""
    return [
        {
            "order_id": name, "placed_at": day, "category": "Goods", "quantity": "1", "unit_price": amount,
            "total": totals.get(name.replace("-", "_"), amount),
        }
        for name, day, amount in CUSTOMERS
    ]  # fmt: skip


def payments(**amounts: str) -> list[Row]:
    """The processor export; an amount can be replaced by customer (with _ for -)."""
    return [payment(f"p-{name}", day, name, amounts.get(name.replace("-", "_"), amount)) for name, day, amount in PAID]


def by_order(books: ShopBooks) -> dict[str, Decimal]:
    """The subsidiary ledger: what clearing holds of each order."""
    rows = books.connection.execute(
        """SELECT order_id, sum(amount)::BIGINT
           FROM posting JOIN account USING (account_no) JOIN order_head USING (order_no)
           WHERE account.name = ? GROUP BY ALL""",
        [CONTROL],
    ).fetchall()
    return {str(name): Decimal(amount) / 100 for name, amount in rows}


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The month as published."""
    built = build_shop(
        tmp_path_factory.mktemp("month"), {"shop": orders(), "card-processor": payments()}, hand=HAND + DISCOUNT
    )
    yield built
    built.connection.close()


def test_closing_balances(books: ShopBooks) -> None:
    """Every balance on 31 January is the published one; cash is what was received and what was paid out."""
    found = books.balances(datetime.date(2019, 1, 31))
    found[CASH] += found.pop(PROCESSOR)
    earlier = found.pop("Equity:EarlierYears") - Decimal("3576")
    december = found[SALES] + Decimal("5836")
    expected = {
        CASH: "4146",
        CONTROL: "2989",
        INSURANCE: "65",
        STOCK: "10638",
        PAYABLE: "-6071",
        "Equity:Stock": "-5000",
        SALES: "-9412",  # 5,836 of January, 3,576 of December
        "Income:Discounts": "21",
        COST: "2918",
        "Expenses:Insurance": "65",
        "Expenses:Rent": "350",
        "Expenses:Utilities": "72",
    }
    assert decimals(expected) == found
    assert (Decimal("-4357"), Decimal("-3576")) == (earlier, december)


def test_opening_balances(books: ShopBooks) -> None:
    """On 31 December cash, receivables and equity are the published opening balances."""
    found = books.balances(datetime.date(2018, 12, 31))
    assert decimals({CASH: "3116", CONTROL: "3576", INSURANCE: "130", STOCK: "8917", PAYABLE: "-6382"}) == {
        name: found[name] for name in (CASH, CONTROL, INSURANCE, STOCK, PAYABLE)
    }
    assert Decimal("-9357") == -books.sheet(datetime.date(2018, 12, 31))["equity"]  # stock 5,000 and earnings 4,357


def test_schedule_of_receivables_ties_to_the_control_account(books: ShopBooks) -> None:
    """Customer by customer the published schedule, and its sum 2,989 is the control account's balance."""
    expected = {"december-1": "0", "december-2": "2661", "january-5": "328", "january-8": "0", "cash-sales": "0"}
    schedule = by_order(books)
    assert decimals(expected) == schedule
    assert Decimal("2989") == sum(schedule.values()) == books.balances()[CONTROL]


def test_journal_totals(books: ShopBooks) -> None:
    """Cash receipts 6,402, disbursements 5,372, sales on credit 2,428 and their cost are the published totals."""
    balances = books.balances()
    assert Decimal("6402") == balances[PROCESSOR]
    assert Decimal("5372") == Decimal("3116") - balances[CASH]
    sold = books.income(Period(datetime.date(2019, 1, 1), datetime.date(2019, 1, 30)))
    assert Decimal("2428") - Decimal("21") == sold["revenue"]
    assert Decimal("1214") == sold["cost_of_goods_sold"]


def test_misprinted_sales_journal_posting_does_not_add_up(new_shop: Callable[..., ShopBooks]) -> None:
    """With 2,248 for the month's credit sales of 2,428, the order is flagged by the 180 that are missing."""
    books = new_shop({"shop": orders(january_8="1920"), "card-processor": payments()}, hand=HAND + DISCOUNT)
    items = {
        item.order_id: item.amount
        for item in list_open_items(books.connection, None)
        if item.kind == "order-does-not-add-up"
    }
    assert {"january-8": 180_00} == {name: abs(amount or 0) for name, amount in items.items()}
    assert Decimal("2989") != books.balances()[CONTROL]


def test_misprinted_customer_does_not_tie(new_shop: Callable[..., ShopBooks]) -> None:
    """With 2,661 for the customer who paid 915, the payment differs from the order by the 1,746 between them."""
    books = new_shop({"shop": orders(), "card-processor": payments(december_1="2661")}, hand=HAND + DISCOUNT)
    items = {
        item.order_id: item.amount for item in list_open_items(books.connection, None) if item.kind == "payment-differs"
    }
    assert {"december-1": -1746_00} == items


@pytest.mark.parametrize(
    ("entry", "left"),
    [
        pytest.param(
            ("2019-01-15", ((CASH, "2079"), ("Income:Discounts", "65"), (CONTROL, "-2100"))), "44", id="discounts 65"
        ),
        pytest.param(("2019-01-31", ((COST, "1204"), (STOCK, "-1704"))), "-500", id="cost 1,204"),
    ],
)
def test_misprinted_entry_is_refused(
    entry: tuple[str, tuple[tuple[str, str], ...]], left: str, new_shop: Callable[..., ShopBooks]
) -> None:
    """An entry with a misprinted figure does not balance: the books are not built, and what is left over is said."""
    with pytest.raises(LedgerError, match=rf"hand\.beancount, line \d+: .*{left} USD"):
        new_shop(hand=hand_entries([entry]))
