"""Where the shop's money is, and what of it is really the owner's: the balance sheet's rows by where they lie.

Amounts are minor units of the base currency. What others own of the money, the tax that was collected for them, is
taken off. What customers still owe, and what suppliers will charge, is no money and not in it.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.money import format_amount
from ledger_tools.reports.statements import report_balance_sheet


@dataclass(frozen=True)
class Place:
    """One place where money lies.

    Attributes:
        name: its name in every output.
        means: what it says, in words.
        roles: roles of the accounts that make it up.
        held_for_others: whether it is taken off instead of added.
    """

    name: str
    means: str
    roles: tuple[str, ...]
    held_for_others: bool = False


PLACES: tuple[Place, ...] = (
    Place("processors", "at the payment processors", ("processor", "reserve")),
    Place("under_way", "under way to and from the bank", ("payouts_in_transit", "top_ups_in_transit")),
    Place("wallet", "in the fulfilment wallet", ("wallet",)),
    Place("bank", "in the bank", ("bank",)),
    Place("tax", "tax held for others", ("sales_tax", "marketplace_tax"), held_for_others=True),
)


@dataclass(frozen=True)
class CashLine:
    """The money at one place; `accounts` are its rows of the balance sheet. What is held for others is positive, too."""

    place: Place
    amount: int
    accounts: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class CashPosition:
    """Where the money is at the end of a day."""

    as_of: datetime.date | None
    currency: str
    lines: tuple[CashLine, ...]

    @property
    def owners(self) -> int:
        """What is left once the money of others is taken off."""
        return sum(-line.amount if line.place.held_for_others else line.amount for line in self.lines)

    def as_json(self) -> dict[str, Any]:
        """The amounts by place, and what is the owner's."""
        amounts = {line.place.name: format_amount(line.amount, self.currency) for line in self.lines}
        return {**amounts, "owners": format_amount(self.owners, self.currency)}


def report_cash(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> CashPosition:
    """Where the money is at the end of a day (else as far as the books go)."""
    roles = dict(connection.execute("SELECT name, role FROM account").fetchall())
    sheet = report_balance_sheet(connection, as_of)
    rows = [(row.account, row.amount) for row in (*sheet.assets, *sheet.liabilities)]
    lines = []
    for place in PLACES:
        accounts = tuple((name, amount) for name, amount in rows if roles.get(name) in place.roles)
        lines.append(CashLine(place, sum(amount for _, amount in accounts), accounts))
    return CashPosition(as_of, sheet.currency, tuple(lines))
