"""The month page: where the close stands, how the month went, where the money is, what is covered, what stands open."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.close import Signature, close_month
from ledger_tools.close_steps import BLOCKED, FROZEN, STEPS, StepResult
from ledger_tools.closed import read_closed_months
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.open_items import last_known_day
from ledger_tools.reports.cash_position import CashPosition, report_cash
from ledger_tools.reports.compared_totals import ComparedTotal, compare_totals
from ledger_tools.reports.item_ages import AGE_BANDS, KindAges, count_by_age
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.valued import Unvalued, base_currency, list_unvalued
from ledger_tools.status import Status, read_status
from ledger_tools.web.page import (
    BooksPage,
    answers_at,
    asked_month,
    known_months,
    month_before,
    month_name,
    sent_text,
    takes_json,
    tells_json,
)

#: Shops up to so many orders are built in a moment, so that the page looks through the close by itself.
_SMALL_ORDERS = 20_000


@dataclass(frozen=True)
class CloseStanding:
    """Where the close of the month stands.

    Attributes:
        closed_on, closed_by: of a closed month.
        steps: as signed off where the month is closed, else as they were looked through for this build.
        is_looked_through: whether the steps of an open month are known; finding out takes a build of the books.
        is_small: finding out takes a moment only, so the page does it by itself.
        waivable: names of blocked steps that a person may go on without.
    """

    closed_on: datetime.date | None
    closed_by: str
    steps: tuple[StepResult, ...]
    is_looked_through: bool
    is_small: bool
    waivable: tuple[str, ...]

    @property
    def is_blocked(self) -> bool:
        """Whether a step keeps the month open that nobody may waive."""
        return any(step.state == BLOCKED and step.step not in (*self.waivable, FROZEN) for step in self.steps)


@dataclass(frozen=True)
class MonthView:
    """What the month page shows, all of it as of one day; `totals` is empty where the books are."""

    month: str
    before: str
    months: tuple[str, ...]
    as_of: datetime.date | None
    close: CloseStanding
    currency: str
    totals: tuple[ComparedTotal, ...]
    cash: CashPosition
    status: Status
    ages: tuple[KindAges, ...]
    bands: tuple[str, ...]
    unvalued: tuple[Unvalued, ...]


class Month(BooksPage):
    """The month at a glance."""

    report_title = "Month"
    lead = "How the month went, where the money is, and what still needs you."

    def view(self, connection: duckdb.DuckDBPyConnection) -> MonthView:
        """The month of the time filter, else the last one known."""
        month, known = asked_month(connection), last_known_day(connection)
        as_of = min((day for day in (month.last, known) if day is not None), default=None)
        before, totals = "", tuple[ComparedTotal, ...]()
        if month.first is not None:
            other = month_before(month)
            before = month_name(other)
            totals = compare_totals(report_income(connection, month, other))
        items = self.desk.open_items(connection, as_of)
        months = known_months(connection)
        return MonthView(
            month_name(month),
            before,
            months if not months or month_name(month) in months else (month_name(month), *months),
            as_of,
            self._close_standing(connection, month_name(month)),
            base_currency(connection),
            totals,
            report_cash(connection, as_of),
            read_status(connection, len(items)),
            count_by_age(items),
            tuple(words for _, words in AGE_BANDS),
            list_unvalued(connection, as_of),
        )

    def _close_standing(self, connection: duckdb.DuckDBPyConnection, month: str) -> CloseStanding:
        for closed in read_closed_months(self.desk.folder):
            if closed.month == month:
                steps = tuple(StepResult(step.step, step.state, step.detail, (), "") for step in closed.steps)
                return CloseStanding(closed.closed_on, closed.closed_by, steps, True, True, ())
        row = connection.execute("SELECT count(*) FROM order_head").fetchone()
        report = self.desk.looked_through.get((self.desk.build_name(), month))
        steps = report.steps if report else ()
        blocked = {step.step for step in steps if step.state == BLOCKED}
        waivable = tuple(step.name for step in STEPS if step.can_be_waived and step.name in blocked)
        return CloseStanding(None, "", steps, report is not None, row is None or row[0] <= _SMALL_ORDERS, waivable)

    @answers_at("steps")
    @tells_json
    def steps(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Look through the steps of the close of a month, and change nothing."""
        desk, month = self.desk, str(asked.get("month", ""))
        build = desk.build_name()
        signature = Signature(desk.person or "nobody yet", desk.today(), {})
        report = close_month(desk.folder, month, signature, desk.stage.tell, dry_run=True)
        desk.looked_through = {(build, month): report}
        return {"message": "", "go": self.page_link(self.name, time=month)}

    @answers_at("close", "POST")
    @takes_json
    def close(self, sent: Mapping[str, Any]) -> dict[str, Any]:
        """Close the month as the command does, unless a step is blocked."""
        desk, month = self.desk, sent_text(sent, "month", needed="choose a month")
        waived = [step.name for step in STEPS if sent.get(f"waive-{step.name}")]
        reason = sent_text(sent, "reason", needed="say why the steps are waived") if waived else ""
        signature = Signature(sent_text(sent, "by") or desk.person, desk.today(), dict.fromkeys(waived, reason))
        report = close_month(desk.folder, month, signature, desk.stage.tell)
        if report.is_blocked:
            raise LedgerError(
                [
                    Problem(f"{month}, {step.step}", step.detail, step.next_step)
                    for step in report.steps
                    if step.state == BLOCKED
                ]
            )
        told = f"{month} is closed. What arrives late for it is posted in the next month."
        return {"message": told, "go": self.page_link(self.name, time=month)}
