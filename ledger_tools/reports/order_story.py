"""The story of one order: what the shop says about it, and every event in time order with its entry.

Amounts are minor units of their own currency, debit positive; `value` is the same in the base currency, None where no
rate is known.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.addresses import without_addresses
from ledger_tools.journal import ENTRY_TITLES
from ledger_tools.money import format_amount
from ledger_tools.posting.rules import DECISION, HAND
from ledger_tools.reports.order_profit import OrderReport, report_orders
from ledger_tools.store import quoted

#: What an entry of hand.beancount is called, and where it comes from.
HAND_TITLE = "Entry by hand"
HAND_SOURCE = "hand.beancount"

#: SQL expression: the place of an event's rule in the journal's order of a day.
_PLACES = " ".join(f"WHEN {quoted(name)} THEN {place}" for place, name in enumerate(ENTRY_TITLES))
RULE_ORDER = f"CASE event.rule {_PLACES} END"


def event_title(rule: str) -> str:
    """What the journal calls an event's entry."""
    return HAND_TITLE if rule == HAND else ENTRY_TITLES[rule]


@dataclass(frozen=True)
class StoryPosting:
    """One line of an entry."""

    account: str
    amount: int
    currency: str
    value: int | None


@dataclass(frozen=True)
class StoryEvent:
    """One event of an order.

    Attributes:
        matched_by: how the record was found to belong to the order; None for the order itself and entries by hand.
        payout: id of the payout that the money left the processor with, where the export says so.
        in_bank_on: the day on which that payout was in the bank, where it is known.
        files: exports that cover the record's day, the latest first: the first of them that holds the record counts.
            Empty for what no export brought.
    """

    day: datetime.date
    title: str
    source: str
    event_id: str
    matched_by: str | None
    flagged: bool
    note: str | None
    memo: str | None
    payout: str | None
    in_bank_on: datetime.date | None
    files: tuple[str, ...]
    postings: tuple[StoryPosting, ...]


@dataclass(frozen=True)
class OrderStory:
    """One order, whole.

    Attributes:
        report: the order report of this order alone.
        facts: what the shop's export says about the order as a whole, by field; empty fields are left out.
        lines: what it says about each line, likewise; `unit_price` and `line_discount` in minor units.
        open_in_clearing: what is still to be paid (debit) or was paid too much, by currency.
    """

    report: OrderReport
    order_currency: str
    facts: dict[str, Any]
    lines: tuple[dict[str, Any], ...]
    events: tuple[StoryEvent, ...]
    open_in_clearing: tuple[tuple[str, int], ...]

    def as_json(self) -> dict[str, Any]:
        """The order report with the key `story`."""
        currency = self.report.currency
        return {
            **self.report.as_json(),
            "story": {
                "facts": {name: self._plain(name, value) for name, value in self.facts.items()},
                "lines": [{name: self._plain(name, value) for name, value in line.items()} for line in self.lines],
                "events": [_event_json(event, currency) for event in self.events],
                "open_in_clearing": [
                    {"currency": code, "amount": format_amount(amount, code)} for code, amount in self.open_in_clearing
                ],
            },
        }

    def _plain(self, name: str, value: Any) -> Any:
        if name in _MONEY_FIELDS:
            return format_amount(value, self.order_currency)
        return value.isoformat(sep=" ") if isinstance(value, datetime.datetime) else value


def _event_json(event: StoryEvent, base_currency: str) -> dict[str, Any]:
    return {
        "date": event.day.isoformat(),
        "title": event.title,
        "source": event.source,
        "event_id": event.event_id,
        "matched_by": event.matched_by,
        "flagged": event.flagged,
        "note": event.note,
        "memo": event.memo,
        "payout": event.payout,
        "in_bank_on": event.in_bank_on.isoformat() if event.in_bank_on else None,
        "files": list(event.files),
        "postings": [
            {
                "account": posting.account,
                "amount": format_amount(posting.amount, posting.currency),
                "currency": posting.currency,
                "value": None if posting.value is None else format_amount(posting.value, base_currency),
            }
            for posting in event.postings
        ],
    }


_HEAD_FIELDS = (
    *("placed_at", "cancelled_at", "shipped_at", "currency", "total", "order_discount", "shipping_charged", "tip"),
    *("tax", "gift_card_paid", "tax_collected_by", "channel", "ship_country", "ship_region", "payment_ref"),
)
_LINE_FIELDS = ("sku", "item", "category", "quantity", "unit_price", "line_discount")
_MONEY_FIELDS = frozenset(
    {"total", "order_discount", "shipping_charged", "tip", "tax", "gift_card_paid", "unit_price", "line_discount"}
)


