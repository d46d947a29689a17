"""Verdicts from outside: beancount's loader on the journal as it lies on disk, and every report against beanquery.

The reports are those of the command line; beanquery reads the journal, so that nothing is compared with itself.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any

import duckdb

from ledger_tools.checks.outcome import Check, Progress, told
from ledger_tools.checks.outside_statements import compare_statements
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import PRIOR_PERIOD, load_ledger
from ledger_tools.money import format_amount, minor_digits
from ledger_tools.posting.rules import TITLES
from ledger_tools.reports.order_profit import PROFIT_ROLES, report_orders
from ledger_tools.reports.order_proof import prove_orders
from ledger_tools.reports.sales_tax import report_sales_tax, sum_days
from ledger_tools.reports.sales_tax_entries import accounts_of_jurisdictions, list_days, tax_settings
from ledger_tools.reports.statements import report_balance_sheet, report_income, report_trial_balance
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
    yield from _check_statements(connection, ledger)
    yield from _check_cash(connection, ledger)
    yield from _check_orders(connection, ledger)
    yield _check_sales_tax(connection, ledger)


def _compared(
    name: str, by_report: Mapping[Any, int], by_query: Mapping[Any, int], counted: str, currency: Callable[[Any], str]
) -> Check:
    """One check: figures of a report against beanquery's, by account, order or total; zeros on either side are left out."""
    ours = {key: amount for key, amount in by_report.items() if amount}
    theirs = {key: amount for key, amount in by_query.items() if amount}
    keys = sorted(ours.keys() | theirs.keys())
    broken = [(key, ours.get(key, 0), theirs.get(key, 0)) for key in keys if ours.get(key) != theirs.get(key)]

    def bad(row: Any) -> str:
        key, report, query = row
        code = currency(key)
        label = " ".join(key) if isinstance(key, tuple) else key
        return f"{label}: report {format_amount(report, code)}, beanquery {format_amount(query, code)}"

    return told(name, broken, f"{len(keys)} {counted}", bad)


