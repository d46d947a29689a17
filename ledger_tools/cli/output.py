"""How results are printed: tables for people, CSV and JSON for programs, talk on stderr.

A table fits the terminal: a column may go below its row, be left out, or be cut. In a pipe it has
all columns at their full width. Texts come from exports, so nothing that a terminal or a spreadsheet would act on gets
through. All talk goes through `echo`, which makes the commands in it ready to be pasted: where the person named the books
with `--books`, so does each command.
"""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shlex
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import click

from ledger_tools.cli import COMMANDS, Context
from ledger_tools.money import people_amount as people_amount
from ledger_tools.money import people_percent as people_percent

_NUMBER = re.compile(r"[+-]?\d+(\.\d+)?\Z")
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")
_GAP = "  "
#: The least that a column which can be cut is cut to.
_SHORTEST = 6
#: A command in a text; `demo` and `init` name the folder of the books themselves.
_COMMAND = re.compile(
    rf"(?<![\w./-])ledger-tools (?=(?:{'|'.join(name for name in COMMANDS if name not in ('demo', 'init'))})(?![\w-]))"
)
#: Keys of a report under which words for a person stand, with commands among them.
_WORDS = ("next_step", "detail")
#: Stands for a blank at which no line is broken; `plain` lets none through.
_HARD_BLANK = "\u00a0"

shape_option = click.option(
    "--format",
    "shape",
    type=click.Choice(["table", "csv", "json"]),
    default="table",
    show_default=True,
    help="A table for people; csv and json for programs.",
)


@dataclass(frozen=True)
class Column:
    """One column of a table.

    Attributes:
        title: its heading.
        is_number: stands at the right.
        spared: left out where the terminal is too narrow, the highest first; 0 is never left out.
        is_cut: may be shortened where the terminal is too narrow.
        goes_below: stands on a line of its own under its row where the terminal is too narrow.
    """

    title: str
    is_number: bool = False
    spared: int = 0
    is_cut: bool = False
    goes_below: bool = False


def _program() -> str:
    """The program's name as a printed command begins, with the books where the person named them, and a blank."""
    context = click.get_current_context(silent=True)
    asked = context.find_object(Context) if context else None
    books = asked.books if asked else None
    return "ledger-tools " if books is None else f"ledger-tools --books {shlex.quote(books)} "


def with_books(text: str) -> str:
    """A text whose commands name the books as the person did, so that they work as they are printed."""
    if "ledger-tools " not in text:
        return text
    program = _program()
    return _COMMAND.sub(lambda _: program, text)


def echo(text: str = "", *, err: bool = False, nl: bool = True) -> None:
    """Print a text, on stderr where it is talk; its commands can be pasted."""
    click.echo(with_books(text), err=err, nl=nl)


def talk(text: str) -> None:
    """Say something to the person; never part of the data."""
    echo(text, err=True)


def wrapped(text: str, width: int, lead: str, indent: str) -> str:
    """A plain text in lines of at most a width, the first after `lead`, the others after `indent`; no name of a command is torn."""
    told, program = with_books(plain(text)), _program()
    told = told.replace(program, program.replace(" ", _HARD_BLANK))
    filled = textwrap.fill(
        told, width, initial_indent=lead, subsequent_indent=indent, break_on_hyphens=False, break_long_words=False
    )
    return filled.replace(_HARD_BLANK, " ")


def plain(text: str) -> str:
    """A text without control, formatting and direction characters, which a terminal would act on."""
    if text.isprintable():
        return text
    return "".join(letter if letter.isprintable() else "�" for letter in text)


def _told(value: Any) -> Any:
    """A part of a report as it is printed: its words for a person have commands that can be pasted."""
    if isinstance(value, dict):
        return {
            key: with_books(each) if key in _WORDS and isinstance(each, str) else _told(each)
            for key, each in value.items()
        }
    return [_told(each) for each in value] if isinstance(value, list) else value


def echo_json(report: dict[str, Any]) -> None:
    """Print a report as JSON, one key a line, and one line for each element of a list."""

    dumped = json.JSONEncoder(ensure_ascii=False).encode
    parts = []
    for key, value in _told(report).items():
        if isinstance(value, list) and value:
            elements = ",\n".join(f"    {dumped(element)}" for element in value)
            parts.append(f"  {dumped(key)}: [\n{elements}\n  ]")
        else:
            parts.append(f"  {dumped(key)}: {dumped(value)}")
    click.echo("{\n" + ",\n".join(parts) + "\n}")


def _csv_cell(cell: Any) -> str:
    """A text that a spreadsheet would take for a formula gets a leading quote; a number stays as it is, yes and no are JSON's words."""
    text = "" if cell is None else str(cell).lower() if isinstance(cell, bool) else str(cell)
    if text.startswith(_FORMULA_STARTS) and not _NUMBER.match(text):
        return f"'{text}"
    return text


