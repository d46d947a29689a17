"""A small shop's April for tests of the close: clean books in which one order is paid on the last day and shipped in May."""

from __future__ import annotations

import datetime

from kept_books import Books, Row, bank, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.close import CloseReport, Signature, close_month
from ledger_tools.reports.statements import report_trial_balance

DAY = datetime.date(2031, 5, 5)
WAIVABLE = ("sources", "changes", "open-items", "balances", "cut-off", "recurring")


def close(books: Books, month: str, *waived: str, dry_run: bool = False) -> CloseReport:
    """Close a month on a fixed day, with these steps waived."""
    signature = Signature("R. Vale", DAY, dict.fromkeys(waived, "known"))
    return close_month(books.folder, month, signature, silent, dry_run=dry_run)


def states(report: CloseReport) -> dict[str, str]:
    """State of each step."""
    return {step.step: step.state for step in report.steps}


def balances(books: Books, day: str | None = None) -> dict[str, int]:
    """Trial balance in minor units by account; foreign balances stand under "account currency"."""
    with open_books(books.folder, silent) as connection:
        report = report_trial_balance(connection, datetime.date.fromisoformat(day) if day else None)
    return {
        row.account if row.currency == "USD" else f"{row.account} {row.currency}": row.balance
        for row in report.rows
        if row.balance
    }


def put_april(books: Books, *more: Row) -> None:
    """April: one order shipped in it, one paid on the last day and shipped on the second of May, with tax; `more` wallet rows."""
    books.put(
        orders=[
            order("1", "2031-04-10", "10.80", shipped_at="2031-04-12T09:00:00", unit_price="10.00", tax="0.80",
                  ship_country="US", ship_region="CO"),
            order("2", "2031-04-30", "23.00", shipped_at="2031-05-02T09:00:00", unit_price="20.00", tax="1.00",
                  shipping_charged="2.00", ship_country="US", ship_region="CO"),
        ],
        processor=[
            processor("c1", "charge", "2031-04-10", "10.80", "10.30", fee="0.50", order_ref="1"),
            processor("c2", "charge", "2031-04-30", "23.00", "22.00", fee="1.00", order_ref="2"),
        ],
        wallet=[
            wallet("w0", "top_up", "2031-04-01", "50.00"),
            wallet("w1", "charge", "2031-04-11", "5.00", order_ref="1", sku="MUG", quantity=1, production="3.00", shipping="2.00"),
            wallet("w2", "charge", "2031-04-30", "5.20", order_ref="2", sku="MUG", quantity=1, production="3.00", shipping="2.20"),
            *more,
        ],
        bank=[bank("2031-04-01", "-50.00", "top-up w0"), bank("2031-04-30", "5.00", "interest")],
    )  # fmt: skip


SETTINGS = """
[[bank_rule]]
pattern = "interest"
account = "Income:Interest"

[[stated_balance]]
source = "card-processor"
on = 2031-04-30
amount = "32.30"

[[stated_balance]]
source = "fulfilment-wallet"
on = 2031-04-30
amount = "39.80"

[[stated_balance]]
source = "checking"
on = 2031-04-30
amount = "-45.00"
"""
