"""What makes up a difference between a stated balance and the books: where it arose, and which events explain it.

Consecutive stated balances of an account say in which days a difference arose: each change of the difference is one step,
looked at by itself. A step is explained by what makes it up exactly and is the only thing that does: one event, or two
where few come into question. Amounts are minor units of the account's currency, debit positive; a difference is stated
less books, so an event that only the books hold makes it smaller. What kinds of cause there are, and the hints for what
is left over, is common practice.
"""

from __future__ import annotations

import datetime
import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import duckdb

from ledger_tools.errors import LedgerError
from ledger_tools.money import format_amount, parse_amount
from ledger_tools.open_items import item_id
from ledger_tools.reports.reconciliation_form import Explanation
from ledger_tools.reports.reconciliation_steps import StatedDay, Step, find_steps

#: A cut-off may be off by so many days.
_CUT_OFF_DAYS = 10
#: An event so many days before a balance that lacks it is late rather than wrong.
_LATE_DAYS = 3
#: Two events of one amount within so many days may be one that is in the books twice.
_DOUBLED_DAYS = 7
#: Pairs are looked for among so many events at most: among more, two fit by chance.
_PAIRED_EVENTS = 40
#: What stands for the source of an entry by hand.
_BY_HAND = "by hand"


@dataclass(frozen=True)
class _Event:
    """An event on the account, by what it changes its balance."""

    event_id: str
    source: str
    posted_on: datetime.date
    amount: int
    memo: str


@dataclass(frozen=True)
class _Scene:
    """What the search for one step's cause looks at; `is_last`: no later stated balance could have caught up."""

    connection: duckdb.DuckDBPyConnection
    source_no: int
    source: str
    kind: str
    currency: str
    step: Step
    is_last: bool
    before: tuple[_Event, ...]
    later: tuple[_Event, ...]

    def too_many(self) -> list[_Event]:
        """Events of the difference's amount that the balance may be stated without.

        Before the first stated balance nothing tells a wrong line from a wrong opening balance, and a bank's own lines lead
        to the balance that it states: none of them is one too many.
        """
        is_own = self.kind == "bank" and self.step.after is None
        return [
            event
            for event in self.before
            if event.amount == -self.step.change and not (is_own and event.source == self.source)
        ]

    def explained(self, kind: str, events: Sequence[str], what: str) -> Explanation:
        """The step as explained by these events."""
        return Explanation(kind, self.step.change, self.step.after, self.step.by, tuple(events), what)

    def text(self, amount: int) -> str:
        """An amount with its currency."""
        return f"{format_amount(amount, self.currency)} {self.currency}"


def explain_difference(
    connection: duckdb.DuckDBPyConnection, account_no: int, source_no: int, currency: str, days: Sequence[StatedDay]
) -> tuple[Explanation, ...]:
    """What makes up the difference on the last of the stated days; the parts sum to it."""
    last = days[-1]
    accepted = _accepted(connection, source_no, currency, last)
    if accepted is not None:
        return accepted
    row = connection.execute("SELECT name, kind FROM source WHERE source_no = ?", [source_no]).fetchone()
    assert row is not None
    name, kind = row
    parts = []
    for step in find_steps(days):
        events = _events_around(connection, account_no, currency, step)
        before = tuple(event for event in events if event.posted_on <= step.by)
        later = tuple(event for event in events if event.posted_on > step.by)
        parts.append(
            _explain_step(_Scene(connection, source_no, name, kind, currency, step, step.by == last.on, before, later))
        )
    return tuple(parts)


def _accepted(
    connection: duckdb.DuckDBPyConnection, source_no: int, currency: str, last: StatedDay
) -> tuple[Explanation, ...] | None:
    """What a person has accepted of the difference, and what it has changed by since."""
    row = connection.execute("SELECT name FROM source WHERE source_no = ?", [source_no]).fetchone()
    assert row is not None
    made = connection.execute(
        """SELECT decided_by, reason, amount FROM decision
           WHERE starts_with(item, $id) AND action = 'accept' AND kind = 'balance-differs' AND coalesce(source, $name) = $name""",
        {"id": item_id("balance-differs", row[0], currency), "name": row[0]},
    ).fetchone()
    if made is None:
        return None
    decided_by, reason, amount = made
    amount = last.difference if amount is None else amount
    parts = [Explanation("accepted", amount, None, last.on, (), f"accepted by {decided_by}: {reason}")]
    if amount != last.difference:
        what = "the difference has changed since it was accepted"
        parts.append(Explanation("unknown", last.difference - amount, None, last.on, (), what))
    return tuple(parts)


