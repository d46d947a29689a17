"""Case FMT-CAMT: a published bank statement whose balances tie out.

Source: ISO 20022 business sample camt.053.001.04, message AAAASESS-FP-STAT001,
https://www.iso20022.org/documents/messages/camt/instances/camt.053.001.04.zip. Exactness: READ through public
transcriptions of the sample that agree with each other; the date of the opening balance is in one of them only. The
file is written anew from those figures.
"""

from __future__ import annotations

import datetime
from pathlib import Path

import duckdb
import pytest
from camt_statements import PUBLISHED_ENTRIES, published_sample

from importers.readers import ExportFacts, ExportRequest, StatedBalance, read_export
from ledger_tools.errors import LedgerError


def read_sample(folder: Path, closing: str, entries: tuple[tuple[str, str, str], ...]) -> tuple[ExportFacts, list[int]]:
    """Reads the sample with this closing balance and these entries."""
    path = folder / "sample.xml"
    path.write_text(published_sample(closing, entries), encoding="utf-8")
    connection = duckdb.connect(":memory:")
    request = ExportRequest(path, "bank", "bank", "SEK", "Europe/Stockholm", None, folder)
    facts = read_export(connection, request, "rows")
    amounts = connection.execute("SELECT amount FROM rows ORDER BY record").fetchall()
    connection.close()
    return facts, [row[0] for row in amounts]


def test_balances_tie_out(tmp_path):
    """READ: opening 500,000.00 of Friday, three entries, closing 435,678.50 of Monday.

    DERIVED: the net movement of -64,321.50, and that nothing was booked from the day after the opening balance on.
    """
    facts, amounts = read_sample(tmp_path, "435678.50", PUBLISHED_ENTRIES)
    assert [10567850, -20000000, 3000000] == amounts
    assert -6432150 == sum(amounts)
    assert (
        StatedBalance(datetime.date(2010, 10, 15), 50000000, "SEK", opening=True),
        StatedBalance(datetime.date(2010, 10, 18), 43567850, "SEK"),
    ) == facts.balances
    assert (datetime.date(2010, 10, 16), datetime.date(2010, 10, 18)) == (facts.first_day, facts.last_day)
    assert "2010-10-18T17:00:00+01:00" == facts.time_stamp


def test_a_lost_entry_is_noticed(tmp_path):
    """DERIVED: without its last entry the statement misses 30,000.00 and is refused."""
    with pytest.raises(LedgerError, match=r"30000\.00 is missing"):
        read_sample(tmp_path, "435678.50", PUBLISHED_ENTRIES[:2])


def test_the_sign_is_in_the_indicator(tmp_path):
    """READ: an amount carries no sign of its own; one that does is refused."""
    with pytest.raises(LedgerError, match="expected an amount without a sign"):
        read_sample(tmp_path, "435678.50", (("-200000", "CRDT", "x"),))
