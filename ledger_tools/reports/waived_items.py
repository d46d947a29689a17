"""Open items that a person decided about: what was decided, why and by whom."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.addresses import without_addresses


@dataclass(frozen=True)
class WaivedItem:
    """One decision; `amount` is in minor units of `currency`, debit positive, where a balance was moved.

    Attributes:
        belongs_to: the record that the item was matched with, or the account that its balance was moved to.
    """

    item: str
    kind: str
    date: datetime.date
    action: str
    reason: str
    decided_by: str
    order_id: str | None
    event_id: str | None
    source: str | None
    belongs_to: str | None
    amount: int | None
    currency: str | None


def list_waived_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> tuple[WaivedItem, ...]:
    """Decisions about items dated up to a day, by date, kind and id."""
    rows = connection.execute(
        """SELECT item, kind, item_date, action, reason, decided_by, order_id, event_id, source,
                  coalesce(account, nullif(concat_ws(' ', nullif(match_source, ''), match_id), '')), amount, currency
           FROM decision WHERE $as_of IS NULL OR item_date <= $as_of ORDER BY item_date, kind, item""",
        {"as_of": as_of},
    ).fetchall()
    return tuple(
        WaivedItem(item, kind, day, action, without_addresses(reason), *rest)
        for item, kind, day, action, reason, *rest in rows
    )
