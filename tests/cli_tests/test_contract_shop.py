"""One month of a shop through the command line, every report against figures worked out by hand from the contract."""

from pathlib import Path
from typing import Any

import contract_shop as shop
import pytest
from command_line import Outcome, call, run

MONTH = {"from": "2031-03-01", "to": "2031-03-31"}


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Books that `init --yes` made, with the month imported, one export at a time."""
    place = tmp_path_factory.mktemp("contract")
    assert 0 == run("init", place / "books", "--yes").status
    settings = place / "books" / "shop.toml"
    settings.write_text(settings.read_text(encoding="utf-8") + shop.SETTINGS, encoding="utf-8")
    files = [place / f"{source}.csv" for source in shop.EXPORTS]
    for file, text in zip(files, shop.EXPORTS.values(), strict=True):
        file.write_text(text, encoding="utf-8")
    outcome = run("--books", place / "books", "import", *files, "--format", "json")
    assert 0 == outcome.status, outcome.err
    assert list(shop.EXPORTS) == [told["source"] for told in outcome.json()["files"]]
    return place / "books"


@pytest.fixture(scope="module")
def report(books: Path) -> Any:
    """Calls a report in JSON."""

    def ask(*arguments: str) -> Any:
        outcome: Outcome = call("--books", books, *arguments, "--format", "json")
        assert 0 == outcome.status, outcome.err
        return outcome.json()

    return ask


def test_orders_report(report: Any) -> None:
    """Each order shows what it earned, column by column."""
    found = report("orders", "--month", "2031-03")
    by_order = {row["order_id"]: row for row in found["orders"]}
    for order_id, figures in shop.FIGURES.items():
        row = found["totals"] if order_id == "totals" else by_order.pop(order_id)
        expected = dict(zip(shop.COLUMNS, (None if text == "-" else text for text in figures.split()), strict=True))
        assert expected == {name: row[name] for name in shop.COLUMNS}, order_id
    assert {} == by_order
    assert (MONTH, "USD") == (found["period"], found["currency"])
    assert {"order_id", "placed_on", "flags", *shop.COLUMNS} <= set(found["orders"][0])
    assert [f"K{number}" for number in range(1, 14)] == [row["order_id"] for row in found["orders"]]
    assert "2031-03-02" == found["orders"][0]["placed_on"]


def test_orders_report_leaves_nothing_out(report: Any) -> None:
    """What no order bears stands beside the orders, account by account."""
    assert shop.NOT_TIED == dict(sorted(report("orders")["not_tied_to_an_order"].items()))


def test_trial_balance(report: Any) -> None:
    """Every account has the balance of its postings, in each currency, and no account of zero is shown."""
    found = report("trial-balance", "--as-of", "2031-03-31")
    assert shop.TRIAL_BALANCE == {(row["account"], row["currency"]): row["balance"] for row in found["rows"]}
    assert ("2031-03-31", "USD") == (found["as_of"], found["currency"])


def test_income_statement(report: Any) -> None:
    """Revenue, cost of goods, expenses and net income are the month's; the accounts sum to them."""
    found = report("income-statement", "--month", "2031-03")
    assert shop.INCOME == found["totals"]
    assert (MONTH, "USD", "accrual") == (found["period"], found["currency"], found["basis"])
    amounts = {row["account"]: row["amount"] for row in found["rows"]}
    assert ("177.00", "125.00") == (amounts["Income:Sales:Mugs"], amounts["Income:Sales:TShirts"])
    assert ("-8.00", "-36.00") == (amounts["Income:Discounts"], amounts["Income:Returns"])


def test_balance_sheet(report: Any) -> None:
    """Assets are liabilities and equity."""
    totals = report("balance-sheet", "--as-of", "2031-03-31")["totals"]
    assert shop.BALANCE_SHEET == {name: totals[name] for name in shop.BALANCE_SHEET}


def test_open_items(books: Path) -> None:
    """What does not tie out is listed, and nothing else; the exit status says that something is open."""
    outcome = call("--books", books, "open-items", "--as-of", "2031-03-31", "--format", "json")
    assert 1 == outcome.status
    items = outcome.json()["items"]
    found = [
        (item["kind"], item["order_id"], item["event_id"], item["amount"].lstrip("-"))
        for item in items
        if (item["kind"], item["source"]) != ("bank-line-without-rule", "checking")
    ]
    assert shop.OPEN == sorted(found, key=str)
    (mystery,) = [item for item in items if item["source"] == "checking"]
    assert ("bank-line-without-rule", "40.00", "2031-03-24", 7) == (
        mystery["kind"], mystery["amount"], mystery["date"], mystery["age_days"],
    )  # fmt: skip


def test_status(report: Any) -> None:
    """Each source says what it covers and its last event; the number of open items is the list's."""
    found = report("status")
    assert {"sources", "open_items", "closed_through", "next_step"} == set(found)
    assert [
        ("shop", "orders", [{"from": "2031-03-02", "to": "2031-03-14"}]),
        ("card-processor", "processor", [{"from": "2031-03-02", "to": "2031-03-31"}]),
        ("fulfilment-wallet", "wallet", [{"from": "2031-03-01", "to": "2031-03-23"}]),
        ("checking", "bank", [{"from": "2031-03-01", "to": "2031-03-31"}]),
    ] == [(source["source"], source["kind"], source["covered"]) for source in found["sources"]]
    assert 1 + len(shop.OPEN) == found["open_items"]
    assert "2031-03-31" == found["sources"][1]["last_event"]


def test_account_register(report: Any) -> None:
    """An account's register ends at its balance in the trial balance."""
    assert "-40.00" in str(report("account", "Assets:Suspense"))


def test_check_finds_the_stated_balance_only(books: Path) -> None:
    """Every identity holds but the wallet's stated balance, which the month was given to differ in."""
    outcome = call("--books", books, "check", "--format", "json")
    assert 1 == outcome.status
    checks = outcome.json()["checks"]
    assert {"check", "passed", "detail"} == set(checks[0])
    assert ["stated balances are the books'"] == [check["check"] for check in checks if not check["passed"]]


def test_reconcile(books: Path) -> None:
    """Stated and booked balances stand side by side; what no event explains is status 1, what nobody stated is null."""
    outcome = call("--books", books, "reconcile", "--as-of", "2031-03-31", "--format", "json")
    assert 1 == outcome.status
    accounts = {row["account"]: row for row in outcome.json()["accounts"]}
    assert {"account", "currency", "stated", "books", "difference", "explained_by"} == set(accounts["Assets:Suspense"])
    assert ("-40.12", "-40.12", "0.00") == tuple(
        accounts["Assets:Processor:CardProcessor"][name] for name in ("stated", "books", "difference")
    )
    wallet = accounts["Assets:Wallet:FulfilmentWallet"]
    assert ("125.00", "134.20") == (wallet["stated"], wallet["books"])
    assert "9.20" == wallet["difference"].lstrip("-")
    assert (None, "60.00") == (
        accounts["Assets:InTransit:Payouts"]["stated"],
        accounts["Assets:InTransit:Payouts"]["books"],
    )
