"""What the books cover, source by source, and what to do next."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ledger_tools.coverage import list_coverage
from ledger_tools.open_items import list_open_items


@dataclass(frozen=True)
class SourceStatus:
    """What is covered of one source; days as ISO 8601 text."""

    source: str
    kind: str
    covered: tuple[tuple[str, str], ...]
    last_event: str | None


@dataclass(frozen=True)
class Status:
    """Where the books stand."""

    sources: tuple[SourceStatus, ...]
    open_items: int
    next_step: str
    hints: tuple[str, ...] = ()
    closed_through: str | None = None


def read_status(connection: duckdb.DuckDBPyConnection, open_items: int | None = None) -> Status:
    """Coverage by source, number of open items (counted here where it isn't known), and the next step."""
    spans = list_coverage(connection)
    last_events = dict(
        connection.execute(
            "SELECT source.name, max(posted_on)::VARCHAR FROM event JOIN source USING (source_no) GROUP BY 1"
        ).fetchall()
    )
    sources = tuple(
        SourceStatus(name, kind, tuple(spans.get(name, [])), last_events.get(name))
        for name, kind in connection.execute(
            "SELECT name, kind FROM source WHERE source_no > 0 ORDER BY source_no"
        ).fetchall()
    )
    items = len(list_open_items(connection, None)) if open_items is None else open_items
    row = connection.execute("SELECT max(month) FROM closed_month").fetchone()
    closed_through = str(row[0]) if row and row[0] else None
    return Status(sources, items, _next_step(sources, items), _hints(connection), closed_through)


def _hints(connection: duckdb.DuckDBPyConnection) -> tuple[str, ...]:
    """What may be wrong though it ties out: categories that sound like gift cards and are posted as sales."""
    rows = connection.execute(
        """SELECT parameter FROM account_use WHERE role = 'sales' AND regexp_matches(parameter, 'gift|voucher', 'i')
           ORDER BY parameter"""
    ).fetchall()
    return tuple(
        f'Category "{name}" counts as sales. If these are gift cards, add it to gift_card_categories in shop.toml: '
        "a gift card sold is owed, not earned."
        for (name,) in rows
    )


def _next_step(sources: tuple[SourceStatus, ...], items: int) -> str:
    if not sources:
        return "declare where exports come from: [[source]] in shop.toml"
    empty = [source.source for source in sources if not source.covered]
    if len(empty) == len(sources):
        return f"bring in an export: ledger-tools import FILE --source {empty[0]}"
    if empty:
        return f"nothing of {', '.join(empty)} is there yet: ledger-tools import FILE --source {empty[0]}"
    if items:
        return "look through what does not tie out: ledger-tools open-items"
    return "everything ties out: ledger-tools orders shows what each order earned"
