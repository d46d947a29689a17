"""Facts of disputes: what each row that ends one gives back or loses, payment by payment, in the order of time.

Few payments are disputed, so this walks rows in Python. Amounts are minor units of the processor's balance. A row that
names no payment belongs to the only disputed payment of its order, else to the order.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass, replace

import duckdb


@dataclass(frozen=True)
class Step:
    """One row of a dispute: `kind` as the processor gives it, `gross` as it changes the balance."""

    event_id: str
    kind: str
    gross: int


@dataclass(frozen=True)
class Outcome:
    """What a row that ends a dispute does.

    Attributes:
        lost: of what was in dispute, by a lost row.
        regained: of what had been lost before, by a won row.
        not_won: what the last row, a won one, leaves of it; negative where it gives back more than there was.
        unopened: what the won rows give back though no row opened a dispute, told with the last of them.
    """

    event_id: str
    lost: int = 0
    regained: int = 0
    not_won: int = 0
    unopened: int = 0


def follow_disputes(steps: Sequence[Step]) -> list[Outcome]:
    """The outcome of each row that ends a dispute of one payment, earliest first."""
    outcomes: list[Outcome] = []
    in_dispute = lost = 0
    is_known = False
    for place, step in enumerate(steps, start=1):
        if step.kind == "dispute":
            in_dispute -= step.gross
            is_known = True
        elif step.kind == "dispute_lost":
            outcomes.append(Outcome(step.event_id, lost=in_dispute))
            lost += in_dispute - step.gross
            in_dispute = 0
        else:
            regained = max(min(step.gross - in_dispute, lost), 0)
            lost -= regained
            in_dispute -= step.gross - regained
            ends = is_known and (in_dispute < 0 or place == len(steps))
            outcomes.append(Outcome(step.event_id, regained=regained, not_won=in_dispute if ends else 0))
            in_dispute = 0 if ends else in_dispute
    if in_dispute < 0:  # only a won row leaves it so, and no row has ended anything since
        outcomes[-1] = replace(outcomes[-1], unopened=-in_dispute)
    return outcomes


def list_disputes(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `dispute` (source_no, event_id, lost, regained, not_won, unopened)."""
    rows = connection.execute(
        """
        WITH step AS (
            SELECT source_no, currency, payment_ref, order_no, event_id, kind, "at", gross
            FROM processor_row WHERE kind IN ('dispute', 'dispute_won', 'dispute_lost')
        ), sole AS (
            SELECT source_no, currency, order_no, min(payment_ref) AS payment_ref FROM step WHERE order_no IS NOT NULL
            GROUP BY ALL HAVING count(DISTINCT payment_ref) = 1
        )
        SELECT step.source_no, step.currency,
               coalesce(step.payment_ref, sole.payment_ref, 'order ' || step.order_no, 'event ' || event_id) AS payment,
               event_id, kind, gross
        FROM step LEFT JOIN sole ON sole.source_no = step.source_no AND sole.currency = step.currency AND sole.order_no = step.order_no
        ORDER BY step.source_no, step.currency, payment, "at", event_id
        """
    ).fetchall()
    connection.execute(
        """CREATE OR REPLACE TEMP TABLE dispute (
               source_no SMALLINT, event_id VARCHAR, lost BIGINT, regained BIGINT, not_won BIGINT, unopened BIGINT)"""
    )
    for key, group in itertools.groupby(rows, key=lambda row: row[:3]):
        outcomes = follow_disputes([Step(event_id, kind, int(gross)) for *_, event_id, kind, gross in group])
        if outcomes:
            connection.executemany(
                "INSERT INTO dispute VALUES (?, ?, ?, ?, ?, ?)",
                [[key[0], each.event_id, each.lost, each.regained, each.not_won, each.unopened] for each in outcomes],
            )
