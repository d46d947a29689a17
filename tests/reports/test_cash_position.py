"""Where the money is, how old what is open is, and how a month compares: each from the report that it stands on."""

import datetime

from shop_books import DemoBooks

from ledger_tools.calendar import Period
from ledger_tools.open_items import list_open_items
from ledger_tools.reports.cash_position import report_cash
from ledger_tools.reports.compared_totals import compare_totals
from ledger_tools.reports.comparison import period_before
from ledger_tools.reports.item_ages import AGE_BANDS, count_by_age
from ledger_tools.reports.statements import report_balance_sheet, report_income

END = datetime.date(2031, 4, 30)
APRIL = (datetime.date(2031, 4, 1), END)


def test_cash_is_the_balance_sheets(demo_books: DemoBooks) -> None:
    """Each place holds rows of the balance sheet, and what is the owner's is all of it less the tax held for others."""
    sheet = report_balance_sheet(demo_books.connection, END)
    rows = {row.account: row.amount for row in (*sheet.assets, *sheet.liabilities)}
    cash = report_cash(demo_books.connection, END)
    assert {name: rows[name] for line in cash.lines for name, _ in line.accounts} == {
        name: amount for line in cash.lines for name, amount in line.accounts
    }
    assets = [name for name in rows if name.split(":")[1] in ("Processor", "Reserve", "InTransit", "Wallet", "Bank")]
    taxes = [name for name in rows if name.split(":")[1] in ("SalesTax", "MarketplaceTax")]
    assert sum(rows[name] for name in assets) - sum(rows[name] for name in taxes) == cash.owners
    assert taxes


def test_ages_have_no_end() -> None:
    """The last band of ages has no end, so that every item falls into one."""
    assert [7, 30, 60, None] == [end for end, _ in AGE_BANDS]


def test_items_are_counted_by_age(demo_books: DemoBooks) -> None:
    """Every open item is counted once, in the band of its age."""
    items = list_open_items(demo_books.connection, None)
    ages = count_by_age(items)
    assert len(items) == sum(row.items for row in ages)
    over_60 = [item.kind for item in items if item.age_days > 60]
    assert {kind: over_60.count(kind) for kind in over_60} == {row.kind: row.counts[3] for row in ages if row.counts[3]}


def test_totals_are_compared(demo_books: DemoBooks) -> None:
    """The totals of a month stand beside those of the month before, with what changed."""
    before = period_before(*APRIL)
    statement = report_income(demo_books.connection, Period(*APRIL), before)
    alone = [report_income(demo_books.connection, period).totals for period in (Period(*APRIL), before)]
    compared = compare_totals(statement)
    assert [(getattr(alone[0], row.name), getattr(alone[1], row.name)) for row in compared] == [
        (row.amount, row.compared) for row in compared
    ]
    assert [alone[0].net_income - alone[1].net_income] == [row.change for row in compared if row.name == "net_income"]
