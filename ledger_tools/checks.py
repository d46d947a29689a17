"""The identities of the books as code that runs, and the outside verdicts: beancount's loader and beanquery.

Each check says whether it holds and what was compared. Nothing is compared with itself: records are summed apart from
the postings that were made of them, the journal on disk is read back by beancount, and the other detail is rendered and
parsed again.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from ledger_tools.archive import archived_exports
from ledger_tools.build import build_database, read_inputs
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import list_months, load_ledger, render_accounts, render_files, render_month
from ledger_tools.money import format_amount, minor_digits
from ledger_tools.settlement import stale_decisions
from ledger_tools.store import read_fact

Progress = Callable[[str], None]


@dataclass(frozen=True)
class Check:
    """One check's outcome; `detail` says what was compared, or the first differences."""

    check: str
    passed: bool
    detail: str


def _told(name: str, broken: list[Any], good: str, bad: Callable[[Any], str]) -> Check:
    if not broken:
        return Check(name, True, good)
    more = f"; and {len(broken) - 3} more" if len(broken) > 3 else ""
    return Check(name, False, "; ".join(bad(row) for row in broken[:3]) + more)


def _number(connection: duckdb.DuckDBPyConnection, sql: str) -> int:
    row = connection.execute(sql).fetchone()
    assert row is not None
    return int(row[0] or 0)


