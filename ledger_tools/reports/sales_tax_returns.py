"""The returns that are due: one for each filing period of each registration, with its date and what was paid of it.

Amounts are minor units of the base currency. A return asks for what was collected less refunded, and less the tax of
sales never paid that a person entered with the order's link (`adjusted`, negative where it deducts). Payments settle what
was owed before the registration first, then the oldest return. Due dates come from the settings, by default the 20th of
the following month (common practice); weekends and holidays are not considered, nor other local rules.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass
from typing import Any, Literal

import duckdb

from ledger_tools.calendar import ALL_TIME, Period, month_end, next_month
from ledger_tools.money import format_amount, parse_amount, round_half_up
from ledger_tools.open_items import last_known_day
from ledger_tools.reports.sales_tax import TaxFigures, sum_days
from ledger_tools.reports.sales_tax_entries import DayOfTax, list_days, tax_settings
from ledger_tools.reports.valued import base_currency
from ledger_tools.tax_rounding import parse_rate
from ledger_tools.tax_settings import Filing, Registration

State = Literal["running", "due", "overdue", "paid"]

#: Months of a filing period.
MONTHS_OF_FILING: dict[Filing, int] = {"monthly": 1, "quarterly": 3, "yearly": 12}


@dataclass(frozen=True)
class TaxReturn:
    """One return.

    Attributes:
        period: the filing period; the first one begins with the registration.
        allowance: what may be kept for filing and paying in time, as the registration has it; not deducted here.
        paid: what of the payments so far settles this return.
        state: running (the period is not over), due, overdue, or paid.
    """

    jurisdiction: str
    filing: Filing
    period: Period
    due_on: datetime.date
    figures: TaxFigures
    adjusted: int
    allowance: int
    paid: int
    state: State

    @property
    def payable(self) -> int:
        """What the return asks for, before the allowance."""
        return self.figures.due + self.adjusted

    @property
    def open(self) -> int:
        """What is left to pay; negative where more came back than was collected and no later return took it."""
        return self.payable - self.paid

    def as_json(self, currency: str) -> dict[str, str | None]:
        """The return as the report prints it."""
        amounts = {
            "gross_sales": self.figures.gross_sales,
            "taxable_sales": self.figures.taxable_sales,
            "exempt_sales": self.figures.exempt_sales,
            "marketplace_sales": self.figures.marketplace_sales,
            "collected": self.figures.collected,
            "refunded": self.figures.refunded,
            "adjusted": self.adjusted,
            "payable": self.payable,
            "allowance": self.allowance,
            "paid": self.paid,
            "open": self.open,
        }
        return {
            "jurisdiction": self.jurisdiction,
            "filing": self.filing,
            **self.period.as_json(),
            "due_on": self.due_on.isoformat(),
            **{name: format_amount(amount, currency) for name, amount in amounts.items()},
            "state": self.state,
        }


@dataclass(frozen=True)
class TaxReturns:
    """Returns by due date, then jurisdiction, as they stand at the end of a day."""

    period: Period
    as_of: datetime.date | None
    currency: str
    returns: tuple[TaxReturn, ...]

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""
        return {
            "period": self.period.as_json(),
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            "returns": [each.as_json(self.currency) for each in self.returns],
        }


def timely_allowance(tax: int, registration: Registration, currency: str) -> int:
    """What a seller may keep of the tax of one return, in minor units, for filing and paying in time.

    The percentage of the tax (or of its first so much), half up, at most the cap; nothing below the floor.
    """

    def minor(text: str | None) -> int | None:
        return None if text is None else parse_amount(text, currency)

    on_first, cap, floor = map(
        minor, (registration.allowance_on_first, registration.allowance_cap, registration.allowance_floor)
    )
    if tax <= 0 or (floor is not None and tax < floor):
        return 0
    above, below = parse_rate(registration.allowance_percent)
    kept = round_half_up((tax if on_first is None else min(tax, on_first)) * above, below)
    return kept if cap is None else min(kept, cap)


def filing_periods(registration: Registration, last: datetime.date, until: datetime.date | None = None) -> list[Period]:
    """Filing periods from the registration's first day on, up to the one that holds the last day.

    Where another registration follows, `until` is the day before it, and the last period ends there.
    """
    months = MONTHS_OF_FILING[registration.filing]
    first = registration.since
    start = datetime.date(first.year, (first.month - 1) // months * months + 1, 1)
    periods = []
    while start <= last and (until is None or start <= until):
        end = start
        for _ in range(months - 1):
            end = next_month(end)
        closing = month_end(end) if until is None else min(month_end(end), until)
        if max(first, start) <= closing:
            periods.append(Period(max(first, start), closing))
        start = next_month(end)
    return periods


def due_date(registration: Registration, period: Period) -> datetime.date:
    """The day by which a period's return is to be filed and paid, as the settings have it."""
    assert period.last is not None
    month = next_month(period.last)
    return month.replace(day=min(registration.due_day, month_end(month).day))


