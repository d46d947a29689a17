"""How far the shop's sales are from the thresholds at which a jurisdiction asks a seller to register.

Amounts are minor units of the base currency. Sales count by where they were sent, as they were sold: items less discounts,
with shipping, before anything came back, whoever collected the tax. The thresholds are those of the settings, else the few
on file with their source; each must be checked. A place with sales and none on file is told as that.
"""

from __future__ import annotations

import bisect
import datetime
import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, NamedTuple

import duckdb

from ledger_tools.calendar import Period, month_end, next_month
from ledger_tools.money import format_amount, parse_amount
from ledger_tools.open_items import last_known_day
from ledger_tools.reports.sales_tax_entries import SALES_BY_STANDING, tax_settings
from ledger_tools.reports.tax_data import listed
from ledger_tools.reports.valued import base_currency
from ledger_tools.tax_settings import Threshold, Window

#: Months at whose end the twelve months before are looked at; a calendar year is looked at with each sale.
_TEST_MONTHS: dict[Window, frozenset[int]] = {
    "twelve-months": frozenset(range(1, 13)),
    "twelve-months-by-quarter": frozenset({3, 6, 9, 12}),
    "four-tax-quarters": frozenset({2, 5, 8, 11}),
}


class DayOfSales(NamedTuple):
    """Sales of one day into one place: amount and number of orders, as far as a threshold counts them."""

    day: datetime.date
    sales: int
    transactions: int


@dataclass(frozen=True)
class ThresholdRow:
    """One place; without a threshold on file only its sales are known.

    Attributes:
        window: the days that count now; `sales` and `transactions` are what they hold.
        limit: the threshold's amount in minor units.
        crossed_on: the first day on which the threshold was passed; the duty to collect begins on `collect_from`, with the
            next sale where it is the same day.
    """

    jurisdiction: str
    threshold: Threshold | None
    is_registered: bool
    window: Period
    sales: int
    transactions: int
    limit: int | None
    crossed_on: datetime.date | None
    collect_from: datetime.date | None

    @property
    def percent(self) -> int | None:
        """Sales as a share of the threshold, whole percent, rounded down."""
        return None if not self.limit else 100 * self.sales // self.limit


@dataclass(frozen=True)
class Thresholds:
    """Every place with sales or a threshold of the settings, by its name."""

    as_of: datetime.date | None
    currency: str
    rows: tuple[ThresholdRow, ...]

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""

        def told(row: ThresholdRow) -> dict[str, Any]:
            rule = row.threshold
            days = (row.crossed_on, row.collect_from)
            crossed, collect = (day.isoformat() if day else None for day in days)
            return {
                "jurisdiction": row.jurisdiction,
                "sales": format_amount(row.sales, self.currency),
                "transactions": row.transactions,
                **row.window.as_json(),
                "threshold": None if row.limit is None else format_amount(row.limit, self.currency),
                "threshold_transactions": rule.transactions if rule else None,
                "percent": row.percent,
                "measure": rule.measure if rule else None,
                "window": rule.window if rule else None,
                "crossed_on": crossed,
                "collect_from": collect,
                "registered": row.is_registered,
                "as_of": rule.as_of.isoformat() if rule else None,
                "source": rule.source if rule else None,
            }

        return {
            "as_of": self.as_of.isoformat() if self.as_of else None,
            "currency": self.currency,
            "thresholds": [told(row) for row in self.rows],
        }


_SALES = f"""
    SELECT place, posted_on, sum(sales)::BIGINT, count(DISTINCT order_no),
           coalesce(sum(sales) FILTER (NOT resale), 0)::BIGINT, count(DISTINCT order_no) FILTER (NOT resale),
           coalesce(sum(sales) FILTER (taxed AND NOT resale), 0)::BIGINT, count(DISTINCT order_no) FILTER (taxed AND NOT resale)
    FROM (
        SELECT sold.* REPLACE (CASE WHEN split_part(place, '-', 1) IN (SELECT unnest($countries::VARCHAR[]))
                                    THEN split_part(place, '-', 1) ELSE place END AS place),
               coalesce(head.tax, 0) <> 0 AS taxed,
               coalesce(lower(trim(head.channel)) IN (SELECT unnest($resale::VARCHAR[])), false) AS resale
        FROM {SALES_BY_STANDING} AS sold JOIN order_head AS head ON head.order_no = sold.order_no
        WHERE rule = 'sale' AND posted_on <= $as_of
    )
    GROUP BY place, posted_on ORDER BY place, posted_on
"""
#: Place of each measure's amount and number among the sums of the query.
_MEASURES = {"gross": 0, "retail": 2, "taxable": 4}


