"""Reports and open items of drawn months against the plain model, order by order and account by account."""

from __future__ import annotations

import datetime
from collections.abc import Iterator

import pytest
from plain_model import Model
from random_month import SETTINGS, SOURCES, Month, draw_month, texts
from shop_books import ShopBooks, build_books

from ledger_tools.open_items import list_open_items
from ledger_tools.reports.statements import report_trial_balance

#: Long after the month, so that nothing is excused by its days of grace.
LATE = datetime.date(2031, 6, 30)

#: The model knows no rates; what a foreign deposit brings more or less is held in tests/matching/test_bank_stages.py.
EXCHANGE = "Expenses:ExchangeDifferences"

Case = tuple[Month, Model, ShopBooks]


@pytest.fixture(scope="module", params=[(1, 60), (2, 60), (3, 150)], ids=lambda pair: f"seed {pair[0]}")
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Case]:
    """A drawn month, what the model makes of it, and its books."""
    month = draw_month(*request.param)
    exports = {name: [texts(row, kind) for row in month.rows[name]] for name, kind in SOURCES.items()}
    books = build_books(tmp_path_factory.mktemp("month"), SETTINGS, exports)
    yield month, Model(month), books
    books.connection.close()


def test_trial_balance(case: Case) -> None:
    """Every account's balance in every currency is the model's, exchange differences aside."""
    _, model, books = case
    rows = [row for row in report_trial_balance(books.connection, None).rows if row.account != EXCHANGE]
    assert model.balances() == {(row.account, row.currency): row.balance for row in rows}


def test_entries_of_every_order(case: Case) -> None:
    """What each order's entries sum to, account by account, is the model's; so is what belongs to no order, as above."""
    _, model, books = case
    rows = books.connection.execute(
        """SELECT coalesce(order_id, ''), account.name, posting.currency, sum(amount)::BIGINT
           FROM posting JOIN account USING (account_no) LEFT JOIN order_head USING (order_no)
           GROUP BY ALL HAVING sum(amount) <> 0"""
    ).fetchall()
    expected = {
        (order_id, *key): amount
        for order_id, accounts in model.books.items()
        for key, amount in accounts.items()
        if amount
    }
    assert expected == {(order_id, *key): amount for order_id, *key, amount in rows if key[0] != EXCHANGE}


def test_profit_of_orders_in_the_base_currency(case: Case) -> None:
    """Each column of an order that has no foreign amount is what the model's accounts of that column hold."""
    _, model, books = case
    columns = {
        "items": ("Income:Sales:", -1),
        "discounts": ("Income:Discounts", 1),
        "shipping_charged": ("Income:Shipping", -1),
        "tips": ("Income:Tips", -1),
        "returns": ("Income:Returns", 1),
        "production": ("Expenses:COGS:Production", 1),
        "shipping_cost": ("Expenses:COGS:Shipping", 1),
        "supplier_tax": ("Expenses:COGS:SupplierTax", 1),
        "reprints": ("Expenses:COGS:Reprints", 1),
        "processing_fees": ("Expenses:Fees:Processing", 1),
        "dispute_fees": ("Expenses:Fees:Disputes", 1),
        "chargebacks": ("Expenses:Chargebacks", 1),
        "tax_collected": ("Liabilities:SalesTax:", -1),
    }
    compared = 0
    for order_id, order in books.orders().items():
        accounts = model.books[order_id]
        if any(currency != "USD" and amount for (_, currency), amount in accounts.items()):
            continue
        expected = {
            column: sign * sum(amount for (name, _), amount in accounts.items() if name.startswith(place))
            for column, (place, sign) in columns.items()
        }
        assert expected == {column: getattr(order.figures, column) for column in columns}, order_id
        earned = sum(expected[name] for name in ("items", "shipping_charged", "tips"))
        spent = sum(
            amount
            for name, amount in expected.items()
            if name not in ("items", "shipping_charged", "tips", "tax_collected")
        )
        assert earned - spent == order.figures.profit
        compared += 1
    assert compared > 15


def found_ids(case: Case, *kinds: str) -> list[str]:
    """What open items of these kinds are about: the event where they name one, else the order."""
    items = list_open_items(case[2].connection, LATE)
    return sorted(item.event_id or item.order_id or "" for item in items if item.kind in kinds)


def test_orders_not_paid_in_full(case: Case) -> None:
    """Orders without payment or with another are those for which the model's clearing is not even in their currency."""
    _, model, _ = case
    expected = [
        order_id
        for order_id, lines in model.orders.items()
        if model.books[order_id].get(("Assets:Clearing:Orders", lines[0]["currency"]))
    ]
    assert sorted(expected) == found_ids(case, "order-without-payment", "payment-differs")


def test_records_of_no_order(case: Case) -> None:
    """Payments and charges without an order are the drawn strays."""
    month, _, _ = case
    strays: dict[str, list[str]] = {}
    for row in month.rows["card-processor"]:
        if row["kind"] in ("charge", "refund") and "_order" not in row:
            strays.setdefault(row["payment_ref"], []).append(row["event_id"])
    assert sorted(min(events) for events in strays.values()) == found_ids(case, "payment-without-order")
    making = [
        row["event_id"]
        for row in month.rows["fulfilment-wallet"]
        if row.get("reason") == "order" and "_order" not in row
    ]
    assert sorted(making) == found_ids(case, "fulfilment-without-order")


def test_movements_that_the_bank_does_not_complete(case: Case) -> None:
    """Payouts and top-ups on the list are those that no bank line was drawn for, or one of another amount."""
    month, _, _ = case
    lines = {row["_completes"]["event_id"]: row["amount"] for row in month.rows["checking"] if row["_completes"]}
    processors = [row for name in ("card-processor", "euro-processor") for row in month.rows[name]]
    returned = {row["payout_id"] for row in processors if row["kind"] == "payout_returned"}
    payouts = [
        row["event_id"]
        for row in processors
        if row["kind"] == "payout" and row["payout_id"] not in returned
        and (row["event_id"] not in lines or (row["currency"] == "USD" and lines[row["event_id"]] != -row["gross"]))
    ]  # fmt: skip
    assert sorted(payouts) == found_ids(case, "payout-not-in-bank")
    top_ups = [
        row["event_id"]
        for row in month.rows["fulfilment-wallet"]
        if row["kind"] in ("top_up", "withdrawal") and row["event_id"] not in lines
    ]
    assert sorted(top_ups) == found_ids(case, "top-up-without-bank-line")


def test_what_does_not_add_up(case: Case) -> None:
    """Orders and events drawn wrong are listed as long as suspense holds what they leave over; no other order is."""
    month, model, _ = case
    wrong = []
    for order_id, lines in model.orders.items():
        head = lines[0]
        if head["unit_price"] is None:
            continue
        goods = sum(line["quantity"] * line["unit_price"] - line["line_discount"] for line in lines)
        extra = head["shipping_charged"] + head["tip"] - head["order_discount"]
        extra += 0 if head["prices_include_tax"] == "true" else head["tax"]
        if goods + extra != head["total"]:
            wrong.append(order_id)
    assert set(found_ids(case, "order-does-not-add-up")) <= set(wrong)
    still_odd = [
        name for name in wrong if model.books[name].get(("Assets:Suspense", model.orders[name][0]["currency"]))
    ]
    assert set(still_odd) <= set(found_ids(case, "order-does-not-add-up"))
    events = [
        row["event_id"]
        for name in ("card-processor", "euro-processor")
        for row in month.rows[name]
        if row["gross"] - row["fee"] != row["net"]
    ]
    assert set(events) <= set(found_ids(case, "event-does-not-add-up"))
