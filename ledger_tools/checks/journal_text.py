"""The journal's text: the same sums in either detail, the same bytes on disk and in any order of imports."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from typing import Any

import duckdb

from ledger_tools.archive import archived_exports
from ledger_tools.build import build_database, read_inputs
from ledger_tools.checks.outcome import Check, Progress, told
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import list_months, render_accounts, render_files, render_month
from ledger_tools.open_items import list_all_items
from ledger_tools.store import read_fact

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
        broken += [
            (key, by_order.get(key, 0), by_day.get(key, 0))
            for key in sorted(by_order.keys() | by_day.keys())
            if by_order.get(key) != by_day.get(key)
        ]
    return told(
        "order detail and day summary agree",
        broken,
        f"{len(months)} months",
        lambda row: f"{row[0]}: by order {row[1]}, by day {row[2]}",
    )


def check_journal_files(connection: duckdb.DuckDBPyConnection, folder: BooksFolder) -> Check:
    """The journal on disk is, byte for byte, what the exports say."""
    base = read_fact(connection, "currency") or ""
    detail = read_fact(connection, "detail") or "order"
    inputs = read_inputs(folder)
    frozen = {month.month: month.journal for month in inputs.closed}
    texts = render_files(connection, detail, base, lambda stage: None, frozen)
    wanted = {folder.journal / name: text for name, text in texts}
    wanted[folder.accounts] = render_accounts(connection, inputs.hand.opened)
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
    found_check = told("the journal is what the exports say", broken, f"{len(wanted)} files", str)
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
    """Identity 8: the exports in the opposite order, the first one twice, give the same journal, balances and open items."""
    scratch = folder.cache / "check"
    shutil.rmtree(scratch, ignore_errors=True)
    (scratch / "scratch").mkdir(parents=True)
    inputs = read_inputs(folder)
    exports = archived_exports(folder)
    turned = [*reversed(exports), *exports[:1]]
    other, _ = build_database(scratch / "scratch", inputs, turned, progress)
    base = read_fact(connection, "currency") or ""
    with other:
        broken = [
            f"the journal of {month} differs"
            for month in sorted({*list_months(connection), *list_months(other)})
            if render_month(connection, month, "order", base) != render_month(other, month, "order", base)
        ]
        here, there = set(_stated_balances(connection)), set(_stated_balances(other))
        broken += [f"the balance stated by {source} on {day} differs" for source, day, *_ in sorted(here ^ there)]
        found, again = ({item.id: item for item in list_all_items(each, None)} for each in (connection, other))
        broken += [
            f"the open item {item} differs" for item in sorted({*found, *again}) if found.get(item) != again.get(item)
        ]
    shutil.rmtree(scratch, ignore_errors=True)
    return told(
        "the order of imports does not matter",
        broken,
        f"{len(exports)} exports read backwards",
        str,
    )


def _stated_balances(connection: duckdb.DuckDBPyConnection) -> list[tuple[str, str, str, int, str]]:
    """Each stated balance that counts: source, day, currency, amount in minor units, who states it."""
    return connection.execute(
        """SELECT source.name, stated_on::VARCHAR, stated.currency, amount, stated_by
           FROM stated_balance AS stated JOIN source USING (source_no)"""
    ).fetchall()
