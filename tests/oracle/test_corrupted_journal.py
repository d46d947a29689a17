"""A journal that was changed on disk, even by a cent, is found, and the file is named."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from pathlib import Path

import duckdb
import pytest
from shop_books import DemoBooks, silent

from ledger_tools.archive import open_books, rewrite_journal
from ledger_tools.checks import Check, check_journal_files, check_with_beancount, run_checks
from ledger_tools.folder import BooksFolder

MONTH = "2031-02.beancount"
#: A payment's entry in the base currency, posting by posting.
ENTRY = re.compile(
    r"\n(?P<entry>(?P<day>2031-02-1\d) \* \"Payment\" \^(?P<link>order-\d+)\n(?:  [a-z]+: .*\n)+"
    r"(?P<net>  Assets:Processor:CardProcessor .*\n)(?P<fee>  Expenses:Fees:Processing .*\n)"
    r"(?P<gross>  Assets:Clearing:Orders .* USD\n))(?=\n)"
)

BYTES, LOADER = "the journal is what the exports say", "beancount accepts the books"
BALANCE, INCOME, SHEET, ORDERS, TAX = (
    "trial balance is beanquery's",
    "income statement is beanquery's",
    "balance sheet is beanquery's",
    "profit of each order is beanquery's",
    "sales tax is beanquery's",
)
FLOW, BASIS = "cash flow is the journal's, entry by entry", "cash basis is the journal's, entry by entry"


def changed_by(line: str, cents: int) -> str:
    """A posting line with its amount changed by some cents."""
    found = re.search(r"-?\d+\.\d\d", line)
    assert found
    amount = int(found[0].replace(".", "")) + cents
    return line.replace(found[0], f"{'-' if amount < 0 else ''}{abs(amount) // 100}.{abs(amount) % 100:02}")


def cent_in_one_posting(found: re.Match[str]) -> str:
    """The entry with a cent too much at the processor."""
    return found["entry"].replace(found["net"], changed_by(found["net"], 1))


def cent_in_two_postings(found: re.Match[str]) -> str:
    """The entry with a cent too much at the processor and too little in fees, so that it still balances."""
    return cent_in_one_posting(found).replace(found["fee"], changed_by(found["fee"], -1))


def edit(change: Callable[[re.Match[str]], str]) -> Callable[[Path], None]:
    """A corruption of one payment's entry in the month's file."""

    def corrupt(journal: Path) -> None:
        text = (journal / MONTH).read_text(encoding="utf-8")
        changed, count = ENTRY.subn(lambda found: "\n" + change(found), text, count=1)
        assert (1, True) == (count, changed != text)
        (journal / MONTH).write_text(changed, encoding="utf-8")

    return corrupt


def within(find: str, replace: str) -> Callable[[Path], None]:
    """A corruption that replaces a text inside one payment's entry."""
    return edit(lambda found: re.sub(find, replace, found["entry"], count=1))


def change_file(name: str, find: str, replace: str) -> Callable[[Path], None]:
    """A corruption of the first place in a generated file that a pattern finds."""

    def corrupt(journal: Path) -> None:
        file = journal / name
        changed, count = re.subn(find, replace, file.read_text(encoding="utf-8"), count=1)
        assert count == 1
        file.write_text(changed, encoding="utf-8")

    return corrupt


def copy_month(journal: Path) -> None:
    """An extra file, of a month that the books don't have."""
    shutil.copy(journal / MONTH, journal / "2031-09.beancount")


def remove_month(journal: Path) -> None:
    """A missing file."""
    (journal / MONTH).unlink()


