"""The register of one account: what it held, every posting with the running balance, what it holds.

Amounts are minor units of their own currency, debit positive; each currency has its own balance. Postings stand by day,
then as in the journal: kind of event, source, event id.
"""

from __future__ import annotations

import datetime
import difflib
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.addresses import without_addresses
from ledger_tools.calendar import Period
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount
from ledger_tools.reports.order_story import HAND_SOURCE, RULE_ORDER, event_title
from ledger_tools.reports.valued import base_currency
from ledger_tools.store import within_period

#: Names that are listed where a part of a name fits several, or none.
_NAMES_SHOWN = 8


@dataclass(frozen=True)
class RegisterRow:
    """One posting; `balance` is what the account holds of its currency after it."""

    day: datetime.date
    title: str
    memo: str | None
    source: str
    event_id: str
    order_id: str | None
    amount: int
    currency: str
    balance: int


@dataclass(frozen=True)
class CurrencyBalance:
    """What the account held of a currency before the period and at its end."""

    currency: str
    opening: int
    closing: int


@dataclass(frozen=True)
class Register:
    """One account over a period."""

    account: str
    period: Period
    currency: str
    balances: tuple[CurrencyBalance, ...]
    rows: tuple[RegisterRow, ...]

    def as_json(self) -> dict[str, Any]:
        """The register as it is printed for programs."""
        return {
            "account": self.account,
            "period": self.period.as_json(),
            "currency": self.currency,
            "balances": [
                {
                    "currency": held.currency,
                    "opening": format_amount(held.opening, held.currency),
                    "closing": format_amount(held.closing, held.currency),
                }
                for held in self.balances
            ],
            "postings": [
                {
                    "date": row.day.isoformat(),
                    "title": row.title,
                    "memo": row.memo,
                    "source": row.source,
                    "event_id": row.event_id,
                    "order_id": row.order_id,
                    "amount": format_amount(row.amount, row.currency),
                    "currency": row.currency,
                    "balance": format_amount(row.balance, row.currency),
                }
                for row in self.rows
            ],
        }


def find_account(connection: duckdb.DuckDBPyConnection, text: str) -> str:
    """Name of the account that a text names: the whole name or a part that no other account has, case ignored.

    Raises:
        LedgerError: no account is called so, or several are.
    """
    rows = connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()
    names = [str(name) for (name,) in rows]
    wanted = text.strip().lower()
    exact = [name for name in names if name.lower() == wanted]
    ending = [name for name in names if name.lower().endswith(f":{wanted}")]
    within = [name for name in names if wanted and wanted in name.lower()]
    for found in (exact, ending, within):
        if len(found) == 1:
            return found[0]
    if within:
        more = len(within) - _NAMES_SHOWN
        told = ", ".join(within[:_NAMES_SHOWN]) + (f" and {more} more" if more > 0 else "")
        raise LedgerError(Problem(f"account {text!r}", f"fits several accounts: {told}", "name more of it"))
    by_part = {name.lower(): name for name in names}
    by_part |= {name.rpartition(":")[2].lower(): name for name in names}
    close = difflib.get_close_matches(wanted, by_part, n=3, cutoff=0.3)
    nearest = ", ".join(dict.fromkeys(by_part[part] for part in close))
    next_step = f"the nearest are {nearest}" if nearest else "ledger-tools trial-balance lists those with a balance"
    raise LedgerError(Problem(f"account {text!r}", "is not in the chart of accounts", next_step))


_ROWS = f"""
    SELECT posting.posted_on, event.rule, event.memo, source.name, event.event_id, head.order_id, posting.amount,
           posting.currency
    FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
    LEFT JOIN source ON source.source_no = event.source_no
    LEFT JOIN order_head AS head ON head.order_no = posting.order_no
    WHERE account.name = $account AND {within_period("posting.posted_on")}
    ORDER BY posting.posted_on, {RULE_ORDER}, source.name, event.event_id, event.event_no, leg, posting.amount
"""


def report_register(connection: duckdb.DuckDBPyConnection, account: str, period: Period) -> Register:
    """The register of an account of that exact name."""
    opening = dict(
        connection.execute(
            """SELECT currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
               WHERE account.name = $account AND posted_on < $first GROUP BY currency""",
            {"account": account, "first": period.first},
        ).fetchall()
    )
    running: dict[str, int] = {str(currency): int(amount) for currency, amount in opening.items()}
    rows = []
    values = {"account": account, "first": period.first, "last": period.last}
    for day, rule, memo, source, event_id, order_id, amount, currency in connection.execute(_ROWS, values).fetchall():
        running[currency] = running.get(currency, 0) + amount
        about = (day, event_title(rule), without_addresses(memo), source or HAND_SOURCE, event_id, order_id)
        rows.append(RegisterRow(*about, amount, currency, running[currency]))
    balances = tuple(
        CurrencyBalance(currency, int(opening.get(currency, 0)), running[currency]) for currency in sorted(running)
    )
    return Register(account, period, base_currency(connection), balances, tuple(rows))
