"""The register of one account."""

import datetime
from pathlib import Path

import duckdb
import pytest
import small_books

from ledger_tools.calendar import ALL_TIME, Period, parse_month
from ledger_tools.errors import LedgerError
from ledger_tools.reports.register import CurrencyBalance, find_account, report_register
from ledger_tools.reports.statements import report_trial_balance


def test_register(books: duckdb.DuckDBPyConnection) -> None:
    """Opening balance, each posting with the balance after it, closing balance."""
    period = Period(datetime.date(2031, 4, 20), datetime.date(2031, 5, 1))
    assert {
        "account": "Assets:Processor:CardProcessor",
        "period": {"from": "2031-04-20", "to": "2031-05-01"},
        "currency": "USD",
        "balances": [{"currency": "USD", "opening": "60.25", "closing": "18.69"}],
        "postings": [
            {
                "date": "2031-04-20",
                "title": "Dispute opened",
                "memo": None,
                "source": "card-processor",
                "event_id": "di-3",
                "order_id": "1003",
                "amount": "-40.00",
                "currency": "USD",
                "balance": "20.25",
            },
            {
                "date": "2031-04-30",
                "title": "Processor's fee",
                "memo": None,
                "source": "card-processor",
                "event_id": "fe-1",
                "order_id": None,
                "amount": "-10.00",
                "currency": "USD",
                "balance": "10.25",
            },
            {
                "date": "2031-05-01",
                "title": "Payment",
                "memo": None,
                "source": "card-processor",
                "event_id": "ch-8",
                "order_id": "1008",
                "amount": "8.44",
                "currency": "USD",
                "balance": "18.69",
            },
        ],
    } == report_register(books, "Assets:Processor:CardProcessor", period).as_json()


def test_currencies_run_apart(books: duckdb.DuckDBPyConnection) -> None:
    """Each currency of an account has its own balance, also one that did not move in the period."""
    register = report_register(books, "Assets:Clearing:Orders", parse_month("2031-05"))
    assert (
        CurrencyBalance("CAD", 0, 0),
        CurrencyBalance("GBP", 1800, 1800),
        CurrencyBalance("USD", 3400, 2500),
    ) == register.balances


def test_hand_entry(books: duckdb.DuckDBPyConnection) -> None:
    """An entry by hand stands with its words and its line."""
    row = report_register(books, "Assets:Bank:Checking", ALL_TIME).rows[0]
    assert ("Entry by hand", "Opening balance", "hand.beancount", "line 3", 100000) == (
        *(row.title, row.memo, row.source, row.event_id),
        row.balance,
    )


def test_no_addresses(tmp_path: Path) -> None:
    """An e-mail address in the bank's words does not get into a report."""
    bank = "at,amount,currency,memo\n2031-04-30,-12.00,USD,ACCOUNT FEE jo@example.org\n"
    with small_books.build_small_books(tmp_path, bank=bank, hand="") as books:
        rows = report_register(books, "Expenses:BankFees", ALL_TIME).rows
    assert ["ACCOUNT FEE (e-mail)"] == [row.memo for row in rows]


def test_closing_is_the_trial_balance(books: duckdb.DuckDBPyConnection) -> None:
    """Every account's closing balances are those of the trial balance, and its postings lead there."""
    for row in report_trial_balance(books, None).rows:
        register = report_register(books, row.account, ALL_TIME)
        closing = {held.currency: held.closing for held in register.balances}
        assert row.balance == closing[row.currency]
        assert row.balance == sum(posting.amount for posting in register.rows if posting.currency == row.currency)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("Assets:Clearing:Orders", "Assets:Clearing:Orders"),
        ("Assets:Clearing:Orders", "clearing"),
        ("Liabilities:SalesTax:US-CO", "salestax:us-co"),
        ("Income:Returns", "returns"),
        ("Assets:Wallet:FulfilmentWallet", "Assets:Wallet"),
    ],
)
def test_name_or_part(name: str, text: str, books: duckdb.DuckDBPyConnection) -> None:
    """A whole name or a part that one account alone has finds it, case ignored."""
    assert name == find_account(books, text)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (
            "income:sales",
            "account 'income:sales': fits several accounts: Income:Sales:Mugs, Income:Sales:TShirts\n"
            "    → name more of it",
        ),
        (
            "Income:Tops",
            "account 'Income:Tops': is not in the chart of accounts\n"
            "    → the nearest are Income:Tips, Income:Returns, Income:Shipping",
        ),
        (
            "zzzzzz",
            "account 'zzzzzz': is not in the chart of accounts\n"
            "    → ledger-tools trial-balance lists those with a balance",
        ),
    ],
)
def test_unknown_name(text: str, message: str, books: duckdb.DuckDBPyConnection) -> None:
    """A name that fits none or several is told with those that are near."""
    with pytest.raises(LedgerError) as trouble:
        find_account(books, text)
    assert message == str(trouble.value)
