"""Stated balances against the books: what makes up each difference, both sides of each account, the control accounts.

The report of `reconcile`, of the packet, the web view and the month-end close. Amounts are minor units of the account's
currency, debit positive. A difference is stated less books. Which balance counts where several are stated for one day
is decided by `stated_balances`; a disagreement is listed.
"""

from __future__ import annotations

import datetime
import itertools
from dataclasses import dataclass

import duckdb

from ledger_tools.open_items import last_known_day
from ledger_tools.reports.controls import list_controls
from ledger_tools.reports.reconciliation_causes import explain_difference
from ledger_tools.reports.reconciliation_form import Disagreement, Explanation, Reconciled, Reconciliation, Sides
from ledger_tools.reports.reconciliation_sides import draw_sides
from ledger_tools.reports.reconciliation_steps import StatedDay
from ledger_tools.store import read_fact

#: Roles of the control accounts: nobody states their balance, they are made up of items.
CONTROL_ROLES = (
    "clearing",
    "payouts_in_transit",
    "top_ups_in_transit",
    "transfers_in_transit",
    "reserve",
    "disputed",
    "suspense",
)

#: Every balance that counts up to the day, with what the books have at the end of its day.
_STATED = """
    WITH daily AS (
        SELECT account_no, currency, posted_on, sum(amount) AS amount FROM posting
        WHERE account_no IN (SELECT account_no FROM account_use JOIN source
                             ON source.kind = account_use.role AND source.name = account_use.parameter)
        GROUP BY ALL
    ), running AS (
        SELECT account_no, currency, posted_on,
               sum(amount) OVER (PARTITION BY account_no, currency ORDER BY posted_on) AS balance FROM daily
    ), stated AS (
        SELECT used.account_no, source.source_no, stated.currency, stated_on, amount, stated_by
        FROM stated_balance AS stated JOIN source USING (source_no)
        JOIN account_use AS used ON used.role = source.kind AND used.parameter = source.name
        WHERE stated_on <= $as_of
    )
    SELECT stated.account_no, stated.source_no, stated.currency, stated_on, amount, stated_by,
           coalesce(running.balance, 0)::BIGINT
    FROM stated ASOF LEFT JOIN running ON running.account_no = stated.account_no AND running.currency = stated.currency
        AND stated.stated_on >= running.posted_on
    ORDER BY stated.account_no, stated.currency, stated_on
"""

_DISAGREEMENTS = """
    SELECT account.name, currency, stated_on, stated.amount, stated.stated_by, other.amount, other.stated_by
    FROM differing_balance AS other JOIN stated_balance AS stated USING (source_no, stated_on, currency)
    JOIN source USING (source_no)
    JOIN account_use AS used ON used.role = source.kind AND used.parameter = source.name
    JOIN account USING (account_no)
    WHERE stated_on <= $as_of ORDER BY account_no, currency, stated_on, other.amount
"""

_BOOKED = f"""
    SELECT account_no, posting.currency, sum(amount)::BIGINT
    FROM posting JOIN account USING (account_no)
    LEFT JOIN (SELECT DISTINCT account_no FROM account_use JOIN source
               ON source.kind = account_use.role AND source.name = account_use.parameter) AS held USING (account_no)
    WHERE posted_on <= $as_of AND (held.account_no IS NOT NULL OR account.role IN {CONTROL_ROLES!r})
    GROUP BY account_no, posting.currency ORDER BY account_no, posting.currency
"""

_ACCOUNTS = """
    SELECT account.account_no, account.name, account.role, source.source_no, source.name
    FROM account LEFT JOIN (account_use JOIN source ON source.kind = account_use.role AND source.name = account_use.parameter)
        USING (account_no)
"""


@dataclass(frozen=True)
class Held:
    """An account whose balance somebody else states: its role and the source that tells of it."""

    account_no: int
    name: str
    role: str
    source_no: int | None
    source: str | None


def report_reconciliation(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> Reconciliation:
    """Every stated balance (the latest of each account up to the day) and every control account, with the books'.

    Without a day: as of the last that any export, entry or stated balance speaks of.
    """
    currency = read_fact(connection, "currency") or ""
    as_of = as_of or last_known_day(connection)
    if as_of is None:
        return Reconciliation(None, currency)
    held = {row[0]: Held(*row) for row in connection.execute(_ACCOUNTS).fetchall()}
    rows: list[Reconciled] = []
    sides: list[Sides] = []
    stated = connection.execute(_STATED, {"as_of": as_of}).fetchall()
    for (account_no, source_no, code), group in itertools.groupby(stated, lambda row: row[:3]):
        account = held[account_no]
        days = [StatedDay(on, amount, stated_by, books) for *_, on, amount, stated_by, books in group]
        last = days[-1]
        parts: tuple[Explanation, ...] = ()
        if last.difference:
            parts = explain_difference(connection, account_no, source_no, code, days)
        both = draw_sides(connection, account_no, code, last, parts)
        sides.append(both)
        told = (last.on, last.stated_by, last.stated, last.books, parts, both.remaining)
        rows.append(Reconciled(account.name, account.source, code, *told))
    listed = {(row.account, row.currency) for row in rows}
    for account_no, code, balance in connection.execute(_BOOKED, {"as_of": as_of}).fetchall():
        account = held[account_no]
        if (account.name, code) not in listed:
            rows.append(Reconciled(account.name, account.source, code, None, None, None, balance))
    controls = list_controls(connection, CONTROL_ROLES, as_of)
    disagreements = tuple(Disagreement(*row) for row in connection.execute(_DISAGREEMENTS, {"as_of": as_of}).fetchall())
    return Reconciliation(as_of, currency, tuple(rows), tuple(sides), controls, disagreements)
