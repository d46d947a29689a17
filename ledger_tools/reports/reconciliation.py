"""Stated balances against the books, and what explains a difference; for a bank, both sides of the reconciliation.

Amounts are minor units of the account's currency, debit positive. `difference` is stated less books. Two-sided form
(common practice): the statement's balance with what is under way to and from the bank, against the books' balance of the
bank with the in-transit accounts; both must give one adjusted balance.
"""

from __future__ import annotations

import datetime
import itertools
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.money import format_amount
from ledger_tools.store import read_fact

#: A difference is looked for in this many days before the stated day, and in so many events at once.
_DAYS_BACK, _EVENTS_AT_ONCE = 45, 2

_CONTROLS = ("clearing", "payouts_in_transit", "top_ups_in_transit", "reserve", "disputed", "suspense")


@dataclass(frozen=True)
class Reconciled:
    """One account and currency.

    Attributes:
        stated_on: the day of the stated balance, None where none is stated.
        explained_by: ids of events that make up the difference exactly, empty where there is none or nothing does.
    """

    account: str
    source: str | None
    currency: str
    stated_on: datetime.date | None
    stated: int | None
    books: int
    explained_by: tuple[str, ...]

    @property
    def difference(self) -> int | None:
        """Stated less books; None where nothing is stated."""
        return None if self.stated is None else self.stated - self.books

    @property
    def is_unexplained(self) -> bool:
        """Whether a difference stands that no event explains."""
        return bool(self.difference) and not self.explained_by


@dataclass(frozen=True)
class BankSides:
    """The two sides of one bank account's reconciliation; movements as (day, source and id, amount into the bank)."""

    account: str
    currency: str
    on: datetime.date
    statement: int
    under_way: tuple[tuple[datetime.date, str, int], ...]
    books: int
    in_transit: int

    @property
    def adjusted_statement(self) -> int:
        """The statement's balance once everything under way has arrived."""
        return self.statement + sum(amount for _, _, amount in self.under_way)

    @property
    def adjusted_books(self) -> int:
        """The books' balance of the bank with what they hold in transit."""
        return self.books + self.in_transit


@dataclass(frozen=True)
class Reconciliation:
    """All balance-sheet controls as of a day."""

    as_of: datetime.date | None
    currency: str
    accounts: tuple[Reconciled, ...]
    banks: tuple[BankSides, ...]

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it."""

        def text(amount: int | None, currency: str) -> str | None:
            return None if amount is None else format_amount(amount, currency)

        return {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            "accounts": [
                {
                    "account": row.account,
                    "currency": row.currency,
                    "stated": text(row.stated, row.currency),
                    "books": text(row.books, row.currency),
                    "difference": text(row.difference, row.currency),
                    "explained_by": list(row.explained_by),
                }
                for row in self.accounts
            ],
        }


_STATED = """
    SELECT account.name, source.name, stated.currency, stated_on, amount, (
               SELECT coalesce(sum(posting.amount), 0)::BIGINT FROM posting
               WHERE posting.account_no = account.account_no AND posting.currency = stated.currency AND posted_on <= stated_on)
    FROM (
        SELECT source_no, currency, stated_on,
               arg_min(amount, CASE stated_by WHEN 'statement' THEN 1 WHEN 'running balance' THEN 2 ELSE 3 END) AS amount
        FROM stated_balance WHERE stated_on <= $as_of GROUP BY source_no, currency, stated_on
        QUALIFY row_number() OVER (PARTITION BY source_no, currency ORDER BY stated_on DESC) = 1
    ) AS stated JOIN source USING (source_no)
    JOIN account_use AS used ON used.role = source.kind AND used.parameter = source.name
    JOIN account ON account.account_no = used.account_no
    ORDER BY account.account_no, stated.currency
