"""The sales tax report: what was sold into each jurisdiction, collected, given back, paid over, and is owed.

Amounts are minor units of the base currency. Sales are items less discounts, with shipping, less what was returned in the
period; without tax, tips and gift cards sold. They are taxable where the shop collected tax on the order, else exempt;
what a marketplace collects the tax of stands apart and in neither. `due` is collected less refunded, `owed` the liability
account at the period's end, positive where the shop owes. What people entered beside is `adjusted`,
exchange differences of a foreign balance at a month's end are `revalued`; both are positive where they add.
"""

from __future__ import annotations

import datetime
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount
from ledger_tools.reports.sales_tax_entries import DayOfTax, last_day, list_days, tax_settings
from ledger_tools.reports.valued import base_currency


@dataclass(frozen=True)
class TaxFigures:
    """The figures of one jurisdiction, or of all."""

    taxable_sales: int = 0
    exempt_sales: int = 0
    marketplace_sales: int = 0
    collected: int = 0
    refunded: int = 0
    remitted: int = 0
    adjusted: int = 0
    revalued: int = 0
    owed: int = 0

    @property
    def gross_sales(self) -> int:
        """All sales, whoever collects their tax."""
        return self.taxable_sales + self.exempt_sales + self.marketplace_sales

    @property
    def due(self) -> int:
        """What the period's return asks for, before any allowance and adjustment."""
        return self.collected - self.refunded

    def as_json(self, currency: str, beside: Sequence[str] = ()) -> dict[str, str]:
        """The figures as the interface fixes them, then those of `BESIDE` that are named."""
        return {name: format_amount(getattr(self, name), currency) for name in (*FIGURE_NAMES, *beside)}


#: Figures of the report in their fixed order.
FIGURE_NAMES = (
    "gross_sales", "taxable_sales", "exempt_sales", "collected", "refunded", "due", "remitted", "owed", "marketplace_sales",
)  # fmt: skip

#: Figures that stand in a report only where any jurisdiction has them.
BESIDE = ("adjusted", "revalued")


def add_tax_figures(figures: Iterable[TaxFigures]) -> TaxFigures:
    """Figure by figure sum."""
    given = list(figures)
    return TaxFigures(*(sum(getattr(each, field.name) for each in given) for field in fields(TaxFigures)))


@dataclass(frozen=True)
class TaxRow:
    """One jurisdiction; `is_registered` says that the settings hold a registration that has begun."""

    jurisdiction: str
    figures: TaxFigures
    is_registered: bool


@dataclass(frozen=True)
class SalesTaxReport:
    """Sales and tax of a period by jurisdiction, in the order of their names; those with nothing to tell are left out."""

    period: Period
    currency: str
    rows: tuple[TaxRow, ...]

    @property
    def totals(self) -> TaxFigures:
        """All jurisdictions together."""
        return add_tax_figures(row.figures for row in self.rows)

    @property
    def beside(self) -> tuple[str, ...]:
        """Which of `BESIDE` any row has."""
        return tuple(name for name in BESIDE if any(getattr(row.figures, name) for row in self.rows))

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it; all rows have the same keys."""
        beside = self.beside
        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "jurisdictions": [
                {"jurisdiction": row.jurisdiction, **row.figures.as_json(self.currency, beside)} for row in self.rows
            ],
            "totals": self.totals.as_json(self.currency, beside),
        }


def report_sales_tax(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> SalesTaxReport:
    """Sales and tax by jurisdiction: those with sales or movements in the period, a balance at its end, or a registration."""
    settings = tax_settings(connection)
    last = last_day(period, as_of)
    figures = figures_between(connection, period.first, last)
    registered = {entry.jurisdiction for entry in settings.registration if last is None or entry.since <= last}
    rows = (
        TaxRow(place, figures.get(place, TaxFigures()), place in registered)
        for place in sorted(figures.keys() | registered)
    )
    told = tuple(row for row in rows if row.is_registered or row.figures != TaxFigures())
    return SalesTaxReport(period, base_currency(connection), told)


def figures_between(
    connection: duckdb.DuckDBPyConnection, first: datetime.date | None, last: datetime.date | None
) -> dict[str, TaxFigures]:
    """Figures of every jurisdiction from one day to another, both included; `owed` is at the end of the last."""
    return sum_days(list_days(connection, last), first)


def sum_days(days: Iterable[DayOfTax], first: datetime.date | None) -> dict[str, TaxFigures]:
    """Figures of each jurisdiction from a day to the last of these days; the days before it count in `owed` only."""
    sums: dict[str, list[int]] = {}
    for day in days:
        sum_so_far = sums.setdefault(day.jurisdiction, [0] * len(fields(TaxFigures)))
        if first is None or day.day >= first:
            for place, amount in enumerate(day.amounts):
                sum_so_far[place] += amount
        sum_so_far[-1] += day.change
    return {place: TaxFigures(*amounts) for place, amounts in sorted(sums.items())}
