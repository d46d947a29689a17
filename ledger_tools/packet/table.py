"""What a sheet of the packet is, as a value: columns, lines, how lines add up, charts.

Amounts are minor units; the column says of which currency, or which other column does. A line that adds up others says
so as a formula over lines; its own figure comes from the report all the same, so that the two can be compared.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

Cell = str | int | datetime.date | None
Cells = tuple[Cell, ...]

#: text; a day; an amount in minor units; a whole number; a ratio as decimal text of four digits.
Kind = Literal["text", "day", "money", "count", "ratio"]
Weight = Literal["plain", "heading", "subtotal", "total"]


@dataclass(frozen=True)
class Column:
    """One column.

    Attributes:
        width: in letters.
        currency: of all its amounts; None where `currency_in` names the place of the column that says it.
        wraps: whether a long text goes on on the next line of its cell.
    """

    heading: str
    kind: Kind = "text"
    width: int = 14
    currency: str | None = None
    currency_in: int | None = None
    wraps: bool = False


@dataclass(frozen=True)
class Term:
    """The sum of the lines `first` to `last` of a table, both included, taken `sign` times."""

    first: int
    last: int
    sign: int = 1


@dataclass(frozen=True)
class Figure:
    """One cell of a table, by the table's name and the places of line and column."""

    table: str
    line: int
    column: int


@dataclass(frozen=True)
class SumWhere:
    """The sum of a column over the plain lines whose cells in other columns hold these texts, taken `sign` times.

    A text that ends in `*` stands for all that begin so.
    """

    table: str
    column: int
    where: tuple[tuple[int, str], ...] = ()
    sign: int = 1


@dataclass(frozen=True)
class Difference:
    """The cell in the column `left` of the same line less that in `right`."""

    left: int
    right: int


@dataclass(frozen=True)
class IsNotZero:
    """1 where the cell in a column of the same line is not zero, else 0."""

    column: int


Formula = tuple[Figure | SumWhere, ...] | Difference | IsNotZero


@dataclass(frozen=True)
class Line:
    """One line.

    Attributes:
        adds: the lines of the table that its amounts and numbers are the sum of.
        formulas: places of cells that are worked out from others, with what they are the sum of.
    """

    cells: Cells
    weight: Weight = "plain"
    adds: tuple[Term, ...] = ()
    formulas: tuple[tuple[int, Formula], ...] = ()


class Lines:
    """Lines that are made again each time they are walked, so that a year's ledger never stands in memory whole."""

    def __init__(self, count: int, make: Callable[[], Iterable[Line]]) -> None:
        self._count = count
        self._make = make

    def __len__(self) -> int:
        return self._count

    def __iter__(self) -> Iterator[Line]:
        return iter(self._make())


@dataclass(frozen=True)
class Table:
    """One sheet, one CSV file.

    Attributes:
        name: of the file; other tables refer to it.
        title: of the sheet, 31 letters at most.
        is_list: one line a thing, which a person filters; else a statement, which is read from top to bottom.
        in_workbook: what the workbook shows instead, where the lines are too many for a sheet.
        in_document: what the PDF shows instead, where the lines are too many for its pages.
    """

    name: str
    title: str
    columns: tuple[Column, ...]
    lines: tuple[Line, ...] | Lines
    notes: tuple[str, ...] = ()
    is_list: bool = False
    in_workbook: Table | None = None
    in_document: Table | None = None


@dataclass(frozen=True)
class Series:
    """One row of marks of a chart: a column of the chart's table; `is_base` lifts the others and is not drawn."""

    column: int
    is_base: bool = False


@dataclass(frozen=True)
class Chart:
    """A chart over lines `first` to `last` of a table: `labels` is the column that names the marks."""

    title: str
    table: str
    labels: int
    series: tuple[Series, ...]
    unit: str
    first: int
    last: int
    is_stacked: bool = False


class Statement:
    """Collects the lines of a statement: sections with their headings and subtotals, and what follows from them."""

    def __init__(self) -> None:
        self.lines: list[Line] = []

    def add(
        self,
        cells: Cells,
        weight: Weight = "plain",
        adds: tuple[Term, ...] = (),
        formulas: tuple[tuple[int, Formula], ...] = (),
    ) -> int:
        """Add a line; its place, which terms name."""
        self.lines.append(Line(cells, weight, adds, formulas))
        return len(self.lines) - 1

    def add_section(self, heading: Cells, rows: Iterable[Cells], subtotal: Cells) -> int:
        """Add a section; the place of its subtotal."""
        self.add(heading, "heading")
        first = len(self.lines)
        for cells in rows:
            self.add(cells)
        last = len(self.lines) - 1
        return self.add(subtotal, "subtotal", (Term(first, last),) if last >= first else ())


@dataclass(frozen=True)
class Standing:
    """What a packet is of.

    Attributes:
        name: of the period, such as "2031-04".
        last_day: the day as of which balances stand.
        open_months: months of the period that are not closed; a packet with any is a draft.
    """

    shop: str
    currency: str
    name: str
    first_day: datetime.date
    last_day: datetime.date
    open_months: tuple[str, ...]

    @property
    def is_draft(self) -> bool:
        """Whether figures may still change."""
        return bool(self.open_months)

    @property
    def state(self) -> str:
        """The state in words, as it stands on every sheet and page."""
        if not self.open_months:
            return "Closed"
        months = self.open_months
        which = months[0] if len(months) == 1 else f"{months[0]} to {months[-1]}"
        return f"DRAFT: {which} {'is' if len(months) == 1 else 'are'} not closed, figures may change"


@dataclass(frozen=True)
class Packet:
    """Everything that the packet shows; `broken_checks` counts the checks that are not zero."""

    standing: Standing
    tables: tuple[Table, ...]
    charts: tuple[Chart, ...]
    story: tuple[str, ...]
    broken_checks: int

    def table(self, name: str) -> Table:
        """The table of a name."""
        return next(table for table in self.tables if table.name == name)
