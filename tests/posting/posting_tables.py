"""Reads the posting tables beside it: what happened, and the entry that a bookkeeper expects of it.

A table is a text file of cases. A case begins with `== what it shows`. Then come records, one a line:

    order 1001 2031-04-02 60.00 quantity=2 unit_price=30.00
    processor charge ch-1 2031-04-02 gross=60.00 fee=2.00 net=58.00 order_ref=1001
    wallet charge w-1 2031-04-03 20.00 order_ref=1001 production=15.00 shipping=5.00
    bank 2031-04-05 -200.00 "WALLET TOP-UP W-9"

and the entries that they post: `--` with day, event and `!` where it is flagged, then `Dr` and `Cr` lines in USD, or with
a currency and the total price. A record whose line begins with `given` is there for the others' sake; its entry is not
looked at. A bank line's event is its day, amount in cents and ordinal, such as 20310405:-20000:1.
"""

import shlex
from dataclasses import dataclass, field
from pathlib import Path

from kept_books import Books, Entry, bank, order, processor, wallet


@dataclass
class Case:
    """One case: its records by kind and the expected lines of each (day, event, flag)."""

    title: str
    records: dict[str, list[dict[str, object]]] = field(default_factory=dict)
    given: set[str] = field(default_factory=set)
    events: set[str] = field(default_factory=set)
    expected: dict[tuple[str, str, str], list[str]] = field(default_factory=dict)


def _amount_in_cents(text: str) -> int:
    sign = -1 if text.startswith("-") else 1
    whole, _, cents = text.lstrip("-").partition(".")
    return sign * (int(whole) * 100 + int(cents or "0"))


def _read_record(case: Case, words: list[str], is_given: bool) -> None:
    kind, *rest = words
    fields: dict[str, object] = dict(word.split("=", 1) for word in rest if "=" in word)
    plain = [word for word in rest if "=" not in word]
    if kind == "order":
        event, row = plain[0], order(*plain, **fields)  # type: ignore[arg-type]
    elif kind == "line":
        kind, event, row = "order", plain[0], {"order_id": plain[0], **fields}
        row = {**case.records["order"][-1], **dict.fromkeys(("line_discount",), ""), **row}
    elif kind == "processor":
        word, event, day = plain
        row = processor(event, word, day, str(fields.pop("gross")), str(fields.pop("net")), **fields)
    elif kind == "wallet":
        word, event, day, total = plain
        row = wallet(event, word, day, total, **fields)
    else:
        day, amount, memo = plain
        event, row = f"{day.replace('-', '')}:{_amount_in_cents(amount)}:1", bank(day, amount, memo, **fields)
    case.records.setdefault(kind, []).append(row)
    (case.given if is_given else case.events).add(event)


def read_cases(file: Path) -> list[Case]:
    """Every case of a table, in its order."""
    cases: list[Case] = []
    lines: list[str] = []
    for text in file.read_text(encoding="utf-8").splitlines():
        if text.startswith("== "):
            cases.append(Case(text[3:].strip()))
        elif text.startswith("-- "):
            day, event, *flag = shlex.split(text[3:])
            lines = cases[-1].expected.setdefault((day, event, "!" if flag else "*"), [])
        elif text.startswith(("Dr ", "Cr ")):
            lines.append(" ".join(text.split()))
        elif text.strip() and not text.startswith("#"):
            words = shlex.split(text)
            is_given = words[0] == "given"
            _read_record(cases[-1], words[is_given:], is_given)
    return cases


def line_text(line: tuple[str, str, str, str]) -> str:
    """A posting as the tables write it."""
    account, amount, currency, price = line
    side = "Cr" if amount.startswith("-") else "Dr"
    worth = f" {currency} @@ {price}" if price else ("" if currency == "USD" else f" {currency}")
    return f"{side} {account} {amount.lstrip('-')}{worth}"


def posted(entries: list[Entry], case: Case) -> dict[tuple[str, str, str], list[str]]:
    """What the journal holds of a case's own events, in the tables' own form."""
    wanted = case.events | {event for _, event, _ in case.expected}
    return {
        (entry.day, entry.event, entry.flag): sorted(map(line_text, entry.lines))
        for entry in entries
        if entry.event in wanted and entry.event not in case.given
    }


def books_of(cases: list[Case], place: Path, more: str) -> Books:
    """One set of books that holds the records of all cases."""
    books = Books(place, more)
    for word, kind in (("order", "orders"), ("processor", "processor"), ("wallet", "wallet"), ("bank", "bank")):
        rows = [row for case in cases for row in case.records.get(word, [])]
        if rows:
            books.put(**{kind: rows})
    return books