def tell_story(connection: duckdb.DuckDBPyConnection, order_no: int, as_of: datetime.date | None) -> OrderStory:
    """The whole story of an order, known up to a day."""
    report = report_orders(connection, as_of=as_of, order_no=order_no)
    head = connection.execute(
        f"SELECT source.name, {', '.join(f'head.{name}' for name in _HEAD_FIELDS)} FROM order_head AS head "
        "JOIN source USING (source_no) WHERE order_no = ?",
        [order_no],
    ).fetchone()
    assert head is not None
    fields = zip(("source", *_HEAD_FIELDS), head, strict=True)
    facts = {name: value for name, value in fields if value is not None}
    rows = connection.execute(
        f"SELECT {', '.join(_LINE_FIELDS)} FROM order_line WHERE order_no = ? ORDER BY record", [order_no]
    ).fetchall()
    lines = tuple(
        {name: value for name, value in zip(_LINE_FIELDS, row, strict=True) if value is not None} for row in rows
    )
    balances = connection.execute(
        """SELECT currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE order_no = $order_no AND role = 'clearing' AND ($as_of IS NULL OR posted_on <= $as_of)
           GROUP BY currency HAVING sum(amount) <> 0 ORDER BY currency""",
        {"order_no": order_no, "as_of": as_of},
    ).fetchall()
    left = tuple((str(currency), int(amount)) for currency, amount in balances)
    return OrderStory(report, str(facts["currency"]), facts, lines, _list_events(connection, order_no, as_of), left)


_EVENTS = f"""
    SELECT event.event_no, event.posted_on, event.rule, source.name, event.event_id,
           coalesce(payment.matched_by, made.matched_by)
               || coalesce(' (' || coalesce(payment.why, made.why) || ')', ''), event.flagged, event.note, event.memo, payment.payout_id,
           (SELECT min(bank.at::DATE) FROM movement JOIN bank_match AS tie USING (movement_no)
                JOIN bank_row AS bank ON bank.source_no = tie.source_no AND bank.key = tie.key
            WHERE movement.source_no = event.source_no AND movement.reference = payment.payout_id
              AND movement.kind = 'payout' AND ($as_of IS NULL OR bank.at::DATE <= $as_of))
    FROM event LEFT JOIN source USING (source_no)
    LEFT JOIN processor_row AS payment ON payment.source_no = event.source_no AND payment.event_id = event.event_id
    LEFT JOIN wallet_row AS made ON made.source_no = event.source_no AND made.event_id = event.event_id
    WHERE event.order_no = $order_no AND ($as_of IS NULL OR event.posted_on <= $as_of)
    ORDER BY event.posted_on, event.rule <> 'sale', coalesce(payment.at, made.at), {RULE_ORDER}, source.name,
             event.event_id
"""

#: Files of each event of an order, by the days that exports cover; which of them holds a record, a build does not keep.
_FILES = """
    SELECT event_no, list(export.file ORDER BY export.rank DESC)
    FROM (
        SELECT event.event_no, event.source_no,
               coalesce(payment.at::DATE, made.at::DATE, CASE WHEN source.kind = 'orders' THEN head.placed_at::DATE END,
                        event.belongs_on, event.posted_on) AS day
        FROM event JOIN source USING (source_no) JOIN order_head AS head USING (order_no)
        LEFT JOIN processor_row AS payment ON payment.source_no = event.source_no AND payment.event_id = event.event_id
        LEFT JOIN wallet_row AS made ON made.source_no = event.source_no AND made.event_id = event.event_id
        WHERE event.order_no = $order_no AND event.rule <> $decided
    ) AS record
    JOIN export_days AS days ON days.source_no = record.source_no AND record.day BETWEEN days.first_day AND days.last_day
    JOIN export USING (export_no)
    GROUP BY event_no
"""


def _list_events(
    connection: duckdb.DuckDBPyConnection, order_no: int, as_of: datetime.date | None
) -> tuple[StoryEvent, ...]:
    rows = connection.execute(_EVENTS, {"order_no": order_no, "as_of": as_of}).fetchall()
    legs = connection.execute(
        """SELECT event_no, account.name, amount, currency, value FROM posting JOIN account USING (account_no)
           WHERE event_no IN (SELECT unnest(?::INTEGER[])) ORDER BY event_no, leg, account.name""",
        [[row[0] for row in rows]],
    ).fetchall()
    postings: dict[int, list[StoryPosting]] = {}
    for event_no, account, amount, currency, value in legs:
        postings.setdefault(event_no, []).append(StoryPosting(account, amount, currency, value))
    found = connection.execute(_FILES, {"order_no": order_no, "decided": DECISION}).fetchall()
    files = {event_no: tuple(map(str, names)) for event_no, names in found}
    return tuple(
        StoryEvent(
            day, event_title(rule), source or HAND_SOURCE, event_id, matched_by, bool(flagged),
            without_addresses(note), without_addresses(memo), payout, in_bank_on, files.get(event_no, ()),
            tuple(postings.get(event_no, ())),
        )
        for event_no, day, rule, source, event_id, matched_by, flagged, note, memo, payout, in_bank_on in rows
    )  # fmt: skip
