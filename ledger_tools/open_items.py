"""Everything that does not tie out, for a day: what is open, what is only under way, and what settles each.

The kinds stand in `open_item_finders.kinds`, the SQL that finds them beside it. Finders see records up to `as_of` only.
Amounts are minor units of the item's currency, positive where money is missing from the books' view (owed to the shop,
paid and not explained). An id is made from kind, source and key, so it is the same from run to run.
"""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import re
import shlex
from dataclasses import dataclass

import duckdb

from ledger_tools.addresses import without_addresses
from ledger_tools.coverage import list_gaps
from ledger_tools.matching.candidates import Candidate, read_candidates
from ledger_tools.open_item_finders import FINDERS
from ledger_tools.open_item_finders.finder import Held
from ledger_tools.open_item_finders.kinds import KIND_ORDER, KINDS, KINDS_BY_NAME, UNSORTED_COST, Kind
from ledger_tools.open_item_finders.lags import LAGS_BY_NAME, Usual, Usuals

__all__ = ["KINDS", "KIND_ORDER", "Kind", "OpenItem", "find_items", "item_id", "last_known_day", "list_open_items"]

#: The reasons that proposed commands give; a person who knows better writes a better one.
_TIED = "looked into, they belong together"
_ACCEPTED, _UNSORTED = "looked into, left as it is", "not explained yet, for the accountant to sort"


@dataclass(frozen=True)
class OpenItem:
    """One thing that does not tie out; `amount` is in minor units of `currency`.

    Attributes:
        cause: the likely cause, in words.
        next_step: a command that takes the item off the list, as it can be pasted into a shell.
        settled_by: what else does, in words.
        candidates: records that could belong to it, the best first.
        held: where the amount stands in the books, if anywhere.
    """

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
    settled_by: str
    candidates: tuple[Candidate, ...] = ()
    held: Held | None = None

    @property
    def balance(self) -> int:
        """What the item holds in an account, debit positive: its amount or the reverse of it, and 0 where it holds nothing."""
        return 0 if self.held is None else self.held.sign * (self.amount or 0)

    def match_command(self, candidate: Candidate) -> str | None:
        """The command that ties a candidate to the item, as it can be pasted into a shell."""
        if not candidate.matches:
            return None
        named = [word for match in candidate.matches for word in ("--match", match)]
        return shlex.join(["ledger-tools", "settle", self.id, *named, "--reason", _TIED])


@dataclass(frozen=True)
class Found:
    """What was found as of a day, by kind, then date, then id.

    Attributes:
        late: what is open, what a decision settled included.
        under_way: what is not late yet.
        usuals: what is usual in this shop.
    """

    late: list[OpenItem]
    under_way: list[OpenItem]
    usuals: Usuals | None


def item_id(kind: str, source: str | None, key: str) -> str:
    """The id of an open item: the same for the same thing in every run."""
    return hashlib.sha256(f"{kind}\n{source or ''}\n{key}".encode()).hexdigest()[:8]


def last_known_day(connection: duckdb.DuckDBPyConnection) -> datetime.date | None:
    """The last day that any export, hand entry or stated balance speaks of: what "as of now" means for books.

    The reversals of month-end entries are dated after it where the month is the last one known.
    """
    row = connection.execute(
        """SELECT greatest((SELECT max(last_day) FROM export), (
               SELECT max(posted_on) FROM event WHERE source_no IS NULL OR source_no >= 0), (
               SELECT max(stated_on) FROM stated_balance))"""
    ).fetchone()
    return row[0] if row and row[0] else None


def list_open_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[OpenItem]:
    """Open items as of a day (else the last known day) that no decision has settled, by kind, then date, then id."""
    settled = settled_ids(connection)
    return [item for item in list_all_items(connection, as_of) if item.id not in settled]


def settled_ids(connection: duckdb.DuckDBPyConnection) -> set[str]:
    """Ids of the items that a decision moved to an account, accepted, or took out of the books."""
    rows = connection.execute("SELECT item FROM decision WHERE action <> 'match'").fetchall()
    return {str(item) for (item,) in rows}


def list_all_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[OpenItem]:
    """Open items as of a day, those included that a decision moved to an account or accepted."""
    return find_items(connection, as_of).late


