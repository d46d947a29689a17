"""Of several balances that are stated for one day one counts, the same one everywhere and in any order of imports."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from shop_books import import_all, silent

from ledger_tools.archive import archived_exports, open_books
from ledger_tools.build import build_database, read_inputs
from ledger_tools.checks import check_balances, check_order_of_imports
from ledger_tools.coverage import list_coverage
from ledger_tools.folder import BooksFolder
from ledger_tools.new_books import settings_text, write_books
from ledger_tools.open_items import OpenItem, item_id, list_all_items
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.reconciliation_form import Reconciled

DAY = "20310110"
FIRST, SECOND = ("100.00", "IN A"), ("50.00", "IN B")


def ofx(days: tuple[str, str], lines: list[tuple[str, str]], balance: str, as_of: str) -> str:
    """An OFX statement with lines of the tenth; `as_of` is the moment of the balance and of the file."""
    listed = "".join(
        f"<STMTTRN><DTPOSTED>{DAY}<TRNAMT>{amount}<FITID>{place}<NAME>{name}</STMTTRN>"
        for place, (amount, name) in enumerate(lines)
    )
    return (
        f"OFXHEADER:100\n\n<OFX><SIGNONMSGSRSV1><SONRS><DTSERVER>{as_of}</SONRS></SIGNONMSGSRSV1><BANKMSGSRSV1><STMTTRNRS>"
        f"<STMTRS><CURDEF>USD<BANKACCTFROM><ACCTID>1</BANKACCTFROM><BANKTRANLIST><DTSTART>{days[0]}<DTEND>{days[1]}{listed}"
        f"</BANKTRANLIST><LEDGERBAL><BALAMT>{balance}<DTASOF>{as_of}</LEDGERBAL></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>"
    )


NOON = ofx(("20310101", DAY), [FIRST], "100.00", "20310110120000")
NIGHT = ofx(("20310101", DAY), [FIRST, SECOND], "150.00", "20310110220000")


def import_texts(root: Path, texts: dict[str, str]) -> BooksFolder:
    """New books with these files of one bank account, imported one after the other."""
    folder = write_books(root / "books", settings_text("Test shop", "USD", "UTC"))
    for name, text in texts.items():
        (root / name).write_text(text, encoding="utf-8")
        import_all(folder, "checking", [root / name])
    return folder


def read(folder: BooksFolder) -> tuple[Reconciled, list[OpenItem], bool]:
    """What `reconcile`, `open-items` and the check of stated balances say of the account."""
    with open_books(folder, silent) as connection:
        items = [item for item in list_all_items(connection, None) if item.kind == "balance-differs"]
        (account,) = [row for row in report_reconciliation(connection, None).accounts if row.source == "checking"]
        return account, items, check_balances(connection).passed


@pytest.mark.parametrize("names", [("noon.ofx", "night.ofx"), ("night.ofx", "noon.ofx")])
def test_later_export_of_a_day_counts(names: tuple[str, str], tmp_path: Path) -> None:
    """At night a line has come and the balance is another: what night says counts, also once the build is made anew."""
    texts = {"noon.ofx": NOON, "night.ofx": NIGHT}
    folder = import_texts(tmp_path, {name: texts[name] for name in names})
    expected: tuple[object, ...] = ((15000, 15000, "statement"), [], True)
    for _ in range(2):
        account, items, passed = read(folder)
        assert expected == ((account.stated, account.books, account.stated_by), items, passed)
        folder.database.unlink()


@pytest.mark.parametrize("names", [("a.ofx", "b.ofx"), ("b.ofx", "a.ofx")])
def test_disagreement_is_listed_and_the_later_counts(names: tuple[str, str], tmp_path: Path) -> None:
    """Two files of the same lines state two balances: the later made one counts, not the smaller, and both are told."""
    texts = {
        "a.ofx": ofx(("20310101", DAY), [FIRST], "100.00", "20310110220000"),
        "b.ofx": ofx(("20310101", DAY), [FIRST], "99.00", "20310110120000"),
    }
    folder = import_texts(tmp_path, {name: texts[name] for name in names})
    with open_books(folder, silent) as connection:
        (other,) = report_reconciliation(connection, None).disagreements
    assert (10000, 9900) == (other.used, other.other)
    assert ([], True) == read(folder)[1:]


def test_balance_at_noon_is_none_once_the_month_is_there(tmp_path: Path) -> None:
    """The month's statement has one more line on the day of the download: that day's balance was an interim one."""
    month = ofx(("20310101", "20310131"), [FIRST, SECOND], "150.00", "20310131")
    account, items, passed = read(import_texts(tmp_path, {"noon.ofx": NOON, "month.ofx": month}))
    assert (datetime.date(2031, 1, 31), [], True) == (account.stated_on, items, passed)


def test_balance_of_a_moment_after_the_list(tmp_path: Path) -> None:
    """A list to the ninth with the balance of the moment of the download, on the tenth: what came later that day outdates it."""
    texts = {
        "early.ofx": ofx(("20310101", "20310109"), [], "0.00", "20310110090000"),
        "month.ofx": ofx(("20310110", "20310131"), [FIRST], "100.00", "20310131"),
    }
    _, items, passed = read(import_texts(tmp_path, texts))
    assert ([], True) == (items, passed)


def test_opening_balance_counts_beside_lines_of_its_day(tmp_path: Path) -> None:
    """A statement's opening balance is the end of the day before: lines of that day in a later file take nothing from it."""
    lines = [
        "at,amount,currency,memo",
        "2031-01-10,100.00,USD,IN A",
        "2031-01-12,5.00,USD,IN C",
        "2031-02-03,1.00,USD,IN D",
    ]
    statement = (
        ":20:S\n:25:1\n:28C:1/1\n:60F:C310110USD90,00\n:61:3101120112C5,00NMSCNONREF\n:86:IN C\n:62F:C310131USD95,00\n"
    )
    _, (item,), passed = read(import_texts(tmp_path, {"s.sta": statement, "all.csv": "\n".join(lines)}))
    assert (datetime.date(2031, 1, 10), -1000, False) == (item.date, item.amount, passed)


