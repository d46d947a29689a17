"""What a reconciliation holds, as values: differences and what makes them up, both sides of an account, control accounts.

Made by `reconciliation`, shown by the command line, the packet and the web view; nothing is computed by whoever shows
it. Amounts are minor units of the account's currency, debit positive, so a card or a loan is negative where it is
owed. A difference is stated less books.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any

from ledger_tools.money import format_amount
from ledger_tools.stated_balances import CLOSING, OPENING


@dataclass(frozen=True)
class Cause:
    """One kind of what makes up a difference.

    Attributes:
        name: its name in every output.
        means: what it says, in words.
        is_found: it explains; what is merely left over does not.
    """

    name: str
    means: str
    is_found: bool = True


#: Common practice for what a difference can be; the order is the one in which they are told.
CAUSES: tuple[Cause, ...] = (
    Cause("timing", "both have it, on different days"),
    Cause("missing", "an event that the books should hold and do not"),
    Cause("extra", "an event that the books hold and the statement does not, or hold twice"),
    Cause("amount", "an event whose amount is not the stated one"),
    Cause("accepted", "accepted by a person as an error of who states it"),
    Cause("unknown", "nothing explains it", is_found=False),
)
CAUSE_NAMES = {cause.name: cause for cause in CAUSES}

#: Last day of each age bucket but the open one (common practice: a week, then 30, 60 and 90 days).
AGE_BOUNDS = (7, 30, 60, 90)


def age_bucket(age_days: int) -> str:
    """The bucket of an age: `0-7`, `8-30`, `31-60`, `61-90`, `over 90`."""
    first = 0
    for last in AGE_BOUNDS:
        if age_days <= last:
            return f"{first}-{last}"
        first = last + 1
    return f"over {AGE_BOUNDS[-1]}"


@dataclass(frozen=True)
class Explanation:
    """One part of a difference and what makes it up.

    Attributes:
        kind: name of its `Cause`.
        amount: the part of the difference, stated less books.
        after: the last stated day without it; None where it stands from the first stated day on.
        by: the first stated day that has it: it arose after `after` and by this day.
        event_ids: events that make up the part exactly; none where it is unknown.
        what: in words, with what to look at.
    """

    kind: str
    amount: int
    after: datetime.date | None
    by: datetime.date
    event_ids: tuple[str, ...]
    what: str

    @property
    def arose(self) -> str:
        """When the difference arose, in words."""
        if self.after is None:
            return f"on or before {self.by}"
        return f"between {self.after} and {self.by}"


@dataclass(frozen=True)
class Reconciled:
    """One account and currency.

    Attributes:
        stated_on: the day of the stated balance, None where none is stated.
        stated_by: `statement`, `running balance` or `settings`.
        explanations: what makes up the difference; together they are the whole of it.
        remaining: what the account's two sides still differ by (`Sides.remaining`).
    """

    account: str
    source: str | None
    currency: str
    stated_on: datetime.date | None
    stated_by: str | None
    stated: int | None
    books: int
    explanations: tuple[Explanation, ...] = ()
    remaining: int = 0

    @property
    def difference(self) -> int | None:
        """Stated less books; None where nothing is stated."""
        return None if self.stated is None else self.stated - self.books

    @property
    def is_accepted(self) -> bool:
        """Whether a person has accepted the whole of the difference, where there is one."""
        return all(part.kind == "accepted" for part in self.explanations)

    @property
    def explained_by(self) -> tuple[str, ...]:
        """Ids of the events that make up the difference, empty where there is none or nothing does."""
        return tuple(event_id for part in self.explanations for event_id in part.event_ids)

    @property
    def disagrees(self) -> bool:
        """Whether the stated balance is not the books', or the two sides do not lead to one balance."""
        return bool(self.difference or self.remaining)

    @property
    def unexplained(self) -> int:
        """What nothing explains, which is what remains between the two sides."""
        return self.remaining

    @property
    def is_unexplained(self) -> bool:
        """Whether anything remains between the sides, or stands that nothing explains; two that cancel are two."""
        return self.remaining != 0 or any(not CAUSE_NAMES[part.kind].is_found for part in self.explanations)


@dataclass(frozen=True)
class SideLine:
    """One reconciling item on one side of an account.

    Attributes:
        heading: what kind of item it is: one of `STATEMENT_HEADINGS` or `BOOK_HEADINGS`.
        name: source and event id, or what else names it.
        amount: what it adds to its side.
        what: a remark in words, may be empty.
    """

    heading: str
    day: datetime.date
    age_days: int
    name: str
    event_id: str | None
    amount: int
    what: str = ""


DEPOSITS, OUTSTANDING, ERRORS = "deposits in transit", "outstanding", "errors on the statement"
NOT_BOOKED, OTHER_AMOUNT, DIFFERENCES = "not yet booked", "recorded with another amount", "differences found"
STATEMENT_HEADINGS = (DEPOSITS, OUTSTANDING, ERRORS)
BOOK_HEADINGS = (NOT_BOOKED, OTHER_AMOUNT, DIFFERENCES)


