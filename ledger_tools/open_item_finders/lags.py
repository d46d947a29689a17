"""How long things usually take in this shop, learnt from its own history as of a day.

A lag is a step that other exports complete: the payment of an order, the bank line of a payout. Days are whole days
between two local dates, none below zero. Only steps completed by `$as_of` are known; of each source the last 200 count.

The rule (common practice, no standard): with 20 completed steps, take the longest of them once the top hundredth (at
least one, so that a single mishap teaches nothing) is left out, and allow a quarter of it more, at least a day, for
weekends and holidays. With fewer, and where the person has written the key under [grace], the grace days hold.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from ledger_tools.store import read_fact

if TYPE_CHECKING:
    import duckdb

#: Completed steps that are needed before anything is learnt, and how many of the latest count.
FEWEST, MOST = 20, 200


@dataclass(frozen=True)
class Lag:
    """One step that takes time.

    Attributes:
        name: its name; that of a step which something waits for is its key under [grace].
        steps: what is counted, in the plural.
        awaited: kind of the exports that show its completion.
        completed: SQL that returns source, day of the start, days taken, of every step completed by `$as_of`.
    """

    name: str
    steps: str
    awaited: str
    completed: str


_FIRST_PAID = """SELECT order_no, min(posted_on) AS day FROM fact_processor
                 WHERE kind = 'charge' AND order_no IS NOT NULL AND posted_on <= $as_of GROUP BY order_no"""
_FIRST_MADE = """SELECT order_no, min(posted_on) AS day FROM fact_wallet
                 WHERE posting = 'fulfilment' AND order_no IS NOT NULL AND posted_on <= $as_of GROUP BY order_no"""


def _from_order(completed: str) -> str:
    return f"""SELECT source.name, head.placed_at::DATE, done.day - head.placed_at::DATE
               FROM order_head AS head JOIN source USING (source_no) JOIN ({completed}) AS done USING (order_no)"""


def _to_bank(kind: str) -> str:
    """Movements of a kind, from their day to that of the last bank line which completes them."""
    return f"""SELECT source.name, moved_on, line.day - moved_on
               FROM movement JOIN source USING (source_no) JOIN (
                   SELECT tie.movement_no, max(row."at"::DATE) AS day FROM bank_match AS tie
                   JOIN bank_row AS row USING (source_no, key) GROUP BY tie.movement_no
               ) AS line ON line.movement_no = movement.movement_no
               WHERE movement.kind = '{kind}' AND line.day <= $as_of"""


LAGS: tuple[Lag, ...] = (
    Lag("payment", "payments", "processor", _from_order(_FIRST_PAID)),
    Lag("fulfilment", "fulfilment charges", "wallet", _from_order(_FIRST_MADE)),
    Lag("payout", "payouts", "bank", _to_bank("payout")),
    Lag("top_up", "top-ups", "bank", _to_bank("top_up")),
    Lag(
        "paid_out",
        "payments until their payout",
        "processor",
        """SELECT charge.source_name, charge.posted_on, payout.moved_on - charge.posted_on
           FROM fact_processor AS charge JOIN processor_row AS row USING (source_no, event_id)
           JOIN movement AS payout ON payout.source_no = charge.source_no AND payout.reference = row.payout_id
           WHERE charge.kind = 'charge' AND payout.kind = 'payout' AND payout.moved_on <= $as_of""",
    ),
    Lag(
        "shipment",
        "fulfilment charges until their shipment",
        "wallet",
        """SELECT fact.source_name, fact.posted_on, row.shipped_at::DATE - fact.posted_on
           FROM fact_wallet AS fact JOIN wallet_row AS row USING (source_no, event_id)
           WHERE fact.posting = 'fulfilment' AND row.shipped_at::DATE <= $as_of""",
    ),
)

LAGS_BY_NAME: Mapping[str, Lag] = {lag.name: lag for lag in LAGS}


@dataclass(frozen=True)
class Usual:
    """What is usual of one lag at one source.

    Attributes:
        lag: name of the lag.
        source: name of the source; empty for the settings' grace days.
        allowed: days that a step may take; one more is late.
        took_at_most: the longest that counts as usual; None where nothing is learnt.
        within, of: so many of so many steps took no longer.
        given: the person wrote the grace days.
    """

    lag: str
    source: str
    allowed: int
    took_at_most: int | None = None
    within: int = 0
    of: int = 0
    given: bool = False

    @property
    def rule(self) -> str:
        """Why so many days are allowed, as a clause."""
        steps = LAGS_BY_NAME[self.lag].steps
        if self.took_at_most is not None:
            took = f"took at most {_days(self.took_at_most)}" if self.took_at_most else "came on the same day"
            return f"{self.within} of this shop's last {self.of} {steps} {took}: {_allowed(self.allowed)}"
        if self.given:
            return f"[grace] in shop.toml allows {_days(self.allowed)}"
        return f"{_allowed(self.allowed)} until {FEWEST} {steps} are known"


def _allowed(days: int) -> str:
    return f"{_days(days)} {'is' if days == 1 else 'are'} allowed"


def _days(count: int) -> str:
    return f"{count} day" if count == 1 else f"{count} days"


def learn(lag: str, source: str, days: Sequence[int]) -> Usual | None:
    """What so many completed steps teach; None where they are too few."""
    if len(days) < FEWEST:
        return None
    ordered = sorted(max(taken, 0) for taken in days)
    usual = ordered[-1 - max(1, len(ordered) // 100)]
    within = sum(1 for taken in ordered if taken <= usual)
    return Usual(lag, source, usual + max(1, usual // 4), usual, within, len(ordered))


class Usuals:
    """What is usual in a shop as of a day, lag by lag and source by source; worked out for a lag when it is asked for."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, as_of: datetime.date) -> None:
        self._connection = connection
        self._as_of = as_of
        self._learnt: dict[str, dict[str, Usual]] = {}
        self._known: dict[tuple[str, str | None], Usual] = {}

    def of(self, lag: str, source: str | None) -> Usual:
        """What is usual of a lag at a source: the person's grace days, else what is learnt, else the grace days."""
        if (lag, source) not in self._known:  # asked for each of many items
            self._known[lag, source] = self._find(lag, source)
        return self._known[lag, source]

    def _find(self, lag: str, source: str | None) -> Usual:
        given = read_fact(self._connection, f"grace_given.{lag}") is not None
        grace = Usual(lag, "", int(read_fact(self._connection, f"grace.{lag}") or 0), given=given)
        if given:
            return grace
        return self.learnt(lag).get(source or "", grace)

    def learnt(self, lag: str) -> Mapping[str, Usual]:
        """What is learnt of a lag, by source."""
        if lag not in self._learnt:
            # the day before the days taken in one whole number, so that of equal days the same ones always count
            rows = self._connection.execute(
                f"""SELECT source, max_by(days, datediff('day', DATE '1970-01-01', day) * 10000 + days, {MOST})
                    FROM (SELECT source, day, least(greatest(days, 0), 9999) AS days
                          FROM ({LAGS_BY_NAME[lag].completed}) AS completed(source, day, days))
                    GROUP BY source ORDER BY source""",
                {"as_of": self._as_of},
            ).fetchall()
            found = {str(source): learn(lag, str(source), days) for source, days in rows}
            self._learnt[lag] = {source: usual for source, usual in found.items() if usual is not None}
        return self._learnt[lag]

    def all_learnt(self) -> list[Usual]:
        """Everything that is learnt, by lag, then source."""
        return [usual for lag in LAGS for usual in self.learnt(lag.name).values()]
