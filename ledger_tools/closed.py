"""Closed months as they were frozen: `closed/<month>.toml`, with the month's postings (.csv) and journal (.beancount).

They are an input of the books like exports and decisions: a build takes a closed month's journal from here and posts
what has become different since as prior-period entries. The record's last line is a digest of all lines above it and
names those of the other two files, so that a changed byte shows. Amounts in the record are decimals, those in the
postings are minor units.
"""

from __future__ import annotations

import datetime
import hashlib
import json
import tomllib
from dataclasses import dataclass
from pathlib import Path

from ledger_tools.calendar import month_end, parse_month
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import BooksFolder

_DIGEST_LINE = "# digest: "

#: Folder below `closed/` that keeps the freezes of months that were opened again.
REOPENED = "reopened"


@dataclass(frozen=True)
class SignedStep:
    """One step of the close as it was signed off; `state` is done or waived."""

    step: str
    state: str
    detail: str


@dataclass(frozen=True)
class Reopening:
    """That a month was opened again: when, by whom and why."""

    month: str
    on: datetime.date
    by: str
    reason: str


@dataclass(frozen=True)
class ClosedMonth:
    """One month's freeze.

    Attributes:
        month: such as "2031-04".
        journal: text of the month's journal file.
        postings: CSV of every posting dated in it, hand entries included (the first closed month has all before it, too).
        trial_balance: (account, currency, amount as decimal text, debit positive) at the month's end.
        journal_digest, postings_digest: SHA-256 of the two as they were frozen.
        is_intact: whether the record still has the digest on its last line.
    """

    month: str
    closed_on: datetime.date
    closed_by: str
    journal_digest: str
    postings_digest: str
    steps: tuple[SignedStep, ...]
    trial_balance: tuple[tuple[str, str, str], ...]
    journal: str
    postings: Path
    is_intact: bool = True

    @property
    def last_day(self) -> datetime.date:
        """The month's last day."""
        return last_day_of(self.month)

    def record_text(self) -> str:
        """Text of the record, digest included."""
        lines = [
            f"# The books of {self.month} as they were closed. Don't edit: check compares every byte. To open the month again:",
            f"# ledger-tools reopen {self.month} --reason TEXT",
            f'month = "{self.month}"',
            f"closed_on = {self.closed_on.isoformat()}",
            f"closed_by = {_toml_text(self.closed_by)}",
            f'journal = "{self.journal_digest}"',
            f'postings = "{self.postings_digest}"',
            "",
            "trial_balance = [ # account, currency, balance; debit positive",
            *(f'    ["{account}", "{currency}", "{amount}"],' for account, currency, amount in self.trial_balance),
            "]",
        ]
        for step in self.steps:
            lines += ["", "[[step]]", f'step = "{step.step}"', f'state = "{step.state}"']
            lines.append(f"detail = {_toml_text(step.detail)}")
        body = "\n".join(lines) + "\n"
        return body + _DIGEST_LINE + digest_of(body) + "\n"


def last_day_of(month: str) -> datetime.date:
    """The last day of a month such as "2031-04"."""
    return month_end(datetime.date(int(month[:4]), int(month[5:]), 1))


def digest_of(text: str) -> str:
    """SHA-256 of a text in UTF-8."""
    return hashlib.sha256(text.encode("utf-8")).hexdigest()


def _toml_text(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def read_closed_months(folder: BooksFolder, *, but: str | None = None) -> tuple[ClosedMonth, ...]:
    """The closed months of a books folder, earliest first, without the one that is named.

    Raises:
        LedgerError: a record can't be read, a file of it is missing, or the closed months have a hole between them.
    """
    months: list[ClosedMonth] = []
    problems: list[Problem] = []
    for file in sorted(folder.closed.glob("*.toml")):
        if file.stem == but:
            continue
        try:
            months.append(_read_month(file))
        except LedgerError as trouble:
            problems.extend(trouble.problems)
    for earlier, later in zip(months, months[1:], strict=False):
        expected = (earlier.last_day + datetime.timedelta(days=1)).strftime("%Y-%m")
        if later.month != expected and not problems:
            problems.append(
                Problem(
                    f"closed/{later.month}.toml",
                    f"{expected}, the month before it that follows {earlier.month}, is not there",
                    "put the file back; months are opened again with: ledger-tools reopen MONTH --reason TEXT",
                )
            )
    if problems:
        raise LedgerError(problems)
    return tuple(months)


def _read_month(file: Path) -> ClosedMonth:
    where = f"closed/{file.name}"
    restore = (
        "put the file back as it was, from a copy of the books, or open the month again: "
        f"ledger-tools reopen {file.stem} --reason TEXT"
    )
    try:
        text = file.read_text(encoding="utf-8")
        body, mark, digest = text.rpartition(_DIGEST_LINE)
        raw = tomllib.loads(text)
        parse_month(raw["month"])
        journal_file, postings = file.with_suffix(".beancount"), file.with_suffix(".csv")
        missing = [name for name in (journal_file, postings) if not name.is_file()]
        if missing:
            raise LedgerError(Problem(f"closed/{missing[0].name}", "is missing", restore))
        if raw["month"] != file.stem:
            raise LedgerError(Problem(f"{where}, month", f"found {raw['month']!r}, expected {file.stem!r}", restore))
        return ClosedMonth(
            raw["month"], raw["closed_on"], raw["closed_by"], raw["journal"], raw["postings"],
            tuple(SignedStep(step["step"], step["state"], step["detail"]) for step in raw.get("step", [])),
            tuple((str(row[0]), str(row[1]), str(row[2])) for row in raw["trial_balance"]),
            journal_file.read_text(encoding="utf-8"), postings, bool(mark) and digest_of(body) == digest.strip(),
        )  # fmt: skip
    except (ValueError, KeyError, TypeError, IndexError, AttributeError, RecursionError) as trouble:
        raise LedgerError(Problem(where, f"is not the record of a closed month ({trouble})", restore)) from None


def reopening_text(reopening: Reopening) -> str:
    """What is kept of a reopening, as TOML."""
    return (
        f'month = "{reopening.month}"\non = {reopening.on.isoformat()}\n'
        f"by = {_toml_text(reopening.by)}\nreason = {_toml_text(reopening.reason)}\n"
    )


def read_reopenings(folder: BooksFolder) -> tuple[Reopening, ...]:
    """Every reopening of a closed month, in the order in which they happened.

    Raises:
        LedgerError: one can't be read.
    """
    found: list[tuple[tuple[str, int], Reopening]] = []
    for file in (folder.closed / REOPENED).glob("*.reason.toml"):
        try:
            raw = tomllib.loads(file.read_text(encoding="utf-8"))
            month, _, number = file.name.removesuffix(".reason.toml").rpartition(".")
            found.append(((month, int(number)), Reopening(raw["month"], raw["on"], raw["by"], raw["reason"])))
        except (ValueError, KeyError) as trouble:
            where = f"closed/{REOPENED}/{file.name}"
            raise LedgerError(Problem(where, f"is not the record of a reopening ({trouble})", "put it back")) from None
    return tuple(reopening for _, reopening in sorted(found, key=lambda pair: (pair[1].on, *pair[0])))
