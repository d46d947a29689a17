"""A sample of an export that was never seen before: how the file is written, and some of its rows as plain text.

First step of the mapping proposer. Nothing here knows fields or kinds: it settles encoding, delimiter, header row and
sheet, and hands on text cells exactly as they stand in the file. Large text files are read at their beginning and at
a few places in the rest, so that a word or a date order that shows up late has a chance to be seen.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import python_calamine

from importers.formats import SPREADSHEET, STATEMENTS, detect_format
from importers.mapping import WHITESPACE, FileShape
from importers.spreadsheet import sheet_rows
from ledger_tools.errors import LedgerError, Problem

ROWS_FROM_START = 2_000
PLACES_IN_REST = 8
ROWS_A_PLACE = 50

_BYTE_ORDER_MARKS = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
_VALUE_LIKE = re.compile(r"[+-]?[(]?[^\w\s]?\s?\d[\d.,:'/ T+-]*%?[)]?Z?")
_BLOCK = 1 << 20


@dataclass(frozen=True)
class Sample:
    """Some rows of one export.

    Attributes:
        name: file name, for messages.
        columns: names of the columns; "1", "2", … where the file has no header.
        rows: cells as they stand, one tuple a row, as long as `columns`.
        encoding: Python's name of the encoding that the text was read with; empty for a spreadsheet.
        delimiter: the mark between cells, or "whitespace"; empty for a spreadsheet.
        header_row: number of the row that holds the column names, 0 where there is none.
        sheet: name of the sheet, for a spreadsheet; empty else.
        sheets: names of all sheets.
        whole: every row of the file is in the sample.
        odd_rows: rows whose number of cells differs from the header's (left out of the sample), as row numbers.
    """

    name: str
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    encoding: str = ""
    delimiter: str = ""
    header_row: int = 1
    sheet: str = ""
    sheets: tuple[str, ...] = ()
    whole: bool = True
    odd_rows: tuple[int, ...] = field(default=())

    def cells(self, position: int) -> list[str]:
        """The cells of one column, blanks around them dropped."""
        return [row[position].strip() for row in self.rows]


def take_sample(path: Path) -> Sample:
    """Sample of an export, whatever kind of file it is.

    Raises:
        LedgerError: a statement, which needs no mapping; or the file is empty, no text and no spreadsheet, or has no
            columns.
    """
    kind_of_file = detect_format(path)
    if kind_of_file in STATEMENTS:
        raise LedgerError(Problem(path.name, f"is a statement in {kind_of_file}: it needs no mapping", "import it"))
    if kind_of_file == SPREADSHEET:
        return sample_spreadsheet(path)
    try:
        return sample_text(path)
    except UnicodeDecodeError:
        what = "is in none of the encodings UTF-8, UTF-16 and cp1252"
        raise LedgerError(Problem(path.name, what, "give a delimited text file or a spreadsheet")) from None
    except csv.Error as error:
        step = "look for a quote that is never closed, or save it as CSV anew"
        raise LedgerError(Problem(path.name, f"can't be cut into cells: {error}", step)) from None


def sample_spreadsheet(path: Path) -> Sample:
    """Sample of the sheet that holds most cells, the first of those that hold equally many.

    Raises:
        LedgerError: no spreadsheet, or no sheet holds rows.
    """
    first = list(sheet_rows(path, FileShape(), ROWS_FROM_START + 1))
    names = python_calamine.CalamineWorkbook.from_path(str(path)).sheet_names
    best, best_name = first, names[0]
    for name in names[1:]:
        rows = list(sheet_rows(path, FileShape(sheet=name), ROWS_FROM_START + 1))
        if _filled_cells(rows) > _filled_cells(best):
            best, best_name = rows, name
    return sample_table(path.name, best, best_name, tuple(names))


def _filled_cells(rows: list[list[str]]) -> int:
    return sum(1 for row in rows for cell in row if cell) if len(rows) > 1 else 0


def sample_text(path: Path) -> Sample:
    """Sample of a delimited text file.

    Raises:
        LedgerError: the file is empty, holds bytes of no text, or has no recognisable columns.
    """
    encoding = detect_encoding(path)
    with path.open(encoding=encoding, newline="") as stream:
        head = _complete_lines(stream, _BLOCK)
    if not head.strip():
        raise LedgerError(Problem(path.name, "is empty", "export it again"))
    if "\0" in head:
        raise LedgerError(Problem(path.name, "is not a text file", "give a delimited text file or a spreadsheet"))
    delimiter = vote_delimiter(head, path.name)
    whole = path.stat().st_size <= _BLOCK // 2
    numbered: list[tuple[int, list[str]]] = []
    with path.open(encoding=encoding, newline="") as stream:
        for number, cells in enumerate(split_rows(stream, delimiter), start=1):
            numbered.append((number, cells))
            if len(numbered) > ROWS_FROM_START and not whole:
                break
    rest = [] if whole else _rows_from_rest(path, encoding, delimiter)
    return _build_sample(path.name, numbered, rest, encoding=encoding, delimiter=delimiter, whole=whole)


def sample_table(name: str, rows: Iterable[Sequence[str]], sheet: str, sheets: tuple[str, ...]) -> Sample:
    """Sample of a sheet whose cells were turned into text by the spreadsheet reader.

    Raises:
        LedgerError: the sheet holds no rows.
    """
    numbered = [(number, list(row)) for number, row in enumerate(rows, start=1)][: ROWS_FROM_START + 1]
    return _build_sample(name, numbered, [], sheet=sheet, sheets=sheets)


def copy_beginning(path: Path, target: Path, size: int) -> Path:
    """A copy of the first bytes of a text file, cut behind its last whole record; a spreadsheet is given back as it is.

    A quoted cell that holds line breaks is never cut: the copy ends where an even number of quotes has been seen.
    """
    with path.open("rb") as stream:
        start = stream.read(size)
    if b"\0" in start or start.startswith(b"PK"):
        return path
    end = start.rfind(b"\n")
    while end > 0 and start.count(b'"', 0, end) % 2:
        end = start.rfind(b"\n", 0, end)
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_bytes(start[: end + 1])
    return target


def detect_encoding(path: Path) -> str:
    """Encoding by byte order mark, else UTF-8 where the whole file is valid UTF-8, else Windows' Western one."""
    decoder = codecs.getincrementaldecoder("utf-8")("strict")
    with path.open("rb") as stream:
        start = stream.read(4)
        for mark, encoding in _BYTE_ORDER_MARKS:
            if start.startswith(mark):
                return encoding
        stream.seek(0)
        try:
            while block := stream.read(_BLOCK):
                decoder.decode(block)
            decoder.decode(b"", final=True)
        except UnicodeDecodeError:
            return "cp1252"
    return "utf-8"


