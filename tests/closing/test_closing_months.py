"""Closing a month: cut-off to the cent, steps that block and say how to go on, freezes that nothing moves."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from april_shop import DAY, SETTINGS, WAIVABLE, balances, close, put_april, states
from kept_books import Books, fingerprint, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_month
from ledger_tools.checks import run_checks
from ledger_tools.close import reopen_month
from ledger_tools.closed import Reopening
from ledger_tools.decisions import add_decisions
from ledger_tools.errors import LedgerError
from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.statements import report_income
from ledger_tools.settlement import Verdict, decide, find_item
from ledger_tools.status import read_status


def test_clean_month_closes(books: Books) -> None:
    """A month in which everything ties out closes without a word from a person, and the status says so."""
    report = close(books, "2031-04")
    assert set(states(report).values()) == {"done"}
    assert report.closed
    with open_books(books.folder, silent) as connection:
        assert "2031-04" == read_status(connection).closed_through
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_cut_off(books: Books) -> None:
    """Paid on the last day and shipped on the second: income and cost wait for May, the tax is owed in April."""
    close(books, "2031-04")
    april = balances(books, "2031-04-30")
    assert (-1000, None, 300, 200) == (
        april["Income:Sales:Mugs"], april.get("Income:Shipping"), april["Expenses:COGS:Production"],
        april["Expenses:COGS:Shipping"],
    )  # fmt: skip
    assert (-2200, 520, -180) == (
        april["Liabilities:UnearnedRevenue"], april["Assets:PrepaidFulfilment"], april["Liabilities:SalesTax:US-CO"],
    )  # fmt: skip
    may = balances(books, "2031-05-01")
    assert (-3000, -200, 600, 420) == (
        may["Income:Sales:Mugs"], may["Income:Shipping"], may["Expenses:COGS:Production"], may["Expenses:COGS:Shipping"]
    )  # fmt: skip
    assert not {"Liabilities:UnearnedRevenue", "Assets:PrepaidFulfilment"} & may.keys()
    entry = next(
        entry for entry in books.entries() if entry.event == "2031-04/deferral/shop/2" and entry.day == "2031-04-30"
    )
    assert ("order-2",) == entry.links


def test_orders_keep_their_profit(books: Books) -> None:
    """An order's profit is that of its whole life: closing its month does not change it."""
    with open_books(books.folder, silent) as connection:
        before = [(row.order_id, row.figures) for row in report_orders(connection).orders]
    close(books, "2031-04")
    with open_books(books.folder, silent) as connection:
        assert before == [(row.order_id, row.figures) for row in report_orders(connection).orders]


def test_recognised_when_placed(tmp_path: Path) -> None:
    """With recognise = "placed" nothing is deferred, and what was not charged yet is accrued."""
    books = Books(tmp_path, SETTINGS)
    settings = books.folder.settings
    settings.write_text('recognise = "placed"\n' + settings.read_text(encoding="utf-8"), encoding="utf-8")
    put_april(books)
    close(books, "2031-04")
    assert -3000 == balances(books, "2031-04-30")["Income:Sales:Mugs"]


def put_shipped_uncharged(
    books: Books, sku: str = "MUG", charged_on: str | None = None, country: str = "US", region: str = "CO"
) -> None:
    """Order 3, two mugs (to Colorado) shipped on 29 April; charged later or not at all."""
    books.put(
        orders=[
            order("0", "2031-04-02", "20.00", shipped_at="2031-04-03T09:00:00", quantity=2, unit_price="10.00",
                  ship_country="US", ship_region="CO"),
            order("3", "2031-04-28", "20.00", shipped_at="2031-04-29T09:00:00", quantity=2, unit_price="10.00", sku=sku,
                  ship_country=country, ship_region=region),
        ],
        wallet=[
            wallet("v0", "charge", "2031-04-02", "9.10", order_ref="0", sku="MUG", quantity=2, production="6.50", shipping="2.60"),
            *([wallet("v3", "charge", charged_on, "9.99", order_ref="3", sku=sku, quantity=2, production="7.00", shipping="2.99")]
              if charged_on else []),
        ],
    )  # fmt: skip


