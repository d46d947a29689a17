"""The identities of the books, for months drawn at random: every entry balances, every balance is its records' sum.

Each example builds real books of some tens of orders, so there are few examples and each is rich. A failing example
names its seed and number of orders; `random_month.draw_month` draws it again.
"""

from __future__ import annotations

import random
import shutil
from collections import defaultdict
from collections.abc import Iterator
from contextlib import contextmanager
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from journal_text import Entry, read_journal, read_texts
from plain_model import Model
from random_month import SETTINGS, SOURCES, Month, Row, draw_month, texts
from shop_books import ShopBooks, build_books, import_all, silent, write_export

from ledger_tools.archive import open_books
from ledger_tools.calendar import ALL_TIME
from ledger_tools.checks import check_cash_basis, check_cash_flow
from ledger_tools.journal import load_ledger
from ledger_tools.money import format_amount
from ledger_tools.open_items import list_open_items
from ledger_tools.reports.gross_receipts import report_gross_receipts
from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.sales_tax_tie_out import tie_out
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.tax_forms import report_form_lines

#: A build takes seconds, so a profile's number of examples is cut down.
EXAMPLES = settings.get_profile(settings.get_current_profile_name()).max_examples
SOME = settings(max_examples=max(4, EXAMPLES // 20), suppress_health_check=list(HealthCheck))
FEW = settings(max_examples=max(2, EXAMPLES // 100), suppress_health_check=list(HealthCheck))
SEEDS = st.integers(0, 2**32 - 1)

#: Accounts that feed each column of the order report; a trailing colon stands for all accounts below.
COLUMNS = {
    "items": "Income:Sales:",
    "discounts": "Income:Discounts",
    "shipping_charged": "Income:Shipping",
    "tips": "Income:Tips",
    "returns": "Income:Returns",
    "production": "Expenses:COGS:Production",
    "shipping_cost": "Expenses:COGS:Shipping",
    "supplier_tax": "Expenses:COGS:SupplierTax",
    "reprints": "Expenses:COGS:Reprints",
    "processing_fees": "Expenses:Fees:Processing",
    "dispute_fees": "Expenses:Fees:Disputes",
    "chargebacks": "Expenses:Chargebacks",
}


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the books of one example after the other."""
    return tmp_path_factory.mktemp("months")


@contextmanager
def books_of(month: Month, root: Path) -> Iterator[ShopBooks]:
    """The books of a month; gone when they have been looked at."""
    root.mkdir()
    books = build_books(
        root, SETTINGS, {name: [texts(row, kind) for row in month.rows[name]] for name, kind in SOURCES.items()}
    )
    try:
        yield books
    finally:
        books.connection.close()
        shutil.rmtree(root)


@SOME
@given(SEEDS, st.integers(1, 40))
def test_identities_hold(workshop: Path, seed: int, orders: int) -> None:
    """Entries sum to zero, balances are their records' sums day by day, tax and profit are those of the orders.

    The cash basis ties to the accrual basis through clearing, and the cash flow to the bank.
    """
    month = draw_month(seed, orders)
    with books_of(month, workshop / "books") as books:
        entries = read_journal(books.folder.journal)
        entries_come_out_even(books, entries)
        balances_are_sums_of_records(month, entries)
        sales_tax_is_that_of_the_orders(month, entries)
        orders_are_the_income_statement(books)
        tax_reports_tie_out(books)
        assert [] == [
            check
            for check in (check_cash_basis(books.connection), check_cash_flow(books.connection))
            if not check.passed
        ]


def entries_come_out_even(books: ShopBooks, entries: list[Entry]) -> None:
    """Identity 1: every entry's weights sum to zero exactly, and beancount's loader says so too."""
    assert [] == [(entry, entry.left_over()) for entry in entries if entry.left_over()]
    assert [] == load_ledger(str(books.folder.main))[1]


def change_of_balance(row: Row) -> int:
    """What a row of a processor, the wallet or the bank adds to the balance."""
    if "total" in row:
        return int(row["total"]) if row["kind"] in ("top_up", "credit") else -int(row["total"])
    return int(row["net"] if "net" in row else row["amount"])


def balances_are_sums_of_records(month: Month, entries: list[Entry]) -> None:
    """Identity 4: processor, wallet and bank accounts move each day by what that day's records say."""
    accounts = {
        "card-processor": "Assets:Processor:CardProcessor",
        "euro-processor": "Assets:Processor:EuroProcessor",
        "fulfilment-wallet": "Assets:Wallet:FulfilmentWallet",
        "checking": "Assets:Bank:Checking",
    }
    records: dict[tuple[str, str, str], Decimal] = defaultdict(Decimal)
    for source, account in accounts.items():
        for row in month.rows[source]:
            amount = Decimal(format_amount(change_of_balance(row), row["currency"]))
            records[account, row["currency"], str(row["at"])[:10]] += amount
    named = set(accounts.values())
    booked: dict[tuple[str, str, str], Decimal] = defaultdict(Decimal)
    for entry in entries:
        for account, amount, currency, *_ in entry.postings:
            if account in named:
                booked[account, currency, entry.day] += amount
    assert {key: amount for key, amount in records.items() if amount} == {
        key: amount for key, amount in booked.items() if amount
    }


def sales_tax_is_that_of_the_orders(month: Month, entries: list[Entry]) -> None:
    """Identity 5: each jurisdiction's account is, order by order, collected less refunded, and otherwise remitted."""
    expected = {
        (f"order-{order_id}" if order_id else "", account, currency): Decimal(format_amount(amount, currency))
        for order_id, accounts in Model(month).books.items()
        for (account, currency), amount in accounts.items()
        if account.startswith("Liabilities:SalesTax:") and amount
    }
    booked: dict[tuple[str, str, str], Decimal] = defaultdict(Decimal)
    for entry in entries:
        for account, amount, currency, *_ in entry.postings:
            if account.startswith("Liabilities:SalesTax:"):
                booked[entry.link, account, currency] += amount
    assert expected == {key: amount for key, amount in booked.items() if amount}


def orders_are_the_income_statement(books: ShopBooks) -> None:
    """Identity 6: each column summed over orders, with what is tied to none, is what the statement's accounts say."""
    report, statement = report_orders(books.connection), report_income(books.connection, ALL_TIME)
    stated = {row.account: row.amount if row.section == "revenue" else -row.amount for row in statement.rows}
    not_tied = {account: -amount for account, amount in report.not_tied}
    credited = {"items", "shipping_charged", "tips"}
    for column, place in COLUMNS.items():
        accounts = {
            name
            for name in stated.keys() | not_tied.keys()
            if name == place or (place[-1] == ":" and name.startswith(place))
        }
        total = sum(getattr(order.figures, column) for order in report.orders)
        tied = sum(stated.pop(name, 0) for name in accounts) - sum(not_tied.pop(name, 0) for name in accounts)
        assert (column, tied) == (column, total if column in credited else -total)
    assert stated == not_tied
    net_income = sum(order.figures.profit for order in report.orders) - sum(amount for _, amount in report.not_tied)
    assert net_income == statement.totals.net_income


def tax_reports_tie_out(books: ShopBooks) -> None:
    """Every liability ties out, gross receipts lead to the revenue, and the form's lines to the net income."""
    assert tie_out(books.connection).holds
    assert 0 == report_gross_receipts(books.connection).difference
    assert 0 == report_form_lines(books.connection).difference


def parted(rows: list[Row], kind: str, dice: random.Random) -> list[list[Row]]:
    """Rows in several overlapping exports; an order's lines stay together, and so do a day's bank lines."""
    units: dict[str, list[Row]] = defaultdict(list)
    for row in rows:
        units[row["order_id"] if kind == "orders" else row["at"][:10] if kind == "bank" else row["event_id"]].append(
            row
        )
    files: list[list[Row]] = [[] for _ in range(dice.randint(1, 4))]
    for name in dice.sample(sorted(units), len(units)):
        for file in dice.sample(files, dice.randint(1, len(files))):
            file.extend(units[name])
    return [file for file in files if file]


@FEW
@given(SEEDS, st.integers(1, 25))
def test_books_do_not_depend_on_how_the_exports_came(workshop: Path, seed: int, orders: int) -> None:
    """Identity 8: any partition into overlapping files, imported in any order, some twice, gives the same bytes."""
    month, dice = draw_month(seed, orders), random.Random(seed)
    with books_of(month, workshop / "whole") as books:
        whole, balances = read_texts(books.folder.root), books.balances()
    root = workshop / "parted"
    root.mkdir()
    books = build_books(root, SETTINGS, {})
    books.connection.close()
    late: list[tuple[str, Path]] = []
    for source, kind in SOURCES.items():
        for place, part in enumerate(parted(month.rows[source], kind, dice)):
            file = write_export(
                root / f"{source}-{dice.randrange(10**6)}-{place}.csv", kind, [texts(row, kind) for row in part]
            )
            if dice.randrange(100) < 60:
                (books.folder.exports / source).mkdir(exist_ok=True)
                shutil.copy(file, books.folder.exports / source / file.name)
            if dice.randrange(100) < 70 or not (books.folder.exports / source / file.name).is_file():
                late.append((source, file))
    open_books(books.folder, silent).close()
    for source in dice.sample(sorted({source for source, _ in late}), len({source for source, _ in late})):
        own = [file for name, file in late if name == source]
        import_all(books.folder, source, dice.sample([*own, *own[:1]], len(own) + 1))
    with open_books(books.folder, silent) as connection:
        assert balances == ShopBooks(books.folder, connection).balances()
        assert [] == [item for item in list_open_items(connection, None) if item.kind == "amended"]
    assert whole == read_texts(books.folder.root)
    shutil.rmtree(root)
