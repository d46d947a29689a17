"""Everything that does not tie out, for a day: what is open, what is only under way, and what settles each.

The kinds stand in `open_item_finders.kinds`, the SQL that finds them beside it. Finders see records up to `as_of` only.
Amounts are minor units of the item's currency, positive where money is missing from the books' view (owed to the shop,
paid and not explained). An id is made from kind, source and key, so it is the same from run to run; where two items share
one, both have a longer one.
"""

from __future__ import annotations

import dataclasses
import datetime
import hashlib
import itertools
import re
import shlex
from collections import Counter
from dataclasses import dataclass

import duckdb

from ledger_tools.addresses import without_addresses
from ledger_tools.coverage import list_gaps
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.matching.candidates import Candidate, read_candidates
from ledger_tools.money import format_amount
from ledger_tools.open_item_finders import FINDERS
from ledger_tools.open_item_finders.finder import STATED, Held
from ledger_tools.open_item_finders.kinds import KIND_ORDER, KINDS, KINDS_BY_NAME, UNSORTED_COST, Kind
from ledger_tools.open_item_finders.lags import LAGS_BY_NAME, Usual, Usuals

__all__ = ["KINDS", "KIND_ORDER", "Kind", "OpenItem", "find_items", "item_id", "last_known_day", "list_open_items"]

#: Digits of an id, and of one that tells two items apart whose ids are the same.
SHORT, LONG = 8, 12

#: The reasons that proposed commands give; a person who knows better writes a better one.
_TIED = "looked into, they belong together"
_WITHDRAWN = ("--withdraw",)
_ACCEPTED, _UNSORTED = "looked into, left as it is", "not explained yet, for the accountant to sort"


@dataclass(frozen=True)
class OpenItem:
    """One thing that does not tie out; `amount` is in minor units of `currency`.

    Attributes:
        key: what it is about within its kind and source.
        cause: the likely cause, in words.
        action: what the command says that takes the item off the list.
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
    key: str
    cause: str
    action: tuple[str, ...]
    settled_by: str
    candidates: tuple[Candidate, ...] = ()
    held: Held | None = None

    @property
    def long_id(self) -> str:
        """The id with four digits more, also of the currency: it tells items apart whose ids are the same."""
        return self.id[:SHORT] + item_id(self.kind, self.source, f"{self.key}\n{self.currency}")[: LONG - SHORT]

    @property
    def next_step(self) -> str:
        """A command that takes the item off the list, as it can be pasted into a shell."""
        return shlex.join(["ledger-tools", "settle", self.id, *self.action])

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
        as_of: the day; None where the books are empty.
    """

    late: list[OpenItem]
    under_way: list[OpenItem]
    usuals: Usuals | None
    as_of: datetime.date | None


def item_id(kind: str, source: str | None, key: str) -> str:
    """The id of an open item: the same for the same thing in every run."""
    return hashlib.sha256(f"{kind}\n{source or ''}\n{key}".encode()).hexdigest()[:SHORT]


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
    return without_settled(connection, find_items(connection, as_of)).late


def without_settled(connection: duckdb.DuckDBPyConnection, found: Found) -> Found:
    """What was found without what decisions that fit have settled, and with what those that no longer fit have left.

    Of a decision that moved another amount than its item has, the item stands for what remains, as its account does; where
    the item is gone, what was moved stands there the other way. Both are open, not under way.
    """
    decisions = read_decided(connection)
    if not decisions or found.as_of is None:
        return found
    late, under_way, spoken = list[OpenItem](), list[OpenItem](), set[Decided]()
    for items, kept in ((found.late, late), (found.under_way, under_way)):
        for item in items:
            made = next((one for one in decisions.get(item.id[:SHORT], ()) if one.is_about(item)), None)
            if made is None:
                kept.append(item)
                continue
            if made.currency in (None, item.currency):
                spoken.add(made)
            if not made.fits(item):
                late.append(_changed(item, made, found.as_of))
    for made in itertools.chain.from_iterable(decisions.values()):
        if made not in spoken and made.action == "account" and made.item_date <= found.as_of:
            late.append(_left_behind(connection, made, found.as_of))
    return dataclasses.replace(found, late=sorted(late, key=_order), under_way=under_way)


def _changed(item: OpenItem, made: Decided, as_of: datetime.date) -> OpenItem:
    """An item that a decision settled with another amount: what of it remains."""
    assert made.amount is not None
    assert made.currency is not None
    is_moved = made.action == "account" and made.currency == item.currency and made.item_date <= as_of
    moved = (item.held.sign if item.held else 1) * made.amount if is_moved else 0
    was = f"{format_amount(made.amount, made.currency)} {made.currency}"
    now_is = f"{format_amount(item.amount or 0, item.currency)} {item.currency}" if item.currency else "nothing"
    what = f"moved {was} to {made.account}" if made.action == "account" else f"accepted {was}"
    return dataclasses.replace(
        item,
        id=made.item,
        amount=None if item.amount is None else item.amount - moved,
        cause=f"{item.cause}; the decision of {made.decided_on} {what}, and it is {now_is} now: take it back and decide anew",
        action=_WITHDRAWN,
        candidates=(),
    )


