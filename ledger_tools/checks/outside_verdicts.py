"""Verdicts from outside: beancount's loader on the journal as it lies on disk, and every report against beanquery."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

import duckdb

from ledger_tools.checks.outcome import Check, Progress, told
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import load_ledger
from ledger_tools.money import format_amount, minor_digits
from ledger_tools.store import read_fact


def check_with_beancount(
    connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress
) -> Iterator[Check]:
    """beancount's verdict, and the reports against beanquery on the journal as it lies on disk."""
    import beanquery

    progress("beancount reads the journal")
    entries, errors, options = load_ledger(str(folder.main))
    yield told(
        "beancount accepts the books",
        errors,
        f"{len(entries)} directives, no error",
        lambda error: f"{Path(error.source.get('filename', '')).name}:{error.source.get('lineno', 0)}: {error.message}",
    )
    ledger = beanquery.connect(  # type: ignore[no-untyped-call]
        "beancount:", entries=entries, errors=[], options=options
    )
    progress("beanquery sums the journal")
    yield _check_trial_balance(connection, ledger)
    yield _check_values(connection, ledger)
    if read_fact(connection, "detail") == "order":
        yield _check_orders(connection, ledger)


def _check_trial_balance(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Check:
    by_query = {
        (account, currency): int(number.scaleb(minor_digits(currency)))
        for account, currency, number in ledger.execute(
            "SELECT account, currency, sum(number) GROUP BY account, currency"
        ).fetchall()
        if number
    }
    by_report = {
        (account, currency): int(amount)
        for account, currency, amount in connection.execute(
            """SELECT name, currency, sum(amount) FROM posting JOIN account USING (account_no) GROUP BY ALL HAVING sum(amount) <> 0"""
        ).fetchall()
    }
    keys = sorted(by_query.keys() | by_report.keys())
    broken = [
        (key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)
    ]
    return told(
        "trial balance is beanquery's",
        broken,
        f"{len(keys)} balances",
        lambda row: (
            f"{row[0][0]}: report {format_amount(row[1], row[0][1])}, beanquery {format_amount(row[2], row[0][1])} {row[0][1]}"
        ),
    )


def _weights(ledger: Any, group: str, base: str) -> dict[str, int]:
    """Base-currency value of income and expense postings by a grouping, read back from the journal's prices."""
    rows = ledger.execute(
        f"SELECT {group}, sum(weight) WHERE account ~ '^(Income|Expenses):' GROUP BY {group}"
    ).fetchall()
    found: dict[str, int] = {}
    for name, inventory in rows:
        for position in inventory:
            if position.units.currency == base:
                found[name or ""] = found.get(name or "", 0) + int(
                    round(position.units.number.scaleb(minor_digits(base)))
                )
    return {name: amount for name, amount in found.items() if amount}


def _check_values(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Check:
    base = read_fact(connection, "currency") or ""
    by_query = _weights(ledger, "account", base)
    by_report = {
        name: int(amount)
        for name, amount in connection.execute(
            """SELECT name, sum(value) FROM posting JOIN account USING (account_no)
               WHERE name ~ '^(Income|Expenses):.*' GROUP BY name HAVING sum(value) <> 0"""
        ).fetchall()
    }
    keys = sorted(by_query.keys() | by_report.keys())
    broken = [
        (key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)
    ]
    return told(
        "income statement is beanquery's",
        broken,
        f"{len(keys)} accounts in {base}",
        lambda row: f"{row[0]}: report {format_amount(row[1], base)}, beanquery {format_amount(row[2], base)}",
    )


def _check_orders(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Check:
    base = read_fact(connection, "currency") or ""
    by_query = _weights(ledger, "findfirst('^order-', links)", base)
    by_query.pop("", None)
    by_report = {
        link: int(amount)
        for link, amount in connection.execute(
            """SELECT link, sum(value) FROM posting JOIN order_link USING (order_no) JOIN account USING (account_no)
               WHERE name ~ '^(Income|Expenses):.*' GROUP BY link HAVING sum(value) <> 0"""
        ).fetchall()
    }
    keys = sorted(by_query.keys() | by_report.keys())
    broken = [
        (key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)
    ]
    return told(
        "profit of each order is beanquery's",
        broken,
        f"{len(keys)} orders",
        lambda row: f"{row[0]}: report {format_amount(-row[1], base)}, beanquery {format_amount(-row[2], base)}",
    )
