"""What an open item could belong to: the candidates that the matching kept, ranked, for a person to choose from."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.open_items import OpenItem


@dataclass(frozen=True)
class Candidate:
    """One record that an open item could belong to; `amount` is in minor units of `currency`.

    Attributes:
        match: what to name it by in a decision: SOURCE/EVENT, or an order's id; None where `why` says why none can be named.
        why: what speaks for it, in words.
    """

    match: str | None
    day: datetime.date | None
    amount: int | None
    currency: str | None
    why: str


def list_candidates(connection: duckdb.DuckDBPyConnection) -> dict[tuple[str, str], tuple[Candidate, ...]]:
    """Candidates by the open record, as (source, event or order id), the best first."""
    rows = connection.execute(
        """SELECT source.name, record_id, match_source, match_id, day, amount, candidate.currency, why
           FROM candidate JOIN source USING (source_no) ORDER BY source.name, record_id, rank"""
    ).fetchall()
    found: dict[tuple[str, str], list[Candidate]] = {}
    for source, record, match_source, match_id, day, amount, currency, why in rows:
        named = None if match_id is None else f"{match_source}/{match_id}" if match_source else str(match_id)
        found.setdefault((str(source), str(record)), []).append(
            Candidate(named, day, None if amount is None else int(amount), currency, str(why))
        )
    return {record: tuple(several) for record, several in found.items()}


def candidates_of(item: OpenItem, known: dict[tuple[str, str], tuple[Candidate, ...]]) -> tuple[Candidate, ...]:
    """The candidates of one item."""
    return known.get((item.source or "", item.event_id or item.order_id or ""), ())