def _left_behind(connection: duckdb.DuckDBPyConnection, made: Decided, as_of: datetime.date) -> OpenItem:
    """What a decision moved of an item that is gone: its account holds the reverse, debit positive.

    Raises:
        LedgerError: the decision names a kind of item that is not known.
    """
    assert made.amount is not None
    assert made.currency is not None
    if made.kind not in KINDS_BY_NAME:
        where = f"decisions.toml, item {made.item}, kind"
        raise LedgerError(Problem(where, f"{made.kind!r} is not known", f"write one of {', '.join(KINDS_BY_NAME)}"))
    row = connection.execute("SELECT role FROM account WHERE name = ?", [made.balance_account]).fetchone()
    held = Held(STATED if made.kind == "balance-differs" else str(row[0]) if row else "")
    was = f"{format_amount(made.amount, made.currency)} {made.currency}"
    cause = (
        f"the decision of {made.decided_on} moved {was} from {made.balance_account} to {made.account}, and what it was about "
        f"is no longer open: {made.balance_account} holds the reverse"
    )
    return OpenItem(
        made.item, made.kind, made.item_date, (as_of - made.item_date).days, -made.amount, made.currency, made.order_id,
        made.event_id, made.source, "", cause, _WITHDRAWN, KINDS_BY_NAME[made.kind].ways.replace("`", ""), held=held,
    )  # fmt: skip


@dataclass(frozen=True)
class Decided:
    """What a decision that settles says about its item: all but matches, which change the books and leave what remains.

    Attributes:
        item: the id, short or long; `item_date`: the item's day, on which the entry of an `account` decision stands.
        account, balance_account: where its balance went, and from where (`account`).
        amount: the balance moved, debit positive (`account`), or what the item's amount was (`accept`); None: not said.
    """

    item: str
    kind: str
    action: str
    item_date: datetime.date
    decided_on: datetime.date
    source: str | None
    event_id: str | None
    order_id: str | None
    account: str | None
    balance_account: str | None
    amount: int | None
    currency: str | None

    def is_about(self, item: OpenItem) -> bool:
        """Whether an item is the one decided about: its id, and the record that the decision names."""
        named = (self.event_id, item.event_id) if self.event_id is not None else (self.order_id, item.order_id)
        pairs = ((self.kind, item.kind), (self.source, item.source), named)
        return item.long_id.startswith(self.item) and all(said in (None, known) for said, known in pairs)

    def fits(self, item: OpenItem) -> bool:
        """Whether its item still is what was decided about: the same amount, where the decision says one."""
        if self.amount is None or self.action == "take-out":
            return True
        return (self.amount, self.currency) == (
            item.balance if self.action == "account" else item.amount,
            item.currency,
        )


def read_decided(connection: duckdb.DuckDBPyConnection) -> dict[str, list[Decided]]:
    """The decisions that settle items, by the short id of the item."""
    rows = connection.execute(
        """SELECT item, kind, action, item_date, decided_on, source, event_id, order_id, account, balance_account, amount, currency
           FROM decision WHERE action <> 'match' ORDER BY item, kind, source, event_id, order_id"""
    ).fetchall()
    decisions: dict[str, list[Decided]] = {}
    for row in rows:
        decisions.setdefault(str(row[0])[:SHORT], []).append(Decided(*row))
    return decisions


def list_all_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> list[OpenItem]:
    """Open items as of a day, those included that a decision moved to an account or accepted."""
    return find_items(connection, as_of).late


def find_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> Found:
    """What is open and what is under way as of a day (else the last known day); decisions take nothing away here."""
    as_of = as_of or last_known_day(connection)
    if as_of is None:
        return Found([], [], None, None)
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
            wanted = KINDS_BY_NAME[kind].match
            record = event_id or order_id
            fitting = candidates.get((source, record, wanted), ()) or candidates.get((source, record, None), ())
            if fitting and wanted is not None:
                item = dataclasses.replace(item, candidates=fitting)
            if finder.waits is None:
                late.append(item)
                continue
            usual = usuals.of(finder.waits, source)
            is_late = item.age_days > usual.allowed
            told = dataclasses.replace(item, cause=_timed(item, usual, covered.get(LAGS_BY_NAME[usual.lag].awaited)))
            (late if is_late else under_way).append(told)
    shared = _shared_ids([*late, *under_way])
    late, under_way = ([_told_apart(item, shared) for item in items] for items in (late, under_way))
    return Found(sorted(late, key=_order), sorted(under_way, key=_order), usuals, as_of)


def _shared_ids(items: list[OpenItem]) -> set[str]:
    return {id_ for id_, times in Counter(item.id for item in items).items() if times > 1}


def _told_apart(item: OpenItem, shared: set[str]) -> OpenItem:
    """The item, with its long id where another has the same short one; all else keeps its id."""
    return dataclasses.replace(item, id=item.long_id) if item.id in shared else item


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
    action = _action(KINDS_BY_NAME[kind], amount, source_kind, held)
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
        key,
        cause,
        action,
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


def _action(kind: Kind, amount: int | None, source_kind: str | None, held: Held | None) -> tuple[str, ...]:
    """What the command says that takes an item off the list if nothing else does."""
    # a wallet's charge is stated as a positive amount, a bank's as a negative one; money that came in may be the owner's
    # own or a loan, so no account is proposed for it; what is under way between own accounts is no cost
    is_own = held is not None and held.role == "transfers_in_transit"
    if kind.unsorted and not is_own and not ((amount or 0) > 0 and source_kind != "wallet"):
        return ("--account", UNSORTED_COST, "--reason", _UNSORTED)
    return ("--accept", "--reason", _ACCEPTED)


def _gap_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date) -> list[OpenItem]:
    items = []
    for source, first, last in list_gaps(connection):
        if first > as_of:
            continue
        days = (last - first).days + 1
        cause = f"no export covers {first}" if days == 1 else f"no export covers {first} to {last} ({days} days)"
        items.append(_item("coverage-gap", first, as_of, None, None, None, None, source, str(first), cause, None))
    return items
