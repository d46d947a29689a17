"""The packet as a PDF of a few pages: what happened, statements, taxes, reconciliations, open items, and where to sign.

Figures are those of the same tables as the workbook's. Every page bears the shop, the period, the state, and its number of
how many. The file is the same, byte for byte, for the same packet.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from reportlab.lib.colors import HexColor
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import CondPageBreak, KeepTogether, PageBreak, SimpleDocTemplate, Spacer
from reportlab.platypus import Table as Grid

from ledger_tools.packet.document_charts import draw_chart
from ledger_tools.packet.document_tables import BODY, HEADING, INK, RULE, SMALL, draw_table, paragraph
from ledger_tools.packet.paper import prints_on_letter
from ledger_tools.packet.table import Packet
from ledger_tools.packet.typeface import BOLD, BOX, BOX_NOTE, PLAIN, printable

_MARGIN, _WIDTH = 50, 495
_DRAFT_INK, _WATERMARK = HexColor("#9B1C1C"), HexColor("#FAF0F0")
_TITLE = ParagraphStyle("title", fontName=BOLD, fontSize=18, leading=23, textColor=INK)
_STATE = ParagraphStyle("state", fontName=BOLD, fontSize=9, leading=13, textColor=_DRAFT_INK, spaceAfter=6)

#: Open items that are told one by one; the workbook has all.
_MOST_ITEMS = 30

_TRACE = (
    "Every figure here is a cell of the workbook. A total is the sum of the lines above it; an account's amount is the sum of its "
    "lines on the sheet General ledger; a line there names the order, and the source and event of the export that brought it; "
    "the sheet Exports names the file that covers its day, with the digest that proves it. The sheet Check derives the totals "
    "again by formula; every difference there must read zero. journal/ holds the same books for beancount.",
)

#: Tables after the first pages, in order: columns by place with their widths, and how many lines are shown at most.
_TABLES: tuple[tuple[str, dict[int, int], int | None], ...] = (
    ("income-statement", {0: 275, 1: 110, 2: 110}, None),
    ("balance-sheet", {0: 200, 1: 90, 2: 90, 3: 115}, None),
    ("owners-equity", {0: 275, 1: 110}, None),
    ("cash-flow", {0: 275, 1: 110, 2: 110}, None),
    ("orders-to-income", {0: 385, 1: 110}, None),
    ("sales-tax", {0: 70, 2: 68, 3: 68, 6: 62, 7: 58, 8: 58, 9: 58, 11: 53}, None),
    ("tax-returns", {0: 70, 2: 60, 3: 60, 4: 60, 10: 60, 12: 60, 13: 60, 14: 65}, None),
    ("reconciliations", {0: 170, 1: 50, 2: 60, 3: 70, 4: 70, 5: 75}, None),
    ("two-sided", {0: 225, 1: 50, 2: 60, 4: 70, 5: 90}, 80),
    ("control-accounts", {0: 195, 1: 50, 2: 60, 4: 65, 6: 125}, 60),
    ("close", {0: 46, 1: 56, 3: 88, 4: 42, 5: 263}, 60),
    ("month-end-entries", {0: 52, 1: 150, 3: 45, 6: 138, 10: 55, 11: 55}, None),
    ("prior-period-entries", {0: 52, 1: 110, 2: 52, 3: 50, 6: 111, 10: 60, 11: 60}, None),
    ("open-items", {0: 46, 1: 102, 2: 52, 4: 50, 5: 44, 6: 42, 9: 159}, _MOST_ITEMS),
    ("waived-items", {0: 52, 1: 105, 2: 58, 3: 50, 4: 55, 10: 65, 11: 110}, _MOST_ITEMS),
)
#: A list begins on a new page where less than this is left, in points; a statement where it would be cut, if a page
#: can hold it: what its title and each of its lines need, and what a page has.
_LEAST_ROOM, _HEAD_ROOM, _LINE_ROOM, _MOST_ROOM = 150, 60, 12, 640


class _NumberedCanvas(Canvas):  # type: ignore[misc]
    """Keeps the pages until their number is known, then prints head and foot of each."""

    packet: Packet

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 (the library's name)
        """Keep the page."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Print every page with its number, and the file."""
        for number, page in enumerate(self._kept, start=1):
            self.__dict__.update(page)
            self._print_frame(number, len(self._kept))
            super().showPage()
        super().save()

    def _print_frame(self, number: int, count: int) -> None:
        standing = self.packet.standing
        width, height = self._pagesize
        self.setStrokeColor(RULE)
        self.setLineWidth(1)
        self.line(_MARGIN, height - 40, width - _MARGIN, height - 40)
        self.line(_MARGIN, 40, width - _MARGIN, 40)
        self.setFont(PLAIN, 8)
        self.setFillColor(INK)
        self.drawString(_MARGIN, height - 34, printable(standing.shop[:70]))
        self.drawRightString(width - _MARGIN, height - 34, standing.name)
        self.drawRightString(width - _MARGIN, 29, f"Page {number} of {count}")
        self.setFillColor(_DRAFT_INK if standing.is_draft else INK)
        self.drawString(_MARGIN, 29, standing.state)
        if standing.is_draft:
            self.setFont(BOLD, 9)
            self.drawCentredString(width // 2, height - 34, "DRAFT")


def _mark_draft(packet: Packet) -> Any:
    """What is drawn below each page's text: the word DRAFT, large and pale, while the packet is one."""

    def mark(canvas: Any, document: Any) -> None:
        if packet.standing.is_draft:
            width, height = document.pagesize
            canvas.saveState()
            canvas.setFont(BOLD, 120)
            canvas.setFillColor(_WATERMARK)
            canvas.translate(width // 2, height // 2)
            canvas.rotate(52)
            canvas.drawCentredString(0, -40, "DRAFT")
            canvas.restoreState()

    return mark


def _sign_off() -> list[Any]:
    """Where the preparer and the reviewer sign."""
    lines = [[role, "", "Date", ""] for role in ("Prepared by", "Reviewed by")]
    grid = Grid(lines, colWidths=[80, 230, 40, 145], rowHeights=34)
    grid.setStyle(
        [
            ("FONT", (0, 0), (-1, -1), PLAIN, 9),
            ("TEXTCOLOR", (0, 0), (-1, -1), INK),
            ("VALIGN", (0, 0), (-1, -1), "BOTTOM"),
            ("LINEBELOW", (1, 0), (1, -1), 1, INK),
            ("LINEBELOW", (3, 0), (3, -1), 1, INK),
        ]
    )
    return [paragraph("Sign-off", HEADING), grid]


def _first_pages(packet: Packet) -> list[Any]:
    standing = packet.standing
    state = paragraph(standing.state, _STATE if standing.is_draft else BODY)
    told: list[Any] = [paragraph(standing.shop, _TITLE), paragraph(f"Accountant's packet, {standing.name}"), state]
    told += [paragraph("What happened", HEADING), *(paragraph(sentence) for sentence in packet.story)]
    told += draw_table(packet.table("summary"), {0: 195, 1: 80, 2: 80, 3: 45, 4: 95})
    for chart in packet.charts:
        drawing = draw_chart(chart, packet.table(chart.table), _WIDTH)
        if drawing is not None:
            told += [Spacer(1, 10), drawing]
    return told


def _last_page(packet: Packet) -> list[Any]:
    broken = packet.broken_checks
    count = len(packet.table("check").lines) - 1
    result = (
        f"All {count} checks of the workbook read zero." if not broken else f"{broken} of {count} checks are not zero."
    )
    told = [paragraph("How to trace a figure", HEADING), *(paragraph(text) for text in _TRACE), paragraph(result)]
    return [KeepTogether([*told, Spacer(1, 8), *_sign_off()])]


def write_document(file: Path, packet: Packet) -> None:
    """Write the packet's PDF."""
    printable("")  # the typeface must be known before anything is measured
    standing = packet.standing
    size = LETTER if prints_on_letter(standing.currency) else A4
    document = SimpleDocTemplate(
        str(file), pagesize=size, leftMargin=_MARGIN, rightMargin=_MARGIN, topMargin=52, bottomMargin=52, invariant=1,
        title=f"{standing.shop}, {standing.name}", subject=standing.state,
    )  # fmt: skip
    flow = _first_pages(packet)
    flow.append(PageBreak())
    for name, columns, most in _TABLES:
        table = packet.table(name)
        room = _LEAST_ROOM if table.is_list else min(_HEAD_ROOM + _LINE_ROOM * len(table.lines), _MOST_ROOM)
        flow += [CondPageBreak(room), *draw_table(table.in_document or table, columns, most)]
    flow += _last_page(packet)
    if any(BOX in printable(text) for text in (standing.shop, *packet.story)) or _has_boxes(packet):
        flow.append(paragraph(BOX_NOTE, SMALL))
    canvas = type("Canvas", (_NumberedCanvas,), {"packet": packet})
    mark = _mark_draft(packet)
    document.build(flow, onFirstPage=mark, onLaterPages=mark, canvasmaker=canvas)


def _has_boxes(packet: Packet) -> bool:
    """Whether a table that the pages show has a letter that can't be printed."""
    names = [name for name, _, _ in _TABLES]
    cells = (cell for name in names for line in packet.table(name).lines for cell in line.cells)
    return any(isinstance(cell, str) and BOX in printable(cell) for cell in cells)
