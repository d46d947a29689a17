"""Trial balance, income statement and balance sheet of the small shop."""

import datetime
from pathlib import Path

import duckdb
import pytest
import small_books

from ledger_tools.calendar import Period, parse_month, parse_year
from ledger_tools.reports.comparison import change_percent
from ledger_tools.reports.statements import (
    report_balance_sheet,
    report_income,
    report_owner_equity,
    report_trial_balance,
)


def test_trial_balance(books: duckdb.DuckDBPyConnection) -> None:
    """Accounts stand in the order of the chart, then by currency, debit positive, none at zero."""
    report = report_trial_balance(books, datetime.date(2031, 4, 5)).as_json()
    assert {
        "as_of": "2031-04-05",
        "currency": "USD",
        "rows": [
            {"account": account, "currency": "USD", "balance": balance}
            for account, balance in [
                ("Assets:Bank:Checking", "460.00"),
                ("Assets:Processor:CardProcessor", "82.02"),
                ("Assets:Clearing:Orders", "25.00"),
                ("Assets:Wallet:FulfilmentWallet", "447.25"),
                ("Liabilities:SalesTax:US-CO", "-4.00"),
                ("Equity:OpeningBalances", "-1000.00"),
                ("Income:Sales:Mugs", "-30.00"),
                ("Income:Sales:TShirts", "-80.00"),
                ("Income:Shipping", "-21.00"),
                ("Income:Discounts", "5.00"),
                ("Income:Returns", "20.00"),
                ("Income:Tips", "-1.00"),
                ("Expenses:COGS:Production", "39.00"),
                ("Expenses:COGS:Shipping", "13.00"),
                ("Expenses:COGS:SupplierTax", "0.75"),
                ("Expenses:Fees:Processing", "3.98"),
                ("Expenses:Marketing", "40.00"),
            ]
        ],
    } == report


def test_trial_balance_by_currency(books: duckdb.DuckDBPyConnection) -> None:
    """Posted amounts are summed currency by currency, with or without a rate."""
    rows = [row for row in report_trial_balance(books, None).rows if row.currency != "USD"]
    assert [
        ("Assets:Clearing:Orders", "GBP", 1800),
        ("Income:Sales:Mugs", "CAD", -4000),
        ("Income:Sales:TShirts", "GBP", -1800),
        ("Income:Shipping", "CAD", -1000),
    ] == [(row.account, row.currency, row.balance) for row in rows]


def test_income_statement(books: duckdb.DuckDBPyConnection) -> None:
    """Income is positive, contra-revenue negative within it, costs positive; goods sold stand before other expenses."""
    report = report_income(books, parse_month("2031-05")).as_json()
    assert {
        "period": {"from": "2031-05-01", "to": "2031-05-31"},
        "currency": "USD",
        "basis": "accrual",
        "rows": [
            {"account": account, "amount": amount}
            for account, amount in [
                ("Income:Sales:TShirts", "20.00"),
                ("Income:Shipping", "5.00"),
                ("Income:Returns", "-9.34"),
                ("Expenses:COGS:Production", "15.00"),
                ("Expenses:COGS:Shipping", "8.00"),
                ("Expenses:COGS:Reprints", "7.00"),
                ("Expenses:Fees:Processing", "1.59"),
                ("Expenses:Fees:Disputes", "15.00"),
                ("Expenses:Chargebacks", "25.00"),
            ]
        ],
        "totals": {
            "revenue": "15.66",
            "cost_of_goods_sold": "30.00",
            "gross_profit": "-14.34",
            "expenses": "41.59",
            "net_income": "-55.93",
        },
        "steps": {
            "gross_sales": "25.00",
            "contra_revenue": "-9.34",
            "operating_expenses": "41.59",
            "operating_income": "-55.93",
            "other_income": "0.00",
            "other_expenses": "0.00",
        },
        "gross_margin": "-0.9157",
    } == report


def test_comparison(books: duckdb.DuckDBPyConnection) -> None:
    """Each row and total stands beside that of the other period, also where an account moved in one of them only."""
    report = report_income(books, parse_month("2031-05"), parse_month("2031-04")).as_json()
    rows = {row["account"]: (row["amount"], row["compared"]) for row in report["rows"]}
    assert ("0.00", "1.00") == rows["Income:Tips"]
    assert ("25.00", "0.00") == rows["Expenses:Chargebacks"]
    assert {"from": "2031-04-01", "to": "2031-04-30"} == report["compared_period"]
    assert ("-55.93", "-14.25") == (report["totals"]["net_income"], report["compared_totals"]["net_income"])


