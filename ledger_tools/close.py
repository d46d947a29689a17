"""Closing and opening months: the steps are looked through, month-end entries posted, and the month frozen.

A close builds the books anew, posts the month's month-end entries on them and looks through the steps. If none is
blocked, the month's postings, journal and record go to `closed/` in the same swap as the rebuilt books: all of it or
nothing. Months are closed in order, and opened again from the last one backwards.
"""

from __future__ import annotations

import datetime
import hashlib
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from ledger_tools.archive import (
    archived_exports,
    carry_out,
    fresh_staging,
    input_files,
    lock_books,
    move_files,
    rebuild,
    stamp_of,
    swap_in,
)
from ledger_tools.build import read_inputs
from ledger_tools.calendar import Period, parse_month
from ledger_tools.close_steps import BLOCKED, DONE, FROZEN, STEPS, StepResult, look_through, month_to_close
from ledger_tools.closed import (
    REOPENED,
    ClosedMonth,
    Reopening,
    SignedStep,
    digest_of,
    reopening_text,
)
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.journal import list_months, render_month, render_month_end
from ledger_tools.money import format_amount
from ledger_tools.posting.month_end import list_month_end_entries, post_month_end_entries
from ledger_tools.posting.prior_periods import write_frozen_postings

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.build import Inputs
    from ledger_tools.folder import BooksFolder

Progress = Callable[[str], None]

#: The files of a closed month: its record, its postings, its journal.
_SUFFIXES = (".toml", ".csv", ".beancount")


@dataclass(frozen=True)
class CloseReport:
    """What a close did, or what it waits for; `entries` is the journal text of the month-end entries."""

    month: str
    closed: bool
    steps: tuple[StepResult, ...]
    entries: str

    @property
    def is_blocked(self) -> bool:
        """Whether a step keeps the month open."""
        return any(step.state == BLOCKED for step in self.steps)


@dataclass(frozen=True)
class Signature:
    """Who closes, on which day, and which steps they waive for what reason."""

    by: str
    on: datetime.date
    waived: Mapping[str, str]


def close_month(
    folder: BooksFolder, month: str, signature: Signature, progress: Progress, *, dry_run: bool = False
) -> CloseReport:
    """Close a month of the books, unless a step is blocked.

    Raises:
        LedgerError: it isn't the next month to close, a step is named that can't be waived, or the books can't be built.
    """
    return close_months(folder, {month: signature}, progress, dry_run=dry_run)[0]


def close_months(
    folder: BooksFolder, months: Mapping[str, Signature], progress: Progress, *, dry_run: bool = False
) -> list[CloseReport]:
    """Close months, one after the other on one build, up to the first that is blocked; as `close_month`."""
    for signature in months.values():
        _check_waived(signature.waived)
    with lock_books(folder):
        carry_out(folder)
        stamp = stamp_of(input_files(folder), {})
        inputs = read_inputs(folder)
        staging = fresh_staging(folder)
        connection, _ = rebuild(folder, inputs, staging, archived_exports(folder), progress)
        reports: list[CloseReport] = []
        frozen: list[ClosedMonth] = []
        try:
            for month, signature in months.items():
                period = _next_to_close(connection, inputs, month)
                progress(f"month-end entries of {month}")
                reports.append(_look(connection, inputs, month, period, signature))
                if reports[-1].is_blocked or dry_run:
                    break
                frozen.append(_freeze(connection, inputs, period, reports[-1], signature, staging))
                inputs = replace(inputs, closed=(*inputs.closed, frozen[-1]))
                reports[-1] = replace(reports[-1], closed=True)
            if frozen:
                aside = [
                    (staging / f"{closed.month}{suffix}", folder.closed / f"{closed.month}{suffix}")
                    for closed in frozen
                    for suffix in _SUFFIXES
                ]
                swap_in(folder, inputs, staging, connection, [], stamp, progress, with_journal=True, aside=aside)
        finally:
            connection.close()
    return reports


def _check_waived(waived: Mapping[str, str]) -> None:
    allowed = [step.name for step in STEPS if step.can_be_waived]
    problems = [
        Problem(f"step {name!r}", "can't be waived", f"steps that can be waived are {', '.join(allowed)}")
        for name in waived
        if name not in allowed
    ]
    if problems:
        raise LedgerError(problems)


def _next_to_close(connection: duckdb.DuckDBPyConnection, inputs: Inputs, month: str) -> Period:
    """The month as a period.

    Raises:
        LedgerError: it is closed, holds nothing, or an earlier one comes first.
    """
    period = parse_month(month)
    months = list_months(connection) or _months_by_hand(connection)
    if any(closed.month == month for closed in inputs.closed):
        reopen = f"to change it: ledger-tools reopen {month} --reason TEXT"
        raise LedgerError(Problem(f"month {month}", "is closed already", reopen))
    if inputs.closed:
        following = (inputs.closed[-1].last_day + datetime.timedelta(days=1)).strftime("%Y-%m")
    elif months:
        following = months[0]
    else:
        raise LedgerError(Problem(f"month {month}", "holds nothing", "import exports first: ledger-tools import FILE"))
    if month != following:
        raise LedgerError(
            Problem(
                f"month {month}",
                f"is not the next to close: that is {following}",
                f"close months in order: ledger-tools close {following}",
            )
        )
    return period


