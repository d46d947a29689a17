"""`settle --account` moves nothing to where it would stay open, or where it stands already; a rule may make a transfer."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, bank, order, silent

from ledger_tools.errors import LedgerError
from ledger_tools.settlement import Verdict
from ledger_tools.settling import settle_item

REASON = ("--reason", "so", "--by", "Ada")
STATED = """
[[source]]
name = "savings"
kind = "bank"
currency = "USD"

[[stated_balance]]
source = "savings"
on = 2031-04-30
amount = "5.00"
"""


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """An order without payment, a line that no rule knows, and a stated balance of an account that no export tells of."""
    made = Books(tmp_path_factory.mktemp("targets"), STATED)
    return made.put(
        orders=[order("A", "2031-04-01", "20.00"), order("B", "2031-04-20", "0.00")],
        bank=[bank("2031-04-01", "-30.00", "MYSTERY GOODS"), bank("2031-04-30", "-1.00", "MYSTERY GOODS")],
    )


@pytest.mark.parametrize(
    ("account", "told"),
    [
        ("Assets:Clearing:Orders", r"holds orders until they are paid.*--match ORDER"),
        ("Assets:Suspense", r"is where it waits for a decision.*Expenses:Uncategorised"),
        ("Assets:InTransit:Payouts", r"tied to what completes it.*--match EVENT"),
        ("Assets:InTransit:TopUps", r"tied to what completes it.*--match EVENT"),
        ("Assets:InTransit:Transfers", r"tied to what completes it.*--match LINE"),
    ],
)
@pytest.mark.parametrize("kind", ["order-without-payment", "bank-line-without-rule"])
def test_an_account_of_items_is_no_place_to_move_one_to(kind: str, account: str, told: str, books: Books) -> None:
    """What would stand open there, with no item to tell of it, is refused with what to name instead."""
    item = next(item for item in books.open_items() if item.kind == kind)
    verdict = Verdict(account=account)
    with pytest.raises(LedgerError, match=f"(?s)account {account}: .*{told}"):
        settle_item(
            books.folder, item.id, verdict, reason="so", by="Ada", decided_on=datetime.date(2031, 5, 1), progress=silent
        )
    assert not books.folder.decisions.exists()


def test_a_difference_stays_where_it_stands(books: Books) -> None:
    """A stated balance that differs is not moved to the account that states it."""
    (item,) = [item for item in books.open_items() if item.kind == "balance-differs"]
    done = call("--books", books.folder.root, "settle", item.id, "--account", "Assets:Bank:Savings", *REASON)
    assert (1, True) == (done.status, "Assets:Bank:Savings: is where it stands now" in done.err), done.err


def test_a_rule_makes_a_transfer_and_nothing_else_of_these(tmp_path: Path) -> None:
    """`--always` refuses an account of items as well, but for transfers, whose other half a rule awaits."""
    books = Books(tmp_path).put(bank=[bank("2031-04-01", "-30.00", "TO SAVINGS BOX")])
    (item,) = [item for item in books.open_items() if item.kind == "bank-line-without-rule"]
    statuses = [
        call("--books", books.folder.root, "settle", item.id, "--account", account, "--always", *REASON).status
        for account in ("Assets:Suspense", "Assets:InTransit:Payouts", "Assets:InTransit:Transfers")
    ]
    assert [1, 1, 0] == statuses


@pytest.mark.parametrize("said", [{}, {"match": ["x"], "accept": True}, {"account": "Expenses:Rent", "take_out": True}])
def test_a_verdict_says_one_thing(said: dict[str, object]) -> None:
    """A verdict that says nothing, or two things, can't be made."""
    with pytest.raises(ValueError, match="exactly one thing"):
        Verdict(**said)  # type: ignore[arg-type]