def _check_trial_balance(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Check:
    rows = ledger.execute("SELECT account, currency, sum(number) GROUP BY account, currency").fetchall()
    by_query = {(account, code): int(number.scaleb(minor_digits(code))) for account, code, number in rows if number}
    report = report_trial_balance(connection, None)
    by_report = {(row.account, row.currency): row.balance for row in report.rows}
    return _compared("trial balance is beanquery's", by_report, by_query, "balances", lambda key: str(key[1]))


def _weights(ledger: Any, group: str, base: str) -> dict[tuple[str, str], int]:
    """Base-currency value of postings by a grouping and account, debit positive, read back from the journal's prices."""
    rows = ledger.execute(f"SELECT {group}, account, sum(weight) GROUP BY {group}, account").fetchall()
    found: dict[tuple[str, str], int] = {}
    for name, account, inventory in rows:
        for position in inventory:
            if position.units.currency == base:
                amount = round(position.units.number.scaleb(minor_digits(base)))
                key = (name or "", account)
                found[key] = found.get(key, 0) + int(amount)
    return found


def _check_statements(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Iterator[Check]:
    """Income statement and balance sheet, every row and total."""
    base = read_fact(connection, "currency") or ""
    by_account: dict[str, int] = {}
    for (_, account), amount in _weights(ledger, "currency", base).items():
        by_account[account] = by_account.get(account, 0) + amount

    def of(*tops: str) -> int:
        return sum(amount for account, amount in by_account.items() if account.partition(":")[0] in tops)

    income = report_income(connection)
    rows = {row.account: row.balance for row in income.rows}
    rows["net income"] = -income.totals.net_income
    expected = {
        account: amount for account, amount in by_account.items() if account.startswith(("Income:", "Expenses:"))
    }
    expected["net income"] = of("Income", "Expenses")
    yield _compared("income statement is beanquery's", rows, expected, f"figures in {base}", lambda key: base)
    sheet = report_balance_sheet(connection, _last_posted_day(connection))
    totals = {section: sheet.total(section) for section in ("assets", "liabilities", "equity")}
    expected = {
        "assets": of("Assets"),
        "liabilities": -of("Liabilities"),
        "equity": -of("Equity", "Income", "Expenses"),
    }
    yield _compared("balance sheet is beanquery's", totals, expected, f"totals in {base}", lambda key: base)


def _check_cash(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Iterator[Check]:
    """Cash flow and cash basis; in order detail only, where the journal has each event's own entry."""
    if read_fact(connection, "detail") != "order":
        return
    base = read_fact(connection, "currency") or ""
    last = _last_posted_day(connection)
    for name, by_report, by_query in compare_statements(connection, ledger, base, last):
        yield _compared(name, by_report, by_query, f"figures in {base}", lambda key: base)


def _last_posted_day(connection: duckdb.DuckDBPyConnection) -> datetime.date | None:
    """The journal's last day, which may be that of a reversal in a month of which nothing else is known."""
    row = connection.execute("SELECT max(posted_on) FROM posting").fetchone()
    return None if row is None else row[0]


def _check_orders(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Iterator[Check]:
    """Profit of each order, by its link; and identity 6, orders with the rest are the income statement."""
    base = read_fact(connection, "currency") or ""
    report = report_orders(connection)
    proof = prove_orders(connection, report)
    differing = list(proof.differing_columns) or (["the total"] if proof.difference else [])
    yield told(
        "orders and the rest are the income statement",
        differing,
        f"net income {format_amount(proof.net_income, base)}",
        str,
    )
    if read_fact(connection, "detail") != "order":
        return
    roles = dict(connection.execute("SELECT name, role FROM account").fetchall())
    links = dict(connection.execute("SELECT order_no, link FROM order_link").fetchall())
    by_query: dict[str, int] = {}
    for (link, account), amount in _weights(ledger, "findfirst('^order-', links)", base).items():
        if link and roles.get(account) in PROFIT_ROLES:
            by_query[link] = by_query.get(link, 0) - amount
    by_report = {links[order.order_no]: order.figures.profit for order in report.orders}
    yield _compared("profit of each order is beanquery's", by_report, by_query, "orders", lambda key: base)


def _check_sales_tax(connection: duckdb.DuckDBPyConnection, ledger: Any) -> Check:
    """What was collected, refunded, and remitted or entered by hand in each jurisdiction and month, and what is owed."""
    base = read_fact(connection, "currency") or ""
    places = accounts_of_jurisdictions(connection, tax_settings(connection))
    by_query: dict[tuple[str, str, str], int] = {}

    def add(month: str, place: str, kind: str, amount: int) -> None:
        by_query[month, place, kind] = by_query.get((month, place, kind), 0) + amount

    tops = "|".join(sorted({name.partition(":")[0] for name in places})) or "Liabilities"
    rows = ledger.execute(
        f"""SELECT year, month, entry_meta('source'), narration, account, sum(weight)
            WHERE account ~ '^({tops}):' GROUP BY year, month, entry_meta('source'), narration, account"""
    ).fetchall()
    for year, month, source, narration, account, inventory in rows:
        title = narration.removeprefix(PRIOR_PERIOD).partition(", ")[0] if source else ""
        kind = {TITLES["sale"]: "collected"}.get(title, "remitted")
        if title in (TITLES["refund"], TITLES["refund_to_gift_card"]):
            kind = "refunded"
        for position in inventory if account in places else ():
            if position.units.currency == base:
                amount = round(position.units.number.scaleb(minor_digits(base)))
                add(f"{year}-{month:02d}", places[account], kind, -amount if kind == "collected" else amount)
                add("all", places[account], "owed", -amount)
    by_report: dict[tuple[str, str, str], int] = {}
    days = list_days(connection, None)
    for month in sorted({f"{day.day:%Y-%m}" for day in days}):
        for place, told_of in sum_days((day for day in days if f"{day.day:%Y-%m}" == month), None).items():
            by_report[month, place, "collected"] = told_of.collected
            by_report[month, place, "refunded"] = told_of.refunded
            by_report[month, place, "remitted"] = told_of.remitted - told_of.adjusted - told_of.revalued
    for row in report_sales_tax(connection).rows:
        by_report["all", row.jurisdiction, "owed"] = row.figures.owed
    return _compared("sales tax is beanquery's", by_report, by_query, f"figures in {base}", lambda key: base)
