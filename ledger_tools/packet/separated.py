"""The packet's tables as CSV: RFC 4180, UTF-8 with a byte order mark, amounts as decimal text in their currency's digits.

Files of this kind are opened in spreadsheet programs, so a text that one would take for a formula gets a leading
apostrophe (common practice); amounts keep their sign as they are. The first column says what a line is, so that totals
are not added to what they total.
"""

from __future__ import annotations

import csv
import datetime
from pathlib import Path

from ledger_tools.money import format_amount
from ledger_tools.packet.table import Cell, Column, Line, Table

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: Said in the manifest.
NOTE = (
    "CSV files: UTF-8 with a byte order mark, RFC 4180. A text that begins with = + - or @ has an apostrophe before it, so "
    "that no spreadsheet program takes it for a formula. The column `line` tells totals from what they total."
)


def _cell_text(cell: Cell, column: Column, line: Line) -> str:
    if cell is None:
        return ""
    if column.kind == "money" and isinstance(cell, int):
        code = column.currency if column.currency_in is None else line.cells[column.currency_in]
        assert isinstance(code, str), "an amount has a currency"
        return format_amount(cell, code)
    if isinstance(cell, int):
        return str(cell)
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    return f"'{cell}" if column.kind == "text" and cell.startswith(_FORMULA_STARTS) else cell


def write_separated(file: Path, table: Table) -> None:
    """Write one table, every line of it."""
    with file.open("w", encoding="utf-8-sig", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(["line", *(column.heading for column in table.columns)])
        for line in table.lines:
            cells = (_cell_text(cell, column, line) for cell, column in zip(line.cells, table.columns, strict=True))
            writer.writerow(["line" if line.weight == "plain" else line.weight, *cells])
