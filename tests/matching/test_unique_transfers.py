"""Transfers between own accounts where several fit: the near one is not taken for being near, a person may say which."""

from __future__ import annotations

import datetime
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from shop_books import Row, ShopBooks, build_books, silent

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.decisions import add_decisions, withdraw_decision
from ledger_tools.errors import LedgerError
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import OpenItem, list_open_items
from ledger_tools.settlement import Verdict, decide, stale_decisions

DAY = datetime.date(2031, 7, 1)
TRANSFERS = "Assets:InTransit:Transfers"
SETTINGS = 'currency = "USD"\ntime_zone = "America/Denver"\n' + "".join(
    f'[[source]]\nname = "{name}"\nkind = "{kind}"\ncurrency = "{currency}"\n'
    for name, kind, currency in (
        ("checking", "bank", "USD"), ("savings", "bank", "USD"), ("euros", "bank", "EUR"), ("visiting", "bank", "USD"),
        ("card-processor", "processor", "USD"),
    )
)  # fmt: skip


def line(on: str, amount: str, memo: str, currency: str = "USD") -> Row:
    """A bank line of the second quarter."""
    return {"at": f"2031-{on}", "amount": amount, "currency": currency, "memo": memo}


def cheque(on: str, amount: str) -> str:
    """An entry by hand of rent that is paid by a cheque without a number."""
    return f'2031-{on} * "Rent"\n  Expenses:Rent  {amount} USD\n  {TRANSFERS}  -{amount} USD\n'


EXPORTS: dict[str, list[Row]] = {
    "checking": [
        line("04-01", "-1.00", "FIRST DAY"),
        # April: one of two that were sent arrived; the near one is not taken for being near
        line("04-03", "-300.00", "TRANSFER"),
        line("04-06", "-300.00", "TRANSFER"),
        # May: both arrive, each alone in its near days
        line("05-02", "-300.00", "TRANSFER"),
        line("05-10", "-300.00", "TRANSFER"),
        # rent of three months, each near its cheque; one of June is slow and the next one near
        line("04-12", "-900.00", "CHECK"),
        line("05-12", "-900.00", "CHECK"),
        line("06-22", "-700.00", "CHECK"),
        line("06-03", "-110.00", "OWN ACCOUNT ABROAD"),
        line("06-05", "-80.00", "CLUB"),
        line("06-30", "-2.00", "LAST DAY"),
    ],
    "savings": [
        line("04-01", "1.00", "FIRST DAY"),
        line("04-08", "300.00", "DEPOSIT"),
        line("05-03", "300.00", "DEPOSIT"),
        line("05-11", "300.00", "DEPOSIT"),
        line("06-06", "80.00", "FROM A FRIEND"),
        line("06-30", "2.00", "LAST DAY"),
    ],
    "euros": [line("06-04", "100.00", "FROM ABROAD", "EUR")],
    "card-processor": [
        {"event_id": "c-1", "kind": "charge", "at": "2031-05-01", "currency": "USD", "gross": "5.00", "net": "5.00"}
    ],
}
HAND = cheque("04-10", "900.00") + cheque("05-10", "900.00") + cheque("06-05", "700.00") + cheque("06-20", "700.00")


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """Lines that fit more than one, and cheques without numbers."""
    built = build_books(tmp_path_factory.mktemp("transfers"), SETTINGS, EXPORTS, HAND)
    yield built
    built.connection.close()


def pairs(books: ShopBooks) -> list[list[str]]:
    """Ends that stand together, each with its account and its day."""
    rows = books.connection.execute(
        """SELECT list(coalesce(source.name, 'by hand') || ' ' || strftime(moved_on, '%m-%d') ORDER BY moved_on, end_no)
           FROM transfer_end LEFT JOIN source USING (source_no)
           GROUP BY coalesce(pair_no, end_no) HAVING count(*) > 1 ORDER BY min(moved_on)"""
    ).fetchall()
    return [row[0] for row in rows]


def item_of(books: ShopBooks, event_id: str) -> OpenItem:
    """The open item about a bank line."""
    return next(item for item in list_open_items(books.connection, DAY) if item.event_id == event_id)


def decided(books: ShopBooks, place: Path, item: OpenItem, verdict: Verdict) -> ShopBooks:
    """A copy of the books with one decision."""
    folder = BooksFolder(place / "books")
    shutil.copytree(books.folder.root, folder.root)
    add_decisions(folder.decisions, decide(books.connection, item, verdict, "seen in both accounts", "Ada", DAY))
    return ShopBooks(folder, open_books(folder, silent))


UNDECIDED = [
    ["by hand 04-10", "checking 04-12"],
    ["checking 05-02", "savings 05-03"],
    ["by hand 05-10", "checking 05-12"],
    ["checking 05-10", "savings 05-11"],
]


def test_only_what_is_unique_is_paired(books: ShopBooks) -> None:
    """Where one of two transfers, or one of two cheques, is not there, neither is taken; where both are, both are."""
    assert UNDECIDED == pairs(books)
    told = [candidate.match for candidate in item_of(books, "20310408:30000:1").candidates]
    assert ["checking/20310406:-30000:1", "checking/20310403:-30000:1"] == told