def _events_around(
    connection: duckdb.DuckDBPyConnection, account_no: int, currency: str, step: Step
) -> tuple[_Event, ...]:
    rows = connection.execute(
        f"""SELECT event.event_id, coalesce(source.name, '{_BY_HAND}'), event.posted_on, sum(posting.amount)::BIGINT,
                  coalesce(any_value(event.memo), '')
           FROM posting JOIN event USING (event_no) LEFT JOIN source USING (source_no)
           WHERE posting.account_no = ? AND posting.currency = ? AND event.posted_on BETWEEN ? AND ?
           GROUP BY event.event_no, event.event_id, source.name, event.posted_on ORDER BY event.posted_on, event.event_no""",
        [account_no, currency, step.first_day, step.by + datetime.timedelta(days=_CUT_OFF_DAYS)],
    ).fetchall()
    return tuple(_Event(*row) for row in rows)


def _explain_step(scene: _Scene) -> Explanation:
    for find in _FINDERS:
        found = find(scene)
        if found is not None:
            return found
    return scene.explained("unknown", (), "; ".join(_hints(scene)) or "is an export missing?")


def _amended_event(scene: _Scene) -> Explanation | None:
    """An event that a later export changed: the balance was stated with what it said before."""
    sign = "CASE WHEN row.kind IN ('charge', 'fee', 'withdrawal') THEN -1 ELSE 1 END"
    table, field, key, sign = {
        "processor": ("processor_row", "net", "event_id", "1"),
        "wallet": ("wallet_row", "total", "event_id", sign),
        "bank": ("bank_row", "amount", "key", "1"),
    }[scene.kind]
    rows = scene.connection.execute(
        f"""SELECT record_key, old_text, new_text, {sign} FROM amended JOIN {table} AS row
                ON row.source_no = amended.source_no AND row.{key} = record_key
            WHERE amended.source_no = ? AND field = ? AND record_on BETWEEN ? AND ? ORDER BY record_key""",
        [scene.source_no, field, scene.step.first_day, scene.step.by],
    ).fetchall()
    fitting = []
    for event_id, old_text, new_text, turned in rows:
        try:
            change = parse_amount(old_text, scene.currency) - parse_amount(new_text, scene.currency)
        except LedgerError:  # one of the versions has no amount
            continue
        if turned * change == scene.step.change:
            fitting.append((event_id, old_text, new_text))
    if len(fitting) != 1:
        return None
    event_id, old_text, new_text = fitting[0]
    what = f"a later export changed it from {old_text} to {new_text}; the stated balance has the earlier amount"
    return scene.explained("amount", [event_id], what)


def _contradictory_event(scene: _Scene) -> Explanation | None:
    """An event whose parts don't make its total: the balance may be stated with the parts."""
    facts = {"processor": "fact_processor", "wallet": "fact_wallet"}.get(scene.kind)
    if facts is None:
        return None
    rows = scene.connection.execute(
        f"""SELECT event_id, difference FROM {facts} WHERE source_no = ? AND currency = ? AND abs(difference) = abs(?)
            AND posted_on BETWEEN ? AND ? ORDER BY event_id""",
        [scene.source_no, scene.currency, scene.step.change, scene.step.first_day, scene.step.by],
    ).fetchall()
    # of a processor's row the parts are more than the net; of a charge they are what it should have taken
    if len(rows) != 1 or rows[0][1] != scene.step.change:
        return None
    return scene.explained("amount", [rows[0][0]], f"its parts differ from its total by {scene.text(abs(rows[0][1]))}")


