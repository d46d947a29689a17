"""The packet's tables as an XLSX workbook: live formulas with their values beside, native charts, ready to print.

Texts are written as texts, whatever they look like. Amounts are numbers with their currency's digits. Sheets are written
row by row to a scratch folder, so memory stays small. The file is the same, byte for byte, for the same packet.
"""

from __future__ import annotations

import datetime
from bisect import bisect_right
from decimal import Decimal
from functools import lru_cache
from itertools import accumulate
from pathlib import Path
from typing import Any

import xlsxwriter

from ledger_tools.money import format_amount, minor_digits
from ledger_tools.packet.paper import prints_on_letter
from ledger_tools.packet.sheet_formulas import adding, formula_text
from ledger_tools.packet.table import Cell, Column, Line, Packet, Table, Weight
from ledger_tools.packet.workbook_charts import ROWS_A_CHART, add_charts

_OPTIONS = {
    "constant_memory": True,
    "strings_to_formulas": False,
    "strings_to_urls": False,
    "strings_to_numbers": False,
}
_LETTER, _A4 = 1, 9
_INK, _DRAFT_INK, _RULE, _SHADE = "#1F2933", "#9B1C1C", "#7B8794", "#EEF1F4"
#: Height of a row of text, in points.
_ROW_HEIGHT = 15
#: Characters of a column that a heading leaves empty: it is bold, indented, and in lists has the filter's button.
_HEADING_MARGIN = 2
#: Characters beyond which a sheet is two pages wide: on one, nobody could read it.
_WIDEST = 250


def header_row(table: Table) -> int:
    """Row of the headings, counted from zero; the lines follow it. Above stand title, shop, state, notes and a blank."""
    return 4 + len(table.notes)


