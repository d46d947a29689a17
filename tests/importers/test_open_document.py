"""OpenDocument spreadsheets: the same cells as texts as of a workbook, numbers, dates and texts."""

from __future__ import annotations

import io

from odf.opendocument import OpenDocumentSpreadsheet
from odf.table import Table, TableCell, TableRow
from odf.text import P


def cell(kind: str, shown: str, **values: str) -> TableCell:
    """One cell with its stored value and the text that is shown."""
    made = TableCell(valuetype=kind, **values)
    made.addElement(P(text=shown))
    return made


def sheet(rows: list[list[TableCell]]) -> bytes:
    """The bytes of an ods file with one sheet."""
    document = OpenDocumentSpreadsheet()
    table = Table(name="Lines")
    for row in rows:
        line = TableRow()
        for each in row:
            line.addElement(each)
        table.addElement(line)
    document.spreadsheet.addElement(table)
    buffer = io.BytesIO()
    document.save(buffer)
    return buffer.getvalue()


def test_open_document_is_read_by_its_values(read):
    """Stored values count, not what is shown: a rounded display does not change an amount."""
    header = [cell("string", name) for name in ("at", "amount", "memo")]
    first = [
        cell("date", "2 April", datevalue="2031-04-02"),
        cell("float", "12.3", value="12.25"),
        cell("string", "tea"),
    ]
    second = [cell("string", "2031-04-03"), cell("string", "-7.00"), cell("float", "1001", value="1001")]
    _, rows = read(sheet([header, first, second]), "bank", name="a.ods")
    assert [("2031-04-02", 1225, "tea"), ("2031-04-03", -700, "1001")] == [
        (row["at"].date().isoformat(), row["amount"], row["memo"]) for row in rows
    ]
