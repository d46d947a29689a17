"""What moved in the period, as tables: cash flow by the direct method, and the owner's equity."""

from __future__ import annotations

from ledger_tools.packet.letters import amount_in_words
from ledger_tools.packet.table import Column, Statement, Table, Term
from ledger_tools.reports.cash_flow import CashFlow, CashRow
from ledger_tools.reports.cash_flow_lines import SECTIONS
from ledger_tools.reports.owner_equity import OwnerEquity


def _accounts(row: CashRow, currency: str) -> str | None:
    """The accounts that a line is made of, where it is more than one."""
    told = [f"{name} {amount_in_words(amount, currency)}" for name, amount in row.accounts]
    return "; ".join(told) or None


def cash_flow_table(report: CashFlow, name: str, compared_name: str) -> Table:
    """From opening to closing cash, and what passed through the processors beside it."""
    base = report.currency
    lines = Statement()
    opening = lines.add(("Opening cash", report.opening, report.compared_opening, None), "subtotal")
    sums = []
    for section, heading in SECTIONS.items():
        rows = [row for row in report.rows if row.section == section]
        if rows:
            cells = [(row.title, row.amount, row.compared, _accounts(row, base)) for row in rows]
            subtotal = (f"Net: {heading.lower()}", report.total(section), report.compared_total(section), None)
            sums.append(lines.add_section((heading, None, None, None), cells, subtotal))
    closing = ("Closing cash", report.closing, report.compared_closing, None)
    lines.add(closing, "total", tuple(Term(place, place) for place in (opening, *sums)))
    lines.add(("Passed through the processors", None, None, None), "heading")
    held = lines.add(("Held by processors and under way at the start", report.held_before, None, None))
    for title, amount in report.passed:
        lines.add((title, amount, None, None))
    terms = (Term(held, len(lines.lines) - 1),)
    lines.add(("Held by processors and under way at the end", report.held_after, None, None), "subtotal", terms)
    columns = (
        Column("Line", width=46),
        Column(name, "money", 18, base),
        Column(compared_name, "money", 18, base),
        Column("Accounts", width=60, wraps=True),
    )
    notes = (f"Direct method, in {base}. {' '.join(report.rule)}",)
    return Table("cash-flow", "Cash flow", columns, tuple(lines.lines), notes)


def equity_table(report: OwnerEquity, name: str) -> Table:
    """From the owner's equity at the start to that at the end."""
    lines = Statement()
    lines.add(("Equity at the start", report.opening))
    lines.add(("Net income", report.net_income))
    lines.add(("Put in by the owner", report.contributions))
    lines.add(("Taken out by the owner", report.draws))
    for account, amount in report.other:
        lines.add((account, amount))
    lines.add(("Equity at the end", report.closing), "total", (Term(0, len(lines.lines) - 1),))
    columns = (Column("What", width=46), Column(name, "money", 18, report.currency))
    return Table("owners-equity", "Owner's equity", columns, tuple(lines.lines), (f"In {report.currency}.",))
