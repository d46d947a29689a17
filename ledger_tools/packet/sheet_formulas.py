"""How the formulas of the packet's tables are written in a workbook's cells."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from xlsxwriter.utility import xl_rowcol_to_cell

from ledger_tools.money import minor_digits
from ledger_tools.packet.table import Difference, Figure, Formula, IsNotZero, SumWhere, Table, Term

Spans = Mapping[str, tuple[int, int]]


def cell_name(row: int, column: int) -> str:
    """A cell's name, such as "C6"."""
    return str(xl_rowcol_to_cell(row, column))


def _sheet(table: Table) -> str:
    """The sheet's name as formulas write it."""
    return "'" + table.title.replace("'", "''") + "'"


def _range(table: Table, column: int, span: tuple[int, int]) -> str:
    first, last = (xl_rowcol_to_cell(row, column, row_abs=True, col_abs=True) for row in span)
    return f"{_sheet(table)}!{first}:{last}"


def adding(terms: tuple[Term, ...], first_row: int, column: int) -> str:
    """The formula that adds lines of the same sheet, of which the first stands in `first_row`."""
    parts: list[str] = []
    for term in terms:
        first, last = cell_name(first_row + term.first, column), cell_name(first_row + term.last, column)
        text = first if first == last else f"SUM({first}:{last})"
        parts.append(f"{'-' if term.sign < 0 else '+' if parts else ''}{text}")
    return f"={''.join(parts)}"


def _part(part: Figure | SumWhere, shown: Mapping[str, Table], spans: Spans, header_row: Callable[[Table], int]) -> str:
    table = shown[part.table]
    if isinstance(part, Figure):
        return f"+{_sheet(table)}!{cell_name(header_row(table) + 1 + part.line, part.column)}"
    sign = "-" if part.sign < 0 else "+"
    span = spans[part.table]
    if span[1] < span[0]:
        return f"{sign}0"
    summed = _range(table, part.column, span)
    if not part.where:
        return f"{sign}SUM({summed})"
    conditions = (
        f'{_range(table, column, span)},"{text.replace(chr(34), chr(34) * 2)}"' for column, text in part.where
    )
    return f"{sign}SUMIFS({summed},{','.join(conditions)})"


def formula_text(
    formula: Formula,
    row: int,
    currency: str | None,
    shown: Mapping[str, Table],
    spans: Spans,
    header_row: Callable[[Table], int],
) -> str:
    """The formula as a cell of that row holds it; sums and differences are rounded to the currency's digits."""
    digits = minor_digits(currency) if currency else 0
    if isinstance(formula, Difference):
        return f"=ROUND({cell_name(row, formula.left)}-{cell_name(row, formula.right)},{digits})"
    if isinstance(formula, IsNotZero):
        return f"=IF({cell_name(row, formula.column)}=0,0,1)"
    text = "".join(_part(part, shown, spans, header_row) for part in formula).removeprefix("+")
    return f"={text}" if len(formula) == 1 and isinstance(formula[0], Figure) else f"=ROUND({text},{digits})"
