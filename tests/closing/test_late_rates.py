"""Exchange rates and the close: no month closes without one, and one that comes after a close gives one prior-period entry."""

from __future__ import annotations

import datetime
from pathlib import Path

import pytest
from april_shop import WAIVABLE, balances, close, states
from kept_books import Books, order, processor, silent

from ledger_tools import close_steps
from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_month
from ledger_tools.checks import run_checks
from ledger_tools.reports.statements import report_income, report_trial_balance
from ledger_tools.reports.valued import Unvalued, list_unvalued

RATE = '\n[[rate]]\ncurrency = "GBP"\non = 2031-04-10\nrate = "1.25"\n'


@pytest.fixture
def foreign(tmp_path: Path) -> Books:
    """April has a sale of 120.00 GBP, paid less a fee of 4.00 GBP into a balance in GBP; May one in USD. No rate is known."""
    usual = {"ship_country": "GB", "tax": "20.00", "unit_price": "100.00", "currency": "GBP"}
    return Books(tmp_path).put(
        orders=[
            order("1", "2031-04-10", "120.00", shipped_at="2031-04-11T09:00:00", **usual),
            order("2", "2031-05-10", "10.00", shipped_at="2031-05-11T09:00:00", currency="USD"),
        ],
        processor=[
            processor("c1", "charge", "2031-04-10", "120.00", "116.00", fee="4.00", currency="GBP", order_ref="1"),
            processor("c2", "charge", "2031-05-10", "10.00", "10.00", order_ref="2"),
        ],
    )


def add_rate(books: Books, rate: str = RATE) -> None:
    """Add a rate to the settings."""
    settings = books.folder.settings
    settings.write_text(settings.read_text(encoding="utf-8") + rate, encoding="utf-8")


def close_as_before(books: Books, month: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Close a month as a version did that asked for the rates of valued balances only."""
    with monkeypatch.context() as patch:
        patch.setattr(close_steps, "list_unvalued", lambda connection, as_of: ())
        assert close(books, month, *WAIVABLE).closed


def test_amounts_without_a_value_block(foreign: Books) -> None:
    """The step that can't be waived names the currency, the events and the line to add with its day; with it the month closes."""
    report = close(foreign, "2031-04", *WAIVABLE)
    assert ("blocked", False) == (states(report)["foreign"], report.closed)
    step = next(step for step in report.steps if step.step == "foreign")
    assert [("GBP", "2 events without a value, from 2031-04-10 on")] == [(item.key, item.text) for item in step.items]
    assert '[[rate]] currency = "GBP", on = 2031-04-10, rate = "…"' in step.next_step
    assert "on 2031-04-30" in step.next_step
    add_rate(foreign)
    assert close(foreign, "2031-04", *WAIVABLE).closed


def test_rate_after_the_close(foreign: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    """Frozen without a value, valued later: April stays as it was, May has it all once, every check holds, May closes."""
    close_as_before(foreign, "2031-04", monkeypatch)
    frozen = balances(foreign, "2031-04-30")
    add_rate(foreign)
    assert frozen == balances(foreign, "2031-04-30")
    late = [entry.lines for entry in foreign.entries() if entry.event == "c1" and entry.day == "2031-05-01"]
    assert [
        [("Assets:Clearing:Orders", "120.00", "GBP", ""), ("Assets:Processor:CardProcessor", "-116.00", "GBP", ""),
         ("Expenses:Fees:Processing", "-4.00", "GBP", "")],
        [("Assets:Clearing:Orders", "-120.00", "GBP", "150.00 USD"), ("Assets:Processor:CardProcessor", "116.00", "GBP", "145.00 USD"),
         ("Expenses:Fees:Processing", "4.00", "GBP", "5.00 USD")],
    ] == [sorted(lines) for lines in late]  # fmt: skip
    items = [item for item in foreign.open_items() if item.kind == "late-for-closed-month"]
    assert [("c1", 15000), ("1", 15000)] == [(item.event_id, item.amount) for item in items]
    assert all("got its exchange rate after 2031-04 was closed" in item.cause for item in items)
    with open_books(foreign.folder, silent) as connection:
        assert 0 == report_income(connection, parse_month("2031-04")).totals.net_income
        assert 12500 - 500 + 1000 == report_income(connection, parse_month("2031-05")).totals.net_income
        day = datetime.date(2031, 4, 10)
        assert (Unvalued("GBP", 2, day, True),) == list_unvalued(connection, datetime.date(2031, 4, 30))
        assert () == list_unvalued(connection, None)
        worth = {row.account: row.value for row in report_trial_balance(connection, None).rows if row.currency == "GBP"}
        assert 14500 == worth["Assets:Processor:CardProcessor"]
        assert None not in worth.values()
        assert [] == [check for check in run_checks(connection, foreign.folder, silent) if not check.passed]
    assert close(foreign, "2031-05", *WAIVABLE).closed
    with open_books(foreign.folder, silent) as connection:
        assert 12500 - 500 + 1000 == report_income(connection, parse_month("2031-05")).totals.net_income
        assert [] == [check for check in run_checks(connection, foreign.folder, silent) if not check.passed]
