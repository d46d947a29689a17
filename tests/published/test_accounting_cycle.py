"""Two full accounting cycles: entries, unadjusted and adjusted trial balance, income statement, balance sheet.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting (Franklin, Graybeal, Cooper), sections 3.5,
4.2-4.5, 5.1, 5.2 (first cycle) and 5.4 (second cycle, whose profit is smaller than the dividend, so that equity
shrinks), https://openstax.org/details/books/principles-financial-accounting
(openstax/osbooks-principles-accounting-bundle, commit 2165bf6454c0279c1284e19ac7febc101f7956ad). Exactness: READ.
Account names are our own. The entries go through `hand.beancount`. The books are never closed by an entry: income
statement accounts end in the sheet's earnings, so retained earnings after closing are those less dividends.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal

import pytest
from shop_books import ShopBooks, build_shop, decimals, hand_entries

from ledger_tools.calendar import Period
from ledger_tools.reports.register import report_register
from ledger_tools.reports.statements import CURRENT_EARNINGS, RETAINED_EARNINGS, report_balance_sheet

CASH, RECEIVABLE, INTEREST_DUE = "Assets:Cash", "Assets:Receivable", "Assets:InterestReceivable"
SUPPLIES, EQUIPMENT, WORN = "Assets:Supplies", "Assets:Equipment", "Assets:EquipmentDepreciation"
PAYABLE, UNEARNED = "Liabilities:Payable", "Liabilities:PaidInAdvance"
SALARIES_DUE, TAX_DUE = "Liabilities:SalariesOwed", "Liabilities:IncomeTaxOwed"
STOCK, DIVIDENDS = "Equity:Stock", "Equity:Dividends"
SERVICES, INTEREST = "Income:Services", "Income:Interest"
SUPPLIES_USED, DEPRECIATION, TAX = "Expenses:Supplies", "Expenses:Depreciation", "Expenses:IncomeTax"
SALARIES, UTILITIES = "Expenses:Salaries", "Expenses:Utilities"


@dataclass(frozen=True)
class Cycle:
    """One published cycle; the last day's entries are the adjustments."""

    entries: tuple[tuple[str, tuple[tuple[str, str], ...]], ...]
    last_entry: datetime.date
    last_day: datetime.date
    unadjusted: dict[str, str]
    unadjusted_total: str
    adjusted: dict[str, str]
    adjusted_total: str
    revenues: str
    expenses: str
    net_income: str
    dividends: str
    retained_end: str
    equipment_net: str
    assets: str
    liabilities: str
    equity: str


PRINT_SHOP = Cycle(
    entries=(
        ("2019-01-03", ((CASH, "20000"), (STOCK, "-20000"))),
        ("2019-01-05", ((EQUIPMENT, "3500"), (PAYABLE, "-3500"))),
        ("2019-01-09", ((CASH, "4000"), (UNEARNED, "-4000"))),
        ("2019-01-10", ((RECEIVABLE, "5500"), (SERVICES, "-5500"))),
        ("2019-01-12", ((UTILITIES, "300"), (CASH, "-300"))),
        ("2019-01-14", ((DIVIDENDS, "100"), (CASH, "-100"))),
        ("2019-01-17", ((CASH, "2800"), (SERVICES, "-2800"))),
        ("2019-01-18", ((PAYABLE, "3500"), (CASH, "-3500"))),
        ("2019-01-20", ((SALARIES, "3600"), (CASH, "-3600"))),
        ("2019-01-23", ((CASH, "5500"), (RECEIVABLE, "-5500"))),
        ("2019-01-27", ((RECEIVABLE, "1200"), (SERVICES, "-1200"))),
        ("2019-01-30", ((SUPPLIES, "500"), (PAYABLE, "-500"))),
        ("2019-01-31", ((SUPPLIES_USED, "100"), (SUPPLIES, "-100"))),
        ("2019-01-31", ((DEPRECIATION, "75"), (WORN, "-75"))),
        ("2019-01-31", ((UNEARNED, "600"), (SERVICES, "-600"))),
        ("2019-01-31", ((INTEREST_DUE, "140"), (INTEREST, "-140"))),
        ("2019-01-31", ((SALARIES, "1500"), (SALARIES_DUE, "-1500"))),
    ),
    last_entry=datetime.date(2019, 1, 30),
    last_day=datetime.date(2019, 1, 31),
    unadjusted={
        CASH: "24800",
        RECEIVABLE: "1200",
        SUPPLIES: "500",
        EQUIPMENT: "3500",
        DIVIDENDS: "100",
        SALARIES: "3600",
        UTILITIES: "300",
        PAYABLE: "-500",
        UNEARNED: "-4000",
        STOCK: "-20000",
        SERVICES: "-9500",
    },
    unadjusted_total="34000",
    adjusted={
        CASH: "24800",
        RECEIVABLE: "1200",
        INTEREST_DUE: "140",
        SUPPLIES: "400",
        EQUIPMENT: "3500",
        WORN: "-75",
        PAYABLE: "-500",
        SALARIES_DUE: "-1500",
        UNEARNED: "-3400",
        STOCK: "-20000",
        DIVIDENDS: "100",
        INTEREST: "-140",
        SERVICES: "-10100",
        SUPPLIES_USED: "100",
        DEPRECIATION: "75",
        SALARIES: "5100",
        UTILITIES: "300",
    },
    adjusted_total="35715",
    revenues="10240",
    expenses="5575",
    net_income="4665",
    dividends="100",
    retained_end="4565",
    equipment_net="3425",
    assets="29965",
    liabilities="5400",
    equity="24565",
)

