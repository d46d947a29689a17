"""The sales tax report, its returns and its tie-out, on a shop whose figures are worked out by hand."""

import datetime
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import tax_shop
from shop_books import CURRENCY, ZONE, ShopBooks, build_books, build_shop, payment, silent

from ledger_tools.calendar import ALL_TIME, Period, parse_month, parse_quarter
from ledger_tools.checks import run_checks
from ledger_tools.new_books import settings_text
from ledger_tools.reports.sales_tax import SalesTaxReport, TaxFigures, report_sales_tax
from ledger_tools.reports.sales_tax_basis import report_basis
from ledger_tools.reports.sales_tax_returns import due_date, filing_periods, list_returns, timely_allowance
from ledger_tools.reports.sales_tax_thresholds import report_thresholds
from ledger_tools.reports.sales_tax_tie_out import tie_out
from ledger_tools.tax_settings import Registration

JANUARY, FEBRUARY = parse_month("2031-01"), parse_month("2031-02")
END = datetime.date(2031, 2, 28)


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The books of the small taxed shop."""
    payments = [
        payment("p1", "2031-01-05", "A", "115.40"),
        payment("r1", "2031-02-02", "A", "-23.60", kind="refund"),
        payment("p2", "2031-01-20", "B", "50.00"),
        payment("p3", "2031-01-21", "C", "32.40"),
    ]
    exports = {"shop": tax_shop.ORDERS, "card-processor": payments, "checking": tax_shop.BANK}
    built = build_shop(tmp_path_factory.mktemp("taxed"), exports, settings=tax_shop.SETTINGS, hand=tax_shop.HAND)
    yield built
    built.connection.close()


def figures(report: SalesTaxReport) -> dict[str, TaxFigures]:
    """Figures by jurisdiction."""
    return {row.jurisdiction: row.figures for row in report.rows}


def test_month_of_the_sales(shop: ShopBooks) -> None:
    """Sales are items less discounts with shipping, without tip, tax and gift card; each order stands in one column."""
    found = figures(report_sales_tax(shop.connection, JANUARY))
    expected = TaxFigures(
        taxable_sales=10500 + 2000, exempt_sales=5000, marketplace_sales=3000, collected=840 + 160, owed=3000 + 1000
    )
    assert {"US-CO": expected, "US-WY": TaxFigures()} == found
    assert 20500 == found["US-CO"].gross_sales


def test_month_of_the_refund(shop: ShopBooks) -> None:
    """A refund counts on its own day, its tip not at all; what was paid, written off and allowed stands apart."""
    found = figures(report_sales_tax(shop.connection, FEBRUARY))
    expected = TaxFigures(
        taxable_sales=-2000, refunded=160, remitted=3000 + 1000, adjusted=-160 - 25, owed=4000 - 160 - 4000 - 185
    )
    assert expected == found["US-CO"]
    assert -160 == found["US-CO"].due
    assert TaxFigures(exempt_sales=4000) == found["US-TX"]


def test_json(shop: ShopBooks) -> None:
    """The report has the keys that the interface fixes, in their order; `adjusted` is added where there is any."""
    report = report_sales_tax(shop.connection, JANUARY).as_json()
    names = [
        "jurisdiction", "gross_sales", "taxable_sales", "exempt_sales", "collected", "refunded", "due", "remitted", "owed",
        "marketplace_sales",
    ]  # fmt: skip
    assert ["period", "currency", "jurisdictions", "totals"] == list(report)
    assert names == list(report["jurisdictions"][0])
    assert names[1:] == list(report["totals"])
    assert "205.00" == report["jurisdictions"][0]["gross_sales"]
    later = report_sales_tax(shop.connection, FEBRUARY).as_json()
    assert "-1.85" == later["totals"]["adjusted"]
    assert [[*names, "adjusted"]] == [list(keys) for keys in {tuple(row) for row in later["jurisdictions"]}]


def test_as_of(shop: ShopBooks) -> None:
    """A period seen as of a day inside it holds what had happened by then."""
    found = figures(report_sales_tax(shop.connection, JANUARY, datetime.date(2031, 1, 20)))
    assert TaxFigures(taxable_sales=10500, exempt_sales=5000, collected=840, owed=3840) == found["US-CO"]


def test_registered_and_not(shop: ShopBooks) -> None:
    """A registration without sales and sales without a registration are both told."""
    rows = report_sales_tax(shop.connection).rows
    assert [("US-CO", True), ("US-TX", False), ("US-WY", True)] == [
        (row.jurisdiction, row.is_registered) for row in rows
    ]


def test_returns(shop: ShopBooks) -> None:
    """Payments settle what was owed before first, then returns in turn; open returns are what the account owes."""
    returns = list_returns(shop.connection, as_of=END).returns
    found = [
        (each.jurisdiction, each.period, str(each.due_on), each.payable, each.paid, each.allowance, each.state)
        for each in returns
    ]
    assert [
        ("US-CO", JANUARY, "2031-02-25", 1000, 1000, 25, "paid"),
        ("US-CO", FEBRUARY, "2031-03-25", -320, 25, 0, "paid"),
        ("US-WY", parse_quarter("2031-Q1"), "2031-04-20", 0, 0, 0, "running"),
    ] == found
    owed = report_sales_tax(shop.connection, Period(None, END)).totals.owed
    assert owed == sum(each.open for each in returns)


def test_state_of_a_return(shop: ShopBooks) -> None:
    """A return is running to the end of its period, due to its date, and overdue after it."""
    days = {"2031-01-31": "due", "2031-01-30": "running", "2031-02-23": "due"}
    for day, state in days.items():
        first = list_returns(shop.connection, JANUARY, datetime.date.fromisoformat(day)).returns[0]
        assert state == first.state, day


def test_tie_out(shop: ShopBooks) -> None:
    """Opening, movements and closing are the account's balance in each period, and no order is off."""
    for period in (ALL_TIME, JANUARY, FEBRUARY):
        proof = tie_out(shop.connection, period)
        assert proof.holds, proof
    (row,) = (row for row in tie_out(shop.connection, FEBRUARY).rows if row.jurisdiction == "US-CO")
    assert (4000, -345, -345) == (row.opening, row.closing, row.balance)