@dataclass(frozen=True)
class Sides:
    """The two sides of one account's reconciliation (common practice: both must give one adjusted balance).

    Attributes:
        kind: `bank`, `card`, `processor` or `wallet`.
        statement: the stated balance of the day.
        statement_lines: what is under way to or from the account, and accepted errors of who states it.
        books: the books' balance with what they hold as under way, without what only the statement told them.
        book_lines: what the statement told and nobody has booked yet, and differences found.
    """

    account: str
    source: str
    kind: str
    currency: str
    on: datetime.date
    statement: int
    statement_lines: tuple[SideLine, ...]
    books: int
    book_lines: tuple[SideLine, ...]

    @property
    def adjusted_statement(self) -> int:
        """The statement's balance once everything under way has arrived and errors are put right."""
        return self.statement + sum(line.amount for line in self.statement_lines)

    @property
    def adjusted_books(self) -> int:
        """The books' balance once everything that the statement tells is booked."""
        return self.books + sum(line.amount for line in self.book_lines)

    @property
    def remaining(self) -> int:
        """What the adjusted sides still differ by; zero where they agree."""
        return self.adjusted_statement - self.adjusted_books


@dataclass(frozen=True)
class ControlItem:
    """One thing that a control account holds; `amount` is its part of the balance."""

    day: datetime.date
    age_days: int
    name: str
    order_id: str | None
    event_id: str | None
    amount: int
    what: str


@dataclass(frozen=True)
class Control:
    """A control account of one currency: its balance, and the items that it is the sum of, oldest first."""

    account: str
    role: str
    currency: str
    balance: int
    items: tuple[ControlItem, ...]

    @property
    def buckets(self) -> tuple[tuple[str, int], ...]:
        """Sum of the items by age, all buckets in order."""
        names = [age_bucket(age) for age in (0, *(bound + 1 for bound in AGE_BOUNDS))]
        return tuple(
            (name, sum(item.amount for item in self.items if age_bucket(item.age_days) == name)) for name in names
        )


@dataclass(frozen=True)
class Disagreement:
    """Two balances stated for one day that are not the same; `used` is the one that counts."""

    account: str
    currency: str
    on: datetime.date
    used: int
    used_by: str
    other: int
    other_by: str

    @property
    def breaks_chain(self) -> bool:
        """Whether a statement closes with another balance than the next one opens with: lines may lie between."""
        return (self.used_by, self.other_by) == (CLOSING, OPENING)

    @property
    def asks(self) -> str:
        """What the one says and what the other, and what to do."""
        used, other = (f"{format_amount(amount, self.currency)} {self.currency}" for amount in (self.used, self.other))
        said = f"{used} ({self.used_by}) and {other} ({self.other_by}) are stated for {self.on}"
        return f"{said}: export the days around it again"


@dataclass(frozen=True)
class Reconciliation:
    """All balance-sheet controls as of a day."""

    as_of: datetime.date | None
    currency: str
    accounts: tuple[Reconciled, ...] = ()
    sides: tuple[Sides, ...] = ()
    controls: tuple[Control, ...] = ()
    disagreements: tuple[Disagreement, ...] = ()

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it, and below its own keys what makes up each figure."""
        return {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            "accounts": [
                {
                    "account": row.account,
                    "currency": row.currency,
                    "stated": _text(row.stated, row.currency),
                    "books": _text(row.books, row.currency),
                    "difference": _text(row.difference, row.currency),
                    "explained_by": list(row.explained_by),
                }
                for row in self.accounts
            ],
            "differences": [
                {
                    "account": row.account,
                    "currency": row.currency,
                    "kind": part.kind,
                    "amount": _text(part.amount, row.currency),
                    "after": part.after.isoformat() if part.after else None,
                    "by": part.by.isoformat(),
                    "events": list(part.event_ids),
                    "what": part.what,
                }
                for row in self.accounts
                for part in row.explanations
            ],
            "sides": [_sides_json(sides) for sides in self.sides],
            "controls": [_control_json(control) for control in self.controls],
            "disagreements": [
                {
                    "account": each.account,
                    "currency": each.currency,
                    "on": each.on.isoformat(),
                    "used": _text(each.used, each.currency),
                    "used_by": each.used_by,
                    "other": _text(each.other, each.currency),
                    "other_by": each.other_by,
                }
                for each in self.disagreements
            ],
        }


def _text(amount: int | None, currency: str) -> str | None:
    return None if amount is None else format_amount(amount, currency)


def _sides_json(sides: Sides) -> dict[str, Any]:
    def lines(several: tuple[SideLine, ...]) -> list[dict[str, Any]]:
        return [
            {
                "heading": line.heading,
                "date": line.day.isoformat(),
                "age_days": line.age_days,
                "name": line.name,
                "event_id": line.event_id,
                "amount": _text(line.amount, sides.currency),
                "what": line.what,
            }
            for line in several
        ]

    return {
        "account": sides.account,
        "source": sides.source,
        "kind": sides.kind,
        "currency": sides.currency,
        "on": sides.on.isoformat(),
        "statement": {
            "balance": _text(sides.statement, sides.currency),
            "items": lines(sides.statement_lines),
            "adjusted": _text(sides.adjusted_statement, sides.currency),
        },
        "books": {
            "balance": _text(sides.books, sides.currency),
            "items": lines(sides.book_lines),
            "adjusted": _text(sides.adjusted_books, sides.currency),
        },
        "remaining": _text(sides.remaining, sides.currency),
    }


def _control_json(control: Control) -> dict[str, Any]:
    return {
        "account": control.account,
        "currency": control.currency,
        "balance": _text(control.balance, control.currency),
        "ages": {name: _text(amount, control.currency) for name, amount in control.buckets},
        "items": [
            {
                "date": item.day.isoformat(),
                "age_days": item.age_days,
                "name": item.name,
                "order_id": item.order_id,
                "event_id": item.event_id,
                "amount": _text(item.amount, control.currency),
                "what": item.what,
            }
            for item in control.items
        ],
    }
