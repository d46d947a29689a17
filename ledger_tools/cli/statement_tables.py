"""What the tables of the statements share: the columns of a comparison, and the notes below a table."""

from __future__ import annotations

import datetime
from collections.abc import Iterable

import click

from ledger_tools.calendar import Period
from ledger_tools.cli.output import Column, echo, people_amount
from ledger_tools.cli.periods import period_name

compare_option = click.option(
    "--compare", type=click.Choice(["previous", "year"]), help="With the period before, or a year before."
)


def compared_period(period: Period, compare: str | None) -> Period | None:
    """The period that `--compare` means.

    Raises:
        click.UsageError: the period has an open end, or the calendar nothing before it.
    """
    from ledger_tools.reports.comparison import period_a_year_before, period_before

    if compare is None:
        return None
    if period.first is None or period.last is None:
        raise click.UsageError("--compare needs a period: give --month, --quarter, --year, or --from and --to.")
    try:
        return (period_before if compare == "previous" else period_a_year_before)(period.first, period.last)
    except (ValueError, OverflowError):
        raise click.UsageError(f"The calendar has nothing to compare {period} with.") from None


def compared_day(day: datetime.date, compare: str) -> datetime.date:
    """The day that `--compare` means for a balance.

    Raises:
        click.UsageError: the calendar has none.
    """
    from ledger_tools.reports.comparison import day_a_year_before, day_before

    try:
        return (day_before if compare == "previous" else day_a_year_before)(day)
    except (ValueError, OverflowError):
        raise click.UsageError(f"The calendar has nothing to compare {day} with.") from None


def amount_columns(compared: Period | datetime.date | None) -> list[Column]:
    """The column of amounts, and where it is compared the other's, the change, and the change in percent."""
    columns = [Column("amount", is_number=True)]
    if compared is None:
        return columns
    title = period_name(compared) if isinstance(compared, Period) else str(compared)
    return [
        *columns,
        Column(title, is_number=True),
        Column("change", is_number=True, spared=1),
        Column("%", is_number=True, spared=2),
    ]


def amount_cells(amount: int, compared: int | None, currency: str) -> list[str]:
    """Cells of `amount_columns`; `compared` is None where nothing is compared."""
    from ledger_tools.reports.comparison import change_percent

    told = [people_amount(amount, currency)]
    if compared is not None:
        told += [people_amount(compared, currency), people_amount(amount - compared, currency)]
        told.append(change_percent(amount, compared) or "-")
    return told


def echo_notes(sentences: Iterable[str]) -> None:
    """Print notes below a table, each on lines of at most 80 columns."""
    import textwrap

    for sentence in sentences:
        echo("\n".join(textwrap.wrap(sentence, 80, subsequent_indent="  ")))
