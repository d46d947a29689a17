"""The packet's charts as charts of the spreadsheet program, drawn from the cells of their sheets."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from ledger_tools.packet.table import Chart, Packet, Table

#: Fills by place: the second is hatched, so that marks differ without colour.
_COLOURS = ("#2F5D8A", "#C47F2B")
_HATCH = {"pattern": "wide_upward_diagonal", "fg_color": _COLOURS[1], "bg_color": "#FFFFFF"}
_SIZE = {"width": 760, "height": 340}
#: Rows that a chart takes, with the blank one after it.
ROWS_A_CHART = 19


def _series(chart: Chart, table: Table, first_row: int, place: int, drawn: int) -> dict[str, Any]:
    series = chart.series[place]
    rows = (first_row + chart.first, first_row + chart.last)

    def cells(column: int) -> list[Any]:
        return [table.title, rows[0], column, rows[1], column]

    told: dict[str, Any] = {
        "name": table.columns[series.column].heading.removeprefix("Chart: "),
        "categories": cells(chart.labels),
        "values": cells(series.column),
        "gap": 60,
    }
    if series.is_base:
        return {**told, "fill": {"none": True}, "border": {"none": True}}
    if drawn:
        return {**told, "pattern": _HATCH, "border": {"color": _COLOURS[1]}}
    return {**told, "fill": {"color": _COLOURS[0]}, "border": {"color": _COLOURS[0]}}


def add_charts(
    workbook: Any, sheet: Any, row: int, packet: Packet, shown: Mapping[str, Table], header_row: Callable[[Table], int]
) -> None:
    """Draw the charts below each other on a sheet, from a row on; `header_row` tells where a table's headings stand."""
    for number, chart in enumerate(packet.charts):
        if chart.last < chart.first:
            continue
        table = shown[chart.table]
        drawn = workbook.add_chart({"type": "column", **({"subtype": "stacked"} if chart.is_stacked else {})})
        visible = 0
        hidden = []
        for place, series in enumerate(chart.series):
            drawn.add_series(_series(chart, table, header_row(table) + 1, place, visible))
            if series.is_base:
                hidden.append(place)
            else:
                visible += 1
        drawn.set_title({"name": chart.title, "name_font": {"size": 12}})
        drawn.set_y_axis({"name": chart.unit, "num_format": "#,##0", "major_gridlines": {"visible": True}})
        drawn.set_x_axis({"name": table.columns[chart.labels].heading, "label_position": "low"})
        drawn.set_legend({"none": True} if chart.is_stacked else {"position": "bottom", "delete_series": hidden})
        drawn.set_size(_SIZE)
        sheet.insert_chart(row + number * ROWS_A_CHART, 0, drawn, {"description": chart.title})
