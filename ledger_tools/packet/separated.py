"""The packet's tables as CSV: RFC 4180, UTF-8 with a byte order mark, amounts as decimal text in their currency's digits.

Files of this kind are opened in spreadsheet programs, so a text that one would take for a formula gets a leading
apostrophe (common practice); amounts keep their sign as they are. The first column says what a line is, so that totals
are not added to what they total.
"""

from __future__ import annotations

import csv
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from ledger_tools.money import format_amount
from ledger_tools.packet.table import Cell, Column, Line, Table

_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")

#: Said in the manifest.
NOTE = (
    "CSV files: UTF-8 with a byte order mark, RFC 4180. A text that begins with = + - or @ has an apostrophe before it, so "
    "that no spreadsheet program takes it for a formula. The column `line` tells totals from what they total."
)


#: Amounts repeat a great deal from line to line, so their texts are kept.
_amount_text = lru_cache(maxsize=1 << 16)(format_amount)


def _text(cell: Cell, line: Line) -> str:
    text = "" if cell is None else str(cell)
    return f"'{text}" if text.startswith(_FORMULA_STARTS) else text


def _plain(cell: Cell, line: Line) -> str:
    """A day, a number or a ratio."""
    return "" if cell is None else str(cell)


def _formatter(column: Column) -> Callable[[Cell, Line], str]:
    """What makes the text of a column's cells; chosen once a column, as a ledger has a million lines."""
    if column.kind != "money":
        return _text if column.kind == "text" else _plain
    code, place = column.currency, column.currency_in
    if place is None:
        assert code is not None, "an amount has a currency"
        return lambda cell, line: _amount_text(cell, code) if isinstance(cell, int) else ""
    return lambda cell, line: _amount_text(cell, line.cells[place]) if isinstance(cell, int) else ""


def write_separated(file: Path, table: Table) -> None:
    """Write one table, every line of it."""
    formatters = [_formatter(column) for column in table.columns]
    with file.open("w", encoding="utf-8-sig", newline="") as stream:
        writer = csv.writer(stream, lineterminator="\r\n")
        writer.writerow(["line", *(column.heading for column in table.columns)])
        writer.writerows(
            [
                "line" if line.weight == "plain" else line.weight,
                *(text(cell, line) for text, cell in zip(formatters, line.cells, strict=True)),
            ]
            for line in table.lines
        )
