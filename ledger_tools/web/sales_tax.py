"""The sales tax page: sales and tax by jurisdiction, the returns that are due, and how near a threshold is."""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ledger_tools.calendar import period_name
from ledger_tools.reports.sales_tax import SalesTaxReport, report_sales_tax
from ledger_tools.reports.sales_tax_returns import TaxReturns, list_returns
from ledger_tools.reports.sales_tax_thresholds import Thresholds, report_thresholds
from ledger_tools.web.page import BooksPage, asked_period, known_months


@dataclass(frozen=True)
class SalesTaxView:
    """What the page shows."""

    period: str
    months: tuple[str, ...]
    quarters: tuple[str, ...]
    asked: str
    report: SalesTaxReport
    returns: TaxReturns
    return_periods: tuple[str, ...]
    thresholds: Thresholds


class SalesTax(BooksPage):
    """Sales tax by jurisdiction."""

    report_title = "Sales tax"
    lead = "What was collected for the tax authorities, what is due when, and where a registration may be needed."

    def view(self, connection: duckdb.DuckDBPyConnection) -> SalesTaxView:
        """The tax of the period that is looked at; returns and thresholds as far as the books go."""
        period = asked_period()
        returns = list_returns(connection, period)
        months = known_months(connection)
        quarters = dict.fromkeys(f"{month[:4]}-Q{(int(month[5:]) + 2) // 3}" for month in months)
        return SalesTaxView(
            period_name(period),
            months,
            tuple(quarters),
            "" if period.first is None else period_name(period),
            report_sales_tax(connection, period),
            returns,
            tuple(period_name(each.period) for each in returns.returns),
            report_thresholds(connection, period.last),
        )
