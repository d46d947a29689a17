"""Case FMT-CAMT: a published bank statement whose balances tie out.

Source: ISO 20022 business sample camt.053.001.04, message AAAASESS-FP-STAT001,
https://www.iso20022.org/documents/messages/camt/instances/camt.053.001.04.zip. Exactness: READ through public
transcriptions of the sample that agree with each other; the date of the opening balance is in one of them only. The
file below is written anew from those figures.
"""

from __future__ import annotations

import datetime
from pathlib import Path

import duckdb
import pytest

from importers.readers import ExportFacts, ExportRequest, StatedBalance, read_export
from ledger_tools.errors import LedgerError

BALANCE = """<Bal><Tp><CdOrPrtry><Cd>{0}</Cd></CdOrPrtry></Tp><Amt Ccy="SEK">{1}</Amt><CdtDbtInd>CRDT</CdtDbtInd>
<Dt><Dt>{2}</Dt></Dt></Bal>"""
ENTRY = """<Ntry><Amt Ccy="SEK">{0}</Amt><CdtDbtInd>{1}</CdtDbtInd><Sts>BOOK</Sts>
<BookgDt><DtTm>2010-10-18T13:15:00+01:00</DtTm></BookgDt><ValDt><Dt>2010-10-18</Dt></ValDt>
<AcctSvcrRef>{2}</AcctSvcrRef></Ntry>"""
STATEMENT = """<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.04"><BkToCstmrStmt>
<GrpHdr><MsgId>AAAASESS-FP-STAT001</MsgId><CreDtTm>2010-10-18T17:00:00+01:00</CreDtTm>
<MsgPgntn><PgNb>1</PgNb><LastPgInd>true</LastPgInd></MsgPgntn></GrpHdr>
<Stmt><Id>AAAASESS-FP-STAT001</Id>
<FrToDt><FrDtTm>2010-10-18T08:00:00+01:00</FrDtTm><ToDtTm>2010-10-18T17:00:00+01:00</ToDtTm></FrToDt>
<Acct><Id><Othr><Id>50000000054910000003</Id></Othr></Id></Acct>
{balances}{entries}</Stmt></BkToCstmrStmt></Document>"""
ENTRIES = (
    ("105678.50", "CRDT", "AAAASESS-FP-CN_98765/01"),
    ("200000", "DBIT", "AAAASESS-FP-ACCR-01"),
    ("30000", "CRDT", "AAAASESS-FP-CONF-FX"),
)


def read_sample(folder: Path, closing: str, entries: tuple[tuple[str, str, str], ...]) -> tuple[ExportFacts, list[int]]:
    """Reads the sample with this closing balance and these entries."""
    balances = BALANCE.format("OPBD", "500000", "2010-10-15") + BALANCE.format("CLBD", closing, "2010-10-18")
    path = folder / "sample.xml"
    path.write_text(STATEMENT.format(balances=balances, entries="".join(ENTRY.format(*entry) for entry in entries)))
    connection = duckdb.connect(":memory:")
    request = ExportRequest(path, "bank", "bank", "SEK", "Europe/Stockholm", None, folder)
    facts = read_export(connection, request, "rows")
    amounts = connection.execute("SELECT amount FROM rows ORDER BY record").fetchall()
    connection.close()
    return facts, [row[0] for row in amounts]


def test_balances_tie_out(tmp_path):
    """READ: opening 500,000.00, three entries, closing 435,678.50; DERIVED: the net movement of -64,321.50."""
    facts, amounts = read_sample(tmp_path, "435678.50", ENTRIES)
    assert [10567850, -20000000, 3000000] == amounts
    assert -6432150 == sum(amounts)
    assert (
        StatedBalance(datetime.date(2010, 10, 15), 50000000, "SEK"),
        StatedBalance(datetime.date(2010, 10, 18), 43567850, "SEK"),
    ) == facts.balances
    assert (datetime.date(2010, 10, 18), datetime.date(2010, 10, 18)) == (facts.first_day, facts.last_day)
    assert "2010-10-18T17:00:00+01:00" == facts.time_stamp


def test_a_lost_entry_is_noticed(tmp_path):
    """DERIVED: without its last entry the statement misses 30,000.00 and is refused."""
    with pytest.raises(LedgerError, match=r"30000\.00 is missing"):
        read_sample(tmp_path, "435678.50", ENTRIES[:2])


def test_the_sign_is_in_the_indicator(tmp_path):
    """READ: an amount carries no sign of its own; one that does is refused."""
    with pytest.raises(LedgerError, match="expected an amount without a sign"):
        read_sample(tmp_path, "435678.50", (("-200000", "CRDT", "x"),))
