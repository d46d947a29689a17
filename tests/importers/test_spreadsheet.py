"""Spreadsheets: cells as texts, the sheet that is named, and the look-over of archives."""

from __future__ import annotations

import datetime
import io
import zipfile

import openpyxl
import pytest

HEADER = ["at", "amount", "memo"]


def workbook(rows, title="Lines"):
    """The bytes of an xlsx file with an empty first sheet unless the title is None."""
    book = openpyxl.Workbook()
    sheet = book.active
    if title:
        sheet = book.create_sheet(title)
    for row in rows:
        sheet.append(row)
    buffer = io.BytesIO()
    book.save(buffer)
    return buffer.getvalue()


def test_cells_become_texts(read):
    """Numbers keep the digits that a spreadsheet shows, dates are dates, whole numbers have no decimals."""
    data = workbook([HEADER, [datetime.date(2031, 4, 1), 0.1 + 0.2, 1001], ["2031-04-02", "-7.00", None]], None)
    _, rows = read(data, "bank", name="a.xlsx")
    assert [("2031-04-01 00:00:00", 30, "1001"), ("2031-04-02 00:00:00", -700, None)] == [
        (row["at"].isoformat(" "), row["amount"], row.get("memo")) for row in rows
    ]


def test_the_sheet_that_the_mapping_names(read):
    """Another sheet than the first is read where the mapping says so, with its own decimal mark."""
    mapping = 'source = "s"\nkind = "bank"\n[file]\nsheet = "Lines"\ndecimal_mark = ","\n'
    mapping += '[columns]\nat = "at"\namount = "amount"\n'
    _, rows = read(workbook([HEADER, ["2031-04-01", 12.5], ["2031-04-01", "12,75"]]), "bank", mapping, name="a.xlsx")
    assert [1250, 1275] == [row["amount"] for row in rows]


def packed():
    """An archive whose one entry unpacks to a thousand times its size."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("xl/workbook.xml", b"0" * 20_000_000)
    return buffer.getvalue()


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (packed(), "a.xlsx: unpacks to 20000000 bytes in 1 entries, 1 of them packed more than 200 times"),
        (b"PK\x03\x04 no archive at all", "a.xlsx: can't be read as a spreadsheet"),
        (workbook([HEADER]), "a.xlsx: holds no rows"),
    ],
)
def test_refusals(refusal, data, expected):
    """Archives that are too tightly packed, broken files and empty sheets are refused."""
    assert refusal(data, "bank", name="a.xlsx")[0].startswith(expected)