HAIRDRESSER = Cycle(
    entries=(
        ("2019-08-01", ((CASH, "70000"), (STOCK, "-70000"))),
        ("2019-08-03", ((EQUIPMENT, "45000"), (CASH, "-37500"), (PAYABLE, "-7500"))),
        ("2019-08-06", ((SUPPLIES, "300"), (CASH, "-300"))),
        ("2019-08-10", ((RECEIVABLE, "4000"), (SERVICES, "-4000"))),
        ("2019-08-13", ((UTILITIES, "75"), (CASH, "-75"))),
        ("2019-08-14", ((CASH, "3200"), (UNEARNED, "-3200"))),
        ("2019-08-16", ((DIVIDENDS, "150"), (CASH, "-150"))),
        ("2019-08-17", ((CASH, "5200"), (SERVICES, "-5200"))),
        ("2019-08-19", ((PAYABLE, "2000"), (CASH, "-2000"))),
        ("2019-08-22", ((SALARIES, "4600"), (CASH, "-4600"))),
        ("2019-08-28", ((CASH, "1500"), (RECEIVABLE, "-1500"))),
        ("2019-08-31", ((SUPPLIES_USED, "50"), (SUPPLIES, "-50"))),
        ("2019-08-31", ((DEPRECIATION, "2500"), (WORN, "-2500"))),
        ("2019-08-31", ((UNEARNED, "1100"), (SERVICES, "-1100"))),
        ("2019-08-31", ((INTEREST_DUE, "350"), (INTEREST, "-350"))),
        ("2019-08-31", ((TAX, "3400"), (TAX_DUE, "-3400"))),
    ),
    last_entry=datetime.date(2019, 8, 28),
    last_day=datetime.date(2019, 8, 31),
    unadjusted={
        CASH: "35275",
        RECEIVABLE: "2500",
        SUPPLIES: "300",
        EQUIPMENT: "45000",
        PAYABLE: "-5500",
        UNEARNED: "-3200",
        STOCK: "-70000",
        DIVIDENDS: "150",
        SERVICES: "-9200",
        SALARIES: "4600",
        UTILITIES: "75",
    },
    unadjusted_total="87900",
    adjusted={
        CASH: "35275",
        RECEIVABLE: "2500",
        INTEREST_DUE: "350",
        SUPPLIES: "250",
        EQUIPMENT: "45000",
        WORN: "-2500",
        PAYABLE: "-5500",
        UNEARNED: "-2100",
        TAX_DUE: "-3400",
        STOCK: "-70000",
        DIVIDENDS: "150",
        INTEREST: "-350",
        SERVICES: "-10300",
        SUPPLIES_USED: "50",
        DEPRECIATION: "2500",
        TAX: "3400",
        SALARIES: "4600",
        UTILITIES: "75",
    },
    adjusted_total="94150",
    revenues="10650",
    expenses="10625",
    net_income="25",
    dividends="150",
    retained_end="-125",
    equipment_net="42500",
    assets="80875",
    liabilities="11000",
    equity="69875",
)


@pytest.fixture(scope="module", params=[PRINT_SHOP, HAIRDRESSER], ids=["sections 3.5-5.2", "section 5.4"])
def case(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Cycle, ShopBooks]]:
    """A published cycle and the books made of its entries."""
    cycle: Cycle = request.param
    books = build_shop(tmp_path_factory.mktemp("cycle"), hand=hand_entries(cycle.entries))
    yield cycle, books
    books.connection.close()


