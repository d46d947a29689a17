"""Delimited text: encoding, delimiter, header and shape of a file, read by DuckDB without any guess of its own.

Place in the flow: file → `TextTable` of texts → `typed`. Encodings are tried in a fixed order: byte order mark, strict
UTF-8, the mapping's, cp1252. What is not plain UTF-8 with one kind of line end is rewritten in the scratch folder.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from importers.layout import DELIMITERS, WHITESPACE, FileShape
from importers.text_tables import TextTable, quote_text
from ledger_tools.errors import LedgerError, Problem

_CHUNK = 1 << 20
_MARKS = (
    (codecs.BOM_UTF8, "utf-8-sig"),
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)
_CONTROLS = bytes(code for code in (*range(32), 127) if code not in b"\t\r\n")
#: First bytes of the UTF-8 sequences among which unusual blanks and direction marks are.
_BLANK_LEADS = (b"\xc2", b"\xe1", b"\xe2", b"\xe3", b"\xef")
_AGAIN = "export the file again; if it stays so, mend the row in a copy of the file"


@dataclass(frozen=True)
class _Scan:
    """What the bytes of a file say: its encoding, and what the cells can't hold."""

    encoding: str | None
    has_nul: bool
    has_controls: bool
    has_tabs: bool
    has_unusual_blanks: bool
    has_quotes: bool
    mixes_line_ends: bool


def read_delimited(
    path: Path, shape: FileShape, wanted: Sequence[str], scratch: Path, name: str | None = None
) -> TextTable:
    """The rows of a delimited file as texts.

    Args:
        wanted: the columns that the mapping or the canonical header names; they pick the delimiter where none is given.
        name: the file's name in messages, where `path` is a stand-in for it.

    Raises:
        LedgerError: empty, binary, in no known encoding, or without the header row.
    """
    file = name or path.name
    text_path, encoding, scan = _as_utf8(path, shape, scratch, file)
    header, delimiter, first_row = _read_header(text_path, shape, wanted, file)
    if delimiter == WHITESPACE:
        text_path = _rewrite_columns(text_path, scratch)
        delimiter, first_row = ",", True
    elif not first_row:
        text_path = _drop_preamble(text_path, shape.header_row, scratch)
    if scan.mixes_line_ends:
        text_path = _rewrite_line_ends(text_path, scratch)
    skip = 1 if shape.header_row else 0

    def find_extra_cells(records: int) -> list[Problem]:
        return rows_with_extra_cells(text_path, delimiter, len(header), skip, file, records)

    def explain(message: str) -> list[Problem]:
        return explain_rows(text_path, delimiter, len(header), skip, file, message)

    return TextTable(
        file=file,
        relation=csv_relation(text_path, delimiter, len(header), skip),
        header=header,
        plain=not (scan.has_controls or scan.has_unusual_blanks or (scan.has_tabs and delimiter != "\t")),
        quoted=scan.has_quotes,
        explain=explain,
        find_extra_cells=find_extra_cells,
    )


def read_header(path: Path, shape: FileShape, wanted: Sequence[str]) -> tuple[str, ...]:
    """The column names of a delimited file, read from its first rows only.

    Raises:
        LedgerError: empty, binary, or without the header row.
    """
    with path.open("rb") as file:
        start = file.read(_CHUNK)
    if not start:
        raise LedgerError(Problem(path.name, "is empty", "export the file again"))
    encoding = _marked_encoding(start)
    if encoding is None:
        if b"\0" in start and not (shape.encoding or "").lower().replace("_", "-").startswith(("utf-16", "utf-32")):
            raise _binary(path.name)
        encoding = next(
            each for each in ("utf-8", shape.encoding, "cp1252", "latin-1") if each and _decodes(start, each)
        )
    text = start.decode(encoding, errors="ignore")
    header, _, _ = _parse_header(io.StringIO(text, newline=""), shape, wanted, path.name)
    return header


def csv_relation(path: Path, delimiter: str, width: int, skip: int) -> str:
    """DuckDB's reader with everything said: no sniffing, no names taken as patterns, all columns as texts."""
    literal_path = re.sub(r"([*?\[])", r"[\1]", str(path.resolve()))
    columns = ", ".join(f"'c{place}': 'VARCHAR'" for place in range(1, width + 1))
    return (
        f"read_csv({quote_text(literal_path)}, columns = {{{columns}}}, auto_detect = false, header = false, "
        f"skip = {skip}, delim = {quote_text(delimiter)}, quote = '\"', escape = '\"', nullstr = '', comment = '', "
        "compression = 'none', encoding = 'utf-8', hive_partitioning = false, strict_mode = true)"
    )


