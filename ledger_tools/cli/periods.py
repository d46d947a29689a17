"""Options that reports share: the period, the day as of which the books are seen.

Texts are read here, so that what is wrong with them is told as a fault of the command line (exit status 2).
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.calendar import period_name as period_name

if TYPE_CHECKING:
    import datetime

    from ledger_tools.calendar import Period


class _CalendarText(click.ParamType[Any]):
    """A parameter that one of the calendar's functions reads."""

    def __init__(self, name: str, parser: str) -> None:
        self.name = name
        self.parser = parser

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        """The period or date that the text means."""
        from ledger_tools import calendar
        from ledger_tools.errors import LedgerError

        if not isinstance(value, str):
            return value
        try:
            return getattr(calendar, self.parser)(value)
        except LedgerError as trouble:
            problem = trouble.problems[0]
            self.fail(f"{problem.where} {problem.what}: {problem.next_step}", param, ctx)


#: The type of an option that is a date.
DATE = _CalendarText("date", "parse_date")

_SPANS = (
    click.option("--month", type=_CalendarText("month", "parse_month"), metavar="YYYY-MM", help="One month."),
    click.option("--quarter", type=_CalendarText("quarter", "parse_quarter"), metavar="YYYY-QN", help="One quarter."),
    click.option("--year", type=_CalendarText("year", "parse_year"), metavar="YYYY", help="One calendar year."),
)
_ENDS = (
    click.option("--from", "first", type=DATE, metavar="DATE", help="First day, included."),
    click.option("--to", "last", type=DATE, metavar="DATE", help="Last day, included."),
)

as_of_option = click.option(
    "--as-of", type=DATE, metavar="DATE", help="See the books as of the end of this day; else all that is known."
)


def _only_span(spans: dict[str, Period | None]) -> Period | None:
    given = {name: span for name, span in spans.items() if span is not None}
    if len(given) > 1:
        raise click.UsageError(f"{' and '.join(given)} contradict each other; give one of them.")
    return next(iter(given.values()), None)


def period_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add --month, --quarter, --year, --from and --to; the command gets them as one `period`."""

    @functools.wraps(function)
    def with_period(
        *arguments: Any,
        month: Period | None,
        quarter: Period | None,
        year: Period | None,
        first: datetime.date | None,
        last: datetime.date | None,
        **options: Any,
    ) -> Any:
        from ledger_tools.calendar import Period

        span = _only_span({"--month": month, "--quarter": quarter, "--year": year})
        if span is not None and (first or last):
            raise click.UsageError("--from and --to can't go with --month, --quarter or --year; give one or the other.")
        if first and last and first > last:
            raise click.UsageError(f"--from {first} is after --to {last}.")
        return function(*arguments, period=span or Period(first, last), **options)

    return _with_options(with_period, (*_SPANS, *_ENDS))


def as_of_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Add --as-of, and --month, --quarter, --year for their last day; the command gets one `as_of`."""

    @functools.wraps(function)
    def with_day(
        *arguments: Any,
        month: Period | None,
        quarter: Period | None,
        year: Period | None,
        as_of: datetime.date | None,
        **options: Any,
    ) -> Any:
        span = _only_span({"--month": month, "--quarter": quarter, "--year": year})
        if span is not None and as_of is not None:
            raise click.UsageError("--as-of can't go with --month, --quarter or --year, which mean their last day.")
        return function(*arguments, as_of=as_of if span is None else span.last, **options)

    return _with_options(with_day, (as_of_option, *_SPANS))


def _with_options(function: Callable[..., Any], options: tuple[Callable[..., Any], ...]) -> Callable[..., Any]:
    for option in reversed(options):
        function = option(function)
    return function