def test_renamed_cost_of_goods(tmp_path: Path) -> None:
    """Production is cost of goods sold whatever its account is called, and an account below COGS is as well."""
    settings = small_books.SETTINGS.replace(
        "[[source]]",
        '[accounts]\nproduction = "Expenses:Making"\n[reasons]\nsample = "Expenses:COGS:Tests"\n[[source]]',
        1,
    )
    with small_books.build_small_books(tmp_path, settings, hand="") as books:
        sections = {row.account: row.section for row in report_income(books).rows}
    assert ("cost_of_goods_sold",) * 2 == (sections["Expenses:Making"], sections["Expenses:COGS:Tests"])
    assert "expenses" == sections["Expenses:Subscriptions"]


def test_balance_sheet(books: duckdb.DuckDBPyConnection) -> None:
    """Liabilities and equity are positive as credits; earnings of last year and of this one are rows of equity."""
    assert {
        "as_of": "2031-05-20",
        "currency": "USD",
        "assets": [
            {"account": "Assets:Bank:Checking", "amount": "547.25"},
            {"account": "Assets:Processor:CardProcessor", "amount": "-7.34"},
            {"account": "Assets:Clearing:Orders", "amount": "25.00"},
            {"account": "Assets:Wallet:FulfilmentWallet", "amount": "328.25"},
            {"account": "Assets:Disputed", "amount": "25.00"},
        ],
        "liabilities": [
            {"account": "Liabilities:SalesTax:US-CO", "amount": "3.34"},
            {"account": "Liabilities:GiftCards", "amount": "25.00"},
        ],
        "equity": [
            {"account": "Equity:OpeningBalances", "amount": "1000.00"},
            {"account": "Equity:RetainedEarnings", "amount": "-40.00"},
            {"account": "Equity:CurrentEarnings", "amount": "-70.18"},
        ],
        "totals": {
            "assets": "918.16",
            "liabilities": "28.34",
            "equity": "889.82",
            "liabilities_and_equity": "918.16",
        },
    } == report_balance_sheet(books, datetime.date(2031, 5, 20)).as_json()


@pytest.mark.parametrize("days", range(0, 50, 7))
def test_balance_sheet_balances(days: int, books: duckdb.DuckDBPyConnection) -> None:
    """On any day assets are liabilities and equity, and the two earnings rows are the net income up to it."""
    as_of = datetime.date(2031, 4, 1) + datetime.timedelta(days=days)
    sheet = report_balance_sheet(books, as_of)
    assert 0 == sheet.difference
    assert sheet.total("assets") == sheet.total("liabilities_and_equity")


def test_earnings_at_the_turn_of_the_year(books: duckdb.DuckDBPyConnection) -> None:
    """On New Year's Eve the year's loss is current; a day later it is retained."""
    eve = {row.account: row.amount for row in report_balance_sheet(books, datetime.date(2030, 12, 31)).equity}
    new_year = {row.account: row.amount for row in report_balance_sheet(books, datetime.date(2031, 1, 1)).equity}
    assert {"Equity:OpeningBalances": 100000, "Equity:CurrentEarnings": -4000} == eve
    assert {"Equity:OpeningBalances": 100000, "Equity:RetainedEarnings": -4000} == new_year


def test_new_years_day(tmp_path: Path) -> None:
    """What is posted on New Year's Day belongs to the new year's earnings."""
    hand = small_books.HAND.replace('2030-12-31 * "Cards', '2031-01-01 * "Cards')
    with small_books.build_small_books(tmp_path, hand=hand) as books:
        equity = {row.account: row.amount for row in report_balance_sheet(books, datetime.date(2031, 1, 1)).equity}
    assert {"Equity:OpeningBalances": 100000, "Equity:CurrentEarnings": -4000} == equity


def test_foreign_balance(books: duckdb.DuckDBPyConnection) -> None:
    """A foreign amount that an account holds stands beside its value: 50.00 CAD are worth 36.50 USD."""
    with books.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute("DELETE FROM posting WHERE event_no IN (SELECT event_no FROM event WHERE event_id = 'ch-6')")
        sheet = report_balance_sheet(cursor, None)
        cursor.execute("ROLLBACK")
    clearing = next(row for row in sheet.assets if row.account == "Assets:Clearing:Orders")
    assert (2500 + 3650, (("CAD", 5000),)) == (clearing.amount, clearing.held)
    assert 0 == sheet.difference


def test_entry_by_hand_that_leaves_a_cent(tmp_path: Path) -> None:
    """What an entry by hand leaves in the base currency is not hidden."""
    with small_books.build_small_books(tmp_path, hand=small_books.HAND) as books:
        books.execute(
            "UPDATE posting SET value = value + 1 WHERE event_no = (SELECT max(event_no) FROM event) AND leg = 1"
        )
        assert 1 == report_balance_sheet(books, None).difference