def explain_rows(path: Path, delimiter: str, width: int, skip: int, file: str, message: str) -> list[Problem]:
    """The ragged rows of a file that DuckDB refused; its own message where only it finds fault."""
    whole = Problem(file, "can't be read: " + "; ".join(message.splitlines()[:3]), _AGAIN)
    return ragged_rows(path, delimiter, width, skip, file) or [whole]


def ragged_rows(path: Path, delimiter: str, width: int, skip: int, file: str) -> list[Problem]:
    """Every row that has another number of columns than the header, and a quote that is never closed."""
    problems = []
    record = 1 - skip
    with path.open(encoding="utf-8-sig", newline="") as text:
        rows = csv.reader(text, delimiter=delimiter, strict=True)
        try:
            for row in rows:
                if not row:
                    continue
                if record > 0 and len(row) != width:
                    what = f"found {len(row)} columns, expected {width}"
                    problems.append(Problem(f"{file}, record {record}", what, _AGAIN))
                record += 1
        except csv.Error as error:
            what = "a quote is opened and not closed" if "unexpected end" in str(error) else f"can't be read: {error}"
            problems.append(Problem(f"{file}, record {max(record, 1)}", what, _AGAIN))
    return problems


def rows_with_extra_cells(path: Path, delimiter: str, width: int, skip: int, file: str, records: int) -> list[Problem]:
    """Rows with one more, empty cell at their end, which DuckDB drops without a word.

    Asked only of files in which a line ends in a delimiter; delimiters outside quotes are counted, and rows are looked
    at one by one only where the count is not that of `records` rows.
    """
    mark, found, quoted = delimiter.encode(), 0, 0
    if not _ends_lines_with(path, mark):
        return []
    with path.open("rb") as source:
        while chunk := source.read(_CHUNK):
            parts = chunk.split(b'"')
            found += sum(part.count(mark) for part in parts[quoted::2])
            quoted = (quoted + len(parts) - 1) % 2
    if found == (records + skip) * (width - 1):
        return []
    return ragged_rows(path, delimiter, width, skip, file)


def _ends_lines_with(path: Path, mark: bytes) -> bool:
    """Whether some line of a file, or the file itself, ends with a delimiter."""
    last = b""
    with path.open("rb") as source:
        while chunk := source.read(_CHUNK):
            joint = last + chunk[:1]
            if any(mark + end in text for end in (b"\n", b"\r") for text in (chunk, joint)):
                return True
            last = chunk[-1:]
    return last == mark


def _as_utf8(path: Path, shape: FileShape, scratch: Path, file: str) -> tuple[Path, str, _Scan]:
    scan = _scan(path, file)
    if scan.encoding == "utf-8-sig" or (scan.encoding == "utf-8" and not scan.has_nul):
        if scan.has_nul:
            raise _binary(file)
        return path, scan.encoding, scan
    candidates = [scan.encoding] if scan.encoding not in (None, "utf-8") else [shape.encoding, "cp1252"]
    target = scratch / "transcoded.csv"
    for encoding in candidates:
        if encoding and _transcode(path, target, encoding):
            scan = _scan(target, file)
            if scan.has_nul:
                raise _binary(file)
            return target, encoding, scan
    raise LedgerError(
        Problem(file, "is in none of the encodings UTF-8, cp1252 and the mapping's", "set encoding under [file]")
    )


def _scan(path: Path, file: str) -> _Scan:
    nul = controls = tabs = quotes = False
    returns = feeds = pairs = 0
    before = b""
    blanks = set[bytes]()
    valid = True
    decoder = codecs.getincrementaldecoder("utf-8")()
    marked: str | None = None
    total = 0
    with path.open("rb") as source:
        while chunk := source.read(_CHUNK):
            if total == 0:
                marked = _marked_encoding(chunk)
                chunk = chunk.removeprefix(codecs.BOM_UTF8)
                if marked not in (None, "utf-8-sig"):
                    return _Scan(marked, False, False, False, False, False, False)
            total += len(chunk)
            tabs, quotes = tabs or b"\t" in chunk, quotes or b'"' in chunk
            if returns or b"\r" in chunk or feeds == 0:
                returns, pairs = returns + chunk.count(b"\r"), pairs + (before + chunk).count(b"\r\n")
            feeds, before = feeds + chunk.count(b"\n"), chunk[-1:]
            nul = nul or b"\0" in chunk
            controls = controls or len(chunk.translate(None, _CONTROLS)) != len(chunk)
            if valid and (not chunk.isascii() or decoder.getstate()[0]):
                blanks.update(lead for lead in _BLANK_LEADS if lead in chunk)
                try:
                    decoder.decode(chunk)
                except UnicodeDecodeError:
                    valid = False
    if not total:
        raise LedgerError(Problem(file, "is empty", "export the file again"))
    if decoder.getstate()[0]:
        valid = False
    encoding = marked or ("utf-8" if valid else None)
    mixed = returns > 0 and feeds > 0 and not returns == feeds == pairs
    return _Scan(encoding, nul, controls, tabs, bool(blanks), quotes, mixed)