class Writer:
    """Writes the sheets of one workbook and keeps its cell formats."""

    def __init__(self, file: Path, packet: Packet, scratch: Path) -> None:
        self.packet = packet
        self.workbook = xlsxwriter.Workbook(str(file), {**_OPTIONS, "tmpdir": str(scratch)})
        day = packet.standing.last_day
        made = datetime.datetime(day.year, day.month, day.day)  # noqa: DTZ001 (a property without a zone)
        title = f"{packet.standing.shop}, {packet.standing.name}"
        self.workbook.set_properties({"title": title, "comments": packet.standing.state, "created": made})
        self.workbook.set_calc_mode("auto")
        #: What the workbook shows of each table, and the rows of its first and last plain line.
        self.shown = {table.name: table.in_workbook or table for table in packet.tables}
        self.spans: dict[str, tuple[int, int]] = {}
        self._formats: dict[tuple[Any, ...], Any] = {}

    def style(self, **properties: Any) -> Any:
        """The cell format of these properties, made once."""
        key = tuple(sorted(properties.items()))
        if key not in self._formats:
            self._formats[key] = self.workbook.add_format({"font_color": _INK, "valign": "top", **properties})
        return self._formats[key]

    def write(self) -> None:
        """Write every sheet, then the charts, and close the file."""
        sheets = [(table, self.workbook.add_worksheet(table.title)) for table in self.shown.values()]
        for table, sheet in sheets:
            self._write_sheet(table, sheet)
        first, sheet = sheets[0]
        add_charts(self.workbook, sheet, header_row(first) + len(first.lines) + 3, self.packet, self.shown, header_row)
        self.workbook.close()

    def _chart_rows(self) -> int:
        """Rows that the charts take below the first sheet's lines."""
        return 3 + ROWS_A_CHART * len(self.packet.charts)

    def _write_sheet(self, table: Table, sheet: Any) -> None:
        self._write_head(table, sheet)
        top = header_row(table)
        if any(len(column.heading) + _HEADING_MARGIN > column.width for column in table.columns):
            sheet.set_row(top, 2 * _ROW_HEIGHT)
        for place, column in enumerate(table.columns):
            sheet.set_column(place, place, column.width)
            at_right = column.kind in ("money", "count", "ratio")
            aligned = {"align": "right"} if at_right else {"align": "left", "indent": min(place, 1)}
            heading = self.style(bold=True, text_wrap=True, bottom=1, bg_color=_SHADE, border_color=_RULE, **aligned)
            sheet.write_string(top, place, column.heading, heading)
        last_plain = top
        row = top
        for row, line in enumerate(table.lines, start=top + 1):
            self._write_line(table, sheet, row, line)
            if line.weight == "plain":
                last_plain = row
        if not len(table.lines):
            row = top + 1
            sheet.write_string(row, 0, "None.", self.style())
        self.spans[table.name] = (top + 1, last_plain)
        self._set_up_page(table, sheet, top, row)

    def _write_head(self, table: Table, sheet: Any) -> None:
        standing = self.packet.standing
        widths = list(accumulate(column.width for column in table.columns))
        # a note stays on the first of two pages
        last = len(widths) - 1 if widths[-1] <= _WIDEST else bisect_right(widths, _WIDEST // 2) - 1
        width = widths[last]
        sheet.set_row(0, 24)
        sheet.write_string(0, 0, table.title, self.style(bold=True, font_size=15))
        about = f"{standing.shop}, {standing.name}, to the end of {standing.last_day}"
        sheet.write_string(1, 0, about, self.style())
        ink = _DRAFT_INK if standing.is_draft else _INK
        sheet.write_string(2, 0, standing.state, self.style(bold=True, font_color=ink))
        for row, note in enumerate(table.notes, start=3):
            style = self.style(text_wrap=True, italic=True)
            sheet.set_row(row, _ROW_HEIGHT * (1 + len(note) * 8 // (7 * width)))
            if last:
                sheet.merge_range(row, 0, row, last, "", style)
            sheet.write_string(row, 0, note, style)

    def _set_up_page(self, table: Table, sheet: Any, top: int, bottom: int) -> None:
        standing = self.packet.standing
        last = len(table.columns) - 1
        sheet.freeze_panes(top + 1, 1)
        if table.is_list:
            sheet.autofilter(top, 0, max(self.spans[table.name][1], top + 1), last)
        sheet.repeat_rows(top)
        charts = self._chart_rows() if table.name == self.packet.tables[0].name else 0
        sheet.print_area(0, 0, bottom + charts, last)
        width = sum(column.width for column in table.columns)
        sheet.fit_to_pages(2 if width > _WIDEST else 1, 1 if charts else 0)
        sheet.set_paper(_LETTER if prints_on_letter(standing.currency) else _A4)
        if width > 100:
            sheet.set_landscape()
        if width > _WIDEST:
            sheet.repeat_columns(0)
            sheet.print_across()
        shop = standing.shop.replace("&", "&&")[:80]
        mark = "DRAFT" if standing.is_draft else ""
        sheet.set_header(f"&L{shop}&C{mark}&R{table.title}, {standing.name}")
        sheet.set_footer(f"&L{standing.state}&RPage &P of &N")
        sheet.hide_gridlines(2)

    def _write_line(self, table: Table, sheet: Any, row: int, line: Line) -> None:
        if any(column.wraps for column in table.columns):
            lines = max(_lines_of(cell, column) for cell, column in zip(line.cells, table.columns, strict=True))
            if lines > 1:
                sheet.set_row(row, lines * _ROW_HEIGHT)
        formulas = dict(line.formulas)
        for place, (cell, column) in enumerate(zip(line.cells, table.columns, strict=True)):
            if cell is None and line.weight == "plain":
                continue
            currency = self._currency(column, line)
            style = self._cell_style(column, currency, line.weight, place)
            if place in formulas:
                text = formula_text(formulas[place], row, currency, self.shown, self.spans, header_row)
                sheet.write_formula(row, place, text, style, _number(cell, currency))
            elif line.adds and isinstance(cell, int):
                text = adding(line.adds, header_row(table) + 1, place)
                sheet.write_formula(row, place, text, style, _number(cell, currency))
            elif isinstance(cell, int) or (column.kind == "ratio" and cell is not None):
                sheet.write_number(row, place, _number(cell, currency), style)
            elif isinstance(cell, datetime.date):
                sheet.write_datetime(row, place, cell, style)
            elif cell is not None:
                sheet.write_string(row, place, cell, style)
            else:
                sheet.write_blank(row, place, None, style)

    @staticmethod
    def _currency(column: Column, line: Line) -> str | None:
        if column.kind != "money":
            return None
        code = column.currency if column.currency_in is None else line.cells[column.currency_in]
        return code if isinstance(code, str) else None

    def _cell_style(self, column: Column, currency: str | None, weight: Weight, place: int) -> Any:
        kind = "long text" if column.wraps else column.kind
        return self._style_of(kind, minor_digits(currency) if currency else 0, weight, is_first=place == 0)

    @lru_cache(maxsize=512)  # noqa: B019 (a writer lives as long as its workbook)
    def _style_of(self, kind: str, digits: int, weight: Weight, *, is_first: bool) -> Any:
        properties: dict[str, Any] = {}
        if kind == "money":
            places = f".{'0' * digits}" if digits else ""
            properties["num_format"] = f"#,##0{places};-#,##0{places}"
        elif kind in ("day", "count", "ratio"):
            properties["num_format"] = {"day": "yyyy-mm-dd", "count": "#,##0", "ratio": "0.0%"}[kind]
        if kind in ("text", "long text", "day"):
            properties |= {"align": "left"} if is_first else {"align": "left", "indent": 1}
        if kind == "long text":
            properties["text_wrap"] = True
        if weight != "plain":
            properties["bold"] = True
        if weight in ("subtotal", "total"):
            properties |= {"top": 1, "border_color": _RULE}
        if weight == "total":
            properties["bottom"] = 6
        if weight == "heading" and is_first:
            properties["font_size"] = 12
        return self.style(**properties)


@lru_cache(maxsize=1 << 16)
def _decimal(minor: int, currency: str) -> Decimal:
    return Decimal(format_amount(minor, currency))


def _number(cell: Cell, currency: str | None) -> Any:
    """A cell as the number that stands in the sheet: an amount in its currency's own unit, a ratio as it is."""
    if currency is not None and isinstance(cell, int):
        return _decimal(cell, currency)
    return Decimal(cell) if isinstance(cell, str) else cell


def _lines_of(cell: Cell, column: Column) -> int:
    """Lines that a cell's text needs; not every program makes room for a wrapped text by itself."""
    return 1 + len(cell) * 8 // (column.width * 7) if column.wraps and isinstance(cell, str) else 1


def write_workbook(file: Path, packet: Packet, scratch: Path) -> None:
    """Write the packet's workbook; `scratch` is a folder for the writer's own files."""
    Writer(file, packet, scratch).write()


__all__ = ["Writer", "header_row", "write_workbook"]
