"""The cash basis: when and how far a sale counts, what never counts, and the proof against the accrual basis."""

from collections.abc import Callable
from decimal import Decimal

import duckdb
from shop_books import ShopBooks, payment

from ledger_tools.calendar import ALL_TIME, Period, parse_month
from ledger_tools.checks.statements import check_cash_basis
from ledger_tools.reports.statements import report_income

MARCH, APRIL, MAY = (parse_month(f"2031-0{month}") for month in (3, 4, 5))

#: 45.00 of mugs and 30.00 of shirts less 5.00, shipping 6.00, tax 4.00: 80.00.
ORDER = {
    "order_id": "A", "placed_at": "2031-04-10", "category": "Mugs", "quantity": "1", "unit_price": "45.00",
    "order_discount": "5.00", "shipping_charged": "6.00", "tax": "4.00", "total": "80.00", "ship_country": "US",
    "ship_region": "CO",
}  # fmt: skip
SHIRT = {**ORDER, "category": "Shirts", "unit_price": "30.00"}


def amounts(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, basis: str = "cash"
) -> dict[str, Decimal]:
    """Amount of each account of the income statement."""
    return {row.account: Decimal(row.amount) / 100 for row in report_income(connection, period, None, basis).rows}


def test_small_shop(books: duckdb.DuckDBPyConnection) -> None:
    """April has neither the order that is never paid (25.00) nor the one paid on the 1st of May (9.00); May has that."""
    april, may = (report_income(books, month, None, "cash").totals for month in (APRIL, MAY))
    accrual, later = (report_income(books, month).totals for month in (APRIL, MAY))
    assert (accrual.net_income - 2500 - 900, later.net_income + 900) == (april.net_income, may.net_income)
    assert (accrual.expenses, accrual.cost_of_goods_sold) == (april.expenses, april.cost_of_goods_sold)
    assert check_cash_basis(books).passed


def test_paid_in_parts(new_shop: Callable[..., ShopBooks]) -> None:
    """A payment of 33.33 of 80.00 is shared over all that was sold, tax too; with the rest all counts, to the cent."""
    payments = [payment("p1", "2031-04-11", "A", "33.33"), payment("p2", "2031-05-02", "A", "46.67")]
    books = new_shop({"shop": [ORDER, SHIRT], "card-processor": payments})
    assert {
        # 33.33/80 of 45, 30, 6, -5; tax's 1.67 is no income
        "Income:Sales:Mugs": Decimal("18.75"),
        "Income:Sales:Shirts": Decimal("12.50"),
        "Income:Shipping": Decimal("2.50"),
        "Income:Discounts": Decimal("-2.08"),
    } == amounts(books.connection, APRIL)
    both = [amounts(books.connection, month) for month in (APRIL, MAY)]
    whole = amounts(books.connection, ALL_TIME, "accrual")
    assert whole == {name: both[0][name] + both[1][name] for name in whole}
    assert check_cash_basis(books.connection).passed


def test_paid_before_the_order_and_too_much(new_shop: Callable[..., ShopBooks]) -> None:
    """A payment counts on its own day even if that is before the order's; what is paid beyond the order is no income."""
    payments = [payment("p1", "2031-03-31", "A", "80.00"), payment("p2", "2031-05-02", "A", "80.00")]
    books = new_shop({"shop": [ORDER, SHIRT], "card-processor": payments})
    found = [report_income(books.connection, month, None, "cash").totals.net_income for month in (MARCH, APRIL, MAY)]
    assert [7600, 0, 0] == found
    assert check_cash_basis(books.connection).passed


def test_gift_cards(new_shop: Callable[..., ShopBooks]) -> None:
    """A card sold is a debt; what it pays for counts on the day of the order, the rest when the payment comes."""
    card = {
        "order_id": "G", "placed_at": "2031-03-02", "category": "Gift card", "quantity": "1", "unit_price": "50.00",
        "total": "50.00",
    }  # fmt: skip
    used = [{**row, "gift_card_paid": "50.00"} for row in (ORDER, SHIRT)]
    payments = [payment("p1", "2031-03-02", "G", "50.00"), payment("p2", "2031-05-02", "A", "30.00")]
    books = new_shop({"shop": [card, *used], "card-processor": payments})
    # 50/80 and 30/80 of 76.00 without tax
    found = [report_income(books.connection, month, None, "cash").totals.net_income for month in (MARCH, APRIL, MAY)]
    assert [0, 4750, 2850] == found
    assert check_cash_basis(books.connection).passed


def test_written_off_and_month_end(new_shop: Callable[..., ShopBooks]) -> None:
    """An order never paid is neither income nor, written off, an expense; entries of a month-end don't count."""
    hand = """
2031-05-31 * "Never paid" ^order-A
  Expenses:BadDebts                80.00 USD
  Assets:Clearing:Orders          -80.00 USD
2031-05-31 * "Paid and not shipped"
  Income:Sales:Mugs                10.00 USD
  Liabilities:UnearnedRevenue     -10.00 USD
2031-05-31 * "Depreciation"
  Expenses:Depreciation             7.00 USD
  Assets:EquipmentDepreciation     -7.00 USD
"""
    books = new_shop({"shop": [ORDER, SHIRT]}, hand=hand)
    assert {"Expenses:Depreciation": Decimal("7.00")} == amounts(books.connection)
    assert Decimal("80.00") == amounts(books.connection, ALL_TIME, "accrual")["Expenses:BadDebts"]
    assert check_cash_basis(books.connection).passed


def test_refund(new_shop: Callable[..., ShopBooks]) -> None:
    """What is given back counts when it is refunded, without the tax in it."""
    rows = [payment("p1", "2031-04-11", "A", "80.00"), payment("r1", "2031-05-02", "A", "-80.00", kind="refund")]
    books = new_shop({"shop": [ORDER, SHIRT], "card-processor": rows})
    assert [7600, -7600] == [
        report_income(books.connection, month, None, "cash").totals.net_income for month in (APRIL, MAY)
    ]


def test_rule_is_stated(books: duckdb.DuckDBPyConnection) -> None:
    """The cash basis says its rule in the report; the accrual basis needs none."""
    report = report_income(books, APRIL, None, "cash").as_json()
    assert "cash" == report["basis"]
    assert "ask a licensed accountant" in report["rule"][-1]
    assert "rule" not in report_income(books, APRIL).as_json()


def test_check_sees_a_sale_that_lost_a_part(books: duckdb.DuckDBPyConnection) -> None:
    """Where the parts of a sale are not what was owed for it, the cash basis can't tie, and the check names the month."""
    with books.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("DELETE FROM posting WHERE account_no IN (SELECT account_no FROM account WHERE role = 'tips')")
        found = check_cash_basis(cursor)
        cursor.execute("ROLLBACK")
    assert not found.passed
    assert "2031-04" in found.detail
