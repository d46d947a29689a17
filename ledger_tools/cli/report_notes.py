"""What is said on stderr beside a report: what it leaves out, what it comes before, and what to look at next."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from ledger_tools.cli.output import people_amount, talk

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period


def tell_unvalued(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> None:
    """Say what a report in the base currency leaves out for want of an exchange rate, and what to add."""
    from ledger_tools.reports.valued import base_currency, list_unvalued

    missing = list_unvalued(connection, as_of)
    if not missing:
        return
    base = base_currency(connection)
    for gap in missing:
        if gap.is_frozen:
            month = f"{gap.first_day:%Y-%m}"
            talk(
                f"{gap.events} event(s) with {gap.currency} are left out: {month} was closed before their rate was known."
            )
            talk(
                "    → they are prior-period entries of the first open month; to have them where they belong, open the closed"
            )
            talk(f"      months again, the last one first, down to {month}: ledger-tools reopen MONTH --reason TEXT")
            continue
        talk(f"{gap.events} event(s) with {gap.currency} are left out: no rate from {gap.currency} to {base} is known.")
        talk("    → add to shop.toml, with the rate of that day:")
        talk(f'      [[rate]]\n      currency = "{gap.currency}"\n      on = {gap.first_day}\n      rate = "…"')


def count_open_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> int:
    """How many items stand open as of a day."""
    from ledger_tools.archive import remembered
    from ledger_tools.open_items import list_open_items

    if as_of is not None:
        return len(list_open_items(connection, as_of))
    return remembered(connection, "open-items", lambda: len(list_open_items(connection, None)))


def tell_open_items(connection: duckdb.DuckDBPyConnection, as_of: datetime.date | None) -> None:
    """Say how many items stand open as of a day, beside a report whose figures they may change."""
    count = count_open_items(connection, as_of)
    if count:
        talk(f"{count} open item(s) may change these figures: ledger-tools open-items")


def tell_unbalanced(difference: int, currency: str) -> None:
    """Say what entries by hand leave over in a statement, where they do; `difference` in minor units."""
    if difference:
        talk(f"Entries in hand.beancount leave {people_amount(difference, currency)} {currency}.")
        talk("    → make each entry balance in the base currency, to the minor unit")


def tell_count(count: int) -> None:
    """Say how many items stand open, beside what is no report of figures."""
    if count:
        talk(f"{count} open item(s): ledger-tools open-items")


def tell_before_month_end(connection: duckdb.DuckDBPyConnection, period: Period) -> None:
    """Say for which months of a period the month-end entries are not posted, because they are not closed."""
    from ledger_tools.reports.closing_entries import list_months_before_month_end

    months = list_months_before_month_end(connection, period)
    if months:
        which = f"{months[0]} is" if len(months) == 1 else f"{len(months)} months from {months[0]} to {months[-1]} are"
        talk(f"Before month-end entries ({which} not closed): what was paid and not shipped is not deferred yet.")
