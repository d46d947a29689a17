"""Tables of the packet on the PDF's pages: chosen columns, chosen widths, the same figures."""

from __future__ import annotations

import datetime
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import LongTable, Paragraph

from ledger_tools.money import round_half_up
from ledger_tools.packet.letters import amount_in_words
from ledger_tools.packet.table import Cell, Column, Line, Table
from ledger_tools.packet.typeface import BOLD, PLAIN, printable

INK, RULE, SHADE = HexColor("#1F2933"), HexColor("#9AA5B1"), HexColor("#EEF1F4")
_SIZE = 7
BODY = ParagraphStyle("body", fontName=PLAIN, fontSize=9, leading=13, textColor=INK, spaceAfter=4)
SMALL = ParagraphStyle("small", fontName=PLAIN, fontSize=7, leading=9, textColor=INK, spaceAfter=3)
HEADING = ParagraphStyle(
    "heading", fontName=BOLD, fontSize=12, leading=15, textColor=INK, spaceBefore=10, spaceAfter=3, keepWithNext=1
)
_CELL = ParagraphStyle("cell", fontName=PLAIN, fontSize=_SIZE, leading=9, textColor=INK)
_HEAD = ParagraphStyle("head", fontName=BOLD, fontSize=_SIZE, leading=9, textColor=INK)
_HEAD_RIGHT = ParagraphStyle("head-right", parent=_HEAD, alignment=2)


def paragraph(text: str, style: ParagraphStyle = BODY) -> Paragraph:
    """A text as a paragraph; nothing in it is markup."""
    return Paragraph(escape(printable(text)), style)


def cell_text(cell: Cell, column: Column, line: Line) -> str:
    """A cell as the page shows it."""
    if cell is None:
        return ""
    if column.kind == "money" and isinstance(cell, int):
        code = column.currency if column.currency_in is None else line.cells[column.currency_in]
        assert isinstance(code, str), "an amount has a currency"
        return amount_in_words(cell, code).partition(" ")[0]
    if isinstance(cell, int):
        return f"{cell:,}"
    if isinstance(cell, datetime.date):
        return cell.isoformat()
    if column.kind == "ratio":
        tenths = round_half_up(int(cell.replace(".", "")), 10)
        return f"{'-' if tenths < 0 else ''}{abs(tenths) // 10}.{abs(tenths) % 10} %"
    return cell


def draw_table(table: Table, columns: dict[int, int], most: int | None = None) -> list[Any]:
    """A table under its title: columns by place with their widths in points; of more lines than `most`, the first."""
    chosen = [(place, table.columns[place]) for place in columns]
    head = [paragraph(column.heading, _HEAD if column.kind in ("text", "day") else _HEAD_RIGHT) for _, column in chosen]
    rows: list[list[Any]] = [head]
    styles: list[tuple[Any, ...]] = [
        ("FONT", (0, 0), (-1, -1), PLAIN, _SIZE),
        ("TEXTCOLOR", (0, 0), (-1, -1), INK),
        ("BACKGROUND", (0, 0), (-1, 0), SHADE),
        ("LINEBELOW", (0, 0), (-1, 0), 1, RULE),
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 2),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ("LEFTPADDING", (0, 0), (-1, -1), 3),
        ("RIGHTPADDING", (0, 0), (-1, -1), 3),
    ]
    for place, (_, column) in enumerate(chosen):
        if column.kind not in ("text", "day"):
            styles.append(("ALIGN", (place, 0), (place, -1), "RIGHT"))
    for number, line in enumerate(table.lines):
        if most is not None and number >= most:
            break
        rows.append([_cell(line, place, column, columns[place]) for place, column in chosen])
        styles += _line_styles(line, len(rows) - 1)
    drawn = LongTable(rows, colWidths=list(columns.values()), repeatRows=1, hAlign="LEFT")
    drawn.setStyle(styles)
    told = [paragraph(table.title, HEADING), *(paragraph(note, SMALL) for note in table.notes), drawn]
    left = len(table.lines) - (len(rows) - 1)
    if left > 0:
        told.append(
            paragraph(f"{left} more: see the sheet {table.title} of the workbook, or csv/{table.name}.csv.", SMALL)
        )
    if not len(table.lines):
        told.append(paragraph("None.", SMALL))
    return told


def _cell(line: Line, place: int, column: Column, width: int) -> Any:
    text = printable(cell_text(line.cells[place], column, line))
    is_long = column.kind == "text" and 5 * len(text) * _SIZE > 8 * width
    return Paragraph(escape(text), _CELL) if is_long and line.weight == "plain" else text


def _line_styles(line: Line, row: int) -> list[tuple[Any, ...]]:
    styles: list[tuple[Any, ...]] = []
    if line.weight != "plain":
        styles.append(("FONT", (0, row), (-1, row), BOLD, _SIZE))
    if line.weight in ("subtotal", "total"):
        styles.append(("LINEABOVE", (0, row), (-1, row), 1, RULE))
    if line.weight == "total":
        styles.append(("LINEBELOW", (0, row), (-1, row), 2, RULE))
    return styles
