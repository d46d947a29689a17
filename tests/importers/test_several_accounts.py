"""A bank file with statements of several accounts: each source reads its own, and says what it leaves to the others."""

from __future__ import annotations

from pathlib import Path

import pytest
from shop_books import silent

from importers.identify import KnownSource, identify_source
from ledger_tools.archive import open_books
from ledger_tools.errors import LedgerError
from ledger_tools.folder import BooksFolder
from ledger_tools.intake import FileResult, import_files
from ledger_tools.new_books import write_books
from ledger_tools.reports.reconciliation import report_reconciliation

HEAD = 'currency = "USD"\ntime_zone = "UTC"\n'
SOURCE = '[[source]]\nname = "{name}"\nkind = "bank"\ncurrency = "USD"\n{account}'

TWO = """:20:STMT
:25:12 3
:28C:1/1
:60F:C310101USD100,00
:61:3101020102C50,00NTRFREF1
:86:CLIENT
:62F:C310131USD150,00
-
:20:STMT
:25:999
:28C:1/1
:60F:C310101USD0,00
:61:3101070107C20,00NMSCNONREF
:86:FROM CHECKING
:61:3101080108C1,00NMSCNONREF
:86:INTEREST
:62F:C310131USD21,00
-
"""


def import_two(root: Path, accounts: dict[str, str], source: str | None) -> FileResult:
    """Import the file into books whose sources have these accounts; the source is found where none is named."""
    lines = {name: f'account_id = "{account}"\n' if account else "" for name, account in accounts.items()}
    folder = write_books(
        root / "books", HEAD + "".join(SOURCE.format(name=name, account=lines[name]) for name in lines)
    )
    file = root / "two.sta"
    file.write_text(TWO, encoding="utf-8")
    (result,) = import_files(folder, [file], source, silent)
    return result


def test_each_source_reads_its_own_account(tmp_path: Path) -> None:
    """The same file goes into two sources; the balances of each agree, and lines of the other are declared as skipped."""
    assert not import_two(tmp_path, {"checking": "123", "savings": "999"}, "checking").refused
    folder = BooksFolder(tmp_path / "books")
    import_files(folder, [tmp_path / "two.sta"], "savings", silent)
    with open_books(folder, silent) as connection:
        skipped = connection.execute(
            """SELECT source.name, reason, rows, rows_read, records FROM skipped JOIN export USING (export_no)
               JOIN source USING (source_no) ORDER BY 1"""
        ).fetchall()
        accounts = report_reconciliation(connection, None).accounts
    assert [("checking", "of the account 999", 2, 3, 1), ("savings", "of the account 12 3", 1, 3, 2)] == skipped
    stated = {row.source: (row.stated, row.books) for row in accounts if row.source}
    assert {"checking": (15000, 5000), "savings": (2100, 2100)} == stated


@pytest.mark.parametrize(
    ("accounts", "found"),
    [
        ({"checking": ""}, "holds statements of 2 accounts (12 3, 999), expected one account a file"),
        (
            {"checking": "777"},
            "holds statements of 2 accounts (12 3, 999), expected the account 777 of the source among them",
        ),
    ],
)
def test_without_its_account_the_file_is_refused(accounts: dict[str, str], found: str, tmp_path: Path) -> None:
    """Where the settings don't say which account the source is, nothing is read, and the setting is named."""
    (problem,) = import_two(tmp_path, accounts, "checking").refused
    assert found == problem.what
    assert "set account_id under [[source]] in shop.toml" in (problem.next_step or "")


def test_source_is_found_by_its_account(tmp_path: Path) -> None:
    """One source with one of the accounts claims the file; two are asked for."""
    file = tmp_path / "two.sta"
    file.write_text(TWO, encoding="utf-8")
    checking, savings = (
        KnownSource(name, "bank", "USD", None, account) for name, account in (("a", "999"), ("b", "123"))
    )
    assert "a" == identify_source(file, [checking, KnownSource("c", "bank", "USD", None, "5")])
    with pytest.raises(LedgerError, match="import it once for each"):
        identify_source(file, [checking, savings])
    with pytest.raises(LedgerError, match="holds statements of 2 accounts"):
        identify_source(file, [KnownSource("c", "bank", "USD", None, None)])