def report_thresholds(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None = None) -> Thresholds:
    """Progress of every place toward its threshold at the end of a day, and the day on which it was passed."""
    settings, currency = tax_settings(connection), base_currency(connection)
    today = as_of or last_known_day(connection)
    if today is None:
        return Thresholds(None, currency, ())
    own = {each.jurisdiction: each for each in settings.threshold}
    on_file = {each.jurisdiction: each for each in thresholds_on_file()} if currency == "USD" else {}
    registered = {each.jurisdiction for each in settings.registration if each.since <= today}
    sold: dict[str, list[tuple[Any, ...]]] = {}
    resale = [channel.strip().lower() for channel in settings.resale_channels]
    for place, *row in connection.execute(
        _SALES, {"as_of": today, "resale": resale, "countries": list(own)}
    ).fetchall():
        sold.setdefault(place, []).append(tuple(row))
    rows = []
    for place in sorted(sold.keys() | own.keys()):
        rule = own.get(place, on_file.get(place))
        column = 1 + _MEASURES[rule.measure if rule else "gross"]
        days = [DayOfSales(row[0], row[column], row[column + 1]) for row in sold.get(place, [])]
        rows.append(_row(place, rule, days, today, currency, _is_registered(place, registered)))
    return Thresholds(today, currency, tuple(rows))


def _is_registered(place: str, registered: set[str]) -> bool:
    """Whether a registration is for a place, for the country that it lies in, or for a part of it."""
    return any(place == name or place.startswith(f"{name}-") or name.startswith(f"{place}-") for name in registered)


def thresholds_on_file() -> tuple[Threshold, ...]:
    """The thresholds that ship with the program, in US dollars."""
    return tuple(Threshold.model_validate(row) for row in listed("registration_thresholds.toml", "threshold"))


def _row(
    place: str,
    rule: Threshold | None,
    days: list[DayOfSales],
    today: datetime.date,
    currency: str,
    is_registered: bool,
) -> ThresholdRow:
    by_year = rule is None or rule.window == "calendar-year"
    first = datetime.date(today.year, 1, 1) if by_year else _year_before(today)
    sales, transactions = _Sums(days).over(first, today)
    limit = crossing = None
    if rule is not None:
        limit = parse_amount(rule.sales, currency)
        crossing = find_crossing(rule, limit, days, today)
    crossed_on, collect_from = crossing or (None, None)
    return ThresholdRow(
        place,
        rule,
        is_registered,
        Period(first, today),
        sales,
        transactions,
        limit,
        crossed_on,
        collect_from,
    )


def is_over(rule: Threshold, limit: int, sales: int, transactions: int) -> bool:
    """Whether so many sales (minor units) and orders pass a threshold of so much."""
    by_sales = sales > limit if rule.reached == "more-than" else sales >= limit
    if rule.transactions is None:
        return by_sales
    counted = transactions > rule.transactions if rule.reached == "more-than" else transactions >= rule.transactions
    return by_sales and counted if rule.joined == "and" else by_sales or counted


def find_crossing(
    rule: Threshold, limit: int, days: list[DayOfSales], today: datetime.date
) -> tuple[datetime.date, datetime.date] | None:
    """The first day on which the threshold was passed, and the day on which the duty to collect begins; None so far.

    A calendar year counts on its own, and through all of the next; the sale that passes the threshold is not yet to be
    taxed. Twelve months are looked at when the months of the rule end. Nothing begins before the rule does.
    """
    sums = _Sums(days)
    if rule.window == "calendar-year":
        for day in sorted({rule.effective, *(each.day for each in days)}):
            years = [(datetime.date(day.year - 1, 1, 1), datetime.date(day.year - 1, 12, 31))]
            years.append((datetime.date(day.year, 1, 1), day))
            passed = any(is_over(rule, limit, *sums.over(*year)) for year in years)
            if rule.effective <= day <= today and passed:
                return day, _months_later(day, rule.months_to_start) if rule.months_to_start else day
        return None
    for end in _test_days(days, today, _TEST_MONTHS[rule.window]):
        begins = _months_later(end, rule.months_to_start)
        if begins >= rule.effective and is_over(rule, limit, *sums.over(_year_before(end), end)):
            return end, begins
    return None


def _test_days(days: list[DayOfSales], today: datetime.date, months: frozenset[int]) -> Iterator[datetime.date]:
    """Ends of the months that are looked at, from the first sale to today."""
    if not days:
        return
    end = month_end(days[0].day)
    while end <= today:
        if end.month in months:
            yield end
        end = month_end(next_month(end))


class _Sums:
    """Sums over any span of days, from running totals."""

    def __init__(self, days: list[DayOfSales]) -> None:
        self._days = [each.day for each in days]
        self._sales = [0, *itertools.accumulate(each.sales for each in days)]
        self._transactions = [0, *itertools.accumulate(each.transactions for each in days)]

    def over(self, first: datetime.date, last: datetime.date) -> tuple[int, int]:
        """Sales and orders from one day to another, both included."""
        start, end = bisect.bisect_left(self._days, first), bisect.bisect_right(self._days, last)
        return self._sales[end] - self._sales[start], self._transactions[end] - self._transactions[start]


def _year_before(day: datetime.date) -> datetime.date:
    """First of the twelve months that end on a day: of whole months where the day ends one."""
    following = day + datetime.timedelta(days=1)
    if following.month == 2 and following.day == 29:
        return datetime.date(following.year - 1, 3, 1)
    return following.replace(year=following.year - 1)


def _months_later(day: datetime.date, months: int) -> datetime.date:
    """First day of a month so many whole months after the month that holds a day."""
    first = next_month(day)
    for _ in range(months):
        first = next_month(first)
    return first