def test_a_person_ties_two_lines(books: ShopBooks, tmp_path: Path) -> None:
    """A candidate's own command makes the transfer, every check holds, and taking it back gives the same journal."""
    before = {file.name: file.read_bytes() for file in books.folder.journal.iterdir()}
    item = item_of(books, "20310408:30000:1")
    tied = decided(books, tmp_path, item, Verdict(match=["20310403:-30000:1"]))
    assert [["checking 04-03", "savings 04-08"], *UNDECIDED] == pairs(tied)
    assert [] == stale_decisions(tied.connection)
    assert [] == [check for check in run_checks(tied.connection, tied.folder, silent) if not check.passed]
    tied.connection.close()
    withdraw_decision(tied.folder.decisions, item.id)
    open_books(tied.folder, silent).close()
    assert before == {file.name: file.read_bytes() for file in tied.folder.journal.iterdir()}


def test_a_line_that_was_moved_to_an_account_is_no_transfer(books: ShopBooks, tmp_path: Path) -> None:
    """What a person said about one line stands: it is nobody's partner, and what is left is unique."""
    item = item_of(books, "20310403:-30000:1")
    moved = decided(books, tmp_path, item, Verdict(account="Expenses:Dues"))
    assert ["checking 04-06", "savings 04-08"] in pairs(moved)
    assert [] == stale_decisions(moved.connection)
    moved.connection.close()


@pytest.mark.parametrize(
    ("event_id", "named", "told"),
    [
        pytest.param(
            "20310603:-11000:1", "20310604:10000:1",
            rf"has 100.00 EUR, and the item's line -110.00 USD.*takes -110.00 USD and 100.00 EUR through {TRANSFERS}",
            id="another currency",
        ),
        pytest.param("20310605:-8000:1", "20310408:30000:1", "one is not the reverse of the other", id="another amount"),
        pytest.param("20310403:-30000:1", "20310503:30000:1", "is explained by a rule, a payout or another", id="taken"),
        pytest.param("20310403:-30000:1", "20310406:-30000:1", "is no payout or top-up, or the other line", id="own account"),
    ],
)  # fmt: skip
def test_two_lines_that_can_not_be_one_transfer(books: ShopBooks, event_id: str, named: str, told: str) -> None:
    """The refusal says what differs and what to do."""
    with pytest.raises(LedgerError, match=f"(?s){told}"):
        decide(books.connection, item_of(books, event_id), Verdict(match=[named]), "tried", "Ada", DAY)


def test_two_currencies_by_hand(tmp_path: Path) -> None:
    """The entry that the refusal asks for takes both lines through transfers, and nothing of them stays under way."""
    entry = f'2031-06-03 * "To euros"\n  {TRANSFERS}  -110.00 USD\n  {TRANSFERS}  100.00 EUR @@ 110.00 USD\n'
    books = build_books(tmp_path, SETTINGS, {name: EXPORTS[name] for name in ("checking", "euros")}, entry)
    assert [["by hand 06-03", "checking 06-03"], ["by hand 06-03", "euros 06-04"]] == sorted(pairs(books))
    assert {TRANSFERS, f"{TRANSFERS} EUR"}.isdisjoint(books.balances())
    books.connection.close()


@pytest.mark.parametrize(
    ("account", "step"),
    [
        ("Assets:Bank:Savings", r"\[\[bank_rule\]\] for it to Assets:Bank:Savings, or name the line of savings"),
        ("Assets:Processor:CardProcessor", "tie it to the payout or top-up that it is"),
    ],
)
def test_an_own_account_counts_for_itself(books: ShopBooks, account: str, step: str) -> None:
    """An item can't go to an account whose own exports tell the other side of it."""
    with pytest.raises(LedgerError, match=f"(?s)it would count twice.*{step}"):
        decide(books.connection, item_of(books, "20310605:-8000:1"), Verdict(account=account), "moved", "Ada", DAY)


@pytest.mark.parametrize(
    ("event_id", "account"),
    [("20310605:-8000:1", "Assets:Bank:Visiting"), ("20310603:-11000:1", "Assets:Bank:Euros")],
    ids=["no export", "before the first export"],
)
def test_an_own_account_that_no_export_tells_of(books: ShopBooks, event_id: str, account: str) -> None:
    """Where no export of an own account will tell the other side, an item can go to it."""
    (decision,) = decide(books.connection, item_of(books, event_id), Verdict(account=account), "moved", "Ada", DAY)
    assert account == decision.account


@pytest.mark.parametrize(
    ("event_id", "other"),
    [("20310605:-8000:1", "savings/20310606:8000:1"), ("20310606:8000:1", "checking/20310605:-8000:1")],
    ids=["money out", "money in"],
)
def test_the_other_way_in_another_account_is_offered(
    event_id: str, other: str, books: ShopBooks, tmp_path: Path
) -> None:
    """Of a line whose reverse stands in another own account, that line is offered first, though no text says transfer."""
    item = item_of(books, event_id)
    (candidate,) = item.candidates
    assert other == candidate.match
    assert "the same amount the other way in another account of yours, 1 day" in candidate.why
    assert f"settle {item.id} --match {other} " in (item.match_command(candidate) or "")
    tied = decided(books, tmp_path, item, Verdict(match=[candidate.match]))
    assert ["checking 06-05", "savings 06-06"] in pairs(tied)
