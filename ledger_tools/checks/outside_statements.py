"""Cash flow and cash basis worked out again from the journal, entry by entry, out of what beanquery reads of it.

Nothing of the reports' SQL is used: plain loops over entries, as a person with the journal alone would do it. Only the
accounts' roles and order are the books' own. In day detail several events share an entry, so this is for order detail.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period, month_end
from ledger_tools.money import allocate, minor_digits
from ledger_tools.reports.cash_basis import MONTH_END_ROLES
from ledger_tools.reports.cash_flow_lines import CASH_NAMES, CASH_ROLES
from ledger_tools.reports.statements import report_cash_flow, report_income

Figures = dict[str, int]


@dataclass
class JournalEntry:
    """One entry of the journal.

    Attributes:
        lines: what each account got, base currency, debit positive.
        debits: the debits in it alone, where an account has both sides.
    """

    day: datetime.date
    is_sale: bool
    link: str | None
    lines: Figures = field(default_factory=dict)
    debits: Figures = field(default_factory=dict)


def read_entries(ledger: Any, base: str) -> list[JournalEntry]:
    """Every entry that has a worth in the base currency, out of beanquery's postings."""
    rows = ledger.execute(
        "SELECT id, date, narration, entry_meta('event'), findfirst('^order-', links), account, weight"
    ).fetchall()
    entries: dict[str, JournalEntry] = {}
    for entry_id, day, narration, event, link, account, weight in rows:
        entry = entries.setdefault(entry_id, JournalEntry(day, bool(event) and narration == "Sale", link))
        if weight.currency == base:
            amount = int(round(weight.number.scaleb(minor_digits(base))))
            entry.lines[account] = entry.lines.get(account, 0) + amount
            entry.debits[account] = entry.debits.get(account, 0) + max(amount, 0)
    return list(entries.values())


@dataclass(frozen=True)
class _Accounts:
    """Role of each account; the dictionary's order is the chart's."""

    roles: dict[str, str]

    def is_cash(self, name: str) -> bool:
        named = any(name == top or name.startswith(f"{top}:") for top in CASH_NAMES)
        return named or self.roles.get(name) in CASH_ROLES


def _is_inside(day: datetime.date, period: Period) -> bool:
    return (period.first is None or day >= period.first) and (period.last is None or day <= period.last)


def cash_flows(entries: list[JournalEntry], roles: dict[str, str], period: Period) -> Figures:
    """Money received (positive) or paid against each account that is no cash."""
    accounts = _Accounts(roles)
    found: Figures = {}
    for entry in entries:
        change = sum(amount for name, amount in entry.lines.items() if accounts.is_cash(name))
        if not change or not _is_inside(entry.day, period):
            continue
        sign = 1 if change > 0 else -1
        others = [name for name in roles if sign * entry.lines.get(name, 0) < 0 and not accounts.is_cash(name)]
        shares = allocate(abs(change), [abs(entry.lines[name]) for name in others])
        for name, share in zip(others, shares, strict=True):
            found[name] = found.get(name, 0) + sign * share
    return found


def _is_left_out(entry: JournalEntry, roles: dict[str, str]) -> bool:
    """A month-end entry, or an unpaid order that is taken off the books against income or expenses."""
    used = {roles.get(name, "") for name in entry.lines}
    if used & set(MONTH_END_ROLES):
        return True
    cleared = sum(amount for name, amount in entry.lines.items() if roles.get(name) == "clearing")
    return (
        not entry.is_sale
        and cleared < 0
        and all(roles.get(name) == "clearing" or name.startswith(("Income:", "Expenses:")) for name in entry.lines)
    )


@dataclass
class _Sale:
    """One sale: what was owed for it, its parts (credit positive, in the chart's order), and payments by day."""

    entry: JournalEntry
    whole: int
    parts: Figures
    paid: dict[datetime.date, int] = field(default_factory=dict)


def _sale_of(entry: JournalEntry, roles: dict[str, str]) -> _Sale:
    owed: Figures = {}
    for name, amount in entry.lines.items():
        if roles.get(name) == "clearing":
            owed[name] = amount
        elif roles.get(name) == "gift_cards":
            owed[name] = entry.debits[name]  # a card that pays; one that is sold is a part
    parts = {name: owed.get(name, 0) - entry.lines[name] for name in roles if name in entry.lines}
    parts = {name: part for name, part in parts.items() if part}
    cards = sum(amount for name, amount in owed.items() if roles.get(name) == "gift_cards")
    return _Sale(entry, sum(owed.values()), parts, {entry.day: cards})


def _received(sale: _Sale) -> Iterator[tuple[datetime.date, str, int]]:
    """Day, account and amount (credit positive) of each part of a sale as it was paid."""
    if sale.whole <= 0:
        yield from ((sale.entry.day, name, part) for name, part in sale.parts.items())
        return
    paid = 0
    before = dict.fromkeys(sale.parts, 0)
    for day in sorted(sale.paid):
        paid += sale.paid[day]
        known = max(0, min(sale.whole, paid))
        shares = {name: known * part // sale.whole for name, part in sale.parts.items()}
        most = sorted(sale.parts, key=lambda name: -(known * sale.parts[name] % sale.whole))
        for name in most[: known - sum(shares.values())]:
            shares[name] += 1
        yield from ((day, name, shares[name] - before[name]) for name in sale.parts)
        before = shares


def cash_basis(entries: list[JournalEntry], roles: dict[str, str], period: Period) -> Figures:
    """Balance of each income and expense account on the cash basis, debit positive."""
    found: Figures = {}
    sales: dict[str, _Sale] = {}
    for entry in entries:
        if entry.is_sale and entry.link:
            sales[entry.link] = _sale_of(entry, roles)
    for entry in entries:
        if entry.is_sale or _is_left_out(entry, roles):
            continue
        for name, amount in entry.lines.items():
            if roles.get(name) == "clearing" and entry.link in sales:
                sale = sales[entry.link]
                sale.paid[entry.day] = sale.paid.get(entry.day, 0) - amount
            if _is_inside(entry.day, period):
                found[name] = found.get(name, 0) + amount
    for sale in sales.values():
        for day, name, amount in _received(sale):
            if _is_inside(day, period):
                found[name] = found.get(name, 0) - amount
    return {name: amount for name, amount in found.items() if name.startswith(("Income:", "Expenses:"))}


def compare_statements(
    connection: duckdb.DuckDBPyConnection, ledger: Any, base: str, last_day: datetime.date | None
) -> Iterator[tuple[str, Figures, Figures]]:
    """Name of each check with the reports' figures and the journal's, of all time and of the last month."""
    entries = read_entries(ledger, base)
    roles = dict(connection.execute("SELECT name, role FROM account ORDER BY account_no").fetchall())
    periods = [("", ALL_TIME)]
    if last_day is not None:
        periods.append((" of the last month", Period(last_day.replace(day=1), month_end(last_day))))
    flows: list[Figures] = [{}, {}]
    bases: list[Figures] = [{}, {}]
    for words, period in periods:
        report = report_cash_flow(connection, period)
        flows[0] |= {name + words: amount for row in report.rows for name, amount in row.accounts}
        flows[1] |= {name + words: amount for name, amount in cash_flows(entries, roles, period).items()}
        statement = report_income(connection, period, None, "cash")
        bases[0] |= {row.account + words: row.balance for row in statement.rows}
        bases[1] |= {name + words: amount for name, amount in cash_basis(entries, roles, period).items()}
    yield "cash flow is the journal's, entry by entry", flows[0], flows[1]
    yield "cash basis is the journal's, entry by entry", bases[0], bases[1]
