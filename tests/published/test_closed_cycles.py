"""The two accounting cycles of the book through the month-end close to the post-closing trial balance.

Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting (Franklin, Graybeal, Cooper), sections 3.5,
4.2-4.5, 5.1, 5.2 (first cycle) and 5.4 (second cycle), https://openstax.org/details/books/principles-financial-accounting
(openstax/osbooks-principles-accounting-bundle, commit 2165bf6454c0279c1284e19ac7febc101f7956ad). Exactness: READ. The
owner of a small shop draws where the book's company pays dividends: both are closed to retained earnings.
"""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from shop_books import build_shop, decimals, hand_entries, silent
from test_accounting_cycle import DIVIDENDS, HAIRDRESSER, PRINT_SHOP, Cycle

from ledger_tools.archive import open_books
from ledger_tools.close import Signature, close_month
from ledger_tools.closed import read_closed_months
from ledger_tools.money import format_amount
from ledger_tools.reports.trial_balance import close_results, report_trial_balance

DRAWS, RETAINED = "Equity:OwnerDraws", "Equity:RetainedEarnings"
WAIVED = ("sources", "open-items", "balances", "cut-off")

#: Published totals of the post-closing trial balances.
TOTALS = {id(PRINT_SHOP): "30040", id(HAIRDRESSER): "83500"}


@pytest.mark.parametrize("cycle", [PRINT_SHOP, HAIRDRESSER], ids=["sections 3.5-5.2", "section 5.4"])
def test_post_closing_trial_balance(cycle: Cycle, tmp_path: Path) -> None:
    """The closed month keeps the adjusted trial balance, and after closing the balances and their total are the published ones."""
    month = f"{cycle.last_day:%Y-%m}"
    entries = hand_entries(cycle.entries).replace(DIVIDENDS, DRAWS)
    books = build_shop(tmp_path, hand=entries)
    books.connection.close()
    signature = Signature("bookkeeper", datetime.date(2032, 1, 1), dict.fromkeys(WAIVED, "a service company"))
    assert close_month(books.folder, month, signature, silent).closed
    adjusted = {(DRAWS if name == DIVIDENDS else name): amount for name, amount in decimals(cycle.adjusted).items()}
    (frozen,) = read_closed_months(books.folder)
    assert adjusted == {account: Decimal(amount) for account, _, amount in frozen.trial_balance}
    with open_books(books.folder, silent) as connection:
        report = close_results(connection, report_trial_balance(connection, cycle.last_day))
    found = {row.account: Decimal(format_amount(row.balance, row.currency)) for row in report.rows}
    expected = {
        name: amount
        for name, amount in adjusted.items()
        if not name.startswith(("Income:", "Expenses:")) and name != DRAWS
    }
    assert {**expected, RETAINED: -Decimal(cycle.retained_end)} == found
    debits = sum(amount for amount in found.values() if amount > 0)
    assert Decimal(TOTALS[id(cycle)]) == debits == -sum(amount for amount in found.values() if amount < 0)
