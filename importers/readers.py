"""The door of the importers: one export file in, one typed temporary table out, or every reason why not.

Place in the flow: called by the build, once a file. Nothing is half read: a file with one bad row is refused whole, and
the table exists only when all of it could be read. Rows read = records + declared skips.
"""

from __future__ import annotations

import datetime
import json
from dataclasses import dataclass
from pathlib import Path

import duckdb

from importers.camt053 import read_camt053
from importers.delimited import read_delimited
from importers.diagnosis import find_missing, find_problems
from importers.formats import CAMT053, MT940, OFX, SPREADSHEET, STATEMENTS, detect_format
from importers.identity import derive_ids, find_contradictions, id_field
from importers.layout import SUPPLIED, Mapping, canonical_mapping
from importers.mt940 import read_mt940
from importers.ofx import read_ofx
from importers.order_lines import (
    ORDER_TEXTS,
    assume_currencies,
    complete_currencies,
    currencies_decide_digits,
    default_quantities,
    derive_totals,
    fill_orders,
    forget_assumed_currencies,
)
from importers.spreadsheet import find_sheet, write_sheet
from importers.statements import (
    StatementFile,
    find_differences,
    one_account,
    spans,
    stated_balances,
    write_canonical,
)
from importers.text_tables import TextTable, quote_name, refuse
from importers.typed import CURRENCY_GIVEN, SKIPPED_BY, Typing, create_stage, drop_helpers
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.records import DATED_BY, KINDS, MOMENT

_STATEMENT_READERS = {OFX: read_ofx, CAMT053: read_camt053, MT940: read_mt940}


@dataclass(frozen=True)
class ExportRequest:
    """One file to read.

    Attributes:
        currency: of rows that state none.
        shop_zone: IANA name of the shop's time zone.
        mapping: None for a file whose header uses the canonical names, and for statements.
        scratch: an existing folder for temporary files.
        account_id: the bank's id of the account, which tells its statements from those of others in one file.
    """

    path: Path
    source: str
    kind: str
    currency: str
    shop_zone: str
    mapping: Mapping | None
    scratch: Path
    account_id: str | None = None


@dataclass(frozen=True)
class StatedBalance:
    """What a statement says that the balance was at the end of a local day, in minor units.

    Attributes:
        opening: the statement begins with it: it is of the day before.
    """

    on: datetime.date
    amount: int
    currency: str
    opening: bool = False


@dataclass(frozen=True)
class ExportFacts:
    """What a file says about itself.

    Attributes:
        spans: first and last day of each span without a gap that it covers, both ends included; none without records.
        time_stamp: the moment inside the file that says when it was made, else empty.
        rows_read: records and skipped rows.
        skipped: reason of each declared skip that took rows, with the number of rows.
        whole_days: its first and last day are covered whole, as a statement or the mapping says.
    """

    spans: tuple[tuple[datetime.date, datetime.date], ...]
    time_stamp: str
    rows_read: int
    records: int
    skipped: tuple[tuple[str, int], ...]
    balances: tuple[StatedBalance, ...]
    whole_days: bool = False

    @property
    def first_day(self) -> datetime.date | None:
        """The first day covered."""
        return self.spans[0][0] if self.spans else None

    @property
    def last_day(self) -> datetime.date | None:
        """The last day covered."""
        return self.spans[-1][1] if self.spans else None


def read_export(connection: duckdb.DuckDBPyConnection, request: ExportRequest, table: str) -> ExportFacts:
    """Creates the temporary table `table`: `record` (1-based) and every canonical field of the kind, typed.

    Money is in minor units of the row's currency, moments are local times of the shop.

    Raises:
        LedgerError: with all that keeps the file from being read; the table does not exist then.
    """
    _lock_down(connection)
    texts, mapping, statements = _read_texts(request)
    _require_columns(texts, mapping, request.path)
    typing = Typing(texts, mapping, request.currency, request.shop_zone)
    connection.execute(f"DROP TABLE IF EXISTS {quote_name(table)}")
    try:
        typing = _stage(connection, typing, table)
        rows_read = _one(connection, f"SELECT count(*) FROM {quote_name(table)}")
        extra = texts.find_extra_cells(rows_read)
        if extra:
            raise refuse(extra, texts.file)
        skipped = _drop_skipped(connection, mapping, table)
        problems = _complete(connection, typing, table)
        if problems:
            raise refuse(problems, texts.file)
    except LedgerError:
        connection.execute(f"DROP TABLE IF EXISTS {quote_name(table)}")
        raise
    finally:
        connection.execute(f"DROP TABLE IF EXISTS {ORDER_TEXTS}")
    records = _one(connection, f"SELECT count(*) FROM {quote_name(table)}")
    if statements is None:
        covered = _covered(connection, mapping, table)
        return ExportFacts(covered, "", rows_read, records, skipped, (), mapping.covers is not None)
    unbooked = sum(statement.unbooked for statement in statements.statements)
    if unbooked:
        skipped = (*skipped, ("not booked yet", unbooked))
    skipped = (*skipped, *((f"of the account {account}", lines) for account, lines in statements.left_out))
    rows_read += unbooked + sum(lines for _, lines in statements.left_out)
    balances = tuple(StatedBalance(*balance) for balance in stated_balances(statements))
    whole = not any(statement.interim for statement in statements.statements)
    return ExportFacts(spans(statements), statements.time_stamp, rows_read, records, skipped, balances, whole)


