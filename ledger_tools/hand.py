"""Entries that a person writes in `hand.beancount`: read by beancount's parser, posted like all others.

An entry with an order's link (`^order-1001`) counts in that order's profit. Amounts must fit their currency's minor
unit. What the parser or the booking refuses is reported with file and line. An `include` in `hand.beancount` is refused,
since nobody would read what it names; in `main.beancount` it is what beancount and Fava see.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass
from decimal import Decimal, localcontext
from pathlib import Path
from typing import Any

import duckdb

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import minor_digits

LINK_PREFIX = "order-"
#: An amount has at most this many digits in minor units, as in exports, so that sums stay within 64 bits.
AMOUNT_DIGITS = 15
MAIN_FILE = "main.beancount"


@dataclass(frozen=True)
class HandLine:
    """One posting of a hand entry; `value` is in the base currency's minor units where the entry states it."""

    account: str
    amount: int
    currency: str
    value: int | None


@dataclass(frozen=True)
class HandEntry:
    """One transaction that a person wrote.

    Attributes:
        file: name of the file that it stands in, and `line_number` where.
        payee: the first of two strings, empty where there is one; `narration` is the other.
        order_links: the order's link, `order-1001`, without the caret; whether any order has it is not known yet.
    """

    file: str
    line_number: int
    day: datetime.date
    flagged: bool
    payee: str
    narration: str
    order_links: tuple[str, ...]
    lines: tuple[HandLine, ...]


@dataclass(frozen=True)
class HandFile:
    """What `hand.beancount` and `main.beancount` hold: entries, and the accounts that they open themselves."""

    entries: tuple[HandEntry, ...]
    opened: frozenset[str]

    def links_credited(self, account: str) -> tuple[str, ...]:
        """Order links of the entries that credit an account, in order."""
        entries = (
            entry for entry in self.entries if any(each.account == account and each.amount < 0 for each in entry.lines)
        )
        return tuple(sorted({link for entry in entries for link in entry.order_links}))


def read_hand_file(files: list[Path], base_currency: str) -> HandFile:
    """Entries of the hand-owned files that exist.

    Raises:
        LedgerError: every line that beancount refuses, every amount finer than its currency or too big, entries without
            lines or balance, `pad`, and an `include` in any file but the main ledger.
    """
    from beancount.core import data
    from beancount.parser import booking, parser

    entries: list[HandEntry] = []
    opened: set[str] = set()
    problems: list[Problem] = []
    for file in files:
        if not file.is_file():
            continue
        # beancount's parser does not survive an exception of its arithmetic (1/0), so none is raised: what can't be
        # computed becomes a number that is none, and is refused below
        with localcontext() as arithmetic:
            arithmetic.clear_traps()
            parsed, errors, options = parser.parse_file(str(file))
            booked, booking_errors = booking.book(parsed, options)  # type: ignore[no-untyped-call]
        problems += [_refusal(file, error) for error in [*errors, *booking_errors]]
        if file.name != MAIN_FILE and options["include"]:
            problems += _include_problems(file)
        for directive in booked:
            where = f"{file.name}, line {directive.meta['lineno']}"
            if isinstance(directive, data.Open):
                opened.add(directive.account)
            elif isinstance(directive, data.Pad):
                problems.append(Problem(where, "pad makes entries that nobody wrote", "write the entry itself"))
            elif isinstance(directive, data.Transaction) and (directive.postings or not problems):
                # (booking takes the lines off an entry that it refuses)
                entry, troubles = _read_entry(directive, where, base_currency)
                problems.extend(troubles)
                entries.append(entry)
    if problems:
        raise LedgerError(dict.fromkeys(problems))
    return HandFile(tuple(entries), frozenset(opened))


def _refusal(file: Path, error: Any) -> Problem:
    """What beancount says of a line; where its own code broke, that is no word about any line of the file."""
    if error.source["filename"] != str(file):
        what = "holds something that can't be computed, such as a division by zero"
        return Problem(file.name, what, "look through its amounts")
    return Problem(f"{file.name}, line {error.source['lineno']}", error.message.splitlines()[0], "mend the line")


def _include_problems(file: Path) -> list[Problem]:
    """Where a file includes others."""
    text = file.read_text(encoding="utf-8", errors="replace")
    lines = [number for number, line in enumerate(text.split("\n"), start=1) if re.match(r"include\b", line)]
    return [
        Problem(
            f"{file.name}, line {number}",
            "include brings in entries that the books don't read",
            "write the entries into this file, or move the line to main.beancount if only beancount is to see them",
        )
        for number in lines or [1]
    ]


