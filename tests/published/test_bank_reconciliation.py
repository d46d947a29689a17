"""Two published bank reconciliations, each from both sides, as `reconcile` prints them.

IRS-583-REC. Source: Internal Revenue Service, Publication 583, Starting a Business and Keeping Records, sample record
system, item 7, Bank Reconciliation (edition of the tax year 2006; Rev. January 2015, page 17). Exactness: READ.
OSX-REC. Source: OpenStax, Principles of Accounting, Volume 1: Financial Accounting, section 8.6,
https://openstax.org/details/books/principles-financial-accounting (commit 2165bf6454c0279c1284e19ac7febc101f7956ad,
module m67879). Exactness: READ; its picture prints a subtotal of 111,600 where 77,040 and 34,620 are 111,660, and that
misprint must not tie.

The sources list the items only. DERIVED here: the account's balance before the month (what makes the printed balances of
both sides come out), and the number of the deposit slip of the first case. What the checkbook says is written by hand, on
the account of what is under way; what the bank says is an export with its running balance.
"""

from __future__ import annotations

import datetime
import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from click.testing import CliRunner
from shop_books import Row, ShopBooks, hand_entries

from ledger_tools.cli import group
from ledger_tools.decisions import add_decisions
from ledger_tools.open_items import list_open_items
from ledger_tools.settlement import Verdict, decide

BANK, UNDER_WAY, OTHER = "Assets:Bank:Checking", "Assets:InTransit:Transfers", "Equity:Other"


@dataclass(frozen=True)
class Month:
    """A published month.

    Attributes:
        opening: day and balance before it (DERIVED).
        checkbook: what the shop wrote: (day, narration, amount).
        statement: what the bank says: (day, text, amount).
    """

    opening: tuple[str, str]
    as_of: str
    checkbook: Sequence[tuple[str, str, str]]
    statement: Sequence[tuple[str, str, str]]

    def hand(self) -> str:
        """The checkbook as entries by hand."""
        day, balance = self.opening
        entries = hand_entries([(day, ((BANK, balance), (OTHER, f"-{balance}")))])
        for on, text, amount in self.checkbook:
            entries += f'\n{on} * "{text}"\n  {UNDER_WAY}  {amount} USD\n  {OTHER}\n'
        return entries

    def export(self) -> list[Row]:
        """The statement with its running balance."""
        balance = Decimal(self.opening[1])
        rows = []
        for on, text, amount in self.statement:
            balance += Decimal(amount)
            rows.append(
                {
                    "at": on,
                    "amount": amount,
                    "currency": "USD",
                    "memo": text,
                    "balance": f"{balance:.2f}",
                }
            )
        return rows


IRS = Month(
    ("2005-12-31", "867.72"),
    "2006-01-31",
    [
        ("2006-01-08", "Deposit 108", "594.40"),
        ("2006-01-20", "Cheque 90", "-66.70"),
        ("2006-01-20", "Cheque 91", "-9.80"),
        ("2006-01-20", "Cheque 94", "-150.00"),
        ("2006-01-20", "Cheque 95", "-300.00"),
        ("2006-01-28", "Deposit", "701.33"),
        ("2006-01-31", "Deposit", "516.08"),
    ],
    [("2006-01-09", "DEPOSIT 0108", "600.40"), ("2006-01-31", "SERVICE CHARGE", "-10.00")],
)
OSX = Month(
    ("2018-06-30", "19840"),
    "2018-07-31",
    [
        ("2018-07-05", "Cheque 5386, dues", "-1760"),
        ("2018-07-20", "Cheque 5523", "-9620"),
        ("2018-07-20", "Cheque 6547", "-10000"),
        ("2018-07-31", "Deposit", "34300"),
    ],
    [
        ("2018-07-10", "CHECK 5386", "-2000"),
        ("2018-07-12", "COLLECTED NOTE", "60000"),
        ("2018-07-12", "COLLECTED INTEREST", "1800"),
        ("2018-07-16", "RETURNED ITEM", "-2200"),
        ("2018-07-18", "CHECK OF ANOTHER COMPANY", "-320"),
        ("2018-07-31", "SERVICE CHARGE", "-80"),
    ],
)
#: The entries that the second source prints: 61,800 collected, 2,200 returned, 240 of dues, 80 of charges.
CORRECTIONS = """
2018-07-31 * "Cheque 5386 was 2,000"
  Expenses:Dues               240 USD
  Assets:InTransit:Transfers
"""
RULES = """
[[bank_rule]]
pattern = "collected note"
account = "Assets:NotesReceivable"

[[bank_rule]]
pattern = "collected interest"
account = "Assets:InterestReceivable"

[[bank_rule]]
pattern = "returned item"
account = "Assets:AccountsReceivable"

[[bank_rule]]
pattern = "service charge"
account = "Expenses:BankCharges"
"""


def reconciled(books: ShopBooks, as_of: str) -> tuple[int, Mapping[str, Any]]:
    """Exit status of `reconcile`, and both sides of the bank account in its JSON."""
    result = CliRunner().invoke(
        group, ["--books", str(books.folder.root), "reconcile", "--as-of", as_of, "--format", "json"]
    )
    (sides,) = [sides for sides in json.loads(result.stdout)["sides"] if sides["account"] == BANK]
    return result.exit_code, sides


def amounts(side: Mapping[str, Any], heading: str) -> list[str]:
    """Amounts of the items under a heading of one side."""
    return [item["amount"] for item in side["items"] if item["heading"] == heading]


