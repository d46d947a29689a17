"""The packet's charts as drawings for the PDF, from the same lines as the workbook's charts.

Marks are drawn in minor units; the axis shows the currency's own. Series differ by fill and outline, not by colour alone.
"""

from __future__ import annotations

from typing import Any

from reportlab.graphics.charts.barcharts import VerticalBarChart
from reportlab.graphics.shapes import Drawing, Rect, String
from reportlab.lib.colors import HexColor, white

from ledger_tools.packet.letters import amount_in_words
from ledger_tools.packet.table import Chart, Table
from ledger_tools.packet.typeface import BOLD, PLAIN, printable

_INK, _RULE = HexColor("#1F2933"), HexColor("#CBD2D9")
#: Fill and outline by series: the second is hollow.
_FILLS = ((HexColor("#2F5D8A"), HexColor("#2F5D8A")), (white, HexColor("#9C5F12")))
_HEIGHT, _LEFT, _BOTTOM, _TOP = 190, 62, 52, 38
#: With no more marks than this each has its amount above it.
_LABELLED = 12
_LONGEST_LABEL = 16


def _axis_text(currency: str) -> Any:
    """What an axis says for a number of minor units, without the code and idle decimals."""

    def text(minor: Any) -> str:
        told = amount_in_words(round(minor), currency).partition(" ")[0]
        whole, point, fraction = told.partition(".")
        return told if fraction.strip("0") else whole

    return text


def _short(text: str) -> str:
    return printable(text if len(text) <= _LONGEST_LABEL else text[: _LONGEST_LABEL - 1] + "…")


def draw_chart(chart: Chart, table: Table, width: int) -> Drawing | None:
    """The drawing of a chart; None where it has no marks."""
    lines = [line for place, line in enumerate(table.lines) if chart.first <= place <= chart.last]
    if not lines:
        return None
    printable("")  # the typeface must be known before anything is measured
    amounts = [
        [cell if isinstance(cell := line.cells[series.column], int) else 0 for line in lines] for series in chart.series
    ]
    bars = VerticalBarChart()
    bars.x, bars.y, bars.width, bars.height = _LEFT, _BOTTOM, width - _LEFT - 8, _HEIGHT - _BOTTOM - _TOP
    bars.data = amounts
    bars.groupSpacing, bars.barSpacing = 8, 1
    axis, values = bars.categoryAxis, bars.valueAxis
    axis.categoryNames = [_short(str(line.cells[chart.labels])) for line in lines]
    axis.style = "stacked" if chart.is_stacked else "parallel"
    axis.labels.fontName, axis.labels.fontSize, axis.labels.fillColor = PLAIN, 6, _INK
    axis.labelAxisMode = "low"
    if len(lines) > 5:
        axis.labels.angle, axis.labels.boxAnchor, axis.labels.dx, axis.labels.dy = 28, "ne", 4, -3
    values.labels.fontName, values.labels.fontSize, values.labels.fillColor = PLAIN, 7, _INK
    values.labelTextFormat = _axis_text(chart.unit)
    values.visibleGrid, values.gridStrokeColor, values.strokeColor = 1, _RULE, None
    values.forceZero = 1
    drawn = _dress(bars, chart)
    labelled = [place for place, series in enumerate(chart.series) if not series.is_base]
    if len(lines) * (1 if chart.is_stacked else len(labelled)) <= _LABELLED:
        _label_marks(bars, chart, labelled)
    drawing = Drawing(width, _HEIGHT)
    drawing.add(bars)
    drawing.add(String(0, _HEIGHT - 12, printable(chart.title), fontName=BOLD, fontSize=9, fillColor=_INK))
    unit = String(
        0, _HEIGHT - 24, f"{chart.unit}, by {table.columns[chart.labels].heading.lower()}", fontName=PLAIN, fontSize=7
    )
    drawing.add(unit)
    if len(drawn) > 1 and not chart.is_stacked:
        _add_legend(drawing, [table.columns[series.column].heading for series in chart.series], width)
    return drawing


def _dress(bars: Any, chart: Chart) -> list[int]:
    """Fill and outline every series; the places of those that are seen."""
    drawn: list[int] = []
    for place, series in enumerate(chart.series):
        style = bars.bars[place]
        if series.is_base:
            style.fillColor = style.strokeColor = None
            continue
        style.fillColor, style.strokeColor = _FILLS[0 if chart.is_stacked else min(len(drawn), 1)]
        style.strokeWidth = 1
        drawn.append(place)
    return drawn


def _label_marks(bars: Any, chart: Chart, labelled: list[int]) -> None:
    bars.barLabelFormat = lambda minor: amount_in_words(minor, chart.unit).partition(" ")[0] if minor else ""
    for place in range(len(chart.series)):
        labels = bars.barLabels[place]
        labels.fontName, labels.fontSize, labels.fillColor, labels.dy = PLAIN, 6, _INK, 5
        labels.visible = 1 if place in labelled else 0


def _add_legend(drawing: Drawing, names: list[str], width: int) -> None:
    left = width - 8
    for place in reversed(range(len(names))):
        left -= 16 + 4 * len(names[place])
        fill, outline = _FILLS[min(place, 1)]
        drawing.add(Rect(left, _HEIGHT - 13, 7, 7, fillColor=fill, strokeColor=outline))
        drawing.add(
            String(left + 10, _HEIGHT - 12, printable(names[place]), fontName=PLAIN, fontSize=7, fillColor=_INK)
        )
