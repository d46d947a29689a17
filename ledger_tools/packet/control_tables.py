"""What backs the statements, as tables: reconciliations, open items and what was decided about others."""

from __future__ import annotations

from collections.abc import Sequence

from ledger_tools.open_items import OpenItem
from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Column, Line, Statement, Table, Term
from ledger_tools.reports.reconciliation import Reconciliation
from ledger_tools.reports.waived_items import WaivedItem


def _text(text: str | None) -> str | None:
    return None if text is None else harmless(text)


def reconciliation_table(report: Reconciliation) -> Table:
    """Every control account: stated balance, books, difference and what explains it."""
    columns = (
        Column("Account", width=36),
        Column("Currency", width=9),
        Column("Stated on", "day", 11),
        *(Column(heading, "money", 16, currency_in=1) for heading in ("Stated", "Books", "Difference")),
        Column("Explained by", width=40, wraps=True),
    )
    lines = tuple(
        Line(
            (
                *(row.account, row.currency, row.stated_on, row.stated, row.books, row.difference),
                harmless(", ".join(row.explained_by)),
            )
        )
        for row in report.accounts
    )
    note = "Stated less books, both on the day of the statement. Accounts without a stated balance have none to differ from."
    return Table("reconciliations", "Reconciliations", columns, lines, (note,), is_list=True)


def two_sided_table(report: Reconciliation) -> Table:
    """Both sides of each account that is reconciled from both sides."""
    statement = Statement()
    for bank in report.banks:
        code = bank.currency
        statement.add((bank.account, code, None, None), "heading")
        first = statement.add(("Balance of the statement", code, bank.on, bank.statement))
        for day, name, amount in bank.under_way:
            statement.add((harmless(f"Under way: {name}"), code, day, amount))
        terms = (Term(first, len(statement.lines) - 1),)
        statement.add(("Adjusted balance of the statement", code, None, bank.adjusted_statement), "subtotal", terms)
        first = statement.add(("Balance of the books", code, bank.on, bank.books))
        last = statement.add(("In transit by the books", code, bank.on, bank.in_transit))
        statement.add(
            ("Adjusted balance of the books", code, None, bank.adjusted_books), "subtotal", (Term(first, last),)
        )
    columns = (
        Column("Account and side", width=52),
        Column("Currency", width=9),
        Column("Date", "day", 11),
        Column("Amount", "money", 18, currency_in=1),
    )
    note = "Both sides must come to one adjusted balance."
    return Table("two-sided", "Reconciled from both sides", columns, tuple(statement.lines), (note,))


def open_items_table(items: Sequence[OpenItem]) -> Table:
    """Everything that does not tie out at the period's end."""
    columns = (
        Column("Item", width=10),
        Column("Kind", width=24),
        Column("Date", "day", 11),
        Column("Age, days", "count", 10),
        Column("Amount", "money", 13, currency_in=5),
        Column("Currency", width=9),
        Column("Order", width=14),
        Column("Event", width=22),
        Column("Source", width=18),
        Column("Likely cause", width=44, wraps=True),
        Column("Next step", width=54, wraps=True),
    )
    lines = tuple(
        Line(
            (
                *(item.id, item.kind, item.date, item.age_days, item.amount, item.currency, _text(item.order_id)),
                *(_text(item.event_id), item.source, harmless(item.cause), harmless(item.next_step)),
            )
        )
        for item in items
    )
    note = "What does not tie out, as of the period's end; each may change the figures."
    return Table("open-items", "Open items", columns, lines, (note,), is_list=True)


def waived_items_table(items: Sequence[WaivedItem]) -> Table:
    """Open items that a person has decided about."""
    columns = (
        Column("Item", width=10),
        Column("Kind", width=24),
        Column("Date", "day", 11),
        Column("Decision", width=10),
        Column("Amount", "money", 13, currency_in=5),
        Column("Currency", width=9),
        Column("Order", width=14),
        Column("Event", width=22),
        Column("Source", width=18),
        Column("Matched with, or account", width=36),
        Column("Decided by", width=18),
        Column("Reason", width=50, wraps=True),
    )
    lines = tuple(
        Line(
            (
                *(item.item, item.kind, item.date, item.action, item.amount, item.currency, _text(item.order_id)),
                *(_text(item.event_id), _text(item.source), _text(item.belongs_to), harmless(item.decided_by)),
                harmless(item.reason),
            )
        )
        for item in items
    )
    note = "accept: taken as it is; account: its balance was moved there; match: tied to another record."
    return Table("waived-items", "Waived items", columns, lines, (note,), is_list=True)