def split_rows(lines: Iterable[str], delimiter: str) -> Iterator[list[str]]:
    """Rows of a delimited text; empty lines are passed over and not counted, as the reader does."""
    if delimiter == WHITESPACE:
        for line in lines:
            if cells := line.split():
                yield cells
        return
    for cells in csv.reader(lines, delimiter=delimiter):
        if cells:
            yield cells


def vote_delimiter(text: str, name: str) -> str:
    """The delimiter that cuts most lines into the same number of cells, the first line of that kind included.

    Semicolon, tab and bar are asked before the comma: a decimal comma often cuts evenly as well, but never the
    header. Runs of blanks are the last resort.

    Raises:
        LedgerError: no delimiter gives more than one column.
    """
    lines = text.splitlines()[:400]
    best, best_score = "", 0.0
    for delimiter in (";", "\t", "|", ","):
        score = _evenness(list(split_rows(lines, delimiter)))
        if score > best_score + 0.05:
            best, best_score = delimiter, score
    if best_score >= 0.5:
        return best
    if _evenness(list(split_rows(lines, WHITESPACE))) >= 0.9:
        return WHITESPACE
    if best:
        return best
    raise LedgerError(
        Problem(
            name,
            "no delimiter (comma, semicolon, tab, bar or blanks) cuts its lines into columns",
            'put `delimiter = ";"` under [file] in the mapping with the mark that stands between its cells',
        )
    )