def _marked_encoding(start: bytes) -> str | None:
    return next((encoding for mark, encoding in _MARKS if start.startswith(mark)), None)


def _decodes(data: bytes, encoding: str) -> bool:
    """Whether bytes read so far are text of the encoding; a character cut off at the end is no fault."""
    try:
        codecs.getincrementaldecoder(encoding)().decode(data)
    except UnicodeDecodeError:
        return False
    return True


def _transcode(path: Path, target: Path, encoding: str) -> bool:
    """Rewrites a file as UTF-8; false where it is not text of that encoding."""
    try:
        with path.open(encoding=encoding, newline="") as source, target.open("w", encoding="utf-8", newline="") as out:
            while chunk := source.read(_CHUNK):
                out.write(chunk)
    except UnicodeError:
        return False
    return True


def _binary(file: str) -> LedgerError:
    return LedgerError(
        Problem(file, "holds NUL bytes: it is not a text file", "export it as CSV, or check the file's ending")
    )


def _read_header(path: Path, shape: FileShape, wanted: Sequence[str], file: str) -> tuple[tuple[str, ...], str, bool]:
    with path.open(encoding="utf-8-sig", newline="") as text:
        return _parse_header(text, shape, wanted, file)


def _parse_header(
    text: TextIO, shape: FileShape, wanted: Sequence[str], file: str
) -> tuple[tuple[str, ...], str, bool]:
    """Column names, delimiter, and whether the header is the file's first line."""
    best: tuple[int, int, tuple[str, ...], str, bool] | None = None
    row_number = max(shape.header_row, 1)
    for delimiter in (shape.delimiter,) if shape.delimiter else DELIMITERS:
        text.seek(0)
        row, lines = _nth_row(text, delimiter, row_number)
        if row is None:
            continue
        names = (
            tuple(str(place) for place in range(1, len(row) + 1)) if shape.header_row == 0 else tuple(map(_fold, row))
        )
        known = {name.casefold() for name in names}
        found = sum(column.casefold() in known for column in wanted)
        if best is None or (found, len(names)) > best[:2]:
            best = found, len(names), names, delimiter, lines
    if best is None:
        raise LedgerError(
            Problem(file, f"has no row {row_number} to take column names from", "set header_row under [file]")
        )
    return best[2:]


def _nth_row(text: TextIO, delimiter: str, number: int) -> tuple[list[str] | None, bool]:
    """The row of that number, blank ones not counted, and whether it is the first line."""
    reader = _split_lines(text) if delimiter == WHITESPACE else csv.reader(text, delimiter=delimiter)
    seen = 0
    try:
        for place, row in enumerate(reader, start=1):
            seen += bool(row)
            if row and seen == number:
                return row, place == 1
            if place > 2000:
                break
    except csv.Error:
        return None, False
    return None, False


def _split_lines(text: TextIO) -> Iterator[list[str]]:
    for line in text:
        yield [cell.strip('"') for cell in re.findall(r'"[^"]*"|\S+', line)]


def _fold(name: str) -> str:
    return " ".join(name.split())


def _rewrite_columns(path: Path, scratch: Path) -> Path:
    target = scratch / "columns.csv"
    with path.open(encoding="utf-8-sig") as source, target.open("w", encoding="utf-8", newline="") as out:
        csv.writer(out, lineterminator="\n").writerows(row for row in _split_lines(source) if row)
    return target


def _drop_preamble(path: Path, header_row: int, scratch: Path) -> Path:
    """A copy that starts at the header: rows above it may have any shape."""
    target = scratch / "from-header.csv"
    with path.open(encoding="utf-8-sig", newline="") as source, target.open("w", encoding="utf-8", newline="") as out:
        seen = 0
        for line in source:
            seen += bool(line.strip())
            if seen >= max(header_row, 1):
                out.write(line)
    return target


def _rewrite_line_ends(path: Path, scratch: Path) -> Path:
    target = scratch / "line-ends.csv"
    with path.open(encoding="utf-8-sig") as source, target.open("w", encoding="utf-8", newline="") as out:
        while chunk := source.read(_CHUNK):
            out.write(chunk)
    return target
