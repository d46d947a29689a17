"""A file's rows as texts: what every reader hands to the typing step, and how names and texts are quoted in SQL.

Place in the flow: reader of one kind of file → `TextTable` → `typed`. A hostile cell, column or file name is data: it
reaches DuckDB only through `quote_text` and `quote_name`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from ledger_tools.errors import LedgerError, Problem

PROBLEMS_LISTED = 50


@dataclass(frozen=True)
class TextTable:
    """Rows of texts, not yet typed.

    Attributes:
        file: the export's name, for messages.
        relation: what stands after FROM; its columns are c1, c2, … and its rows keep the file's order.
        header: the file's column names, in order.
        plain: no cell holds a control character or an unusual blank, line breaks in quoted cells apart.
        quoted: cells may be quoted, and so may hold line breaks.
        explain: the problems behind a refusal by DuckDB's reader, given its message.
        find_extra_cells: rows that DuckDB's reader shortened in silence, given the number of rows that it read.
    """

    file: str
    relation: str
    header: tuple[str, ...]
    plain: bool
    quoted: bool
    explain: Callable[[str], list[Problem]]
    find_extra_cells: Callable[[int], list[Problem]]

    def position(self, column: str) -> int | None:
        """0-based place of a column: the exact name, else the only one that differs in case; else None."""
        if column in self.header:
            return self.header.index(column)
        folded = [place for place, name in enumerate(self.header) if name.casefold() == column.casefold()]
        return folded[0] if len(folded) == 1 else None

    def sql_name(self, column: str) -> str | None:
        """The SQL name of a column of the file."""
        place = self.position(column)
        return None if place is None else f"c{place + 1}"


def quote_text(value: str) -> str:
    """A text as an SQL literal."""
    return "'" + value.replace("'", "''") + "'"


def quote_name(name: str) -> str:
    """A name as an SQL identifier."""
    return '"' + name.replace('"', '""') + '"'


def refuse(problems: Iterable[Problem], file: str) -> LedgerError:
    """The error that lists the problems of a file: the first fifty, then how many more there are."""
    every = list(problems)
    listed = every[:PROBLEMS_LISTED]
    if len(every) > len(listed):
        listed.append(Problem(file, f"and {len(every) - len(listed)} more problems"))
    return LedgerError(listed)