def test_steps_and_groups(tmp_path: Path) -> None:
    """Other income is no sale, interest stands below operations, and a group's expenses stand together."""
    hand = """
2031-05-02 * "Interest on the account"
  Assets:Bank:Checking       3.00 USD
  Income:Interest           -3.00 USD
2031-05-03 * "A prize"
  Assets:Bank:Checking       7.00 USD
  Income:Other:Prizes       -7.00 USD
2031-05-04 * "Interest paid"
  Expenses:Interest          2.00 USD
  Assets:Bank:Checking      -2.00 USD
2031-05-05 * "Fees of the marketplace"
  Expenses:Fees:Listing      1.00 USD
  Assets:Bank:Checking      -1.00 USD
"""
    with small_books.build_small_books(tmp_path, hand=hand) as books:
        statement = report_income(books, parse_month("2031-05"))
    totals = statement.totals
    assert (1566, 1000, 200) == (totals.revenue, totals.other_income, totals.other_expenses)
    assert (4159 + 100 + 200, -1434 - 4159 - 100) == (totals.expenses, totals.operating_income)
    assert totals.operating_income + 1000 - 200 == totals.net_income
    assert ["Fees", "Fees", "Fees", "Chargebacks"] == [row.group for row in statement.rows if row.section == "expenses"]
    assert ["Income:Returns"] == [row.account for row in statement.rows if row.is_contra]


def test_balance_sheet_comparison(books: duckdb.DuckDBPyConnection) -> None:
    """Each row stands beside that of the other day, also where it holds nothing now; the change is in percent too."""
    report = report_balance_sheet(books, datetime.date(2031, 5, 20), datetime.date(2031, 4, 1)).as_json()
    rows = {
        row["account"]: (row["amount"], row["compared"], row["change"], row["change_percent"])
        for section in ("assets", "liabilities", "equity")
        for row in report[section]
    }
    assert ("547.25", "960.00", "-412.75", "-43.0") == rows["Assets:Bank:Checking"]
    assert ("25.00", "0.00", "25.00", None) == rows["Assets:Disputed"]
    assert ("0.00", "-500.00", "500.00", "100.0") == rows["Assets:InTransit:TopUps"]
    assert ("2031-04-01", "960.00") == (report["compared_as_of"], report["compared_totals"]["assets"])


@pytest.mark.parametrize("first", [datetime.date(2031, 1, 1), datetime.date(2031, 5, 1), datetime.date(2029, 1, 1)])
def test_owner_equity_ties_to_the_balance_sheet(first: datetime.date, books: duckdb.DuckDBPyConnection) -> None:
    """Opening and closing equity are the balance sheet's of the day before and of the last day."""
    last = datetime.date(2031, 5, 20)
    moved = report_owner_equity(books, Period(first, last))
    assert report_balance_sheet(books, first - datetime.timedelta(days=1)).total("equity") == moved.opening
    assert report_balance_sheet(books, last).total("equity") == moved.closing
    assert report_income(books, Period(first, last)).totals.net_income == moved.net_income


def test_owner_equity(tmp_path: Path) -> None:
    """What the owner puts in and takes out, and what else moves equity, stand apart."""
    hand = (
        small_books.HAND
        + """
2031-05-02 * "From the owner"
  Assets:Bank:Checking              300.00 USD
  Equity:OwnerContributions        -300.00 USD
2031-05-03 * "To the owner"
  Equity:OwnerDraws                  50.00 USD
  Assets:Bank:Checking              -50.00 USD
"""
    )
    with small_books.build_small_books(tmp_path, hand=hand) as books:
        may = report_owner_equity(books, parse_month("2031-05")).as_json()
        before = report_owner_equity(books, parse_year("2030")).as_json()
    assert ("945.75", "-55.93", "300.00", "-50.00", "1139.82", []) == tuple(
        may[name] for name in ("opening", "net_income", "contributions", "draws", "closing", "other")
    )
    assert [{"account": "Equity:OpeningBalances", "amount": "1000.00"}] == before["other"]


@pytest.mark.parametrize(
    ("change", "amount", "compared"),
    [
        ("50.0", 150, 100),
        ("-33.3", 100, 150),
        ("100.0", 0, -5),
        ("-0.1", 9994, 10000),
        ("0.1", 10005, 10000),
        (None, 5, 0),
    ],
)
def test_change_percent(change: str | None, amount: int, compared: int) -> None:
    """The change is told against the size of what it is compared with, to a tenth, half up."""
    assert change == change_percent(amount, compared)
