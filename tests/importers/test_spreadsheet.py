"""Spreadsheets: cells as texts, the sheet that is named, and the look-over of archives."""

from __future__ import annotations

import datetime
import io
import zipfile

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904

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


@pytest.mark.parametrize("since", [1900, 1904])
def test_serial_days(read, since):
    """A number in a date column is the day that the spreadsheet means, with its time; amounts and small numbers stay."""
    serials = [47855, 47855.5, 47856.999988426] if since == 1900 else [46393, 46393.5, 46394.999988426]
    book = openpyxl.load_workbook(io.BytesIO(workbook([HEADER, *([day, 47855, "x"] for day in serials)], None)))
    if since == 1904:
        book.epoch = CALENDAR_MAC_1904
    buffer = io.BytesIO()
    book.save(buffer)
    _, rows = read(buffer.getvalue(), "bank", name="a.xlsx")
    assert ["2031-01-07 00:00:00", "2031-01-07 12:00:00", "2031-01-08 23:59:59"] == [
        row["at"].isoformat(" ") for row in rows
    ]
    assert [4785500] * 3 == [row["amount"] for row in rows]


def test_number_that_a_format_reads_is_no_serial_day(read):
    """Where the mapping's own format reads the number, it holds: 31095 is the 95th day of 2031."""
    mapping = 'source = "s"\nkind = "bank"\n[file]\nsheet = "Lines"\ndate_formats = ["%y%j"]\n'
    mapping += '[columns]\nat = "at"\namount = "amount"\n'
    _, rows = read(workbook([HEADER, [31095, 1], [31102, 1]]), "bank", mapping, name="a.xlsx")
    assert ["2031-04-05", "2031-04-12"] == sorted(row["at"].date().isoformat() for row in rows)


def test_another_sheet_is_named(refusal):
    """Where the first sheet lacks the columns and one other has them, the refusal names it and the line to write."""
    book = openpyxl.Workbook()
    book.active.append(["Exported by", "x"])
    sheet = book.create_sheet("Lines")
    sheet.append(HEADER)
    sheet.append(["2031-04-01", 1, "x"])
    buffer = io.BytesIO()
    book.save(buffer)
    told = "\n".join(refusal(buffer.getvalue(), "bank", name="a.xlsx"))
    assert "a.xlsx: the first sheet lacks columns that the sheet 'Lines' has" in told
    assert 'set sheet = "Lines" under [file] in mappings/' in told


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
