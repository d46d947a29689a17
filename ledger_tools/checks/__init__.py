"""The identities of the books as code that runs, and the outside verdicts: beancount's loader and beanquery.

Each check says whether it holds and what was compared. Nothing is compared with itself: records are summed apart from
the postings that were made of them, the journal on disk is read back by beancount, and the other detail is rendered and
parsed again.
"""

from __future__ import annotations

import duckdb

from ledger_tools.checks.closed_months import check_closed_months
from ledger_tools.checks.control_accounts import check_control_accounts
from ledger_tools.checks.identities import (
    check_balances,
    check_clearing,
    check_decisions,
    check_entries_balance,
    check_hand_links,
    check_in_transit,
    check_sales_tax,
    check_tax_ties_out,
)
from ledger_tools.checks.journal_text import check_detail, check_journal_files, check_order_of_imports
from ledger_tools.checks.outcome import Check, Progress
from ledger_tools.checks.outside_verdicts import check_with_beancount
from ledger_tools.checks.statements import check_cash_basis, check_cash_flow
from ledger_tools.folder import BooksFolder


def run_checks(connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress) -> list[Check]:
    """Every check, in the order of the identities."""
    found = [
        check_entries_balance(connection),
        check_clearing(connection),
        check_in_transit(connection),
        check_control_accounts(connection),
        check_balances(connection),
        check_sales_tax(connection),
        check_tax_ties_out(connection),
        check_decisions(connection),
        check_hand_links(connection),
        check_cash_basis(connection),
        check_cash_flow(connection),
        check_closed_months(connection, folder),
    ]
    progress("day summary")
    found.append(check_detail(connection))
    found.append(check_journal_files(connection, folder))
    found.append(check_order_of_imports(connection, folder, progress))
    found.extend(check_with_beancount(connection, folder, progress))
    return found


__all__ = [
    "Check",
    "check_balances",
    "check_cash_basis",
    "check_cash_flow",
    "check_clearing",
    "check_control_accounts",
    "check_closed_months",
    "check_decisions",
    "check_detail",
    "check_entries_balance",
    "check_hand_links",
    "check_in_transit",
    "check_journal_files",
    "check_order_of_imports",
    "check_sales_tax",
    "check_tax_ties_out",
    "check_with_beancount",
    "run_checks",
]