def test_tie_out_finds_what_does_not_fit(shop: ShopBooks) -> None:
    """A posting that is not what the order's record says is listed with both amounts."""
    with shop.connection.cursor() as connection:
        connection.execute("USE books")
        connection.execute("CREATE TEMP TABLE posting AS SELECT * FROM books.posting")
        connection.execute("UPDATE temp.posting SET amount = amount - 1, value = value - 1 WHERE amount = -840")
        proof = tie_out(connection, JANUARY)
    assert not proof.holds
    assert [("A", 840, 841)] == [(misfit.order_id, misfit.recorded, misfit.posted) for misfit in proof.misfits]


BASE = Registration(jurisdiction="US-CO", filing="monthly", since=datetime.date(2031, 1, 15))


@pytest.mark.parametrize(
    ("filing", "last", "expected"),
    [
        ("monthly", "2031-02-01", ["2031-01-15 to 2031-01-31 by 2031-02-20", "2031-02-01 to 2031-02-28 by 2031-03-20"]),
        ("quarterly", "2031-03-31", ["2031-01-15 to 2031-03-31 by 2031-04-20"]),
        ("yearly", "2032-01-01", ["2031-01-15 to 2031-12-31 by 2032-01-20", "2032-01-01 to 2032-12-31 by 2033-01-20"]),
    ],
)
def test_filing_periods(filing: str, last: str, expected: list[str]) -> None:
    """The first period begins with the registration, the others with the calendar; returns are due the month after."""
    registration = BASE.model_copy(update={"filing": filing})
    periods = filing_periods(registration, datetime.date.fromisoformat(last))
    assert expected == [f"{period} by {due_date(registration, period)}" for period in periods]


def test_due_day_beyond_the_month() -> None:
    """A due day that a month does not have is its last."""
    registration = BASE.model_copy(update={"due_day": 31})
    assert datetime.date(2031, 2, 28) == due_date(registration, JANUARY)


def test_followed_registration() -> None:
    """Where another registration follows, the last period ends the day before it."""
    periods = filing_periods(BASE, datetime.date(2031, 6, 1), datetime.date(2031, 2, 9))
    assert ["2031-01-15 to 2031-01-31", "2031-02-01 to 2031-02-09"] == [str(period) for period in periods]