def _read_entry(directive: object, where: str, base_currency: str) -> tuple[HandEntry, list[Problem]]:
    from beancount.core import convert, data, interpolate

    assert isinstance(directive, data.Transaction)
    problems: list[Problem] = []
    lines: list[HandLine] = []
    running = Decimal(0)
    if not directive.postings:
        problems.append(Problem(where, "the entry has no lines", "write its accounts and amounts, or take it out"))
    for posting in directive.postings:
        assert posting.units is not None
        assert posting.units.number is not None
        amount, trouble = _minor(posting.units.number, posting.units.currency, where)
        weight = convert.get_weight(posting)  # type: ignore[no-untyped-call]
        if not trouble and not (weight.number.is_finite() and abs(weight.number) < 10 ** (AMOUNT_DIGITS - 2)):
            trouble = [
                Problem(where, f"the value of {posting.units} is more than the books can hold", "mend its price")
            ]
        problems.extend(trouble)
        if trouble:
            continue
        value = None
        if posting.units.currency == base_currency:
            value = amount
        elif weight.currency == base_currency:
            # sums are rounded, not legs, so that the values of the entry sum to zero
            before, running = running, running + weight.number.scaleb(minor_digits(base_currency))
            value = _rounded(running) - _rounded(before)
        lines.append(HandLine(posting.account, amount, posting.units.currency, value))
    # what is left of amounts that are refused says nothing
    residual = [] if problems else interpolate.compute_residual(directive.postings)  # type: ignore[no-untyped-call]
    rest = [position.units for position in residual if round(position.units.number, 6) != 0]
    if rest:
        left = ", ".join(str(units) for units in rest)
        problems.append(Problem(where, f"the entry does not balance: {left} is left over", "mend its amounts"))
    links = tuple(sorted(link for link in directive.links or () if link.startswith(LINK_PREFIX)))
    if len(links) > 1:
        problems.append(Problem(where, f"the entry has {len(links)} order links", "an entry belongs to one order"))
    entry = HandEntry(
        Path(directive.meta["filename"]).name, directive.meta["lineno"], directive.date, directive.flag == "!",
        directive.payee or "", directive.narration or "", links, tuple(lines),
    )  # fmt: skip
    return entry, problems


def _rounded(number: Decimal) -> int:
    return int(number.quantize(Decimal("0.000001")).to_integral_value("ROUND_HALF_UP"))


def _minor(number: Decimal, currency: str, where: str) -> tuple[int, list[Problem]]:
    """Minor units, by the digits as they are written: Decimal's own arithmetic rounds at 28 of them."""
    try:
        decimals = minor_digits(currency)
    except LedgerError as trouble:
        return 0, [Problem(where, problem.where + " " + problem.what) for problem in trouble.problems]
    if not number.is_finite():
        return 0, [Problem(where, f"an amount in {currency} can't be computed", "write it as a number")]
    sign, digits, exponent = number.as_tuple()
    shift = int(exponent) + decimals
    if shift < 0 and any(digits[shift:]):
        return 0, [Problem(where, f"{number} {currency} is finer than the currency's minor unit", "round the amount")]
    text = "".join(map(str, digits[:shift] if shift < 0 else digits)) + "0" * max(shift, 0)
    if len(text.lstrip("0")) > AMOUNT_DIGITS:
        return 0, [Problem(where, f"{number} {currency} is more than the books can hold", "mend the amount")]
    return -int(text or "0") if sign else int(text or "0"), []


def post_hand_entries(connection: duckdb.DuckDBPyConnection, hand: HandFile, first_event_no: int) -> None:
    """Add the hand entries to `event` and `posting`; the accounts must be listed already."""
    if not hand.entries:
        return
    numbers = {
        str(name): int(number) for name, number in connection.execute("SELECT name, account_no FROM account").fetchall()
    }
    wanted = sorted({link for entry in hand.entries for link in entry.order_links})
    orders = dict(
        connection.execute(
            "SELECT link, order_no FROM order_link WHERE link IN (SELECT unnest(?::VARCHAR[]))", [wanted]
        ).fetchall()
    )
    events: list[list[object]] = []
    postings: list[list[object]] = []
    for place, entry in enumerate(sorted(hand.entries, key=lambda entry: (entry.day, entry.line_number))):
        event_no = first_event_no + place
        order_no = orders.get(entry.order_links[0]) if entry.order_links else None
        day = entry.day.isoformat()
        unknown = bool(entry.order_links) and order_no is None
        note = f"no order has the link ^{entry.order_links[0]}" if unknown else None
        where = f"line {entry.line_number}" + ("" if entry.file != MAIN_FILE else f" of {MAIN_FILE}")
        events.append([event_no, where, day, order_no, entry.flagged, note, entry.narration])
        for leg, line in enumerate(entry.lines, start=1):
            postings.append(
                [event_no, leg, day, order_no, numbers[line.account], line.currency, line.amount, line.value]
            )
    connection.execute(
        """INSERT INTO event SELECT unnest(?::INTEGER[]), 'hand', NULL, unnest(?::VARCHAR[]), unnest(?::DATE[]),
           unnest(?::INTEGER[]), unnest(?::BOOLEAN[]), unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), NULL, NULL""",
        [list(column) for column in zip(*events, strict=True)],
    )
    connection.execute(
        """INSERT INTO posting SELECT unnest(?::INTEGER[]), unnest(?::SMALLINT[]), unnest(?::DATE[]), unnest(?::INTEGER[]),
           unnest(?::SMALLINT[]), unnest(?::VARCHAR[]), unnest(?::BIGINT[]), unnest(?::BIGINT[])""",
        [list(column) for column in zip(*postings, strict=True)],
    )
    connection.execute(
        """UPDATE posting SET value = CASE WHEN amount < 0 THEN -1 ELSE 1 END
               * ((2 * abs(amount)::HUGEINT * rate.base_units + rate.foreign_units) // (2 * rate.foreign_units))
           FROM (SELECT leg.event_no, leg.leg, rate.base_units, rate.foreign_units
                 FROM posting AS leg ASOF JOIN market_rate AS rate
                     ON rate.currency = leg.currency AND leg.posted_on >= rate.day
                 WHERE leg.event_no >= ? AND leg.value IS NULL) AS rate
           WHERE rate.event_no = posting.event_no AND rate.leg = posting.leg""",
        [first_event_no],
    )