def list_accounts(path: Path, kind_of_file: str) -> list[tuple[str, str]]:
    """Each account that a bank file holds statements of, with their currency, in the order of the file.

    Raises:
        LedgerError: unreadable.
    """
    statements = _STATEMENT_READERS[kind_of_file](path).statements
    return list(dict.fromkeys((statement.account_id, statement.currency) for statement in statements))


def read_statements(path: Path, kind_of_file: str, account_id: str | None = None) -> StatementFile:
    """The statements of a bank file whose format is known, proved to tie out; of several accounts those of the one named.

    Raises:
        LedgerError: unreadable, of several accounts, or with lines that don't sum to the stated balances.
    """
    file = one_account(_STATEMENT_READERS[kind_of_file](path), path, account_id)
    problems = find_differences(file, path)
    if problems:
        raise refuse(problems, path.name)
    return file


def _read_texts(request: ExportRequest) -> tuple[TextTable, Mapping, StatementFile | None]:
    """The rows as texts, the mapping that holds for them, and the statements where the file is one."""
    path, scratch = request.path, request.scratch
    mapping = request.mapping or canonical_mapping(request.kind, request.source)
    kind_of_file = detect_format(path)
    if kind_of_file in STATEMENTS:
        if request.kind != "bank":
            what = (
                f"is a bank statement ({kind_of_file}), but the source {request.source} is of the kind {request.kind}"
            )
            raise LedgerError(Problem(path.name, what, "name a bank source with `--source`"))
        statements = read_statements(path, kind_of_file, request.account_id)
        mapping = canonical_mapping("bank", request.source)
        lines = write_canonical(statements, scratch)
        return read_delimited(lines, mapping.file, mapping.columns_used(), scratch, path.name), mapping, statements
    if kind_of_file == SPREADSHEET:
        dated = {
            column
            for entry in KINDS[mapping.kind]
            if entry.type == MOMENT
            for column in mapping.columns.get(entry.name, ())
        }
        sheet, shape = write_sheet(path, mapping.file, scratch, dated)
        return read_delimited(sheet, shape, mapping.columns_used(), scratch, path.name), mapping, None
    return read_delimited(path, mapping.file, mapping.columns_used(), scratch), mapping, None


def _stage(connection: duckdb.DuckDBPyConnection, typing: Typing, table: str) -> Typing:
    """Stages the typed rows; gives the typing that did it, with orders' currencies carried to all of their lines."""
    try:
        create_stage(connection, typing, table)
        if typing.mapping.kind == "orders" and typing.sources("currency"):
            blank = f"SELECT count(*) FROM {quote_name(table)} WHERE NOT {CURRENCY_GIVEN}"
            if _one(connection, blank):
                if currencies_decide_digits(connection, typing, table):
                    typing = complete_currencies(connection, typing)
                    connection.execute(f"DROP TABLE {quote_name(table)}")
                    create_stage(connection, typing, table)
                else:
                    forget_assumed_currencies(connection, table)
    except (duckdb.InvalidInputException, duckdb.ConversionException, duckdb.IOException) as error:
        raise refuse(typing.table.explain(str(error)), typing.table.file) from error
    return typing