"""

_BOOKED = f"""
    SELECT account.name, source.name, posting.currency, sum(amount)::BIGINT
    FROM posting JOIN account USING (account_no)
    LEFT JOIN account_use AS used ON used.account_no = account.account_no AND used.role = account.role
    LEFT JOIN source ON source.kind = used.role AND source.name = used.parameter
    WHERE posted_on <= $as_of AND (source.name IS NOT NULL OR account.role IN {_CONTROLS!r})
    GROUP BY account.account_no, account.name, source.name, posting.currency ORDER BY account.account_no, posting.currency
"""

_UNDER_WAY = """
    SELECT moved_on, source.name || ' ' || movement.event_id, movement.amount
    FROM movement JOIN source USING (source_no)
    LEFT JOIN bank_row ON bank_row.movement_no = movement.movement_no AND bank_row."at"::DATE <= $on
    WHERE moved_on <= $on AND movement.currency = $currency AND bank_row.movement_no IS NULL ORDER BY 1, 2
"""


def report_reconciliation(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> Reconciliation:
    """Every stated balance (the latest of each account up to the day) and every control account, with the books'."""
    rows: list[Reconciled] = []
    banks: list[BankSides] = []
    stated: set[tuple[str, str]] = set()
    if as_of is not None:
        for account, source, currency, on, amount, books in connection.execute(_STATED, {"as_of": as_of}).fetchall():
            stated.add((account, currency))
            explained = _explain(connection, account, currency, on, amount - books) if amount != books else ()
            rows.append(Reconciled(account, source, currency, on, amount, books, explained))
            banks += _bank_sides(connection, account, source, currency, on, amount, books)
        for account, source, currency, books in connection.execute(_BOOKED, {"as_of": as_of}).fetchall():
            if (account, currency) not in stated:
                rows.append(Reconciled(account, source, currency, None, None, books, ()))
    return Reconciliation(as_of, read_fact(connection, "currency") or "", tuple(rows), tuple(banks))


def _explain(
    connection: duckdb.DuckDBPyConnection, account: str, currency: str, on: datetime.date, difference: int
) -> tuple[str, ...]:
    """The one event, or the one pair, that makes up a difference exactly; nothing where several do."""
    events = connection.execute(
        """SELECT event_id, sum(amount)::BIGINT FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
           WHERE account.name = ? AND currency = ? AND event.posted_on BETWEEN ?::DATE - ?::INTEGER AND ?::DATE + 10
           GROUP BY event.event_no, event_id HAVING abs(sum(amount)) <= abs(?) * 2 ORDER BY event_id LIMIT 2000""",
        [account, currency, on, _DAYS_BACK, on, difference],
    ).fetchall()
    for count in range(1, _EVENTS_AT_ONCE + 1):
        fitting = [
            tuple(str(event_id) for event_id, _ in group)
            for group in itertools.combinations(events, count)
            if abs(sum(amount for _, amount in group)) == abs(difference)
        ]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            return ()
    return ()


def _bank_sides(
    connection: duckdb.DuckDBPyConnection,
    account: str,
    source: str,
    currency: str,
    on: datetime.date,
    stated: int,
    books: int,
) -> list[BankSides]:
    """The two sides of a bank account; none for a source of another kind, or where there are several banks to tell apart."""
    kinds = dict(connection.execute("SELECT name, kind FROM source").fetchall())
    if kinds[source] != "bank" or sum(1 for kind in kinds.values() if kind == "bank") > 1:
        return []
    under_way = connection.execute(_UNDER_WAY, {"on": on, "currency": currency}).fetchall()
    transit = connection.execute(
        """SELECT coalesce(sum(amount), 0)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE role IN ('payouts_in_transit', 'top_ups_in_transit') AND currency = ? AND posted_on <= ?""",
        [currency, on],
    ).fetchone()
    assert transit is not None
    moves = tuple((day, name, int(amount)) for day, name, amount in under_way)
    return [BankSides(account, currency, on, stated, moves, books, int(transit[0]))]
