"""Everything that does not tie out: the kinds of open item as values, and the list for a day.

Each kind is a row of `KINDS`: what it means, the SQL that finds it, and what settles it. Finders see records up to
`as_of` only. Amounts are minor units of the item's currency, positive where money is missing from the books' view
(owed to the shop, paid and not explained). An id is made from kind, source and key, so it is the same from run to run.
"""

from __future__ import annotations

import datetime
import hashlib
import re
from dataclasses import dataclass

import duckdb

from ledger_tools.open_item_finders import FINDERS
from ledger_tools.store import read_fact
from ledger_tools.versions import find_gaps


@dataclass(frozen=True)
class Kind:
    """One kind of open item.

    Attributes:
        name: its name in every output.
        means: what it says, in words.
        settled_by: what makes it leave the list.
    """

    name: str
    means: str
    settled_by: str


KINDS: tuple[Kind, ...] = (
    Kind("order-without-payment", "an order whose payment no processor export shows",
         "the processor's export of these days, or an entry in hand.beancount with the order's link"),
    Kind("payment-without-order", "a payment or refund whose order no shop export shows",
         "the shop's export that holds the order, or a reference_pattern that reads the processor's reference"),
    Kind("payment-differs", "an order whose payments are more or less than its total",
         "the missing payment or refund, or an entry in hand.beancount with the order's link"),
    Kind("order-without-fulfilment", "an order that the fulfilment partner never charged",
         "the wallet's export of these days; else ask the partner whether it was made"),
    Kind("fulfilment-without-order", "a fulfilment charge whose order no shop export shows",
         "the shop's export that holds the order; else ask the partner what was made"),
    Kind("charged-twice", "an order that was charged for more pieces than were sold, or twice the same",
         "a credit from the partner"),
    Kind("charged-though-cancelled", "an order cancelled or fully refunded before it shipped, charged and not credited",
         "a credit from the partner"),
    Kind("payout-not-in-bank", "a payout that has not reached the bank in the usual time",
         "the bank's statement of these days; else ask the processor"),
    Kind("deposit-without-payout", "a deposit like those of a processor that no payout explains",
         "the processor's export that holds the payout"),
    Kind("top-up-without-bank-line", "a wallet top-up or withdrawal that no bank line pays",
         "the bank's statement of these days, or an entry in hand.beancount if it was paid another way"),
    Kind("balance-differs", "a stated balance that the books do not have",
         "the exports that are missing, or an opening balance in hand.beancount"),
    Kind("order-does-not-add-up", "an order whose total is not the sum of its parts",
         "a corrected export, or an entry in hand.beancount with the order's link that clears Suspense"),
    Kind("event-does-not-add-up", "an event whose amounts contradict each other, or that refers to nothing known",
         "a corrected export, or the event that is missing"),
    Kind("tax-rate-unusual", "an order whose tax differs from the usual rate of its jurisdiction",
         "a look at the order: exempt customer, wrong address, wrong rate; ask a tax adviser where it matters"),
    Kind("cost-above-rate-card", "a production or shipping charge above the rate card", "a credit from the partner"),
    Kind("amended", "a record that a later export changed", "a look at the change; the later export counts"),
    Kind("vanished", "a record that a later export of the same days no longer holds",
         "a look at why; it stays in the books until a person decides"),
    Kind("coverage-gap", "days between two exports of a source that no export covers", "an export of these days"),
    Kind("bank-line-without-rule", "a bank line, adjustment or wallet charge that nothing explains",
         "a [[bank_rule]] (bank lines, adjustments) or a line under [reasons] (wallet) in shop.toml"),
    Kind("late-for-closed-month", "a record that came after its month was closed", "a look at the prior-period entry"),
)  # fmt: skip

KIND_ORDER = {kind.name: place for place, kind in enumerate(KINDS)}
_SETTLED_BY = {kind.name: kind.settled_by for kind in KINDS}


@dataclass(frozen=True)
class OpenItem:
    """One thing that does not tie out; `amount` is in minor units of `currency`."""

    id: str
    kind: str
    date: datetime.date
    age_days: int
    amount: int | None
    currency: str | None
    order_id: str | None
    event_id: str | None
    source: str | None
    cause: str
    next_step: str


def item_id(kind: str, source: str | None, key: str) -> str:
    """The id of an open item: the same for the same thing in every run."""
    return hashlib.sha256(f"{kind}\n{source or ''}\n{key}".encode()).hexdigest()[:8]


def last_known_day(connection: duckdb.DuckDBPyConnection) -> datetime.date | None:
    """The last day that any export or hand entry speaks of: what "as of now" means for books."""
    row = connection.execute(
        "SELECT greatest((SELECT max(last_day) FROM export), (SELECT max(posted_on) FROM event))"
    ).fetchone()
    return row[0] if row and row[0] else None


def list_open_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[OpenItem]:
    """Open items as of a day (else the last known day) that no decision has settled, by kind, then date, then id."""
    settled = {
        str(row[0])
        for row in connection.execute("SELECT item FROM decision WHERE action IN ('account', 'accept')").fetchall()
    }
    return [item for item in list_all_items(connection, as_of) if item.id not in settled]


def list_all_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[OpenItem]:
    """Open items as of a day, those included that a decision moved to an account or accepted."""
    as_of = as_of or last_known_day(connection)
    if as_of is None:
        return []
    grace = {
        name: int(read_fact(connection, f"grace.{name}") or 0) for name in ("payment", "fulfilment", "payout", "top_up")
    }
    items: list[OpenItem] = []
    for finder in FINDERS:
        values = {"as_of": as_of, **grace}
        used = {name: value for name, value in values.items() if re.search(rf"\${name}\b", finder)}
        for kind, day, amount, currency, order_id, event_id, source, key, cause in connection.execute(
            finder, used
        ).fetchall():
            item = item_id(kind, source, key)
            items.append(
                OpenItem(
                    item, kind, day, (as_of - day).days, None if amount is None else int(amount),
                    currency, order_id, event_id, source, _without_persons(cause), _next_step(kind, item),
                )
            )  # fmt: skip
    items += _gap_items(connection, as_of)
    return sorted(items, key=lambda item: (KIND_ORDER[item.kind], item.date, item.id))


def _without_persons(text: str) -> str:
    """A cause without e-mail addresses and markup that an export may have brought."""
    return re.sub(r"[<>]", "", re.sub(r"[^\s\"]+@[^\s\"]+", "(e-mail)", text))


def _next_step(kind: str, item: str) -> str:
    """What settles an item, and the command that takes it off the list if nothing else does."""
    return f'{_SETTLED_BY[kind]}; or take it as it is: ledger-tools settle {item} --accept --reason "…"'


def _gap_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date) -> list[OpenItem]:
    names = dict(connection.execute("SELECT source_no, name FROM source").fetchall())
    items = []
    for source_no, first, last in find_gaps(connection):
        day = datetime.date.fromisoformat(first)
        if day <= as_of:
            source = str(names[source_no])
            cause = f"no export covers {first}" if first == last else f"no export covers {first} to {last}"
            items.append(
                OpenItem(
                    item_id("coverage-gap", source, first), "coverage-gap", day, (as_of - day).days, None, None, None, None,
                    source, cause, _next_step("coverage-gap", item_id("coverage-gap", source, first)),
                )
            )  # fmt: skip
    return items