def _complete(connection: duckdb.DuckDBPyConnection, typing: Typing, table: str) -> list[Problem]:
    """Fills, derives and checks the staged rows; gives the problems."""
    mapping, name = typing.mapping, quote_name(table)
    problems = find_problems(connection, typing, table)
    if problems:
        blank = {entry.name for entry in typing.fields if entry.order_level} if mapping.kind == "orders" else set()
        return problems + find_missing(connection, typing, table, {*blank, *mapping.derive})
    makes_ids = id_field(mapping.kind) in mapping.derive or not typing.is_given(id_field(mapping.kind))
    if mapping.kind == "orders":
        if not makes_ids:
            problems += fill_orders(connection, typing, table)
        assume_currencies(connection, typing, table)
        default_quantities(connection, table)
    if mapping.derive.get("net"):
        connection.execute(f"UPDATE {name} SET net = gross - coalesce(fee, 0)")
    if mapping.derive.get("gross"):
        connection.execute(f"UPDATE {name} SET gross = net + coalesce(fee, 0)")
    if makes_ids and mapping.kind != "bank" or id_field(mapping.kind) in mapping.derive:
        derive_ids(connection, typing, table)
    if mapping.derive.get("total"):
        derive_totals(connection, table)
    problems += find_missing(connection, typing, table)
    if mapping.kind in ("processor", "wallet") and not makes_ids and not problems:
        problems += find_contradictions(connection, typing, table)
    drop_helpers(connection, typing, table)
    return problems


def _require_columns(texts: TextTable, mapping: Mapping, path: Path) -> None:
    """Refuses a file that lacks a mapped column, or holds it twice."""
    problems = []
    required = {entry.name for entry in KINDS[mapping.kind] if entry.required} - SUPPLIED
    for column in mapping.columns_used():
        times = texts.header.count(column)
        if times > 1:
            what = f"found {times} columns of this name, expected one"
            problems.append(Problem(f"{texts.file}, column {column}", what, "rename all but one in a copy of the file"))
        elif texts.position(column) is None and (not mapping.canonical or column in required):
            headers = ", ".join(name for name in texts.header if name) or "none"
            what = f"is missing; the file has {headers[:400]}"
            step = f"`ledger-tools map FILE --source {mapping.source}` proposes a mapping of its columns"
            problems.append(Problem(f"{texts.file}, column {column}", what, step))
    if problems:
        if mapping.file.sheet is None and detect_format(path) == SPREADSHEET:
            wanted = required if mapping.canonical else mapping.columns_used()
            sheet = find_sheet(path, mapping.file, {*wanted})
            if sheet is not None:
                what = f"the first sheet lacks columns that the sheet {sheet!r} has"
                line = f"sheet = {json.dumps(sheet, ensure_ascii=False)}"
                problems.append(Problem(texts.file, what, f"set {line} under [file] in mappings/{mapping.source}.toml"))
        raise refuse(problems, texts.file)


def _drop_skipped(connection: duckdb.DuckDBPyConnection, mapping: Mapping, table: str) -> tuple[tuple[str, int], ...]:
    if not mapping.skips:
        return ()
    counts = dict(
        connection.execute(
            f"SELECT {SKIPPED_BY}, count(*) FROM {quote_name(table)} WHERE {SKIPPED_BY} IS NOT NULL GROUP BY 1"
        ).fetchall()
    )
    connection.execute(f"DELETE FROM {quote_name(table)} WHERE {SKIPPED_BY} IS NOT NULL")
    return tuple((skip.reason, counts[place]) for place, skip in enumerate(mapping.skips, start=1) if place in counts)


def _covered(
    connection: duckdb.DuckDBPyConnection, mapping: Mapping, table: str
) -> tuple[tuple[datetime.date, datetime.date], ...]:
    if mapping.covers and mapping.covers.first and mapping.covers.last:
        return ((mapping.covers.first, mapping.covers.last),)
    dated = quote_name(DATED_BY[mapping.kind])
    query = f"SELECT min({dated})::DATE AS first, max({dated})::DATE FROM {quote_name(table)} HAVING first IS NOT NULL"
    return tuple((first, last) for first, last in connection.execute(query).fetchall())


def _one(connection: duckdb.DuckDBPyConnection, query: str) -> int:
    return int(connection.execute(query).fetchall()[0][0])


def _lock_down(connection: duckdb.DuckDBPyConnection) -> None:
    """Nothing is installed, loaded or fetched while files are read; settings that a version lacks are left out."""
    wanted = {
        "autoinstall_known_extensions": "false",
        "autoload_known_extensions": "false",
        "allow_community_extensions": "false",
        "allow_extension_repositories": "'forbidden'",
    }
    known = {row[0] for row in connection.execute("SELECT name FROM duckdb_settings()").fetchall()}
    for name, value in wanted.items():
        if name in known:
            connection.execute(f"SET {name} = {value}")
