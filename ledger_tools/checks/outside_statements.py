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
from ledger_tools.reports.cash_flow_lines import CASH_NAMES, CASH_ROLES, OPENING_TITLE
from ledger_tools.reports.statements import report_cash_flow, report_income

Figures = dict[str, int]

#: What the journal names as the source of the close's own entries.
MONTH_END_SOURCE = "month-end"


@dataclass
class JournalEntry:
    """One entry of the journal.

    Attributes:
        lines: what each account got, base currency, debit positive.
        debits: the debits in it alone, where an account has both sides.
    """

    day: datetime.date
    title: str
    source: str
    link: str | None
    lines: Figures = field(default_factory=dict)
    debits: Figures = field(default_factory=dict)

    @property
    def is_sale(self) -> bool:
        """Whether it is a sale, or the later version of one."""
        return bool(self.source) and self.title in _SALE_TITLES


_SALE_TITLES = ("Sale", "Prior period: Sale")


def read_entries(ledger: Any, base: str) -> list[JournalEntry]:
    """Every entry that has a worth in the base currency, out of beanquery's postings."""
    rows = ledger.execute(
        "SELECT id, date, narration, entry_meta('source'), findfirst('^order-', links), account, weight"
    ).fetchall()
    entries: dict[str, JournalEntry] = {}
    for entry_id, day, narration, source, link, account, weight in rows:
        entry = entries.setdefault(entry_id, JournalEntry(day, narration or "", source or "", link))
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
    opening = next(name for name, role in roles.items() if role == "opening_balances")
    for entry in entries:
        change = sum(amount for name, amount in entry.lines.items() if accounts.is_cash(name))
        if not change or not _is_inside(entry.day, period):
            continue
        sign = 1 if change > 0 else -1
        others = [name for name in roles if sign * entry.lines.get(name, 0) < 0 and not accounts.is_cash(name)]
        shares = allocate(abs(change), [abs(entry.lines[name]) for name in others])
        if not entry.source and entry.title.lower().startswith(OPENING_TITLE):
            others, shares = [opening], [abs(change)]
        for name, share in zip(others, shares, strict=True):
            found[name] = found.get(name, 0) + sign * share
    return found


def _is_left_out(entry: JournalEntry, roles: dict[str, str]) -> bool:
    """A month-end entry, or an unpaid order that is taken off the books against income or expenses."""

    def all_are(*wanted: str) -> bool:
        return all(roles.get(name) in wanted or name.startswith(("Income:", "Expenses:")) for name in entry.lines)

    used = {roles.get(name, "") for name in entry.lines}
    cleared = sum(amount for name, amount in entry.lines.items() if roles.get(name) == "clearing")
    is_written_off = not entry.is_sale and cleared < 0 and all_are("clearing")
    is_month_end = bool(used & set(MONTH_END_ROLES)) and all_are(*MONTH_END_ROLES)
    return entry.source == MONTH_END_SOURCE or is_month_end or is_written_off


@dataclass
class _Sale:
    """An order's sale: by day what was owed, its parts (credit positive), and payments; parts in the chart's order."""

    first_day: datetime.date
    owed: dict[datetime.date, int] = field(default_factory=dict)
    parts: dict[str, dict[datetime.date, int]] = field(default_factory=dict)
    cards: dict[datetime.date, int] = field(default_factory=dict)
    paid: dict[datetime.date, int] = field(default_factory=dict)

    def add(self, entry: JournalEntry, roles: dict[str, str]) -> None:
        """Add one version of the sale; a card that pays is owed, one that is sold is a part."""
        owed: Figures = {}
        for name, amount in entry.lines.items():
            if roles.get(name) == "clearing":
                owed[name] = amount
            elif roles.get(name) == "gift_cards":
                owed[name] = entry.debits[name]
                self.cards[entry.day] = self.cards.get(entry.day, 0) + entry.debits[name]
        self.owed[entry.day] = self.owed.get(entry.day, 0) + sum(owed.values())
        for name in roles:
            part = owed.get(name, 0) - entry.lines.get(name, 0)
            if part:
                days = self.parts.setdefault(name, {})
                days[entry.day] = days.get(entry.day, 0) + part


def _until(amounts: dict[datetime.date, int], day: datetime.date) -> int:
    return sum(amount for when, amount in amounts.items() if when <= day)


def _received(sale: _Sale, order: dict[str, int]) -> Iterator[tuple[datetime.date, str, int]]:
    """Day, account and amount (credit positive) of each part of a sale as it was paid."""
    start = min([sale.first_day, *sale.paid])
    names = sorted(sale.parts, key=order.__getitem__)
    before = dict.fromkeys(names, 0)
    for day in sorted({start, *sale.paid, *sale.cards, *sale.owed}):
        known = max(day, sale.first_day)  # the first version counts from its payment on
        whole = _until(sale.owed, known)
        parts = {name: _until(sale.parts[name], known) for name in names}
        if whole > 0:
            paid = max(0, min(whole, _until(sale.paid, day) + _until(sale.cards, day)))
            shares = {name: paid * part // whole for name, part in parts.items()}
            for name in sorted(names, key=lambda name: -(paid * parts[name] % whole))[: paid - sum(shares.values())]:
                shares[name] += 1
        else:
            shares = parts
        yield from ((day, name, shares[name] - before[name]) for name in names)
        before = shares


def cash_basis(entries: list[JournalEntry], roles: dict[str, str], period: Period) -> Figures:
    """Balance of each income and expense account on the cash basis, debit positive."""
    found: Figures = {}
    sales: dict[str, _Sale] = {}
    for entry in sorted(entries, key=lambda entry: entry.day):
        if entry.is_sale and entry.link:
            sales.setdefault(entry.link, _Sale(entry.day)).add(entry, roles)
    for entry in entries:
        if entry.is_sale or _is_left_out(entry, roles):
            continue
        for name, amount in entry.lines.items():
            if roles.get(name) == "clearing" and entry.link in sales:
                paid = sales[entry.link].paid
                paid[entry.day] = paid.get(entry.day, 0) - amount
            if _is_inside(entry.day, period):
                found[name] = found.get(name, 0) + amount
    order = {name: place for place, name in enumerate(roles)}
    for sale in sales.values():
        for day, name, amount in _received(sale, order):
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
