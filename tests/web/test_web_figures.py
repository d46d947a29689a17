"""Each figure on a page equals the figure that the command prints as JSON."""

import json
from decimal import Decimal
from typing import Any

import pytest
from click.testing import CliRunner
from served import Site

from ledger_tools.cli import group


def told(site: Site, *arguments: str) -> Any:
    """What a command prints about the served books."""
    command = ["--books", str(site.desk.folder.root), *arguments, "--format", "json"]
    return json.loads(CliRunner().invoke(group, command, prog_name="ledger-tools").stdout)


def test_month_result(demo_site: Site) -> None:
    """The month's result stands beside the month before, as the income statement tells both."""
    statement = told(demo_site, "income-statement", "--month", "2031-04", "--compare", "previous")
    page = demo_site.read("Month/?time=2031-04")
    for totals, column in (("totals", ""), ("compared_totals", "-before")):
        for name in ("revenue", "cost_of_goods_sold", "gross_profit", "net_income"):
            assert Decimal(statement[totals][name]) == page.amount(f"{name}{column}")


def test_month_cash(demo_site: Site) -> None:
    """Where the money is, account by account, is the balance sheet of the month's end."""
    sheet = told(demo_site, "balance-sheet", "--month", "2031-03")
    rows = {row["account"]: Decimal(row["amount"]) for part in ("assets", "liabilities") for row in sheet[part]}
    page = demo_site.read("Month/?time=2031-03")
    shown = {name: page.amount(name) for _, name, _ in page.figures if ":" in name}
    assert {name: rows[name] for name in shown} == shown
    held = sum(amount for name, amount in shown.items() if name.startswith("Liabilities:"))
    assert sum(amount for name, amount in shown.items() if name.startswith("Assets:")) - held == page.amount(
        "cash-owners"
    )
    assert {"Assets:Bank:Checking", "Liabilities:SalesTax:US-CO"} <= set(shown)


def test_month_items(demo_site: Site) -> None:
    """Open items are counted by kind as the command lists them."""
    items = told(demo_site, "open-items")["items"]
    page = demo_site.read("Month/")
    for kind in {item["kind"] for item in items}:
        assert sum(1 for item in items if item["kind"] == kind) == page.amount(kind)


def test_orders(demo_site: Site) -> None:
    """Every order of a month, its figures and the totals are the command's."""
    report = told(demo_site, "orders", "--month", "2031-04")
    page = demo_site.read("Orders/?time=2031-04&sort=profit&dir=up")
    for order in report["orders"]:
        for name in ("net_revenue", "profit"):
            assert Decimal(order[name]) == page.amount(name, order=order["order_id"])
    assert Decimal(report["totals"]["profit"]) == decimal_of_tile(page, "profit")
    assert f"{len(report['orders'])}" == next(text for row, name, text in page.figures if name == "found").strip()


def decimal_of_tile(page: Any, name: str) -> Decimal:
    """The first figure of a name, which stands in a tile above the table."""
    return Decimal(next(text for _, known, text in page.figures if known == name).replace(",", ""))


@pytest.mark.parametrize("by", ["sku", "category", "region", "channel", "discount", "month"])
def test_groups(by: str, demo_site: Site) -> None:
    """The groups are the command's, in its order."""
    report = told(demo_site, "orders", "--by", by)
    page = demo_site.read(f"Orders/?show=groups&by={by}")
    shown = list(dict.fromkeys(row["data-group"] for row, _, _ in page.figures if row.get("data-group")))
    assert [told_group["group"] for told_group in report["groups"]] == shown
    for told_group in report["groups"]:
        name = told_group["group"]
        assert Decimal(told_group["profit"]) == page.amount("profit", group=name)
        assert told_group["orders"] == page.amount("orders", group=name)


def test_order_story(demo_site: Site) -> None:
    """An order's page has the figures, events and postings of its story."""
    report = told(demo_site, "orders", "--order", "10191")
    page = demo_site.read("Order/?id=10191")
    (order,) = report["orders"]
    assert Decimal(order["profit"]) == decimal_of_tile(page, "profit")
    assert Decimal(order["tax_collected"]) == page.amount("tax_collected")
    for event in report["story"]["events"]:
        assert event["event_id"] in page.text
        assert all(f"<code>{name}</code>" in page.source for name in event["files"])
        for posting in event["postings"]:
            assert posting["account"] in page.text
    assert any(event["files"] for event in report["story"]["events"])
    assert all(flag in page.text for flag in order["flags"])


def test_open_items(demo_site: Site) -> None:
    """The list of open items is the command's, item by item, with amount and cause."""
    items = told(demo_site, "open-items")["items"]
    page = demo_site.read("OpenItems/")
    assert len(items) == page.amount("total")
    shown = [values["data-item"] for _, values in page.tags if "data-item" in values]
    assert [item["id"] for item in items] == shown
    for item in items:
        assert item["cause"] in page.text
        if item["amount"] is not None:
            assert Decimal(item["amount"]) == page.amount("amount", item=item["id"])


def test_reconciliation(demo_site: Site) -> None:
    """Each balance, stated and of the books, is the command's, and so are both sides of each account."""
    report = told(demo_site, "reconcile", "--as-of", "2031-04-30")
    page = demo_site.read("Reconcile/?time=2031-04")
    for row in report["accounts"]:
        name = f"{row['account']} {row['currency']}"
        assert Decimal(row["books"]) == page.amount("books", group=name)
        if row["stated"] is not None:
            assert Decimal(row["stated"]) == page.amount("stated", group=name)
            assert Decimal(row["difference"]) == page.amount("difference", group=name)
    for sides in report["sides"]:
        for title, key in (("Statement", "statement"), ("Books", "books")):
            name = f"{title} {sides['account']} {sides['currency']}"
            assert Decimal(sides[key]["adjusted"]) == page.amount("adjusted", group=name)


def test_sales_tax(demo_site: Site) -> None:
    """Sales, tax, returns and thresholds are the command's, jurisdiction by jurisdiction."""
    report = told(demo_site, "sales-tax", "--quarter", "2031-Q1")
    page = demo_site.read("SalesTax/?time=2031-Q1")
    for row in [*report["jurisdictions"], {"jurisdiction": "all", **report["totals"]}]:
        for name in ("gross_sales", "taxable_sales", "exempt_sales", "marketplace_sales"):
            assert Decimal(row[name]) == page.amount(name, group=f"sales {row['jurisdiction']}")
        if Decimal(row["collected"]):
            for name in ("collected", "refunded", "due", "remitted", "owed"):
                assert Decimal(row[name]) == page.amount(name, group=f"tax {row['jurisdiction']}")
    returns = told(demo_site, "sales-tax", "--quarter", "2031-Q1", "--show", "returns")["returns"]
    shown = [row["data-group"] for row, name, _ in page.figures if name == "payable"]
    assert len(returns) == len(shown)
    thresholds = told(demo_site, "sales-tax", "--show", "thresholds", "--as-of", "2031-03-31")
    for row in thresholds["thresholds"]:
        assert Decimal(row["sales"]) == page.amount("sales", group=f"threshold {row['jurisdiction']}")