@pytest.mark.parametrize("names", [("first.csv", "second.csv"), ("second.csv", "first.csv")])
def test_running_balance_with_a_line_that_vanished(names: tuple[str, str], tmp_path: Path) -> None:
    """A later export of the days lacks a line: its balances count, on the day of the line none does, and all say the same."""
    head = "at,amount,currency,memo,balance\n2031-01-08,100.00,USD,START,100.00\n"
    texts = {
        "first.csv": head + "2031-01-10,10.00,USD,GONE,110.00\n2031-01-12,5.00,USD,IN C,115.00\n",
        "second.csv": head + "2031-01-12,5.00,USD,IN C,105.00\n2031-01-14,1.00,USD,IN D,106.00\n",
    }
    account, (item,), passed = read(import_texts(tmp_path, {name: texts[name] for name in names}))
    assert (-1000, -1000, False) == (account.difference, item.amount, passed)
    assert (datetime.date(2031, 1, 12), ("20310110:1000:1",)) == (item.date, account.explained_by)


@pytest.mark.parametrize(
    ("opened", "amount", "closed_with", "spans"),
    [
        ("310131", "570,00", "570.00", [("2031-01-01", "2031-02-28")]),
        ("310201", "570,00", "570.00", [("2031-01-01", "2031-02-28")]),  # dated on its own first day
        ("310203", "570,00", "570.00", [("2031-01-01", "2031-02-28")]),  # a weekend later
        (
            "310201",
            "571,00",
            "570.00",
            [("2031-01-01", "2031-01-31"), ("2031-02-02", "2031-02-28")],
        ),  # a line is missing
        ("310201", "0,00", "0.00", [("2031-01-01", "2031-01-31"), ("2031-02-02", "2031-02-28")]),  # zero says nothing
        ("310205", "570,00", "570.00", [("2031-01-01", "2031-01-31"), ("2031-02-06", "2031-02-28")]),  # too long
    ],
)
def test_statement_continues_the_one_before(
    opened: str, amount: str, closed_with: str, spans: list[tuple[str, str]], tmp_path: Path
) -> None:
    """A statement covers the days after its opening balance; the equal closing balance of the one before proves the rest."""
    closing = f"{int(amount.split(',')[0]) + 50},00"
    texts = {
        "january.ofx": ofx(("20310101", "20310131"), [(closed_with, "IN A")], closed_with, "20310131"),
        "february.sta": f":20:S\n:25:1\n:28C:1/1\n:60F:C{opened}USD{amount}\n:61:3102100210C50,00NMSCNONREF\n"
        f":86:IN C\n:62F:C310228USD{closing}\n",
    }
    folder = import_texts(tmp_path, texts)
    with open_books(folder, silent) as connection:
        gaps = [item.date for item in list_all_items(connection, None) if item.kind == "coverage-gap"]
        assert spans == list_coverage(connection)["checking"]
    assert len(spans) - 1 == len(gaps)


def month_of(month: int, opened: str, amount: str, closed: str) -> str:
    """An MT940 statement of a month of 2031 with one line on its tenth day, opened at the end of the month before."""
    first = datetime.date(2031, month, 1)
    opened_on, closed_on = (day - datetime.timedelta(days=1) for day in (first, datetime.date(2031, month + 1, 1)))
    return (
        f":20:S\n:25:1\n:28C:{month}/1\n:60F:C{opened_on:%y%m%d}USD{opened}\n"
        f":61:{first:%y%m}10{first:%m}10C{amount}NMSCNONREF\n:86:IN {month}\n:62F:C{closed_on:%y%m%d}USD{closed}\n-\n"
    )