def list_returns(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> TaxReturns:
    """Every return whose filing period shares a day with a period, as it stands at the end of a day."""
    settings, currency = tax_settings(connection), base_currency(connection)
    today = as_of or last_known_day(connection)
    found: list[TaxReturn] = []
    if today is not None:
        days: dict[str, list[DayOfTax]] = {}
        for day in list_days(connection, today):
            days.setdefault(day.jurisdiction, []).append(day)
        for jurisdiction in sorted({registration.jurisdiction for registration in settings.registration}):
            filed = sorted(
                (each for each in settings.registration if each.jurisdiction == jurisdiction),
                key=lambda each: each.since,
            )
            found += _returns_of(filed, days.get(jurisdiction, []), today, currency)
    shown = [
        each
        for each in found
        if (period.last is None or (each.period.first or period.last) <= period.last)
        and (period.first is None or (each.period.last or period.first) >= period.first)
    ]
    shown.sort(key=lambda each: (each.due_on, each.jurisdiction))
    return TaxReturns(period, today, currency, tuple(shown))


def _returns_of(
    registrations: list[Registration], days: list[DayOfTax], today: datetime.date, currency: str
) -> list[TaxReturn]:
    """The returns of one jurisdiction, whose registrations follow each other; what was paid settles them in turn."""
    ends = [after.since - datetime.timedelta(days=1) for after in registrations[1:]]
    filed = [
        (registration, period)
        for registration, until in zip(registrations, [*ends, None], strict=True)
        for period in filing_periods(registration, today, until)
    ]
    owed, paid = _settled(days, registrations[0].since)
    left = paid - owed
    returns: list[TaxReturn] = []
    for place, (registration, period) in enumerate(filed, start=1):
        assert period.first is not None
        assert period.last is not None
        inside = [day for day in days if period.first <= day.day <= min(period.last, today)]
        figures = sum_days(inside, None).get(registration.jurisdiction, TaxFigures())
        adjusted = sum(day.adjusted_orders for day in inside)
        payable = figures.due + adjusted
        all_that_is_left = place == len(filed) and left > payable
        settled = left if all_that_is_left else max(min(left, payable), min(payable, 0))
        left -= settled
        due_on = due_date(registration, period)
        returns.append(
            TaxReturn(
                registration.jurisdiction, registration.filing, period, due_on, figures, adjusted,
                timely_allowance(payable, registration, currency), settled,
                _state(period.last, due_on, today, is_paid=settled >= payable),
            )
        )  # fmt: skip
    return returns


def _state(last: datetime.date, due_on: datetime.date, today: datetime.date, *, is_paid: bool) -> State:
    if last > today:
        return "running"
    if is_paid:
        return "paid"
    return "due" if today <= due_on else "overdue"


def _settled(days: list[DayOfTax], since: datetime.date) -> tuple[int, int]:
    """What was owed before any return, and what was paid or taken off by hand since; both in minor units."""
    owed = sum(day.change for day in days if day.day < since)
    paid = 0
    for day in days:
        if day.day >= since:
            remitted, adjusted = day.amounts[5], day.amounts[6] - day.adjusted_orders
            paid += remitted - min(adjusted, 0)
            owed += max(adjusted, 0)
    return owed, paid
