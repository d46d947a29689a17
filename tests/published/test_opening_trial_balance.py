"""A post-closing trial balance taken over: the books of the next year begin with the published balances.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, sections 5.1-5.2 (first company) and 5.4
(second, whose retained earnings are a debit), https://openstax.org/details/books/principles-financial-accounting
(commit 2165bf6454c0279c1284e19ac7febc101f7956ad). Exactness: READ. The account names are the book's, the types ours.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from shop_books import CURRENCY, ZONE, ShopBooks, silent

from ledger_tools.archive import open_books
from ledger_tools.calendar import Period
from ledger_tools.errors import LedgerError
from ledger_tools.new_books import settings_text, write_books
from ledger_tools.opening_balances import read_trial_balance
from ledger_tools.reports.statements import report_owner_equity

FIRST = (
    datetime.date(2019, 1, 31), "30040", "29965", "5400", "24565",
    """\
Account,Type,Debit,Credit
Cash,asset,"24,800",
Accounts Receivable,asset,"1,200",
Interest Receivable,asset,140,
Supplies,asset,400,
Equipment,asset,"3,500",
Accumulated Depreciation: Equipment,asset,,75
Accounts Payable,liability,,500
Salaries Payable,liability,,"1,500"
Unearned Revenue,liability,,"3,400"
Common Stock,equity,,"20,000"
Retained Earnings,equity,,"4,565"
Total,,"30,040","30,040"
""",
)  # fmt: skip
SECOND = (
    datetime.date(2019, 8, 31), "83500", "80875", "11000", "69875",
    """\
account,type,balance
Cash,asset,35275
Accounts Receivable,asset,2500
Interest Receivable,asset,350
Supplies,asset,250
Equipment,asset,45000
Accumulated Depreciation: Equipment,asset,-2500
Accounts Payable,liability,-5500
Unearned Revenue,liability,-2100
Income Tax Payable,liability,-3400
Common Stock,equity,-70000
Retained Earnings,equity,125
""",
)  # fmt: skip
Case = tuple[datetime.date, str, str, str, str, str]


@pytest.mark.parametrize("case", [FIRST, SECOND], ids=["sections 5.1-5.2", "section 5.4"])
def test_balances_are_taken_over(case: Case, tmp_path: Path) -> None:
    """Total of the trial balance, assets, liabilities and equity are the published ones, and nothing is earned yet."""
    as_of, total, assets, liabilities, equity, text = case
    file = tmp_path / "post-closing.csv"
    file.write_text(text, encoding="utf-8")
    opening = read_trial_balance(file, as_of, CURRENCY)
    assert Decimal(total) == Decimal(opening.total) / 100
    folder = write_books(tmp_path / "books", settings_text("Test shop", CURRENCY, ZONE), opening.as_entry())
    with open_books(folder, silent) as connection:
        books = ShopBooks(folder, connection)
        assert Decimal(total) == sum(balance for balance in books.balances(as_of).values() if balance > 0)
        found = books.sheet(as_of)
        assert (Decimal(assets), Decimal(liabilities), Decimal(equity)) == (
            found["assets"], found["liabilities"], found["equity"],
        )  # fmt: skip
        assert Decimal(0) == books.income()["net_income"]
        moved = report_owner_equity(connection, Period(as_of + datetime.timedelta(days=1), None))
        assert (Decimal(equity), Decimal(equity)) == (Decimal(moved.opening) / 100, Decimal(moved.closing) / 100)


def test_a_balance_that_is_missing(tmp_path: Path) -> None:
    """Without the accumulated depreciation of 75 the first trial balance is refused by just that."""
    file = tmp_path / "post-closing.csv"
    lines = [line for line in FIRST[-1].splitlines(keepends=True) if "Depreciation" not in line and "Total" not in line]
    file.write_text("".join(lines), encoding="utf-8")
    with pytest.raises(LedgerError, match=r"debits are more than credits by 75\.00 USD"):
        read_trial_balance(file, FIRST[0], CURRENCY)
