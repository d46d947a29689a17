"""Both sides of one account's reconciliation on a day: the statement's, and the books'.

Amounts are minor units of the account's currency; into the account is positive. What is under way belongs to the account
that has not seen it yet: a payout that has left its processor is the bank's item, a top-up that the bank has paid and
the wallet does not hold yet is the wallet's. A movement that has not arrived belongs to the bank where its like arrived.
"""

from __future__ import annotations

import collections
import datetime
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import duckdb

from ledger_tools.matching.written import SOURCE_NAME, entry_of
from ledger_tools.reports.reconciliation_form import (
    DEPOSITS,
    DIFFERENCES,
    ERRORS,
    NOT_BOOKED,
    OTHER_AMOUNT,
    OUTSTANDING,
    Explanation,
    SideLine,
    Sides,
)
from ledger_tools.reports.reconciliation_steps import StatedDay
from ledger_tools.reports.transfer_items import TransferItem, list_transfer_items

#: Kinds of item of which an accepted one is an error of the bank: it made the line, and will take it back.
_ERRORS_OF_THE_BANK = "('bank-line-without-rule', 'deposit-without-payout')"


@dataclass(frozen=True)
class Movement:
    """A payout, a top-up or their reverse, as the bank shows it: positive into the bank.

    Attributes:
        arrived_on: day of the bank line that completes it, None where there is none.
        arrived: what lines up to the day completed of it; `arrives`: what all lines that are known do.
        settled: a decision moved what was open of it to another account.
    """

    number: int
    source_no: int
    source: str
    event_id: str
    kind: str
    reference: str
    moved_on: datetime.date
    amount: int
    bank_no: int | None
    arrived_on: datetime.date | None
    arrived: int | None
    arrives: int | None
    settled: bool
    remark: str

    @property
    def name(self) -> str:
        """Source and event."""
        return f"{self.source} {self.event_id}"


#: Both halves are dated as the books have them: what came after its month was closed stands in a later one.
_MOVEMENTS = """
    WITH booked AS (
        SELECT source_no, event_id, min(posted_on) AS day FROM event
        SEMI JOIN (SELECT source_no, event_id FROM movement UNION ALL SELECT source_no, key FROM bank_match) AS half
            USING (source_no, event_id) GROUP BY ALL
    )
    SELECT movement.movement_no, movement.source_no, source.name, movement.event_id, movement.kind, movement.reference,
           coalesce(booked.day, moved_on) AS moved_on, movement.amount, line.source_no, line.day, line.moved,
           line.arrives, coalesce(decision.action = 'account', false),
           CASE WHEN decision.action = 'accept' THEN 'accepted by ' || decided_by || ': ' || reason ELSE '' END
    FROM movement JOIN source USING (source_no) LEFT JOIN booked USING (source_no, event_id)
    LEFT JOIN (SELECT movement_no, min(source_no) AS source_no, min(day) AS day,
                      coalesce(sum(moved) FILTER (day <= $on), sum(moved))::BIGINT AS moved, sum(moved)::BIGINT AS arrives
               FROM (SELECT tie.*, coalesce(booked.day, row."at"::DATE) AS day
                     FROM bank_match AS tie JOIN bank_row AS row USING (source_no, key)
                     LEFT JOIN booked ON booked.source_no = tie.source_no AND booked.event_id = tie.key)
               GROUP BY movement_no) AS line
        USING (movement_no)
    LEFT JOIN decision ON decision.source = source.name AND decision.event_id = movement.event_id
        AND decision.kind IN ('payout-not-in-bank', 'top-up-without-bank-line') AND decision.action IN ('account', 'accept')
    WHERE movement.currency = $currency ORDER BY 7, movement.movement_no
"""

#: In-transit balances by movement; what a person put there otherwise has none. A bank's own half is in the bank already.
_IN_TRANSIT = f"""
    SELECT moved.movement_no, event.event_id, min(posting.posted_on), sum(coalesce(-moved.moved, posting.amount))::BIGINT,
           any_value(event.memo)
    FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
    LEFT JOIN (SELECT item, source, event_id FROM decision WHERE action = 'account') AS decided
        ON event.rule = 'decision' AND decided.item = event.event_id
    LEFT JOIN source ON source.source_no = event.source_no
    {entry_of("event", "account", "posting")}
    LEFT JOIN (
        SELECT source.name AS source_name, movement.event_id, movement_no, NULL::BIGINT AS moved
        FROM movement JOIN source USING (source_no)
        UNION ALL SELECT source.name, key, movement_no, moved FROM bank_match JOIN source USING (source_no)
    ) AS moved ON moved.source_name = coalesce(decided.source, source.name, '{SOURCE_NAME}')
              AND moved.event_id = coalesce(decided.event_id, written.event_id, event.event_id)
    WHERE account.role IN ('payouts_in_transit', 'top_ups_in_transit') AND posting.currency = $currency AND posting.posted_on <= $on
      AND (moved.movement_no IS NOT NULL OR (event.rule IN ('hand', 'decision') AND written.entry IS NULL
                                             AND decided.source IS DISTINCT FROM '{SOURCE_NAME}'))
    GROUP BY moved.movement_no, event.event_id ORDER BY 3, 2
"""

