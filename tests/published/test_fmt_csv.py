"""Case FMT-CSV: delimited text as RFC 4180 describes it.

Source: RFC 4180 (October 2005), section 2, rules 1 to 7, https://www.ietf.org/rfc/rfc4180.txt. Exactness: READ, the
blanks of rule 4 DERIVED. The vectors are read as files without a header; texts keep the project's own folding: blanks
around a cell are dropped and a line break inside one is a blank.
"""

from __future__ import annotations

import duckdb
import pytest

from importers.delimited import read_delimited
from importers.mapping import FileShape, parse_mapping
from importers.readers import ExportRequest, read_export
from ledger_tools.errors import LedgerError

VECTORS = [
    (1, "aaa,bbb,ccc\r\nzzz,yyy,xxx\r\n", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    (2, "aaa,bbb,ccc\r\nzzz,yyy,xxx", [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    (4, "aaa, bbb ,ccc\r\n", [["aaa", " bbb ", "ccc"]]),
    (5, '"aaa","bbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "bbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    (6, '"aaa","b\r\nbb","ccc"\r\nzzz,yyy,xxx', [["aaa", "b\r\nbb", "ccc"], ["zzz", "yyy", "xxx"]]),
    (7, '"aaa","b""bb","ccc"', [["aaa", 'b"bb', "ccc"]]),
]
MAPPING = """source = "s"
kind = "bank"
[file]
header_row = 0
delimiter = ","
[columns]
at = "1"
amount = "2"
event_id = "3"
memo = "4"
counterparty = "5"
"""


@pytest.mark.parametrize(("rule", "text", "rows"), VECTORS)
def test_cells_are_parted_as_the_rule_says(tmp_path, rule, text, rows):
    """READ: the cells of each vector, before any typing."""
    path = tmp_path / "vector.csv"
    path.write_bytes(text.encode())
    table = read_delimited(path, FileShape(header_row=0, delimiter=","), (), tmp_path)
    found = duckdb.connect(":memory:").execute(f"SELECT * FROM {table.relation}").fetchall()
    assert rows == [list(row) for row in found], f"rule {rule}"


@pytest.mark.parametrize(("rule", "text", "rows"), VECTORS)
def test_records_are_read_whole(tmp_path, rule, text, rows):
    """READ: the same vectors behind a date and an amount come through the door as one record a row."""
    lines = text.replace('"b\r\nbb"', "\0").removesuffix("\r\n").split("\r\n")
    path = tmp_path / "vector.csv"
    path.write_bytes("\r\n".join("2031-04-01,1.00," + line for line in lines).replace("\0", '"b\r\nbb"').encode())
    connection = duckdb.connect(":memory:")
    mapping = parse_mapping(MAPPING, "m")
    read_export(connection, ExportRequest(path, "s", "bank", "USD", "UTC", mapping, tmp_path), "rows")
    found = connection.execute("SELECT event_id, memo, counterparty FROM rows ORDER BY record").fetchall()
    connection.close()
    assert [[" ".join(cell.split()) for cell in row] for row in rows] == [list(row) for row in found], f"rule {rule}"


@pytest.mark.parametrize(
    "text", ["2031-04-01,1.00,a,b,c\r\n2031-04-01,1.00,a,b\r\n", "2031-04-01,1.00,a,b,c\r\n2031-04-01,1.00,a,b,c,\r\n"]
)
def test_each_line_has_the_same_number_of_fields(tmp_path, text):
    """READ (rule 4): a line with fewer fields, or with a comma at its end, is refused."""
    path = tmp_path / "ragged.csv"
    path.write_bytes(text.encode())
    request = ExportRequest(path, "s", "bank", "USD", "UTC", parse_mapping(MAPPING, "m"), tmp_path)
    with pytest.raises(LedgerError, match="record 2: found [46] columns, expected 5"):
        read_export(duckdb.connect(":memory:"), request, "rows")
