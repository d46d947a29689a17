"""`close` and `reopen` on the command line: what is said, what JSON holds, and the exit status."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, order, processor
from shop_books import DemoBooks

WAIVE = (
    "--waive",
    "sources",
    "--waive",
    "balances",
    "--waive",
    "open-items",
    "--waive",
    "cut-off",
    "--waive",
    "changes",
)


@pytest.fixture
def books(tmp_path: Path) -> Path:
    """One paid order in April, shipped in May; no statement and nothing of wallet and bank."""
    made = Books(tmp_path)
    made.put(
        orders=[order("1", "2031-04-30", "10.00", shipped_at="2031-05-02T09:00:00")],
        processor=[processor("c1", "charge", "2031-04-30", "10.00", "9.50", fee="0.50", order_ref="1")],
    )
    return made.folder.root


def test_blocked_close(books: Path) -> None:
    """Blocked steps stand out, each with what to do; the status is 1 and the month stays open."""
    outcome = call("--books", books, "close", "2031-04", "--by", "pat")
    assert 1 == outcome.status
    assert "sources     BLOCKED" in outcome.out
    assert "→ import exports that reach 2031-04-30" in outcome.out
    assert "→ import the statement that ends on 2031-04-30" in " ".join(outcome.out.split())
    assert "2031-04 stays open" in outcome.err
    assert None is call("--books", books, "status", "--format", "json").json()["closed_through"]


def test_close_in_json(books: Path) -> None:
    """The JSON is the interface's; closing exits 0, and status says through which month."""
    outcome = call(
        "--books", books, "close", "2031-04", "--by", "pat", *WAIVE, "--reason", "a test", "--format", "json"
    )
    assert 0 == outcome.status
    told = outcome.json()
    assert ("2031-04", True) == (told["month"], told["closed"])
    assert {"done", "waived"} == {step["state"] for step in told["steps"]}
    assert ["step", "state", "detail", "items", "next_step"] == list(told["steps"][0])
    assert [
        "sources",
        "changes",
        "open-items",
        "balances",
        "cut-off",
        "foreign",
        "sales-tax",
        "recurring",
        "review",
        "frozen",
    ] == [step["step"] for step in told["steps"]]
    assert "2031-04" == call("--books", books, "status", "--format", "json").json()["closed_through"]


def test_dry_run_prints_entries(books: Path) -> None:
    """A dry run prints the month-end entries as journal text and says that nothing was changed."""
    outcome = call("--books", books, "close", "2031-04", "--dry-run", "--by", "pat", *WAIVE, "--reason", "a test")
    assert 0 == outcome.status
    assert '2031-04-30 * "Month-end: paid, not shipped" ^order-1' in outcome.out
    assert "Nothing was changed" in outcome.err


@pytest.mark.parametrize(
    "arguments",
    [("close", "2031-04", "--waive", "sources"), ("reopen", "2031-04"), ("close",)],
    ids=["waive without reason", "reopen without reason", "no month"],
)
def test_wrong_command_lines(books: Path, arguments: tuple[str, ...]) -> None:
    """What lacks its reason or its month is a wrong command line."""
    assert 2 == call("--books", books, *arguments).status


def test_reopen(books: Path) -> None:
    """A closed month is opened with a reason; one that isn't closed says through which month the books are closed."""
    call("--books", books, "close", "2031-04", "--by", "pat", *WAIVE, "--reason", "a test")
    outcome = call("--books", books, "reopen", "2031-04", "--reason", "late bill", "--by", "pat")
    assert (0, True) == (outcome.status, "2031-04 is open again" in outcome.err)
    assert "an actual charge may take the place of an estimated one" in outcome.err
    again = call("--books", books, "reopen", "2031-04", "--reason", "late bill", "--by", "pat")
    assert (1, True) == (again.status, "no month is closed" in again.err)


def test_demo_month_by_month(demo_books: DemoBooks, tmp_path: Path) -> None:
    """Months of the demo close in order from the command line alone: only steps with planted faults are blocked, each says how
    to clear it, and the command that it names goes through."""
    root = shutil.copytree(demo_books.folder.root, tmp_path / "books")
    first = call("--books", root, "close", "2031-01", "--by", "pat", "--format", "json")
    assert 1 == first.status
    blocked = [step for step in json.loads(first.out)["steps"] if step["state"] == "blocked"]
    assert ["changes", "open-items", "frozen"] == [step["step"] for step in blocked]
    assert all(step["next_step"] and (step["items"] or step["step"] == "frozen") for step in blocked)
    waived = [word for step in blocked if step["step"] != "frozen" for word in ("--waive", step["step"])]
    for month in ("2031-01", "2031-02"):
        assert 0 == call("--books", root, "close", month, "--by", "pat", *waived, "--reason", "planted").status
    check = call("--books", root, "check")
    assert (0, True) == (check.status, "closed months are as they were frozen: 2 closed months" in check.out)
