"""Identity 9: a closed month never changes: its files are as they were frozen, and so are the balances."""

from __future__ import annotations

import duckdb

from ledger_tools.archive import sha256_of
from ledger_tools.checks.outcome import Check, told
from ledger_tools.closed import ClosedMonth, digest_of, read_closed_months
from ledger_tools.folder import BooksFolder
from ledger_tools.money import format_amount


def check_closed_months(connection: duckdb.DuckDBPyConnection, folder: BooksFolder) -> Check:
    """Every byte of the closed months, the journal that beancount reads, and the trial balance at each month's end."""
    months = read_closed_months(folder)
    broken = [
        problem
        for month in months
        for problem in (*_changed_files(month, folder), *_changed_balances(connection, month))
    ]
    return told("closed months are as they were frozen", broken, f"{len(months)} closed months", str)


def _changed_files(month: ClosedMonth, folder: BooksFolder) -> list[str]:
    name = f"closed/{month.month}"
    broken = []
    if not month.is_intact:
        broken.append(f"{name}.toml is not what was written when the month was closed")
    if sha256_of(month.postings) != month.postings_digest:
        broken.append(f"{name}.csv is not what was written when the month was closed")
    if digest_of(month.journal) != month.journal_digest:
        broken.append(f"{name}.beancount is not what was written when the month was closed")
    journal = folder.journal / f"{month.month}.beancount"
    if not journal.is_file() or sha256_of(journal) != month.journal_digest:
        broken.append(f"journal/{month.month}.beancount is not the frozen journal")
    return broken


def _changed_balances(connection: duckdb.DuckDBPyConnection, month: ClosedMonth) -> list[str]:
    rows = connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE posted_on <= ? GROUP BY account.name, currency HAVING sum(amount) <> 0""",
        [month.last_day],
    ).fetchall()
    now = {(name, currency): format_amount(amount, currency) for name, currency, amount in rows}
    then = {(name, currency): amount for name, currency, amount in month.trial_balance}
    return [
        f"{month.month}: {account} {currency} was {then.get((account, currency), '0')} and is {now.get((account, currency), '0')}"
        for account, currency in sorted(now.keys() | then.keys())
        if now.get((account, currency)) != then.get((account, currency))
    ]