def _months_by_hand(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Months of hand entries; they count only in books that hold nothing else, as opening balances begin no month."""
    rows = connection.execute("SELECT DISTINCT strftime(posted_on, '%Y-%m') FROM event ORDER BY 1").fetchall()
    return [str(row[0]) for row in rows]


def _look(
    connection: duckdb.DuckDBPyConnection, inputs: Inputs, month: str, period: Period, signature: Signature
) -> CloseReport:
    settings = inputs.settings
    assert period.last is not None
    cut_off = list_month_end_entries(connection, period.last, settings.currency, settings.recognise)
    post_month_end_entries(connection)
    steps = look_through(month_to_close(connection, settings, month, period, cut_off), signature.waived)
    blocked = [step.step for step in steps if step.state == BLOCKED]
    if blocked:
        last = StepResult(
            FROZEN, BLOCKED, f"waits for {', '.join(blocked)}", (), "clear the steps above, then close again"
        )
    else:
        last = StepResult(FROZEN, DONE, "journal, postings and trial balance are kept in closed/", (), "")
    return CloseReport(month, False, (*steps, last), render_month_end(connection, settings.currency, month))


def _freeze(
    connection: duckdb.DuckDBPyConnection, inputs: Inputs, period: Period, report: CloseReport, signature: Signature,
    staging: Path,
) -> ClosedMonth:  # fmt: skip
    """Write the month's record, postings and journal into `staging`."""
    settings, month = inputs.settings, report.month
    assert period.last is not None
    postings = staging / f"{month}.csv"
    write_frozen_postings(connection, (period.first if inputs.closed else None, period.last), str(postings))
    journal = render_month(connection, month, settings.detail, settings.currency)
    rows = connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE posted_on <= ? GROUP BY account_no, account.name, currency HAVING sum(amount) <> 0
           ORDER BY account.name, currency""",
        [period.last],
    ).fetchall()
    frozen = ClosedMonth(
        month, signature.on, signature.by, digest_of(journal), hashlib.sha256(postings.read_bytes()).hexdigest(),
        tuple(SignedStep(step.step, step.state, step.detail) for step in report.steps),
        tuple((name, currency, format_amount(amount, currency)) for name, currency, amount in rows), journal, postings,
    )  # fmt: skip
    (staging / f"{month}.beancount").write_text(journal, encoding="utf-8", newline="\n")
    (staging / f"{month}.toml").write_text(frozen.record_text(), encoding="utf-8", newline="\n")
    connection.execute(
        "INSERT INTO closed_month VALUES (?, ?, ?, ?)",
        [month, period.last.isoformat(), signature.on.isoformat(), signature.by],
    )
    return frozen


def reopen_month(folder: BooksFolder, reopening: Reopening, progress: Progress) -> None:
    """Open the last closed month again; its freeze and the reason are kept in `closed/reopened/`.

    The rebuilt books come in the same swap. Where they can't be built, the month is open all the same, since what is in
    the way may be another damaged freeze.

    Raises:
        LedgerError: it isn't closed, or a later month is; or the books can't be built.
    """
    with lock_books(folder):
        carry_out(folder)
        stamp = stamp_of(input_files(folder), {})
        # by the names of the records alone: a freeze that is damaged can be opened, too
        closed = sorted(file.stem for file in folder.closed.glob("*.toml"))
        month = reopening.month
        parse_month(month)
        if month not in closed:
            through = f"the books are closed through {closed[-1]}" if closed else "no month is closed"
            raise LedgerError(Problem(f"month {month}", "is not closed", through))
        if month != closed[-1]:
            later = f"ledger-tools reopen {closed[-1]} --reason TEXT"
            raise LedgerError(
                Problem(f"month {month}", f"{closed[-1]} after it is closed", f"open that one first: {later}")
            )
        kept = folder.closed / REOPENED
        number = 1 + len(list(kept.glob(f"{month}.*.reason.toml")))
        staging = fresh_staging(folder)
        reason = staging / "reason.toml"
        reason.write_text(reopening_text(reopening), encoding="utf-8", newline="\n")
        given_up = [(reason, kept / f"{month}.{number}.reason.toml")]
        given_up += [
            (folder.closed / f"{month}{suffix}", kept / f"{month}.{number}{suffix}")
            for suffix in _SUFFIXES
            if (folder.closed / f"{month}{suffix}").is_file()
        ]
        try:
            inputs = read_inputs(folder, but_month=month)
            connection, _ = rebuild(folder, inputs, staging, archived_exports(folder), progress)
        except LedgerError:
            move_files(folder, given_up)
            raise
        swap_in(folder, inputs, staging, connection, [], stamp, progress, with_journal=True, given_up=given_up)
