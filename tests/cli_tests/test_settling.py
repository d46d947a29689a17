"""Settling what stands open: every command that the list prints works as it is printed, and can be taken back."""

from __future__ import annotations

import datetime
import json
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

from command_line import Outcome, call, environment
from kept_books import Books, bank, fingerprint, order, silent
from shop_books import DemoBooks

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.cli.settle import command as settle
from ledger_tools.decisions import add_decisions, withdraw_decision
from ledger_tools.folder import BooksFolder
from ledger_tools.open_items import list_open_items
from ledger_tools.settlement import Verdict, decide, stale_decisions

DAY = datetime.date(2031, 5, 2)


def copy_of(books: DemoBooks, place: Path) -> BooksFolder:
    """The demo's books, cache and all, for a test to change."""
    shutil.copytree(books.folder.root, place / "books")
    return BooksFolder(place / "books")


def verdict_of(printed: str) -> tuple[str, Verdict, str]:
    """Item, verdict and reason of a printed command, as the program reads it."""
    program, name, *words = shlex.split(printed)
    assert ["ledger-tools", "settle"] == [program, name]
    given = settle.make_context("settle", words).params
    return given["item"], Verdict(given["match"], given["account"], given["accept"]), given["reason"]


def settle_all(folder: BooksFolder, *, to_account: str | None = None) -> list[str]:
    """Settle every open item by its printed command, or to an account where it holds a balance; the items' ids."""
    decisions = []
    with open_books(folder, silent) as connection:
        for item in list_open_items(connection, None):
            item_id, verdict, reason = verdict_of(item.next_step)
            assert item.id == item_id
            if to_account and item.balance:
                verdict = Verdict(account=to_account)
            decisions.extend(decide(connection, item, verdict, reason, "Ada", DAY))
    add_decisions(folder.decisions, decisions)
    return [decision.item for decision in decisions]


def test_every_printed_command_settles(demo_books: DemoBooks, tmp_path: Path) -> None:
    """Each printed next step takes its item off the list, every check holds, and withdrawing gives back the same bytes."""
    folder = copy_of(demo_books, tmp_path)
    before = fingerprint(folder.root)
    settled = settle_all(folder)
    assert 18 <= len(settled)
    with open_books(folder, silent) as connection:
        assert [] == list_open_items(connection, None)
        assert [] == stale_decisions(connection)
        assert [] == [check for check in run_checks(connection, folder, silent) if not check.passed]
    for item in settled:
        withdraw_decision(folder.decisions, item)
    assert not folder.decisions.exists()
    open_books(folder, silent).close()
    assert before == fingerprint(folder.root)


def test_every_balance_can_go_to_an_account(demo_books: DemoBooks, tmp_path: Path) -> None:
    """Each item that holds a balance can be moved to an account: nothing is left in suspense, clearing or top-ups."""
    folder = copy_of(demo_books, tmp_path)
    settle_all(folder, to_account="Expenses:Unclear")
    with open_books(folder, silent) as connection:
        assert [] == list_open_items(connection, None)
        assert [] == stale_decisions(connection)
        left = connection.execute(
            """SELECT role, sum(amount) FROM posting JOIN account USING (account_no)
               WHERE role IN ('suspense', 'clearing', 'top_ups_in_transit') GROUP BY role HAVING sum(amount) <> 0"""
        ).fetchall()
    assert [] == left


def in_shell(printed: str, folder: Path) -> Outcome:
    """A printed line as a shell runs it, in a folder, with the program of this tree."""
    program = f"{shlex.quote(sys.executable)} -m ledger_tools"
    line = printed.replace("ledger-tools", program, 1)
    done = subprocess.run(
        ["sh", "-c", line], cwd=folder, env=environment(), capture_output=True, text=True, check=False, timeout=120
    )
    return Outcome(done.returncode, done.stdout, done.stderr)


def test_printed_command_in_a_shell(tmp_path: Path) -> None:
    """A line copied from the list, for books whose folder has a blank in its name, settles the item in a shell."""
    books = Books(tmp_path / "my shop").put(bank=[bank("2031-04-12", "-4.00", "CORNER SHOP")])
    listed = call("--books", books.folder.root, "open-items", COLUMNS="60").out
    (line,) = (line.strip() for line in listed.splitlines() if line.strip().startswith("ledger-tools"))
    done = in_shell(line, tmp_path)
    assert 0 == done.status, done.err
    assert "Nothing is open" in call("--books", books.folder.root, "open-items").out
    assert "4.00 USD" in books.folder.journal.joinpath("2031-04.beancount").read_text(encoding="utf-8")