_UNBOOKED = f"""
    SELECT fact.posted_on, fact.event_id, fact.amount, coalesce(fact.memo, ''), decision.action, decided_by, reason
    FROM fact_bank AS fact LEFT JOIN decision ON decision.source = fact.source_name AND decision.event_id = fact.event_id
        AND decision.kind IN {_ERRORS_OF_THE_BANK} AND decision.action IN ('account', 'accept')
    WHERE fact.posting = 'unknown' AND fact.source_name = $source AND fact.currency = $currency AND fact.posted_on <= $on
      AND decision.action IS DISTINCT FROM 'account'
    ORDER BY fact.posted_on, fact.event_id
"""


@dataclass
class _Draft:
    """Lines of both sides as they are found."""

    source: str
    on: datetime.date
    statement: list[SideLine]
    books: list[SideLine]

    def add(
        self, heading: str, day: datetime.date, name: str, event_id: str | None, amount: int, what: str = ""
    ) -> None:
        line = SideLine(heading, day, (self.on - day).days, name, event_id, amount, what)
        (self.statement if heading in (DEPOSITS, OUTSTANDING, ERRORS) else self.books).append(line)

    def add_under_way(self, day: datetime.date, name: str, event_id: str | None, amount: int, what: str) -> None:
        self.add(DEPOSITS if amount > 0 else OUTSTANDING, day, name, event_id, amount, what)


def draw_sides(
    connection: duckdb.DuckDBPyConnection,
    account_no: int,
    currency: str,
    day: StatedDay,
    explanations: Iterable[Explanation],
) -> Sides:
    """Both sides of an account on a stated day; `explanations` are those of the difference."""
    row = connection.execute(
        """SELECT account.name, account.role, source.source_no, source.name, source.kind
           FROM account JOIN account_use USING (account_no) JOIN source
               ON source.kind = account_use.role AND source.name = account_use.parameter WHERE account_no = ?""",
        [account_no],
    ).fetchone()
    assert row is not None
    account, role, source_no, source, kind = row
    movements = [
        Movement(*each) for each in connection.execute(_MOVEMENTS, {"currency": currency, "on": day.on}).fetchall()
    ]
    banks = _banks_of(connection, movements, currency)
    draft = _Draft(source, day.on, [], [])
    if kind == "bank":
        mine = [each for each in movements if each.moved_on <= day.on and banks[each.number] == source_no]
    else:
        mine = [each for each in movements if each.moved_on > day.on and each.source_no == source_no]
    all_banks = _banks(connection, currency)
    booked = day.books + _in_transit(connection, draft, currency, mine, source_no in all_banks[:1])
    if kind == "bank":
        _list_bank_items(draft, mine)
        booked += _list_transfers(draft, list_transfer_items(connection, source_no, currency, day.on, all_banks))
        booked -= _list_unbooked(connection, draft, currency)
    else:
        _list_holder_items(draft, mine)
    _list_explained(draft, explanations)
    return Sides(
        account, source, role, currency, day.on, day.stated, tuple(draft.statement), booked, tuple(draft.books)
    )


def _banks_of(
    connection: duckdb.DuckDBPyConnection, movements: Iterable[Movement], currency: str
) -> Mapping[int, int | None]:
    """Source number of the bank that each movement goes to: where it arrived, else where most of its like did, else the first."""
    habits: dict[tuple[int, bool], collections.Counter[int]] = {}
    each_kind = {each.number: (each.source_no, each.kind.startswith("payout")) for each in movements}
    for each in movements:
        if each.bank_no is not None:
            habits.setdefault(each_kind[each.number], collections.Counter())[each.bank_no] += 1
    first = next(iter(_banks(connection, currency)), None)
    found: dict[int, int | None] = {}
    for each in movements:
        habit = habits.get(each_kind[each.number])
        usual = min(habit, key=lambda bank: (-habit[bank], bank)) if habit else first
        found[each.number] = each.bank_no if each.bank_no is not None else usual
    return found


def _banks(connection: duckdb.DuckDBPyConnection, currency: str) -> tuple[int, ...]:
    """Source numbers of all bank accounts and cards: accounts before cards, the currency's own first."""
    rows = connection.execute(
        """SELECT source_no FROM source JOIN account_use ON role = kind AND parameter = source.name
           JOIN account USING (account_no) WHERE kind = 'bank'
           ORDER BY account.role <> 'bank', source.currency <> ?, source_no""",
        [currency],
    ).fetchall()
    return tuple(int(row[0]) for row in rows)