def echo_csv(header: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Print rows as CSV with a header; nothing in it runs as a formula."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(header)
    writer.writerows([_csv_cell(cell) for cell in row] for row in rows)
    click.echo(stream.getvalue(), nl=False)


def terminal_width() -> int | None:
    """Columns of the terminal, or what COLUMNS says; None where the output goes to a pipe or file."""
    if not sys.stdout.isatty() and not os.environ.get("COLUMNS", "").isdigit():
        return None
    return shutil.get_terminal_size().columns


def _is_coloured() -> bool:
    return sys.stdout.isatty() and "NO_COLOR" not in os.environ and os.environ.get("TERM") != "dumb"


def emphasis(text: str) -> str:
    """A text in bold, where the output is a terminal that may show it."""
    return click.style(text, bold=True) if _is_coloured() else text


def _cells_wide(text: str) -> int:
    if text.isascii():
        return len(text)
    from rich.cells import cell_len

    return cell_len(text)


def _fitted(text: str, width: int, *, at_right: bool) -> str:
    if text.isascii() and len(text) <= width:
        return text.rjust(width) if at_right else text.ljust(width)
    size = _cells_wide(text)
    if size > width:
        from rich.cells import set_cell_size

        return set_cell_size(text, width - 1) + "…"
    blanks = " " * (width - size)
    return blanks + text if at_right else text + blanks


# Long tables are walked column by column: most columns are plain ASCII, which is known from one look at all of it.


def _plain_column(texts: Sequence[str]) -> Sequence[str]:
    return texts if "".join(texts).isprintable() else [plain(text) for text in texts]


def _column_width(texts: Sequence[str]) -> int:
    return max(map(len if "".join(texts).isascii() else _cells_wide, texts))


def _fitted_column(texts: Sequence[str], width: int, *, at_right: bool) -> list[str]:
    if not "".join(texts).isascii() or max(map(len, texts)) > width:
        return [_fitted(text, width, at_right=at_right) for text in texts]
    return [text.rjust(width) for text in texts] if at_right else [text.ljust(width) for text in texts]


def _fit_columns(columns: Sequence[Column], widths: list[int], width: int | None) -> list[int]:
    """Places of the columns that are shown; `widths` of the one that is cut is lowered."""
    shown = list(range(len(columns)))
    whole = sum(widths) + len(_GAP) * (len(columns) - 1)
    if width is None or whole <= width:
        return shown
    shown = [place for place in shown if not columns[place].goes_below]

    def least(place: int) -> int:
        return min(widths[place], _SHORTEST) if columns[place].is_cut else widths[place]

    def needed(places: list[int]) -> int:
        return sum(least(place) for place in places) + len(_GAP) * (len(places) - 1)

    while needed(shown) > width and any(columns[place].spared for place in shown):
        shown.remove(max(shown, key=lambda place: columns[place].spared))
    over = sum(widths[place] for place in shown) + len(_GAP) * (len(shown) - 1) - width
    for place in shown:
        if columns[place].is_cut and over > 0:
            widths[place], over = max(widths[place] - over, least(place)), over - widths[place] + least(place)
    return shown


def render_table(
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    footer: Sequence[Sequence[str]] = (),
    width: int | None = None,
) -> list[str]:
    """Lines of a table: headings, a rule, rows, and below another rule the rows of the footer."""
    texts = [[column.title for column in columns], *rows, *footer]
    held = [_plain_column(column) for column in zip(*texts, strict=True)]
    widths = [_column_width(column) for column in held]
    shown = _fit_columns(columns, widths, width)
    fitted = (_fitted_column(held[place], widths[place], at_right=columns[place].is_number) for place in shown)
    lines = [_GAP.join(parts).rstrip() for parts in zip(*fitted, strict=True)]
    rule = "─" * (sum(widths[place] for place in shown) + len(_GAP) * (len(shown) - 1))
    last = 1 + len(rows)
    body = lines[1:last]
    for place in range(len(columns)):
        if place not in shown and columns[place].goes_below:
            under = [_fitted(f"    {text}", width or 0, at_right=False).rstrip() for text in held[place][1:last]]
            pairs = zip(body, under, strict=True)
            body = [text for line, text in pairs for text in ((line, text) if text else (line,))]
    if not footer:
        return [emphasis(lines[0]), rule, *body]
    return [emphasis(lines[0]), rule, *body, rule, *map(emphasis, lines[last:])]


def echo_table(
    title: str, columns: Sequence[Column], rows: Sequence[Sequence[str]], footer: Sequence[Sequence[str]] = ()
) -> None:
    """Print a table under its title, as wide as the terminal lets it."""
    click.echo("\n".join([emphasis(plain(title)), "", *render_table(columns, rows, footer, terminal_width())]))
