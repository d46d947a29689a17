"""Case FMT-OFX: how amounts and corrections stand in OFX statements.

Source: Open Financial Exchange Specification, 3.2.9.1, 3.2.9.2 and 11.4.2.3.1, as quoted in
https://hackage.haskell.org/package/ofx-0.4.4.0/docs/ofx.haddock. Exactness: the rules are READ, the amounts below are
DERIVED from them.
"""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest

from importers.readers import ExportRequest, read_export
from ledger_tools.errors import LedgerError

LINE = "<STMTTRN><DTPOSTED>20310402<TRNAMT>{0}<FITID>{1}{2}</STMTTRN>"
FILE = (
    "OFXHEADER:100\n\n<OFX><BANKMSGSRSV1><STMTTRNRS><STMTRS><CURDEF>USD<BANKACCTFROM><ACCTID>1</BANKACCTFROM>"
    "<BANKTRANLIST>{0}</BANKTRANLIST></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>"
)


def read_amounts(folder: Path, *lines: str) -> list[int]:
    """Minor units of the lines of a statement."""
    path = folder / "statement.ofx"
    path.write_text(FILE.format("".join(lines)))
    connection = duckdb.connect(":memory:")
    request = ExportRequest(path, "bank", "bank", "USD", "America/Chicago", None, folder)
    read_export(connection, request, "rows")
    rows = connection.execute("SELECT amount FROM rows ORDER BY record").fetchall()
    connection.close()
    return [row[0] for row in rows]


@pytest.mark.parametrize(("text", "expected"), [("-80.32", -8032), ("+1234,5", 123450), (" 300 ", 30000)])
def test_signs_radix_and_blanks(tmp_path, text, expected):
    """DERIVED (3.2.9.1, 3.2.9.2): leading sign or none, full stop or comma, implied at the end, blanks dropped."""
    assert [expected] == read_amounts(tmp_path, LINE.format(text, "a", ""))


def test_grouped_digits_are_refused(tmp_path):
    """READ (3.2.9.1): digits should not be grouped, so a grouped amount is not guessed at."""
    with pytest.raises(LedgerError, match=r"found '1,234\.50'"):
        read_amounts(tmp_path, LINE.format("1,234.50", "a", ""))


@pytest.mark.parametrize(("action", "expected"), [("REPLACE", [-200]), ("DELETE", [])])
def test_corrections(tmp_path, action, expected):
    """READ (11.4.2.3.1): CORRECTFITID with its action replaces or deletes the earlier transaction."""
    correction = f"<CORRECTFITID>a<CORRECTACTION>{action}"
    assert expected == read_amounts(tmp_path, LINE.format("-1", "a", ""), LINE.format("-2", "b", correction))