def test_record_of_what_was_settled(tmp_path: Path) -> None:
    """What a decision settled leaves the list and stays in the record, with who, when, why and where the money went."""
    books = Books(tmp_path).put(bank=[bank("2031-04-12", "-4.00", "CORNER SHOP")])
    (item,) = books.open_items()
    root = ("--books", books.folder.root)
    call(*root, "settle", item.id, "--account", "Expenses:Paper", "--reason", "paper", "--by", "Ada")
    record = call(*root, "open-items", "--settled", "--format", "json")
    (row,) = record.json()["settled"]
    expected = {
        "id": item.id, "kind": "bank-line-without-rule", "date": "2031-04-12", "about": "checking/20310412:-400:1",
        "action": "account", "target": "Expenses:Paper", "amount": "4.00", "currency": "USD", "reason": "paper",
        "by": "Ada", "decided_on": row["decided_on"], "fits": True,
    }  # fmt: skip
    assert expected == row
    assert datetime.date.fromisoformat(row["decided_on"])
    assert 0 == record.status
    assert "account Expenses:Paper" in call(*root, "open-items", "--settled").out
    assert 1 == call(*root, "open-items", "--settled", "--format", "csv").out.count(item.id)


def test_decision_whose_item_is_gone_is_reported(tmp_path: Path) -> None:
    """A decision about an item that later data settled is told on every list, fails the check, and stays in the record."""
    books = Books(tmp_path).put(orders=[order("1", "2031-04-02", "10.00")], bank=[bank("2031-05-02", "-1.00", "X")])
    item = next(item for item in books.open_items() if item.kind == "order-without-payment")
    root = ("--books", books.folder.root)
    call(*root, "settle", item.id, "--accept", "--reason", "paid in cash", "--by", "Ada")
    books.folder.hand.write_text(
        '2031-04-02 * "Cash" ^order-1\n  Assets:Cash  10.00 USD\n  Assets:Clearing:Orders  -10.00 USD\n'
    )
    told = call(*root, "open-items", "--settled", "--format", "json")
    assert [False] == [row["fits"] for row in told.json()["settled"]]
    assert 1 == told.status
    assert f"decision about {item.id}: has no open item any more" in told.err
    assert f"ledger-tools --books {books.folder.root} settle {item.id} --withdraw" in told.err
    checks = json.loads(call(*root, "check", "--format", "json").out)["checks"]
    assert ["decisions have their items"] == [check["check"] for check in checks if not check["passed"]]


def test_comments_in_the_decisions_are_kept(tmp_path: Path) -> None:
    """What a person wrote into decisions.toml stays when decisions come and go."""
    books = Books(tmp_path).put(bank=[bank("2031-04-12", "-4.00", "A"), bank("2031-04-13", "-5.00", "B")])
    first, second = books.open_items()
    with open_books(books.folder, silent) as connection:
        decisions = [decide(connection, item, Verdict(accept=True), "small", "Ada", DAY) for item in (first, second)]
    file = books.folder.decisions
    add_decisions(file, decisions[0])
    commented = file.read_text(encoding="utf-8").replace("[[decision]]", "# asked the bank on Monday\n[[decision]]")
    file.write_text(commented, encoding="utf-8")
    add_decisions(file, decisions[1])
    withdraw_decision(file, second.id)
    assert commented.strip() == file.read_text(encoding="utf-8").strip()


STATED = '[[stated_balance]]\nsource = "checking"\non = 2031-04-10\namount = "90.00"\n'


def test_difference_of_a_balance_goes_to_an_account(tmp_path: Path) -> None:
    """A balance that differs can be settled to opening balances: it then agrees, and the decision still has its item."""
    books = Books(tmp_path, STATED).put(bank=[bank("2031-04-09", "-10.00", "FEE"), bank("2031-04-11", "-1.00", "FEE")])
    item = next(item for item in books.open_items() if item.kind == "balance-differs")
    root = ("--books", books.folder.root)
    done = call(*root, "settle", item.id, "--account", "Equity:OpeningBalances", "--reason", "opened", "--by", "Ada")
    assert 0 == done.status, done.err
    assert "balance-differs" not in books.kinds()
    assert 0 == call(*root, "check").status
    assert "Assets:Bank:Checking,USD,89.00" in call(*root, "trial-balance", "--format", "csv").out
