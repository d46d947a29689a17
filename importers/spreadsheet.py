"""Spreadsheets (xlsx, xlsb, xls, ods): one sheet's cells as texts, written as CSV for the common path.

Place in the flow: file → CSV in the scratch folder → `delimited`. An archive is looked over before it is opened: too
many entries, too large or too tightly packed is refused. Numbers are written with the 15 digits that spreadsheets keep.
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import re
import time
import zipfile
from collections.abc import Collection, Iterator
from dataclasses import replace
from decimal import ROUND_HALF_UP, Decimal
from pathlib import Path

import python_calamine

from importers.layout import FileShape
from ledger_tools.errors import LedgerError, Problem

#: Serial days count from here (the 29 February 1900 that never was is long before any date that is read).
_DAY_ZERO = datetime.datetime.combine(datetime.date(1899, 12, 30), datetime.time())
_SERIAL_DAYS = (30_000, 75_000)
_FROM_1904 = re.compile(rb"date1904\s*=\s*[\"'](?:1|true|on)[\"']")
_ENTRIES, _BYTES, _RATIO, _SMALL = 2_000, 500_000_000, 200, 1_000_000


def write_sheet(
    path: Path, shape: FileShape, scratch: Path, dated_columns: Collection[str] = ()
) -> tuple[Path, FileShape]:
    """One sheet as a CSV file, and the shape that reads it; numbers in `dated_columns` are serial days.

    Raises:
        LedgerError: not a spreadsheet, refused by the look-over, no such sheet, or an empty one.
    """
    rows = list(sheet_rows(path, shape, dated_columns=dated_columns))
    if not rows:
        raise LedgerError(Problem(path.name, "holds no rows", "set sheet under [file] to the sheet with the records"))
    target = scratch / "sheet.csv"
    with target.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out, lineterminator="\n", quoting=csv.QUOTE_ALL).writerows(rows)
    return target, replace(shape, delimiter=",", encoding=None)


def sheet_rows(
    path: Path, shape: FileShape, limit: int | None = None, dated_columns: Collection[str] = ()
) -> Iterator[list[str]]:
    """The rows of a sheet that hold anything, as texts, `limit` of them at most.

    Raises:
        LedgerError: as `write_sheet`.
    """
    _look_over(path)
    try:
        workbook = python_calamine.CalamineWorkbook.from_path(str(path))
        name = _sheet_name(path, shape, workbook.sheet_names)
        rows = workbook.get_sheet_by_name(name).to_python(skip_empty_area=False)
    except (python_calamine.CalamineError, OSError, ValueError) as error:
        raise LedgerError(Problem(path.name, f"can't be read as a spreadsheet: {error}", "save it as CSV")) from None
    folded = {column.casefold() for column in dated_columns}
    dated: set[int] = set() if shape.header_row else {int(column) - 1 for column in folded if column.isdecimal()}
    first_day = _first_day(path) if folded else _DAY_ZERO
    given = 0
    for row in rows:
        texts = [_cell_text(value, shape.decimal_mark) for value in row]
        if any(texts):
            for place in dated:
                if place < len(row):
                    texts[place] = _serial_day(row[place], first_day, shape) or texts[place]
            yield texts
            given += 1
            if given == shape.header_row:
                dated = {place for place, name in enumerate(texts) if name.casefold() in folded}
        if limit is not None and given >= limit:
            return


def find_sheet(path: Path, shape: FileShape, columns: Collection[str]) -> str | None:
    """The only sheet that holds all of these columns in its header row, None where there is none or there are several."""
    names = python_calamine.CalamineWorkbook.from_path(str(path)).sheet_names
    found = []
    for name in names:
        header = list(sheet_rows(path, replace(shape, sheet=name), limit=shape.header_row or 1))[-1:]
        if header and {column.casefold() for column in columns} <= {text.casefold() for text in header[0]}:
            found.append(name)
    return found[0] if len(found) == 1 else None


def _first_day(path: Path) -> datetime.datetime:
    """Day zero of the file's serial days: a workbook may state that it counts from 1904."""
    if zipfile.is_zipfile(path):
        with zipfile.ZipFile(path) as archive:
            if "xl/workbook.xml" in archive.namelist() and _FROM_1904.search(archive.read("xl/workbook.xml")):
                return datetime.datetime.combine(datetime.date(1904, 1, 1), datetime.time())
    return _DAY_ZERO


def _serial_day(value: object, first_day: datetime.datetime, shape: FileShape) -> str | None:
    """A number as the day that spreadsheets mean by it, with its time to the second; None where it is none, or a date as text."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not _SERIAL_DAYS[0] <= value < _SERIAL_DAYS[1]:
        return None
    for entry in shape.date_formats:
        with contextlib.suppress(ValueError):
            time.strptime(_cell_text(float(value), "."), entry)
            return None
    seconds = int((Decimal(repr(value)) * 86_400).to_integral_value(ROUND_HALF_UP))
    return _cell_text(first_day + datetime.timedelta(seconds=seconds), ".")


def _sheet_name(path: Path, shape: FileShape, names: list[str]) -> str:
    if shape.sheet is None:
        if not names:
            raise LedgerError(Problem(path.name, "holds no sheet", "save it as CSV"))
        return names[0]
    if shape.sheet not in names:
        what = f"has no sheet {shape.sheet!r}; its sheets are {', '.join(names)}"
        raise LedgerError(Problem(path.name, what, "set sheet under [file]"))
    return shape.sheet


def _look_over(path: Path) -> None:
    if path.stat().st_size > _BYTES:
        raise LedgerError(Problem(path.name, f"is larger than {_BYTES} bytes", "export a shorter span"))
    if not zipfile.is_zipfile(path):
        return
    with zipfile.ZipFile(path) as archive:
        entries = archive.infolist()
    total = sum(entry.file_size for entry in entries)
    packed = [entry for entry in entries if entry.file_size > max(_SMALL, _RATIO * entry.compress_size)]
    if len(entries) > _ENTRIES or total > _BYTES or packed:
        what = (
            f"unpacks to {total} bytes in {len(entries)} entries, {len(packed)} of them packed more than "
            f"{_RATIO} times; expected at most {_BYTES} bytes in {_ENTRIES} entries"
        )
        raise LedgerError(Problem(path.name, what, "save the sheet as CSV"))


def _cell_text(value: object, decimal_mark: str) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return f"{Decimal(f'{value:.15g}'):f}".replace(".", decimal_mark)
    if isinstance(value, datetime.datetime):
        return value.isoformat(sep=" ") if value.time() != datetime.time() else value.date().isoformat()
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    return str(value).strip()