#: The corruption, the file that must be named, and the checks beside that of the bytes that must see it.
CORRUPTIONS = [
    pytest.param(edit(cent_in_one_posting), MONTH, {LOADER, BALANCE, SHEET}, id="a cent more in one posting"),
    pytest.param(edit(cent_in_two_postings), MONTH, {BALANCE, INCOME, SHEET, ORDERS, BASIS}, id="a cent moved between postings"),
    pytest.param(edit(lambda found: ""), MONTH, {BALANCE, INCOME, SHEET, ORDERS, BASIS}, id="entry deleted"),
    pytest.param(
        edit(lambda found: found["entry"] + "\n" + found["entry"]), MONTH, {BALANCE, INCOME, SHEET, ORDERS, BASIS}, id="entry doubled"
    ),
    pytest.param(within(r"2031-02-1\d", "2031-02-28"), MONTH, set(), id="another day"),
    pytest.param(
        within("Expenses:Fees:Processing", "Expenses:BankFees"), MONTH, {BALANCE, INCOME, ORDERS, BASIS}, id="account swapped"
    ),
    pytest.param(within(r"\^order-\d+", "^order-10399"), MONTH, {ORDERS, BASIS}, id="link changed"),
    pytest.param(within(r" \^order-\d+", ""), MONTH, {ORDERS, BASIS}, id="link removed"),
    pytest.param(copy_month, "2031-09.beancount", set(), id="extra file"),
    pytest.param(remove_month, MONTH, {LOADER, BALANCE, INCOME, SHEET, ORDERS, TAX, BASIS, FLOW}, id="missing file"),
    pytest.param(
        change_file("index.beancount", 'include "2031-02.beancount"\n', ""),
        "index.beancount", {BALANCE, INCOME, SHEET, ORDERS, TAX, BASIS, FLOW}, id="month not included",
    ),
    pytest.param(
        change_file(MONTH, "Liabilities:SalesTax:US-CO", "Liabilities:SalesTax:US-WA"),
        MONTH, {BALANCE, TAX}, id="tax of another state",
    ),
    pytest.param(
        change_file("../accounts.beancount", r"\d{4}-01-01 open Expenses:Fees:Processing\n", ""),
        "accounts.beancount", {LOADER}, id="account not opened",
    ),
    pytest.param(change_file(MONTH, "Don't edit", "Do edit"), MONTH, set(), id="comment changed"),
]  # fmt: skip


@pytest.fixture(scope="module")
def copied(demo_books: DemoBooks, tmp_path_factory: pytest.TempPathFactory) -> BooksFolder:
    """A copy of the demo's books with its database, to be corrupted and mended."""
    root = tmp_path_factory.mktemp("corrupted") / "books"
    shutil.copytree(demo_books.folder.root, root)
    return BooksFolder(root)


def checks_of_files(connection: duckdb.DuckDBPyConnection, folder: BooksFolder) -> list[Check]:
    """The checks that read the journal on disk."""
    return [check_journal_files(connection, folder), *check_with_beancount(connection, folder, silent)]


def test_untouched_books_pass_every_check(demo_books: DemoBooks) -> None:
    """The demo's books, planted faults and all, keep every identity."""
    checks = run_checks(demo_books.connection, demo_books.folder, silent)
    assert [] == [check for check in checks if not check.passed]
    assert {BYTES, LOADER, BALANCE, INCOME, SHEET, ORDERS, TAX, FLOW, BASIS} < {check.check for check in checks}


@pytest.mark.parametrize(("corrupt", "named", "seen_by"), CORRUPTIONS)
def test_corruption_is_found(
    corrupt: Callable[[Path], None], named: str, seen_by: set[str], copied: BooksFolder, demo_books: DemoBooks
) -> None:
    """The check of the files names the file, and those that sum the journal fail where sums or links changed."""
    corrupt(copied.journal)
    try:
        checks = {check.check: check for check in checks_of_files(demo_books.connection, copied)}
    finally:
        shutil.rmtree(copied.journal)
        shutil.copytree(demo_books.folder.journal, copied.journal)
        shutil.copy(demo_books.folder.accounts, copied.accounts)
    assert {BYTES, *seen_by} == {name for name, check in checks.items() if not check.passed}
    assert named in checks[BYTES].detail
    assert "check --rewrite" in checks[BYTES].detail


def test_opening_the_books_does_not_hide_a_corruption(copied: BooksFolder) -> None:
    """Opening books whose inputs are the same rebuilds nothing, so the check finds the change; rewriting mends it."""
    open_books(copied, silent).close()
    edit(cent_in_two_postings)(copied.journal)
    with open_books(copied, silent) as connection:
        assert not check_journal_files(connection, copied).passed
    rewrite_journal(copied, silent)
    with open_books(copied, silent) as connection:
        assert [] == [check for check in checks_of_files(connection, copied) if not check.passed]