def _evenness(rows: list[list[str]]) -> float:
    """Share of rows with the usual number of cells, 0 where that is one cell or no row could be a header."""
    counts = Counter(len(row) for row in rows)
    if not counts:
        return 0.0
    width, frequency = max(counts.items(), key=lambda item: (item[1], item[0]))
    if width < 2:
        return 0.0
    first = next(index for index, row in enumerate(rows) if len(row) == width)
    odd_before = sum(1 for row in rows[:first] if len(row) > 1)
    penalty = 0.3 if odd_before or (first > 0 and not looks_like_header(rows[first])) else 0.0
    return frequency / len(rows) - penalty


def looks_like_header(cells: Sequence[str]) -> bool:
    """Column names: no cell is a number, date or time, no name stands twice, and most cells are filled."""
    names = [cell.strip() for cell in cells]
    while names and not names[-1]:
        names.pop()
    filled = [name for name in names if name]
    if len(filled) < max(2, len(names) - 1):
        return False
    if any(_VALUE_LIKE.fullmatch(name) and not name.isalpha() for name in filled):
        return False
    return len({name.casefold() for name in filled}) >= len(filled) - 1 and all(len(name) <= 60 for name in filled)


def _build_sample(
    name: str,
    numbered: list[tuple[int, list[str]]],
    rest: list[list[str]],
    *,
    encoding: str = "",
    delimiter: str = "",
    sheet: str = "",
    sheets: tuple[str, ...] = (),
    whole: bool = True,
) -> Sample:
    filled = [(number, cells) for number, cells in numbered if any(cell.strip() for cell in cells)]
    if not filled:
        raise LedgerError(Problem(name, "holds no rows", "export it again"))
    widths = Counter(_width(cells) for _, cells in filled) if sheet else Counter(len(cells) for _, cells in filled)
    width = max(widths.items(), key=lambda item: (item[1], item[0]))[0]
    header_at = _find_header(filled, width)
    if header_at is None:
        columns = tuple(str(number) for number in range(1, width + 1))
        body, header_row = filled, 0
    else:
        header_row, header = filled[header_at]
        while len(header) > 1 and not header[-1].strip() and sheet:
            header = header[:-1]
        columns = tuple(" ".join(cell.lstrip("\ufeff").split()) for cell in header)
        body = filled[header_at + 1 :]
    rows, odd = [], []
    for number, cells in body:
        fitted = cells[: len(columns)] + [""] * (len(columns) - len(cells)) if sheet else cells
        if len(fitted) == len(columns):
            rows.append(tuple(fitted))
        else:
            odd.append(number)
    rows.extend(tuple(cells) for cells in rest if len(cells) == len(columns))
    return Sample(
        name, columns, tuple(rows), encoding, delimiter, header_row, sheet, sheets, whole=whole, odd_rows=tuple(odd)
    )


def _width(cells: Sequence[str]) -> int:
    return max((place for place, cell in enumerate(cells, start=1) if cell.strip()), default=0)


def _find_header(filled: list[tuple[int, list[str]]], width: int) -> int | None:
    """Place of the first row among the first 30 that is as wide as the table and reads like column names."""
    for place, (_, cells) in enumerate(filled[:30]):
        if len(cells) >= width and _width(cells) >= width - 1:
            return place if looks_like_header(cells) else None
    return None


def _complete_lines(stream: io.TextIOBase, size: int) -> str:
    """The first characters of a text, without a last line that is cut off."""
    text = stream.read(size)
    if len(text) < size:
        return text
    return text[: text.rfind("\n") + 1] or text


def _rows_from_rest(path: Path, encoding: str, delimiter: str) -> list[list[str]]:
    """Some rows from places spread over the file; the first line at each place is cut and left out."""
    if encoding == "utf-16":
        return []
    size = path.stat().st_size
    rows: list[list[str]] = []
    with path.open("rb") as stream:
        for place in range(1, PLACES_IN_REST + 1):
            stream.seek(max(size * place // PLACES_IN_REST - 16_000, size // (2 * PLACES_IN_REST)))
            text = stream.read(16_000).decode("utf-8" if encoding == "utf-8-sig" else encoding, errors="replace")
            lines = text.splitlines()[1:]
            if place < PLACES_IN_REST:
                lines = lines[:-1]
            rows.extend(list(split_rows(lines, delimiter))[:ROWS_A_PLACE])
    return rows