def _movement_of_other_amount(scene: _Scene) -> Explanation | None:
    """A payout or top-up of which the bank line has another amount: one of the two is wrong."""
    rows = scene.connection.execute(
        """SELECT movement.event_id, line.key, movement.amount, line.amount
           FROM movement JOIN bank_row AS line USING (movement_no)
           SEMI JOIN (SELECT movement_no FROM bank_match GROUP BY movement_no HAVING count(*) = 1
                      INTERSECT SELECT min(movement_no) FROM bank_match GROUP BY source_no, key HAVING count(*) = 1)
               USING (movement_no)
           WHERE $source_no IN (movement.source_no, line.source_no) AND movement.currency = $currency
             AND line.currency = $currency AND movement.amount - line.amount = $change
             AND (moved_on BETWEEN $first AND $by OR line."at"::DATE BETWEEN $first AND $by) ORDER BY 1""",
        {
            "source_no": scene.source_no,
            "currency": scene.currency,
            "change": scene.step.change,
            "first": scene.step.first_day,
            "by": scene.step.by,
        },
    ).fetchall()
    if len(rows) != 1:
        return None
    event_id, line, amount, arrived = rows[0]
    own = line if scene.kind == "bank" else event_id
    what = f"{event_id} is {scene.text(abs(amount))}, its bank line {line} is {scene.text(abs(arrived))}"
    return scene.explained("amount", [own], what)


def _vanished_event(scene: _Scene) -> Explanation | None:
    """An event that a later export no longer holds: the balance is stated without it."""
    keys = {
        str(row[0])
        for row in scene.connection.execute(
            "SELECT record_key FROM vanished WHERE source_no = ?", [scene.source_no]
        ).fetchall()
    }
    fitting = [event for event in scene.before if event.event_id in keys and event.amount == -scene.step.change]
    if len(fitting) != 1:
        return None
    return scene.explained("extra", [fitting[0].event_id], "a later export of its day no longer holds it")


def _doubled_event(scene: _Scene) -> Explanation | None:
    """One event that is in the books twice: two of one amount within days, one of them too many."""
    fitting = scene.too_many()
    if len(fitting) != 2 or (fitting[1].posted_on - fitting[0].posted_on).days > _DOUBLED_DAYS:
        return None
    first, second = fitting
    spare, other = (first, second) if second.event_id in _matched(scene) else (second, first)
    what = f"the same amount as {other.event_id} of {other.posted_on}: one of the two is too many"
    return scene.explained("extra", [spare.event_id], what)


def _matched(scene: _Scene) -> set[str]:
    """Keys of bank lines that complete a movement: of two equal ones these are the true ones."""
    rows = scene.connection.execute(
        "SELECT key FROM bank_row WHERE source_no = ? AND movement_no IS NOT NULL", [scene.source_no]
    ).fetchall()
    return {str(row[0]) for row in rows}


def _single_event(scene: _Scene) -> Explanation | None:
    """The one event that the balance is stated without, or with although the books have it later."""
    without = scene.too_many()
    with_it = [event for event in scene.later if event.amount == scene.step.change and scene.is_last]
    if len(without) + len(with_it) != 1:
        return None
    if with_it:
        return scene.explained("timing", [with_it[0].event_id], f"the books have it on {with_it[0].posted_on}")
    event = without[0]
    if scene.is_last and (scene.step.by - event.posted_on).days <= _LATE_DAYS:
        what = f"in the books on {event.posted_on}, not in the balance of {scene.step.by} yet"
        return scene.explained("timing", [event.event_id], what)
    return scene.explained("extra", [event.event_id], f"in the books on {event.posted_on}, not in the stated balance")


def _missing_bank_line(scene: _Scene) -> Explanation | None:
    """A movement that the stated balance of the bank holds and no exported line does."""
    if scene.kind != "bank":
        return None
    rows = scene.connection.execute(
        """SELECT source.name, movement.event_id, moved_on FROM movement JOIN source USING (source_no)
           LEFT JOIN (SELECT DISTINCT movement_no AS arrived FROM bank_match) ON arrived = movement_no
           WHERE movement.amount = ? AND movement.currency = ? AND moved_on BETWEEN ?::DATE - ?::INTEGER AND ?
             AND arrived IS NULL ORDER BY 2""",
        [scene.step.change, scene.currency, scene.step.first_day, _CUT_OFF_DAYS, scene.step.by],
    ).fetchall()
    if len(rows) != 1:
        return None
    source, event_id, moved_on = rows[0]
    what = f"{source} {event_id} of {moved_on} is in the balance, its line is in no export"
    return scene.explained("missing", [event_id], what)