def accept_as_error_of_the_bank(books: ShopBooks, event_id: str, as_of: str) -> None:
    """Decide that the bank made an error, as `settle --accept` does."""
    items = list_open_items(books.connection, datetime.date.fromisoformat(as_of) + datetime.timedelta(days=60))
    (item,) = [item for item in items if item.event_id == event_id]
    verdict = Verdict(accept=True)
    made = decide(
        books.connection, item, verdict, "the bank took another company's cheque", "Ana", datetime.date(2018, 8, 1)
    )
    books.connection.close()
    add_decisions(books.folder.decisions, made)


def test_irs_both_sides(new_shop: Callable[..., ShopBooks]) -> None:
    """READ: 1,458.12 + 1,217.41 - 526.50 = 2,149.03 = 2,153.03 + 6.00 - 10.00."""
    books = new_shop({"checking": IRS.export()}, hand=IRS.hand())
    status, sides = reconciled(books, IRS.as_of)
    statement, checkbook = sides["statement"], sides["books"]
    assert ("1458.12", "2149.03") == (statement["balance"], statement["adjusted"])
    assert ["701.33", "516.08"] == amounts(statement, "deposits in transit")
    assert ["-66.70", "-9.80", "-150.00", "-300.00"] == amounts(statement, "outstanding")
    assert ("2153.03", "2149.03") == (checkbook["balance"], checkbook["adjusted"])
    assert ["6.00"] == amounts(checkbook, "recorded with another amount")
    assert ["-10.00"] == amounts(checkbook, "not yet booked")
    assert (0, "0.00") == (status, sides["remaining"])


def test_irs_after_the_correcting_entries(new_shop: Callable[..., ShopBooks]) -> None:
    """READ: with 6.00 for the deposit and 10.00 for the charge in the books, they stand at 2,149.03 by themselves."""
    mended = '\n2006-01-31 * "Deposit 108 was 600.40"\n  Assets:InTransit:Transfers  6.00 USD\n  Equity:Other\n'
    rule = '\n[[bank_rule]]\npattern = "service charge"\naccount = "Expenses:BankFees"\n'
    books = new_shop({"checking": IRS.export()}, hand=IRS.hand() + mended, settings=rule)
    _, sides = reconciled(books, IRS.as_of)
    assert ("2149.03", []) == (sides["books"]["balance"], sides["books"]["items"])


def test_osx_both_sides(new_shop: Callable[..., ShopBooks]) -> None:
    """READ: 77,040 + 34,300 + 320 - 19,620 = 92,040 = 32,760 + 61,800 - 2,520, the bank's error on its own side."""
    books = new_shop({"checking": OSX.export()}, hand=OSX.hand())
    accept_as_error_of_the_bank(books, "20180718:-32000:1", OSX.as_of)
    status, sides = reconciled(books, OSX.as_of)
    statement, checkbook = sides["statement"], sides["books"]
    assert ("77040.00", "92040.00") == (statement["balance"], statement["adjusted"])
    assert ["34300.00"] == amounts(statement, "deposits in transit")
    assert ["-9620.00", "-10000.00"] == amounts(statement, "outstanding")
    assert ["320.00"] == amounts(statement, "errors on the statement")
    (error,) = [item for item in statement["items"] if item["heading"] == "errors on the statement"]
    assert "accepted by Ana: the bank took another company's cheque" == error["what"]
    assert ("32760.00", "92040.00") == (checkbook["balance"], checkbook["adjusted"])
    assert ["-240.00"] == amounts(checkbook, "recorded with another amount")
    assert ["1800.00", "60000.00", "-2200.00", "-80.00"] == amounts(checkbook, "not yet booked")
    assert (0, "0.00") == (status, sides["remaining"])


def test_osx_correcting_entries(new_shop: Callable[..., ShopBooks]) -> None:
    """READ: four entries (one lump of 61,800) bring the books from 32,760 to 92,040."""
    books = new_shop({"checking": OSX.export()}, hand=OSX.hand() + CORRECTIONS, settings=RULES)
    accept_as_error_of_the_bank(books, "20180718:-32000:1", OSX.as_of)
    _, sides = reconciled(books, OSX.as_of)
    assert ("92040.00", []) == (sides["books"]["balance"], sides["books"]["items"])
    result = CliRunner().invoke(group, ["--books", str(books.folder.root), "trial-balance", "--format", "json"])
    balances = {row["account"]: row["balance"] for row in json.loads(result.stdout)["rows"]}
    assert {
        "Assets:NotesReceivable": "-60000.00",
        "Assets:InterestReceivable": "-1800.00",
        "Assets:AccountsReceivable": "2200.00",
        "Expenses:Dues": "240.00",
        "Expenses:BankCharges": "80.00",
    } == {name: balances[name] for name in balances if "Receivable" in name or name.startswith("Expenses")}


def test_osx_misprinted_subtotal_is_refused(new_shop: Callable[..., ShopBooks]) -> None:
    """With the printed subtotal 111,600 (a statement of 76,980) the sides differ by 60, and the command says so."""
    stated = '\n[[stated_balance]]\nsource = "checking"\non = 2018-07-31\namount = "76980"\n'
    rows = [{name: text for name, text in row.items() if name != "balance"} for row in OSX.export()]
    books = new_shop({"checking": rows}, hand=OSX.hand(), settings=stated)
    accept_as_error_of_the_bank(books, "20180718:-32000:1", OSX.as_of)
    status, sides = reconciled(books, OSX.as_of)
    deposits = amounts(sides["statement"], "deposits in transit") + amounts(
        sides["statement"], "errors on the statement"
    )
    assert 111600 == 76980 + sum(Decimal(amount) for amount in deposits)
    assert (1, "-60.00") == (status, sides["remaining"])