def test_accrual_at_latest_cost(books: Books) -> None:
    """Shipped and not charged: production at the SKU's latest charge, shipping at that of a basket of this size and region."""
    put_shipped_uncharged(books)
    close(books, "2031-04", *WAIVABLE)
    # the latest charge of a mug by then is w2's 3.00; two pieces to Colorado last cost 2.60 to ship
    april = balances(books, "2031-04-30")
    assert -860 == april["Liabilities:AccruedFulfilment"]
    assert 300 + 650 + 600 == april["Expenses:COGS:Production"]
    assert "Liabilities:AccruedFulfilment" not in balances(books, "2031-05-01")


def test_accrual_at_own_cost(books: Books) -> None:
    """Where the order's own charge came since, that is the cost, to the cent; May's charge then cancels the reversal."""
    put_shipped_uncharged(books, charged_on="2031-05-02")
    close(books, "2031-04", *WAIVABLE)
    assert -999 == balances(books, "2031-04-30")["Liabilities:AccruedFulfilment"]
    may = balances(books, "2031-05-31")
    with open_books(books.folder, silent) as connection:
        of_may = report_income(connection, parse_month("2031-05"))
    assert "Liabilities:AccruedFulfilment" not in may
    # May holds order 2's cost, and nothing of order 3
    assert 520 == of_may.totals.cost_of_goods_sold


def test_reopened_month_takes_the_actual_charge(books: Books) -> None:
    """An estimate of 8.60 stays when the charge of 9.99 comes in May; opened and closed again, April has the actual charge."""
    put_shipped_uncharged(books)
    close(books, "2031-04", *WAIVABLE)
    actual = wallet(
        "w5", "charge", "2031-05-02", "9.99", order_ref="3", sku="MUG", quantity=2, production="7.00", shipping="2.99"
    )
    books.put(wallet=[actual])
    assert -860 == balances(books, "2031-04-30")["Liabilities:AccruedFulfilment"]
    reopen_month(books.folder, Reopening("2031-04", DAY, "R. Vale", "the partner's bill came"), silent)
    close(books, "2031-04", *WAIVABLE)
    assert -999 == balances(books, "2031-04-30")["Liabilities:AccruedFulfilment"]
    assert "Liabilities:AccruedFulfilment" not in balances(books, "2031-05-31")


def test_unknown_cost_blocks(books: Books) -> None:
    """A shipped order of a SKU that was never charged blocks the cut-off and is named."""
    put_shipped_uncharged(books, sku="FLAG")
    report = close(books, "2031-04", "open-items", "balances")
    assert "blocked" == states(report)["cut-off"]
    step = next(step for step in report.steps if step.step == "cut-off")
    assert ["3"] == [item.key for item in step.items]
    assert "shipped, not charged, and no cost of its SKU is known" == step.items[0].text
    assert "import the wallet's export" in step.next_step
    assert not report.closed


def test_unknown_shipping_is_told(books: Books) -> None:
    """Where the SKU was charged before and only the shipping to that country wasn't, the cut-off says so."""
    put_shipped_uncharged(books, country="NZ", region="")
    step = next(step for step in close(books, "2031-04", "open-items", "balances").steps if step.step == "cut-off")
    assert ["shipped, not charged, and no shipping cost of 2 pieces to NZ is known"] == [
        item.text for item in step.items
    ]