@pytest.mark.parametrize("packed", [True, False])
@pytest.mark.parametrize("first", [1, 2])
def test_broken_chain_of_statements(packed: bool, first: int, tmp_path: Path) -> None:
    """Where a statement opens with another balance than the one before closed with, the closing one counts and both are told."""
    months = [month_of(1, "500,00", "50,00", "550,00"), month_of(2, "560,00", "50,00", "610,00")][
        :: 1 if first == 1 else -1
    ]
    texts = {"both.sta": "".join(months)} if packed else {f"{place}.sta": text for place, text in enumerate(months)}
    with open_books(import_texts(tmp_path, texts), silent) as connection:
        report = report_reconciliation(connection, datetime.date(2031, 1, 31))
        found = [
            (each.on.isoformat(), each.used, each.used_by, each.other, each.other_by) for each in report.disagreements
        ]
        (account,) = [row for row in report.accounts if row.source == "checking"]
    assert [("2031-01-31", 55000, "statement", 56000, "opening balance")] == found
    assert ("statement", 55000) == (account.stated_by, account.stated)


@pytest.mark.parametrize("newest_first", [False, True])
def test_running_balances_in_two_currencies(newest_first: bool, tmp_path: Path) -> None:
    """Each currency's running balance runs by itself, whichever way the file lists its lines."""
    lines = [
        "2031-01-10,10.00,USD,IN A,10.00", "2031-01-10,5.00,EUR,IN B,5.00", "2031-01-10,10.00,USD,IN C,20.00",
        "2031-01-10,5.00,EUR,IN D,10.00", "2031-01-10,-15.00,USD,OUT E,5.00",
    ]  # fmt: skip
    text = "\n".join(["at,amount,currency,memo,balance", *lines[:: -1 if newest_first else 1]])
    folder = import_texts(tmp_path, {"all.csv": text})
    with open_books(folder, silent) as connection:
        found = connection.execute("SELECT currency, amount FROM stated_balance ORDER BY 1").fetchall()
    assert [("EUR", 1000), ("USD", 500)] == found


#: January and March with another balance between; with an equal one, as of an account on which nothing happened; and with
#: February's statement in a file of its own.
OUTER = month_of(1, "500,00", "50,00", "550,00") + month_of(3, "570,00", "50,00", "620,00")
QUIET = month_of(1, "500,00", "50,00", "550,00") + month_of(3, "550,00", "50,00", "600,00")
INNER = month_of(2, "550,00", "20,00", "570,00")


@pytest.mark.parametrize(
    ("texts", "gaps"),
    [
        ({"outer.sta": OUTER}, [("2031-02-01", "no export covers 2031-02-01 to 2031-02-28 (28 days)")]),
        ({"quiet.sta": QUIET}, []),
        ({"outer.sta": OUTER, "inner.sta": INNER}, []),
        ({"inner.sta": INNER, "outer.sta": OUTER}, []),
        (
            {"mixed.sta": month_of(3, "570,00", "50,00", "620,00") + month_of(1, "500,00", "50,00", "550,00") + INNER},
            [],
        ),
    ],
    ids=["missing", "quiet", "filled after", "filled before", "in any order"],
)
def test_month_missing_inside_a_file(texts: dict[str, str], gaps: list[tuple[str, str]], tmp_path: Path) -> None:
    """Days between two statements of one file are a gap, and no record of another file that lies in them has vanished."""
    with open_books(import_texts(tmp_path, texts), silent) as connection:
        items = list_all_items(connection, None)
    assert gaps == [(str(item.date), item.cause) for item in items if item.kind == "coverage-gap"]
    assert [] == [item.id for item in items if item.kind == "vanished-record"]


def test_balance_or_item_that_depends_on_the_order_is_found(tmp_path: Path) -> None:
    """Books of the same journal with another stated balance, or another open item, fail the check of the order of imports."""
    without = ofx(("20310101", "20310111"), [SECOND], "150.00", "20310111")
    folder = import_texts(tmp_path, {"noon.ofx": NOON, "without.ofx": without})
    (tmp_path / "scratch").mkdir()
    connection, _ = build_database(tmp_path / "scratch", read_inputs(folder), archived_exports(folder), silent)
    with connection:
        same = check_order_of_imports(connection, folder, silent)
        connection.execute("DELETE FROM vanished")
        fewer_items = check_order_of_imports(connection, folder, silent)
        connection.execute("UPDATE stated_balance SET amount = 10000")
        other_balance = check_order_of_imports(connection, folder, silent)
    assert [True, False, False] == [check.passed for check in (same, fewer_items, other_balance)]
    assert f"the open item {item_id('vanished', 'checking', '20310110:10000:1')} differs" == fewer_items.detail
    assert "the balance stated by checking on 2031-01-11 differs" in other_balance.detail
