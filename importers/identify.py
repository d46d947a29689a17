"""Whose export a file is: the one source whose mapping, header or account fits it.

Place in the flow: before `readers`, when the command line names no source. Never a guess: no source or two are an error
that says what to do.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from importers.delimited import read_header
from importers.formats import SPREADSHEET, STATEMENTS, detect_format
from importers.layout import SUPPLIED, FileShape, Mapping, canonical_mapping
from importers.readers import list_accounts, read_statements
from importers.spreadsheet import sheet_rows
from importers.statements import fold_account
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.records import KINDS


@dataclass(frozen=True)
class KnownSource:
    """A source of the settings.

    Attributes:
        account_id: the bank's id of the account, for sources of statements; None where the settings don't say.
        card: it is a credit card.
    """

    name: str
    kind: str
    currency: str
    mapping: Mapping | None
    account_id: str | None
    card: bool = False


def identify_source(path: Path, sources: Sequence[KnownSource]) -> str:
    """The name of the source that a file is an export of.

    Raises:
        LedgerError: no source claims the file, or more than one does.
    """
    kind_of_file = detect_format(path)
    if kind_of_file in STATEMENTS:
        return _statement_source(path, kind_of_file, sources)
    mapped = [source for source in sources if source.mapping and _claims(path, kind_of_file, source.mapping)]
    if mapped:
        return _only(path, mapped, "give their mappings a name_pattern under [file] that tells them apart")
    canonical = [source for source in sources if _is_canonical(path, kind_of_file, source)]
    if canonical:
        return _only(path, canonical, "their header is the same for all of them")
    header = ", ".join(name for name in _header(path, kind_of_file, FileShape(), ()) if name)
    raise LedgerError(
        Problem(
            path.name,
            f"no source claims this file with the columns {header[:400]}",
            f"make a mapping with `ledger-tools map {path.name} --source NAME`, or name its source with `--source`",
        )
    )


def _only(path: Path, claiming: Sequence[KnownSource], hint: str) -> str:
    if len(claiming) == 1:
        return claiming[0].name
    names = ", ".join(source.name for source in claiming)
    raise LedgerError(
        Problem(path.name, f"{len(claiming)} sources claim this file: {names}", f"say which with `--source`; {hint}")
    )


def _header(path: Path, kind_of_file: str, shape: FileShape, wanted: Sequence[str]) -> tuple[str, ...]:
    if kind_of_file != SPREADSHEET:
        return read_header(path, shape, wanted)
    number = max(shape.header_row, 1)
    rows = list(sheet_rows(path, shape, number))
    if len(rows) < number:
        raise LedgerError(Problem(path.name, f"has no row {number} to take column names from"))
    row = rows[number - 1]
    return (
        tuple(str(place) for place in range(1, len(row) + 1)) if shape.header_row == 0 else tuple(map(str.strip, row))
    )


def _claims(path: Path, kind_of_file: str, mapping: Mapping) -> bool:
    if mapping.file.name_pattern and not _name_matches(path.name, mapping.file.name_pattern):
        return False
    used = mapping.columns_used()
    try:
        header = _header(path, kind_of_file, mapping.file, used)
    except LedgerError:
        return False
    known = {name.casefold() for name in header}
    return all(column.casefold() in known for column in used)


def _is_canonical(path: Path, kind_of_file: str, source: KnownSource) -> bool:
    used = canonical_mapping(source.kind, source.name).columns_used()
    known = {name.casefold() for name in _header(path, kind_of_file, FileShape(), used)}
    return {field.name for field in KINDS[source.kind] if field.required} - SUPPLIED <= known


def _name_matches(name: str, pattern: str) -> bool:
    connection = duckdb.connect(":memory:")
    try:
        return bool(connection.execute("SELECT regexp_matches(?, ?, 'i')", [name, pattern]).fetchall()[0][0])
    finally:
        connection.close()


def _statement_source(path: Path, kind_of_file: str, sources: Sequence[KnownSource]) -> str:
    accounts = list_accounts(path, kind_of_file)
    banks = [source for source in sources if source.kind == "bank"]
    ids = {fold_account(account) for account, _ in accounts}
    named = [source for source in banks if source.account_id and fold_account(source.account_id) in ids]
    if named:
        several = "it holds statements of several accounts: import it once for each"
        return _only(path, named, several if len(ids) > 1 else "two sources have the same account_id in shop.toml")
    statement = read_statements(path, kind_of_file).statements[0]
    account, currency = statement.account_id, accounts[0][1]
    fitting = [
        source
        for source in banks
        if not source.account_id and source.currency == currency and statement.card in (None, source.card)
    ]
    if fitting:
        return _only(path, fitting, f'or set account_id = "{account}" for one of them in shop.toml')
    what, keys = ("source that is a card", ", with card = true,") if statement.card else ("bank source", "")
    raise LedgerError(
        Problem(
            path.name,
            f"no {what} has the account {account or 'without id'} in {currency}",
            f'add account_id = "{account}"{keys} to its [[source]] in shop.toml, or say `--source NAME`',
        )
    )