def test_foreign_balance(tmp_path: Path) -> None:
    """A balance of 100.00 EUR held at 110.00 USD stands at 105.00 on the last day, and at 110.00 again on the first."""
    more = """
[[source]]
name = "euro-processor"
kind = "processor"
currency = "EUR"

[[rate]]
currency = "EUR"
on = 2031-04-01
rate = "1.10"

[[rate]]
currency = "EUR"
on = 2031-04-30
rate = "1.05"
"""
    books = Books(tmp_path, more)
    books.put(orders=[order("1", "2031-04-10", "100.00", currency="EUR", shipped_at="2031-04-11T09:00:00")])
    folder = books.folder.exports / "euro-processor"
    folder.mkdir()
    row = "c1,charge,2031-04-10T12:00:00,1,EUR,100.00,100.00"
    (folder / "euro.csv").write_text(f"event_id,kind,at,order_ref,currency,gross,net\n{row}\n", encoding="utf-8")
    report = close(books, "2031-04", *WAIVABLE)
    assert ["Assets:Processor:EuroProcessor/EUR"] == [
        item.key for step in report.steps if step.step == "foreign" for item in step.items
    ]
    assert 500 == balances(books, "2031-04-30")["Expenses:ExchangeDifferences"]
    assert "Expenses:ExchangeDifferences" not in balances(books, "2031-05-01")
    assert 10000 == balances(books, "2031-04-30")["Assets:Processor:EuroProcessor EUR"]


def test_blocked_steps_say_how(tmp_path: Path) -> None:
    """Nothing covered, stated or settled: each blocked step names what is missing, and the books stay as they were."""
    books = Books(tmp_path, '[[recurring]]\naccount = "Expenses:Depreciation"\n')
    books.put(orders=[order("1", "2031-04-10", "10.00"), order("2", "2031-05-20", "10.00")],
              processor=[processor("c1", "charge", "2031-04-11", "9.00", "9.00", order_ref="1")])  # fmt: skip
    books.build()
    before = fingerprint(books.folder.root)
    report = close(books, "2031-04")
    assert before == fingerprint(books.folder.root)
    blocked = {step.step: step for step in report.steps if step.state == "blocked"}
    assert {"sources", "open-items", "balances", "cut-off", "recurring", "frozen"} == set(blocked)
    assert all(step.next_step for step in blocked.values())
    assert {"card-processor", "fulfilment-wallet", "checking"} == {item.key for item in blocked["sources"].items}
    assert ["Expenses:Depreciation"] == [item.key for item in blocked["recurring"].items]
    assert {item.id for item in books.open_items() if item.date.month == 4} == {
        item.key for item in blocked["open-items"].items
    }


def test_settled_items_unblock(tmp_path: Path) -> None:
    """An open item of the month blocks it until a person accepts it with a reason."""
    books = Books(tmp_path, SETTINGS.replace('"39.80"', '"38.80"'))
    put_april(books, wallet("w9", "charge", "2031-04-20", "1.00", order_ref="unknown"))
    assert "blocked" == states(close(books, "2031-04"))["open-items"]
    (item,) = books.open_items()
    with open_books(books.folder, silent) as connection:
        decisions = decide(connection, find_item(connection, item.id), Verdict(accept=True), "a gift", "R. Vale", DAY)
    add_decisions(books.folder.decisions, decisions)
    assert close(books, "2031-04").closed


def test_order_of_months(books: Books) -> None:
    """Months close in order, once, and only those that hold something; opened again from the last one backwards."""
    books.put(orders=[order("9", "2031-06-20", "10.00", shipped_at="2031-06-21T09:00:00")])
    cases: list[tuple[Callable[[], object], str]] = [
        (lambda: close(books, "2031-05", *WAIVABLE), "is not the next to close: that is 2031-04"),
        (lambda: close(books, "2031-13", *WAIVABLE), "is not a month"),
        (lambda: reopen_month(books.folder, Reopening("2031-04", DAY, "R. Vale", "why"), silent), "is not closed"),
        (lambda: close(books, "2031-04", "frozen"), "can't be waived"),
    ]
    for act, words in cases:
        with pytest.raises(LedgerError, match=words):
            act()
    for month in ("2031-04", "2031-05"):
        assert close(books, month, *WAIVABLE).closed
    with pytest.raises(LedgerError, match="is closed already"):
        close(books, "2031-04")
    with pytest.raises(LedgerError, match="2031-05 after it is closed"):
        reopen_month(books.folder, Reopening("2031-04", DAY, "R. Vale", "why"), silent)