def check_entries_balance(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 1: every entry sums to zero in its currency, or by its stated values."""
    broken = connection.execute(
        """SELECT event_no, sum(amount), sum(value) FROM posting GROUP BY event_no
           HAVING (count(DISTINCT currency) = 1 AND sum(amount) <> 0)
               OR (count(value) = count(*) AND sum(value) <> 0) OR (count(DISTINCT currency) > 1 AND count(value) < count(*))
           ORDER BY 1"""
    ).fetchall()
    count = _number(connection, "SELECT count(DISTINCT event_no) FROM posting")
    return _told(
        "every entry sums to zero", broken, f"{count} entries", lambda row: f"event {row[0]} leaves {row[1]} ({row[2]})"
    )


def check_clearing(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 2: the clearing account, order by order, is what was sold less what was charged."""
    broken = connection.execute(
        """
        WITH expected AS (
            SELECT order_no, currency, sum(amount) AS amount FROM (
                SELECT order_no, currency, total - coalesce(gift_card_paid, 0) AS amount FROM order_head
                UNION ALL
                SELECT order_no, CASE WHEN charged_amount IS NULL THEN currency ELSE coalesce(charged_currency, currency) END,
                       -CASE WHEN charged_amount IS NULL THEN gross ELSE sign(gross) * abs(charged_amount) END
                FROM processor_row WHERE kind = 'charge' OR (kind = 'refund' AND order_no IS NULL)
                UNION ALL
                SELECT posting.order_no, currency, amount FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
                WHERE rule IN ('hand', 'decision') AND role = 'clearing'
            ) GROUP BY ALL
        ), booked AS (
            SELECT order_no, currency, sum(amount) AS amount FROM posting JOIN account USING (account_no)
            WHERE role = 'clearing' GROUP BY ALL
        )
        SELECT coalesce(expected.order_no, booked.order_no), coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked ON expected.order_no IS NOT DISTINCT FROM booked.order_no AND expected.currency = booked.currency
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    orders = _number(connection, "SELECT count(*) FROM order_head")
    return _told(
        "clearing ties to orders and payments", broken, f"{orders} orders", lambda row: f"order number {row[0]}: records say {row[1]}, books {row[2]}"
    )


def check_in_transit(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 3: the in-transit accounts are the payouts and top-ups that the bank has not completed."""
    broken = connection.execute(
        """
        WITH expected AS (
            SELECT CASE WHEN movement.kind IN ('payout', 'payout_returned') THEN 'payouts_in_transit' ELSE 'top_ups_in_transit' END
                       AS role, movement.currency,
                   sum(movement.amount - CASE WHEN bank_row.movement_no IS NULL THEN 0
                           WHEN bank_row.currency = movement.currency THEN bank_row.amount ELSE movement.amount END)
                       AS amount
            FROM movement LEFT JOIN bank_row USING (movement_no) GROUP BY ALL
        ), booked AS (
            SELECT role, currency, sum(amount) AS amount FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
            WHERE role IN ('payouts_in_transit', 'top_ups_in_transit') AND rule NOT IN ('hand', 'bank_rule', 'decision') GROUP BY ALL
        )
        SELECT coalesce(expected.role, booked.role), coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked USING (role, currency)
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    count = _number(connection, "SELECT count(*) FROM movement")
    return _told(
        "in transit is what has not arrived", broken, f"{count} payouts and top-ups", lambda row: f"{row[0]}: records say {row[1]}, books {row[2]}"
    )


def check_balances(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 4: every stated balance is what the books have at the end of its day."""
    rows = connection.execute(
        """
        SELECT source.name, stated_on::VARCHAR, stated.currency, amount, coalesce((
                   SELECT sum(posting.amount) FROM posting JOIN account_use AS used USING (account_no)
                   WHERE used.role = source.kind AND used.parameter = source.name AND posted_on <= stated_on
                     AND posting.currency = stated.currency), 0)
        FROM stated_balance AS stated JOIN source USING (source_no) ORDER BY 2, 1
        """
    ).fetchall()
    broken = [row for row in rows if row[3] != row[4]]
    return _told(
        "stated balances are the books'",
        broken,
        f"{len(rows)} stated balances",
        lambda row: f"{row[0]} on {row[1]}: stated {format_amount(row[3], row[2])}, books {format_amount(int(row[4]), row[2])} {row[2]}",
    )


def check_sales_tax(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 5: each sales-tax account is collected less refunded, with what rules and people posted beside."""
    broken = connection.execute(
        """
        WITH expected AS (
            SELECT account_no, sum(amount) AS amount FROM (
                SELECT jurisdiction, -tax AS amount FROM order_head
                WHERE tax IS NOT NULL AND tax_collected_by IS DISTINCT FROM 'marketplace'
                UNION ALL SELECT jurisdiction, tax_shop FROM fact_refund
                UNION ALL SELECT head.jurisdiction, posting.amount FROM posting JOIN event USING (event_no)
                    JOIN order_head AS head ON head.order_no = posting.order_no JOIN account USING (account_no)
                    WHERE rule = 'refund_to_gift_card' AND role = 'sales_tax'
            ) JOIN account_use AS used ON used.role = 'sales_tax' AND used.parameter = jurisdiction GROUP BY account_no
        ), booked AS (
            SELECT account_no, sum(amount) AS amount FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
            WHERE role = 'sales_tax' AND rule NOT IN ('hand', 'bank_rule', 'adjustment', 'decision') GROUP BY account_no
        )
        SELECT account.name, coalesce(expected.amount, 0), coalesce(booked.amount, 0)
        FROM expected FULL JOIN booked USING (account_no) JOIN account USING (account_no)
        WHERE coalesce(expected.amount, 0) <> coalesce(booked.amount, 0) ORDER BY 1
        """
    ).fetchall()
    count = _number(connection, "SELECT count(*) FROM account WHERE role = 'sales_tax'")
    return _told(
        "sales tax is collected less refunded", broken, f"{count} jurisdictions", lambda row: f"{row[0]}: records say {row[1]}, books {row[2]}"
    )


def check_decisions(connection: duckdb.DuckDBPyConnection) -> Check:
    """Every decision still has the open item that it was made for."""
    count = _number(connection, "SELECT count(*) FROM decision")
    return _told("decisions have their items", stale_decisions(connection), f"{count} decisions", str)


_POSTING_LINE = re.compile(r"  ([A-Z][^ ]*) +(-?[0-9.]+) ([A-Z]{3})( @@ .*)?\Z")


def _sums_by_day(text: str) -> dict[tuple[str, str, str], int]:
    """Sum of each account and currency by day, read back from journal text."""
    sums: dict[tuple[str, str, str], int] = {}
    day = ""
    for line in text.splitlines():
        found = _POSTING_LINE.match(line)
        if found:
            key = (day, found[1], found[3])
            sums[key] = sums.get(key, 0) + int(found[2].replace(".", ""))
        elif line[:1].isdigit():
            day = line[:10]
    return {key: amount for key, amount in sums.items() if amount}


def check_detail(connection: duckdb.DuckDBPyConnection) -> Check:
    """Identity 7: order detail and day summary give the same movement of every account on every day."""
    base = read_fact(connection, "currency") or ""
    broken: list[Any] = []
    months = list_months(connection)
    for month in months:
        by_order, by_day = (_sums_by_day(render_month(connection, month, detail, base)) for detail in ("order", "day"))
        broken += [(key, by_order.get(key, 0), by_day.get(key, 0)) for key in sorted(by_order.keys() | by_day.keys()) if by_order.get(key) != by_day.get(key)]
    return _told(
        "order detail and day summary agree", broken, f"{len(months)} months", lambda row: f"{row[0]}: by order {row[1]}, by day {row[2]}"
    )


def check_journal_files(connection: duckdb.DuckDBPyConnection, folder: BooksFolder) -> Check:
    """The journal on disk is, byte for byte, what the exports say."""
    base = read_fact(connection, "currency") or ""
    detail = read_fact(connection, "detail") or "order"
    opened = read_inputs(folder).hand.opened
    wanted = {folder.journal / name: text for name, text in render_files(connection, detail, base, lambda stage: None)}
    wanted[folder.accounts] = render_accounts(connection, opened)
    broken: list[str] = []
    for file, text in wanted.items():
        found = file.read_text(encoding="utf-8") if file.is_file() else None
        if found != text:
            broken.append(_difference(file.relative_to(folder.root), text, found))
    broken += [
        f"{file.relative_to(folder.root)} belongs to no month of the books"
        for file in sorted(folder.journal.glob("*.beancount"))
        if file not in wanted
    ]
    found_check = _told("the journal is what the exports say", broken, f"{len(wanted)} files", str)
    if found_check.passed:
        return found_check
    return Check(found_check.check, False, found_check.detail + " (write it again with: ledger-tools check --rewrite)")


def _difference(name: Path, wanted: str, found: str | None) -> str:
    if found is None:
        return f"{name} is missing"
    for number, (want, have) in enumerate(zip(wanted.splitlines(), found.splitlines(), strict=False), start=1):
        if want != have:
            return f"{name}, line {number}: found {have.strip()!r}, expected {want.strip()!r}"
    return f"{name} has {len(found.splitlines())} lines, expected {len(wanted.splitlines())}"


def check_order_of_imports(connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress) -> Check:
    """Identity 8: reading the exports in the opposite order, the first one twice, gives the same journal."""
    scratch = folder.cache / "check"
    shutil.rmtree(scratch, ignore_errors=True)
    (scratch / "scratch").mkdir(parents=True)
    inputs = read_inputs(folder)
    exports = archived_exports(folder)
    turned = [*reversed(exports), *exports[:1]]
    other, _ = build_database(scratch / "turned.duckdb", scratch / "scratch", inputs, turned, progress)
    base = read_fact(connection, "currency") or ""
    broken = []
    with other:
        for month in sorted({*list_months(connection), *list_months(other)}):
            if render_month(connection, month, "order", base) != render_month(other, month, "order", base):
                broken.append(month)
    shutil.rmtree(scratch, ignore_errors=True)
    return _told(
        "the order of imports does not matter", broken, f"{len(exports)} exports read backwards", lambda month: f"journal of {month} differs"
    )


def check_with_beancount(connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress) -> Iterator[Check]:
    """beancount's verdict, and the reports against beanquery on the journal as it lies on disk."""
    import beanquery

    progress("beancount reads the journal")
    entries, errors, options = load_ledger(str(folder.main))
    yield _told(
        "beancount accepts the books",
        errors,
        f"{len(entries)} directives, no error",
        lambda error: f"{Path(error.source.get('filename', '')).name}:{error.source.get('lineno', 0)}: {error.message}",
    )
    ledger = beanquery.connect("beancount:", entries=entries, errors=[], options=options)
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
    broken = [(key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)]
    return _told(
        "trial balance is beanquery's",
        broken,
        f"{len(keys)} balances",
        lambda row: f"{row[0][0]}: report {format_amount(row[1], row[0][1])}, beanquery {format_amount(row[2], row[0][1])} {row[0][1]}",
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
                found[name or ""] = found.get(name or "", 0) + int(round(position.units.number.scaleb(minor_digits(base))))
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
    broken = [(key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)]
    return _told(
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
    broken = [(key, by_report.get(key, 0), by_query.get(key, 0)) for key in keys if by_report.get(key) != by_query.get(key)]
    return _told(
        "profit of each order is beanquery's",
        broken,
        f"{len(keys)} orders",
        lambda row: f"{row[0]}: report {format_amount(-row[1], base)}, beanquery {format_amount(-row[2], base)}",
    )


def run_checks(connection: duckdb.DuckDBPyConnection, folder: BooksFolder, progress: Progress) -> list[Check]:
    """Every check, in the order of the identities."""
    found = [
        check_entries_balance(connection),
        check_clearing(connection),
        check_in_transit(connection),
        check_balances(connection),
        check_sales_tax(connection),
        check_decisions(connection),
    ]
    progress("day summary")
    found.append(check_detail(connection))
    found.append(check_journal_files(connection, folder))
    found.append(check_order_of_imports(connection, folder, progress))
    found.extend(check_with_beancount(connection, folder, progress))
    return found