def _in_transit(
    connection: duckdb.DuckDBPyConnection, draft: _Draft, currency: str, mine: list[Movement], is_first: bool
) -> int:
    """What the books hold in transit of these movements; the first bank also takes what entries by hand put there."""
    numbers = {each.number for each in mine}
    total = 0
    for number, event_id, posted_on, amount, memo in connection.execute(
        _IN_TRANSIT, {"currency": currency, "on": draft.on}
    ).fetchall():
        if number in numbers:
            total += amount
        elif number is None and is_first and amount:
            total += amount
            draft.add_under_way(posted_on, f"by hand, {event_id}", None, amount, memo or "")
    return total


def _list_bank_items(draft: _Draft, movements: list[Movement]) -> None:
    returned = _returned(movements, draft.on)
    for each in movements:
        has_arrived = each.arrived_on is not None and each.arrived_on <= draft.on
        if each.settled or each.number in returned:
            continue
        if not has_arrived:
            draft.add_under_way(each.moved_on, each.name, each.event_id, each.amount, each.remark)
        elif each.arrived != each.amount:
            assert each.arrived_on is not None
            assert each.arrived is not None
            change = each.arrived - each.amount
            if each.arrives == each.amount:  # the rest comes with a later line
                draft.add_under_way(each.moved_on, each.name, each.event_id, -change, each.remark)
                continue
            draft.add(OTHER_AMOUNT, each.arrived_on, each.name, each.event_id, change, each.remark)


def _returned(movements: list[Movement], on: datetime.date) -> set[int]:
    """Payouts that came back before they arrived, and their returns: together they are nothing."""
    waiting = {
        (each.source_no, each.reference, each.amount): each.number
        for each in movements
        if each.kind == "payout" and (each.arrived_on is None or each.arrived_on > on)
    }
    gone: set[int] = set()
    for each in movements:
        sent = waiting.get((each.source_no, each.reference, -each.amount))
        if each.kind == "payout_returned" and each.arrived_on is None and sent is not None:
            gone |= {sent, each.number}
    return gone


def _list_holder_items(draft: _Draft, movements: list[Movement]) -> None:
    """Movements that the bank has and the processor or wallet shows only after the day; its view is the bank's, turned."""
    for each in movements:
        if each.arrived_on is not None and each.arrived_on <= draft.on and each.arrived is not None:
            draft.add_under_way(each.arrived_on, each.name, each.event_id, -each.arrived, each.remark)


def _list_transfers(draft: _Draft, items: Iterable[TransferItem]) -> int:
    """List transfers, cheques and deposits; gives what the books hold in transit for them."""
    total = 0
    for item in items:
        total += item.in_transit
        if item.state == "under way":
            draft.add_under_way(item.day, item.name, item.event_id, item.amount, item.what)
        else:
            heading = OTHER_AMOUNT if item.state == "other amount" else NOT_BOOKED
            draft.add(heading, item.day, item.name, item.event_id, item.amount, item.what)
    return total


def _list_unbooked(connection: duckdb.DuckDBPyConnection, draft: _Draft, currency: str) -> int:
    """List bank lines that nothing explains; what they sum to is in the books only because the statement said so.

    An accepted one is an error of the bank. Two errors that cancel are one that was put right, and not listed.
    """
    rows = connection.execute(_UNBOOKED, {"source": draft.source, "currency": currency, "on": draft.on}).fetchall()
    errors: list[tuple[datetime.date, str, int, str]] = []
    for posted_on, event_id, amount, memo, action, decided_by, reason in rows:
        if action is None:
            draft.add(NOT_BOOKED, posted_on, f"{draft.source} {event_id}", event_id, amount, memo)
            continue
        undone = next((error for error in errors if error[2] == -amount), None)
        if undone is not None:
            errors.remove(undone)
        else:
            errors.append((posted_on, event_id, amount, f"accepted by {decided_by}: {reason}"))
    for posted_on, event_id, amount, what in errors:
        draft.add(ERRORS, posted_on, f"{draft.source} {event_id}", event_id, -amount, what)
    return sum(int(row[2]) for row in rows)


def _list_explained(draft: _Draft, explanations: Iterable[Explanation]) -> None:
    """Parts of the difference on the side where they belong; what is unknown stays between the sides."""
    for part in explanations:
        name = ", ".join(part.event_ids) or draft.source
        event_id = part.event_ids[0] if part.event_ids else None
        if part.kind == "accepted":
            draft.add(ERRORS, part.by, name, event_id, -part.amount, part.what)
        elif part.kind == "timing":
            draft.add_under_way(part.by, name, event_id, -part.amount, part.what)
        elif part.kind != "unknown":
            draft.add(DIFFERENCES, part.by, name, event_id, part.amount, part.what)
