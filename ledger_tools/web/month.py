"""The month page: how the month went, where the money is, what is covered, and what stands open."""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.open_items import last_known_day, list_open_items
from ledger_tools.reports.cash_position import CashPosition, report_cash
from ledger_tools.reports.compared_totals import ComparedTotal, compare_totals
from ledger_tools.reports.item_ages import AGE_BANDS, KindAges, count_by_age
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.valued import Unvalued, base_currency, list_unvalued
from ledger_tools.status import Status, read_status
from ledger_tools.web.page import BooksPage, asked_month, known_months, month_before, month_name


@dataclass(frozen=True)
class MonthView:
    """What the month page shows, all of it as of one day; `totals` is empty where the books are."""

    month: str
    before: str
    months: tuple[str, ...]
    as_of: datetime.date | None
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
        items = list_open_items(connection, as_of)
        return MonthView(
            month_name(month),
            before,
            known_months(connection),
            as_of,
            base_currency(connection),
            totals,
            report_cash(connection, as_of),
            read_status(connection, len(items)),
            count_by_age(items),
            tuple(words for _, words in AGE_BANDS),
            list_unvalued(connection, as_of),
        )