def total(balances: dict[str, Decimal]) -> Decimal:
    """Total of the debit column, which must be the credit column's too."""
    debits = sum((amount for amount in balances.values() if amount > 0), Decimal(0))
    assert debits == -sum(amount for amount in balances.values() if amount < 0)
    return debits


def test_unadjusted_trial_balance(case: tuple[Cycle, ShopBooks]) -> None:
    """Before the adjustments every balance and the total are the published ones."""
    cycle, books = case
    found = books.balances(cycle.last_entry)
    assert decimals(cycle.unadjusted) == found
    assert Decimal(cycle.unadjusted_total) == total(found)


def test_adjusted_trial_balance(case: tuple[Cycle, ShopBooks]) -> None:
    """After the adjustments every balance and the total are the published ones."""
    cycle, books = case
    found = books.balances(cycle.last_day)
    assert decimals(cycle.adjusted) == found
    assert Decimal(cycle.adjusted_total) == total(found)


def test_income_statement(case: tuple[Cycle, ShopBooks]) -> None:
    """Revenues (the book counts the interest among them), expenses and net income are the published ones."""
    cycle, books = case
    found = books.income(Period(cycle.last_day.replace(day=1), cycle.last_day))
    expected = (Decimal(cycle.revenues), Decimal(cycle.expenses), Decimal(cycle.net_income))
    interest = -Decimal(cycle.adjusted[INTEREST])
    assert interest == found["other_income"]
    assert expected == (found["revenue"] + interest, found["expenses"], found["net_income"])


def test_balance_sheet(case: tuple[Cycle, ShopBooks]) -> None:
    """Assets, liabilities and equity are the published ones, and what is kept of the earnings is too."""
    cycle, books = case
    found = books.sheet(cycle.last_day)
    assert decimals(
        {
            "assets": cycle.assets,
            "liabilities": cycle.liabilities,
            "equity": cycle.equity,
            "liabilities_and_equity": cycle.assets,
        }
    ) == {name: found[name] for name in ("assets", "liabilities", "equity", "liabilities_and_equity")}
    sheet = report_balance_sheet(books.connection, cycle.last_day)
    rows = {row.account: Decimal(row.amount) / 100 for row in (*sheet.assets, *sheet.equity)}
    assert Decimal(cycle.equipment_net) == rows[EQUIPMENT] + rows[WORN]
    assert Decimal(cycle.retained_end) == rows[CURRENT_EARNINGS] + rows[DIVIDENDS]
    assert Decimal(cycle.dividends) == -rows[DIVIDENDS]


def test_earnings_move_to_retained_at_the_new_year(case: tuple[Cycle, ShopBooks]) -> None:
    """On the first day of the next year the month's net income is in retained earnings, as after closing."""
    cycle, books = case
    sheet = report_balance_sheet(books.connection, datetime.date(2020, 1, 1))
    rows = {row.account: Decimal(row.amount) / 100 for row in sheet.equity}
    assert Decimal(cycle.net_income) == rows[RETAINED_EARNINGS]
    assert CURRENT_EARNINGS not in rows


@pytest.mark.parametrize("case", [PRINT_SHOP], indirect=True, ids=["sections 3.5-5.2"])
def test_running_balance_of_cash(case: tuple[Cycle, ShopBooks]) -> None:
    """Cash is what is published after each movement; one description in 3.5 prints 200 for the 300 of the entry."""
    cycle, books = case
    register = report_register(books.connection, CASH, Period(datetime.date(2019, 1, 1), cycle.last_day))
    expected = [
        ("2019-01-03", 20000, 20000),
        ("2019-01-09", 4000, 24000),
        ("2019-01-12", -300, 23700),
        ("2019-01-14", -100, 23600),
        ("2019-01-17", 2800, 26400),
        ("2019-01-18", -3500, 22900),
        ("2019-01-20", -3600, 19300),
        ("2019-01-23", 5500, 24800),
    ]
    assert [(day, 100 * amount, 100 * balance) for day, amount, balance in expected] == [
        (row.day.isoformat(), row.amount, row.balance) for row in register.rows
    ]
    assert (3230000, 750000) == (
        sum(row.amount for row in register.rows if row.amount > 0),
        -sum(row.amount for row in register.rows if row.amount < 0),
    )
