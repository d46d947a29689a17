"""Closes the demo's months, as its owner would: in order, on the fifth of the next month, what is planted waived."""

from __future__ import annotations

import datetime
from collections.abc import Callable

from ledger_tools.archive import open_books
from ledger_tools.calendar import month_end, next_month
from ledger_tools.close import Signature, close_months
from ledger_tools.folder import BooksFolder
from ledger_tools.journal import list_months
from ledger_tools.open_items import last_known_day

#: Who closes the demo's months, and why its open items don't keep them open.
CLOSED_BY = "Demo owner"
REASON = "planted in the demo, to be found by open-items"

#: Days after the month's end on which it is closed.
_DAYS_AFTER = 5

_WAIVED = ("changes", "open-items", "cut-off")


def close_demo(folder: BooksFolder, progress: Callable[[str], None]) -> list[str]:
    """Close every month of the demo that is complete; gives the months."""
    with open_books(folder, progress) as connection:
        months, last = list_months(connection), last_known_day(connection)
    assert last is not None, "a demo has events"
    signatures = {}
    for month in months:
        first = datetime.date(int(month[:4]), int(month[5:]), 1)
        if month_end(first) <= last:
            day = next_month(first) + datetime.timedelta(days=_DAYS_AFTER - 1)
            signatures[month] = Signature(CLOSED_BY, day, dict.fromkeys(_WAIVED, REASON))
    for report in close_months(folder, signatures, progress):
        assert report.closed, f"{report.month} of the demo can't be closed: {report.steps}"
    return list(signatures)