@pytest.mark.parametrize(
    ("expected", "tax", "terms"),
    [
        (0, 10000, {}),
        (250, 10000, {"allowance_percent": "2.5"}),
        (3, 100, {"allowance_percent": "2.5"}),
        (0, -100, {"allowance_percent": "2.5"}),
        (0, 999, {"allowance_percent": "2.5", "allowance_floor": "10"}),
        (25, 1000, {"allowance_percent": "2.5", "allowance_floor": "10"}),
        (200, 10000, {"allowance_percent": "2.5", "allowance_cap": "2"}),
    ],
)
def test_allowance(expected: int, tax: int, terms: dict[str, str]) -> None:
    """The percentage of the tax, half up, between floor and cap."""
    assert expected == timely_allowance(tax, BASE.model_copy(update=terms), "USD")


def test_adding_up() -> None:
    """Totals are the sums of the rows."""
    one = TaxFigures(1, 2, 3, 4, 5, 6, 7, 8, 9)
    report = SalesTaxReport(ALL_TIME, "USD", ())
    assert TaxFigures() == report.totals
    assert 6 == one.gross_sales
    assert -1 == replace(one).due


def test_tax_within_each_line(tmp_path: Path) -> None:
    """Prices with 20 % tax in them: on the invoice, line by line (3 × 1.67 where the sum gives 5.00), a cent off, neither."""
    usual = {
        "placed_at": "2031-01-05",
        "category": "Mugs",
        "quantity": "1",
        "prices_include_tax": "true",
        "ship_country": "GB",
    }
    whole = [
        {**usual, "order_id": str(number), "unit_price": "120.00", "tax": "20.00", "total": "120.00"}
        for number in range(5)
    ]
    by_line = [{**usual, "order_id": "L", "unit_price": "10.00", "tax": "5.01", "total": "30.00"}] * 3
    off = {**usual, "order_id": "O", "unit_price": "12.00", "tax": "2.01", "total": "12.00"}
    other = {**usual, "order_id": "X", "unit_price": "12.00", "tax": "0.60", "total": "12.00"}
    with build_shop(tmp_path, {"shop": [*whole, *by_line, off, other]}).connection as connection:
        (row,) = report_basis(connection).rows
    assert ("20", 8, 5, 1, 1, 1) == (row.rate, row.orders, row.on_invoice, row.by_item, row.one_off, row.other)


def test_hostile_jurisdiction(tmp_path: Path) -> None:
    """A jurisdiction's name is data, whatever stands in it."""
    name = "O'Brien'); DROP TABLE posting; --"
    order = {
        "order_id": "1", "placed_at": "2031-01-05", "category": "Mugs", "quantity": "1", "unit_price": "10.00",
        "tax": "1.00", "total": "11.00", "tax_jurisdiction": name, "channel": "'; --",
    }  # fmt: skip
    settings = f'\n[[registration]]\njurisdiction = "{name}"\nfiling = "yearly"\nsince = 2031-01-01\n'
    with build_shop(tmp_path, {"shop": [order]}, settings=settings).connection as connection:
        (row,) = report_sales_tax(connection).rows
        assert (name, 100, True) == (row.jurisdiction, row.figures.owed, row.is_registered)
        assert 100 == list_returns(connection).returns[0].payable
        assert tie_out(connection).holds
        assert 1 == report_basis(connection).rows[0].on_invoice
        assert 1000 == report_thresholds(connection).rows[0].sales


def test_day_detail(tmp_path: Path) -> None:
    """With one entry a day and kind, beanquery still finds what the report tells, foreign and hand-written entries too."""
    exports = {"shop": tax_shop.ORDERS, "checking": tax_shop.BANK}
    text = settings_text("Test shop", CURRENCY, ZONE).replace('detail = "order"', 'detail = "day"') + tax_shop.SETTINGS
    built = build_books(tmp_path, text, exports, tax_shop.HAND)
    with built.connection as connection:
        checks = {check.check: check for check in run_checks(connection, built.folder, silent)}
    assert checks["sales tax is beanquery's"].passed, checks["sales tax is beanquery's"].detail
    assert checks["sales tax ties out by jurisdiction and month"].passed
    assert "figures in USD" in checks["sales tax is beanquery's"].detail