def find_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> Found:
    """What is open and what is under way as of a day (else the last known day); decisions take nothing away here."""
    as_of = as_of or last_known_day(connection)
    if as_of is None:
        return Found([], [], None)
    usuals = Usuals(connection, as_of)
    covered = {
        str(kind): day
        for kind, day in connection.execute(
            "SELECT kind, max(last_day) FROM export JOIN source USING (source_no) GROUP BY kind"
        ).fetchall()
    }
    kinds = dict(connection.execute("SELECT name, kind FROM source").fetchall())
    candidates = read_candidates(connection, as_of)
    late, under_way = _gap_items(connection, as_of), list[OpenItem]()
    for finder in FINDERS:
        if finder.only_if is not None and connection.execute(finder.only_if).fetchone() is None:
            continue
        for kind, day, amount, currency, order_id, event_id, source, key, cause in connection.execute(
            finder.sql, {"as_of": as_of}
        ).fetchall():
            item = _item(
                kind, day, as_of, None if amount is None else int(amount), currency, order_id, event_id, source, key,
                _without_persons(cause), kinds.get(source), finder.held,
            )  # fmt: skip
            fitting = candidates.get((source, event_id or order_id), ())
            if fitting and KINDS_BY_NAME[kind].match is not None:
                item = dataclasses.replace(item, candidates=fitting)
            if finder.waits is None:
                late.append(item)
                continue
            usual = usuals.of(finder.waits, source)
            is_late = item.age_days > usual.allowed
            told = dataclasses.replace(item, cause=_timed(item, usual, covered.get(LAGS_BY_NAME[usual.lag].awaited)))
            (late if is_late else under_way).append(told)
    return Found(sorted(late, key=_order), sorted(under_way, key=_order), usuals)


def _order(item: OpenItem) -> tuple[int, datetime.date, str]:
    return KIND_ORDER[item.kind], item.date, item.id


def _item(
    kind: str,
    day: datetime.date,
    as_of: datetime.date,
    amount: int | None,
    currency: str | None,
    order_id: str | None,
    event_id: str | None,
    source: str | None,
    key: str,
    cause: str,
    source_kind: str | None,
    held: Held | None = None,
) -> OpenItem:
    id_ = item_id(kind, source, key)
    step = _next_step(KINDS_BY_NAME[kind], id_, amount, source_kind, held)
    settled_by = KINDS_BY_NAME[kind].ways.replace("`", "")
    return OpenItem(
        id_,
        kind,
        day,
        (as_of - day).days,
        amount,
        currency,
        order_id,
        event_id,
        source,
        cause,
        step,
        settled_by,
        held=held,
    )


def _timed(item: OpenItem, usual: Usual, covered_to: datetime.date | None) -> str:
    """A cause with how long the thing takes, against what is usual, and whether the exports reach far enough to tell."""
    age = f"{item.age_days} day" if item.age_days == 1 else f"{item.age_days} days"
    is_late = item.age_days > usual.allowed
    text = f"{item.cause}; {'late' if is_late else 'under way'}: {age}, and {usual.rule}"
    if is_late and covered_to is not None and covered_to < item.date + datetime.timedelta(days=usual.allowed):
        text += f"; exports of the {LAGS_BY_NAME[usual.lag].awaited} end on {covered_to}"
    return text


def _without_persons(text: str) -> str:
    """A cause without e-mail addresses and markup that an export may have brought."""
    return re.sub(r"[<>]", "", without_addresses(text))


def _next_step(kind: Kind, item: str, amount: int | None, source_kind: str | None, held: Held | None) -> str:
    """The command that takes an item off the list if nothing else does, quoted for a shell."""
    # a wallet's charge is stated as a positive amount, a bank's as a negative one; money that came in may be the owner's
    # own or a loan, so no account is proposed for it; what is under way between own accounts is no cost
    is_own = held is not None and held.role == "transfers_in_transit"
    if kind.unsorted and not is_own and not ((amount or 0) > 0 and source_kind != "wallet"):
        action = ["--account", UNSORTED_COST, "--reason", _UNSORTED]
    else:
        action = ["--accept", "--reason", _ACCEPTED]
    return shlex.join(["ledger-tools", "settle", item, *action])


def _gap_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date) -> list[OpenItem]:
    items = []
    for source, first, last in list_gaps(connection):
        if first > as_of:
            continue
        days = (last - first).days + 1
        cause = f"no export covers {first}" if days == 1 else f"no export covers {first} to {last} ({days} days)"
        items.append(_item("coverage-gap", first, as_of, None, None, None, None, source, str(first), cause, None))
    return items
