"""Cash flow of the small shop, and of entries by hand whose flows can be told by eye."""

from collections.abc import Iterator
from datetime import date

import duckdb
import pytest
import small_books

from ledger_tools.calendar import ALL_TIME, Period, parse_month
from ledger_tools.checks.statements import check_cash_flow
from ledger_tools.reports.cash_flow_lines import LINES, line_of
from ledger_tools.reports.statements import CashFlow, report_cash_flow

APRIL = parse_month("2031-04")


def told(flow: CashFlow) -> dict[str, int]:
    """Amount of each line."""
    return {row.title: row.amount for row in flow.rows}


def test_april(books: duckdb.DuckDBPyConnection) -> None:
    """One payout comes in net, one top-up, the bank's fee and a hand-paid parcel go out; the bank account ties."""
    flow = report_cash_flow(books, APRIL)
    assert {
        "Received from payment processors": 10000,
        "Top-ups of the fulfilment wallet": -50000,
        "Expenses paid": -75 - 1200,
    } == told(flow)
    assert (96000, 54725, 0) == (flow.opening, flow.closing, flow.difference)
    assert (("Assets:Bank:Checking", 96000, 54725),) == flow.cash_accounts
    assert (("Expenses:COGS:Shipping", -75), ("Expenses:BankFees", -1200)) == flow.rows[-1].accounts


def test_through_the_processors(books: duckdb.DuckDBPyConnection) -> None:
    """Payments before fees, fees, the refund and the dispute of April stand apart, and tie to what is held."""
    flow = report_cash_flow(books, APRIL)
    assert {
        "Customers' payments": 6100 + 2000 + 2500 + 3650 + 2000 + 2500,
        "Fees": -(207 + 88 + 103 + 136 + 88 + 103 + 1500 + 1000),
        "Refunded to customers": -2000,
        "Payments in dispute": -2500,
        "Paid out to the bank": -10000,
    } == dict(flow.passed)
    assert (0, sum(amount for _, amount in flow.passed)) == (flow.held_before, flow.held_after)


def test_comparison(books: duckdb.DuckDBPyConnection) -> None:
    """Each line stands beside that of the other period, with the change; a line of one of them only has a zero."""
    report = report_cash_flow(books, parse_month("2031-05"), APRIL).as_json()
    rows = {
        row["title"]: (row["amount"], row["compared"], row["change"], row["change_percent"]) for row in report["rows"]
    }
    assert ("0.00", "100.00", "-100.00", "-100.0") == rows["Received from payment processors"]
    assert {"opening": "960.00", "closing": "547.25", "change": "-412.75"} == {
        name: report["compared_totals"][name] for name in ("opening", "closing", "change")
    }
    assert ("547.25", "0.00", "547.25") == tuple(report["totals"][name] for name in ("opening", "change", "closing"))


def test_opening_balance_is_no_income(books: duckdb.DuckDBPyConnection) -> None:
    """What the books began with is taken over, neither earned nor put in by the owner."""
    flow = report_cash_flow(books, Period(None, date(2030, 12, 31)))
    assert {"Balances taken over": 100000, "Expenses paid": -4000} == told(flow)
    assert (0, 96000) == (flow.opening, flow.closing)


ENTRIES = {
    "part of the price is owed": (
        "Assets:Equipment 45000 USD\n  Assets:Bank:Checking -37500 USD\n  Liabilities:Payable -7500 USD",
        {"Equipment and other lasting things": -3750000},
    ),
    "wages less tax withheld": (
        "Expenses:Wages 1000 USD\n  Assets:Bank:Checking -700 USD\n  Liabilities:WageTax -300 USD",
        {"Expenses paid": -70000},
    ),
    "loan and interest": (
        "Liabilities:Loan:Bank 90 USD\n  Expenses:Interest 10 USD\n  Assets:Bank:Checking -100 USD",
        {"Expenses paid": -1000, "Loans": -9000},
    ),
    "card": ("Liabilities:CreditCard 20 USD\n  Assets:Bank:Checking -20 USD", {"Cards and other debts": -2000}),
    "bought by card": ("Expenses:Software 20 USD\n  Liabilities:CreditCard -20 USD", {}),
    "till": ("Assets:Cash:Till 20 USD\n  Assets:Bank:Checking -20 USD", {}),
    "sale for cash": (
        "Assets:Cash:Till 20 USD\n  Income:Sales:Fair -20 USD",
        {"Received from customers directly": 2000},
    ),
    "interest": ("Assets:Bank:Checking 2 USD\n  Income:Interest -2 USD", {"Other income received": 200}),
    "owner": ("Equity:OwnerDraws 5 USD\n  Assets:Bank:Checking -5 USD", {"Taken out by the owner": -500}),
    "thirds of a cent": (
        "Expenses:A 1 USD\n  Expenses:B 1 USD\n  Liabilities:Loan 1 USD\n  Assets:Bank:Checking -0.10 USD\n"
        "  Liabilities:Payable -2.90 USD",
        {"Expenses paid": -7, "Loans": -3},
    ),
}


MONTHS = {name: parse_month(f"2032-{place:02d}") for place, name in enumerate(ENTRIES, start=1)}


@pytest.fixture(scope="module")
def hand_books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[duckdb.DuckDBPyConnection]:
    """The small shop's books with each entry by hand in a month of its own."""
    hand = "".join(f'{MONTHS[name].first} * "Entry"\n  {lines}\n' for name, (lines, _) in ENTRIES.items())
    with small_books.build_small_books(tmp_path_factory.mktemp("hand"), hand=hand) as connection:
        yield connection


@pytest.mark.parametrize("name", ENTRIES)
def test_entry_by_hand(name: str, hand_books: duckdb.DuckDBPyConnection) -> None:
    """An entry's change of cash is shared over the accounts of the other side; what moves no cash is no flow."""
    flow = report_cash_flow(hand_books, MONTHS[name])
    assert ENTRIES[name][1] == told(flow)
    assert 0 == flow.difference


def test_check_sees_a_flow_that_is_lost(books: duckdb.DuckDBPyConnection) -> None:
    """A bank line that lost its other side breaks the tie to the bank account, and the check names the month."""
    assert check_cash_flow(books).passed
    with books.cursor() as cursor:
        cursor.execute("BEGIN")
        cursor.execute(
            "DELETE FROM posting WHERE account_no = (SELECT account_no FROM account WHERE role = 'bank_fees')"
        )
        found = check_cash_flow(cursor)
        cursor.execute("ROLLBACK")
    assert not found.passed
    assert "2031-04: cash leaves -12.00" in found.detail


def test_every_account_has_a_line() -> None:
    """Any name under the five roots stands in some line, by the longest name that fits."""
    assert "Loans" == line_of("Liabilities:Loan:Car", "hand").title
    assert "Cards and other debts" == line_of("Liabilities:LoanShark", "hand").title
    assert {"Other assets", "Other equity", "Expenses paid", "Received from customers directly"} == {
        line_of(name, "hand").title for name in ("Assets:Odd", "Equity:Odd", "Expenses:Odd", "Income:Odd")
    }
    assert len(LINES) == len({line.title for line in LINES})


def test_before_the_books(books: duckdb.DuckDBPyConnection) -> None:
    """Of a period before the books there is a report of zeros."""
    flow = report_cash_flow(books, parse_month("2029-01"))
    assert ({}, 0, 0, ()) == (told(flow), flow.opening, flow.closing, flow.passed)
    assert 0 == report_cash_flow(books, ALL_TIME).difference
