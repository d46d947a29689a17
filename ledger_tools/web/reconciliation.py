"""The reconciliation page: each stated balance against the books, what makes up a difference, and both sides."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.open_items import last_known_day
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.reconciliation_form import Reconciliation
from ledger_tools.web.page import BooksPage, asked_period, known_months


@dataclass(frozen=True)
class ReconciliationView:
    """What the page shows; `month` is the one that its day ends, empty for all that is known."""

    report: Reconciliation
    months: tuple[str, ...]
    month: str
    stated: int
    differing: int
    unexplained: int


class Reconcile(BooksPage):
    """Stated balances against the books."""

    report_title = "Reconciliation"
    lead = "What the statements say, what the books say, and what makes up the difference."

    def view(self, connection: duckdb.DuckDBPyConnection) -> ReconciliationView:
        """The balances at the end of the period that is looked at, else as far as the books go."""
        period, known = asked_period(), last_known_day(connection)
        as_of: datetime.date | None = None if period.last is None else min(period.last, known or period.last)
        report = report_reconciliation(connection, as_of)
        return ReconciliationView(
            report,
            known_months(connection),
            f"{period.last:%Y-%m}" if period.last else "",
            sum(1 for row in report.accounts if row.stated is not None),
            sum(1 for row in report.accounts if row.disagrees),
            sum(1 for row in report.accounts if row.is_unexplained),
        )