def _missing_movement(scene: _Scene) -> Explanation | None:
    """A bank line that nothing answers, which the stated balance of the processor or wallet has seen."""
    if scene.kind == "bank":
        return None
    rows = scene.connection.execute(
        """SELECT source.name, bank_row.key, "at"::DATE FROM bank_row JOIN source USING (source_no)
           JOIN fact_bank ON fact_bank.source_no = bank_row.source_no AND fact_bank.event_id = bank_row.key
           WHERE bank_row.amount = ? AND bank_row.currency = ? AND "at"::DATE BETWEEN ? AND ?::DATE + ?::INTEGER
             AND bank_row.movement_no IS NULL AND fact_bank.posting = 'unknown' ORDER BY 2""",
        [-scene.step.change, scene.currency, scene.step.first_day, scene.step.by, _CUT_OFF_DAYS],
    ).fetchall()
    if len(rows) != 1:
        return None
    source, key, on = rows[0]
    what = f"the bank line of {on} ({source}) is in the balance, the event behind it is in no export"
    return scene.explained("missing", [key], what)


def _missing_payment(scene: _Scene) -> Explanation | None:
    """An order without payment whose charge, less a usual fee, is what the processor's books lack."""
    if scene.kind != "processor" or scene.step.change <= 0:
        return None
    rows = scene.connection.execute(
        """SELECT order_id, total - coalesce(gift_card_paid, 0) AS owed FROM order_head AS head
           WHERE head.currency = $currency AND placed_at::DATE BETWEEN $first::DATE - 1 AND $by AND cancelled_at IS NULL
             AND order_no NOT IN (SELECT order_no FROM fact_processor WHERE order_no IS NOT NULL AND kind = 'charge')
             AND (total - coalesce(gift_card_paid, 0)) BETWEEN $change AND $change + $change // 10 + 100
           ORDER BY order_id""",
        {
            "currency": scene.currency,
            "first": scene.step.first_day,
            "by": scene.step.by,
            "change": scene.step.change,
        },
    ).fetchall()
    if len(rows) != 1:
        return None
    order_id, owed = rows[0]
    what = f"order {order_id} has no payment: {scene.text(owed)} less a fee of {scene.text(owed - scene.step.change)}"
    return scene.explained("missing", [order_id], what)


def _pair_of_events(scene: _Scene) -> Explanation | None:
    """The one pair of events that the balance is stated without."""
    if len(scene.before) > _PAIRED_EVENTS:
        return None
    fitting = [
        pair
        for pair in itertools.combinations(scene.before, 2)
        if pair[0].amount + pair[1].amount == -scene.step.change and pair[0].amount and pair[1].amount
    ]
    if len(fitting) != 1:
        return None
    days = " and ".join(str(event.posted_on) for event in fitting[0])
    late = scene.is_last and all((scene.step.by - event.posted_on).days <= _LATE_DAYS for event in fitting[0])
    what = f"in the books on {days}, not in the stated balance{' yet' if late else ''}"
    return scene.explained("timing" if late else "extra", [event.event_id for event in fitting[0]], what)


#: From the strongest evidence to the weakest; the first that finds exactly one explanation counts.
_FINDERS: tuple[Callable[[_Scene], Explanation | None], ...] = (
    _amended_event,
    _vanished_event,
    _contradictory_event,
    _movement_of_other_amount,
    _doubled_event,
    _missing_bank_line,
    _missing_movement,
    _single_event,
    _missing_payment,
    _pair_of_events,
)


def _hints(scene: _Scene) -> list[str]:
    """Where to look for what nothing explains; common practice, none of it is proof."""
    change = scene.step.change
    hints = []
    if scene.step.after is None:
        by_hand = any(event.source == _BY_HAND for event in scene.before)
        hints.append(
            f"is {'the opening balance in hand.beancount right' if by_hand else 'an opening balance missing in hand.beancount'}?"
        )
    turned = [event for event in scene.before if 2 * event.amount == -change]
    if len(turned) == 1:
        hints.append(f"{turned[0].event_id} with the other sign would make it up")
    swapped = [
        event for event in scene.before if change % 9 == 0 and event.amount + change in _transpositions(event.amount)
    ]
    if len(swapped) == 1:
        right = scene.text(swapped[0].amount + change)
        hints.append(f"{swapped[0].event_id} with two digits changed over, {right}, would make it up")
    elif change % 9 == 0 and not hints:
        hints.append("it can be divided by 9, as where two digits are changed over")
    return hints


def _transpositions(amount: int) -> set[int]:
    """What an amount becomes where two neighbouring digits change places."""
    digits = str(abs(amount))
    sign = -1 if amount < 0 else 1
    swapped = set()
    for place in range(len(digits) - 1):
        text = digits[:place] + digits[place + 1] + digits[place] + digits[place + 2 :]
        swapped.add(sign * int(text))
    return swapped - {amount}
