"""What backs the statements, as tables: reconciliations, open items and what was decided about others."""

from __future__ import annotations

from collections.abc import Sequence

from ledger_tools.open_items import OpenItem
from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Column, Line, Statement, Table, Term
from ledger_tools.reports.reconciliation_form import Reconciliation
from ledger_tools.reports.waived_items import WaivedItem


def _text(text: str | None) -> str | None:
    return None if text is None else harmless(text)


def reconciliation_table(report: Reconciliation) -> Table:
    """Every control account: stated balance, books, difference and what explains it."""
    columns = (
        Column("Account", width=36),
        Column("Currency", width=11),
        Column("Stated on", "day", 11),
        *(Column(heading, "money", 16, currency_in=1) for heading in ("Stated", "Books", "Difference")),
        Column("Explained by", width=40, wraps=True),
        Column("What makes it up", width=54, wraps=True),
    )
    lines = tuple(
        Line(
            (
                *(row.account, row.currency, row.stated_on, row.stated, row.books, row.difference),
                harmless(", ".join(row.explained_by)),
                harmless("; ".join(f"{part.kind}: {part.what}" for part in row.explanations)),
            )
        )
        for row in report.accounts
    )
    note = "Stated less books, both on the day of the statement. Accounts without a stated balance have none to differ from."
    return Table("reconciliations", "Reconciliations", columns, lines, (note,), is_list=True)


def two_sided_table(report: Reconciliation) -> Table:
    """Both sides of each account whose balance somebody else states."""
    statement = Statement()
    for sides in report.sides:
        code = sides.currency
        statement.add((f"{sides.account}, {sides.kind}", code, None, None, None, None), "heading")
        parts = (
            ("statement", sides.statement, sides.statement_lines, sides.adjusted_statement),
            ("books", sides.books, sides.book_lines, sides.adjusted_books),
        )
        ends = []
        for side, balance, lines, adjusted in parts:
            first = statement.add((f"Balance by the {side}", code, sides.on, None, balance, None))
            for line in lines:
                name = harmless(f"{line.heading}: {line.name}")
                statement.add((name, code, line.day, line.age_days, line.amount, harmless(line.what)))
            last = len(statement.lines) - 1
            label = f"Adjusted balance by the {side}"
            ends.append(statement.add((label, code, None, None, adjusted, None), "subtotal", (Term(first, last),)))
        terms = (Term(ends[0], ends[0]), Term(ends[1], ends[1], -1))
        statement.add(("Difference that remains", code, None, None, sides.remaining, None), "total", terms)
    columns = (
        Column("Account and side", width=52),
        Column("Currency", width=11),
        Column("Date", "day", 11),
        Column("Age, days", "count", 9),
        Column("Amount", "money", 16, currency_in=1),
        Column("Remark", width=50, wraps=True),
    )
    note = "Both sides must come to one adjusted balance. A card or a loan is negative where it is owed."
    return Table("two-sided", "Reconciled from both sides", columns, tuple(statement.lines), (note,))


def controls_table(report: Reconciliation) -> Table:
    """What each control account is the sum of: orders in clearing, movements under way, suspense."""
    statement = Statement()
    for control in report.controls:
        code = control.currency
        statement.add((control.account, code, None, None, None, None, None), "heading")
        for item in control.items:
            about = (harmless(item.name), code, item.day, item.age_days, item.amount)
            statement.add((*about, _text(item.order_id), harmless(item.what)))
        last = len(statement.lines) - 1
        terms = (Term(last - len(control.items) + 1, last),) if control.items else ()
        label = f"Balance of {control.account}"
        statement.add((label, code, None, None, control.balance, None, None), "subtotal", terms)
    columns = (
        Column("Account and item", width=46),
        Column("Currency", width=11),
        Column("Since", "day", 11),
        Column("Age, days", "count", 9),
        Column("Amount", "money", 16, currency_in=1),
        Column("Order", width=14),
        Column("What it is", width=44, wraps=True),
    )
    note = "The subsidiary ledger of each control account: its items sum to its balance."
    return Table("control-accounts", "Control accounts", columns, tuple(statement.lines), (note,))


def open_items_table(items: Sequence[OpenItem]) -> Table:
    """Everything that does not tie out at the period's end."""
    columns = (
        Column("Item", width=10),
        Column("Kind", width=24),
        Column("Date", "day", 11),
        Column("Age, days", "count", 10),
        Column("Amount", "money", 13, currency_in=5),
        Column("Currency", width=11),
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
        Column("Currency", width=11),
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
