"""The close as tables: the steps that were signed off, month-end entries, prior-period entries."""

from __future__ import annotations

from collections.abc import Sequence

from ledger_tools.closed import ClosedMonth, Reopening
from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Column, Line, Table, Term
from ledger_tools.reports.closing_entries import ClosingEntries, ClosingEntry, ClosingPosting

#: Places of the columns of entries whose totals must be equal.
DEBIT_WORTH, CREDIT_WORTH = 10, 11

#: Lines of entries that the PDF shows; whole entries only.
_MOST_ON_PAGES = 30

_MONTH_END_NOTE = (
    "What was paid and not shipped waits on the balance sheet, what was shipped and not charged is accrued, foreign balances "
    "are revalued; each entry is reversed on the first of the next month. Sales tax is never deferred."
)
_PRIOR_PERIOD_NOTE = (
    "What came after its month was closed. A closed month never changes: the difference is posted here, with the day that it "
    "belongs to."
)


def close_steps_table(
    closed: Sequence[ClosedMonth], reopened: Sequence[Reopening], months: Sequence[str], open_months: Sequence[str]
) -> Table:
    """The steps of each of these months' close as they were signed off, and what was opened again and why."""
    lines = [
        Line((month.month, month.closed_on, harmless(month.closed_by), step.step, step.state, harmless(step.detail)))
        for month in closed
        if month.month in months
        for step in month.steps
    ]
    lines += [
        Line((again.month, again.on, harmless(again.by), "opened again", "reopened", harmless(again.reason)))
        for again in reopened
        if again.month in months
    ]
    lines += [Line((month, None, None, None, "open", None)) for month in open_months]
    columns = (
        Column("Month", width=10),
        Column("Closed on", "day", 11),
        Column("Closed by", width=20),
        Column("Step", width=22),
        Column("State", width=10),
        Column("What was found", width=90, wraps=True),
    )
    note = (
        "A waived step names what was left as it is, and why. A month that was opened again stands here with its reason; its "
        "earlier freeze is kept with the books."
    )
    return Table("close", "Close", columns, tuple(lines), (note,), is_list=True)


def _entries_table(name: str, title: str, entries: ClosingEntries, note: str) -> Table:
    base = entries.currency
    columns = (
        Column("Date", "day", 11),
        Column("Entry", width=38),
        Column("Belongs to", "day", 11),
        Column("Order", width=14),
        Column("Source", width=18),
        Column("Event", width=34, wraps=True),
        Column("Account", width=36),
        Column("Debit", "money", 13, currency_in=9),
        Column("Credit", "money", 13, currency_in=9),
        Column("Currency", width=11),
        Column(f"Debit, worth in {base}", "money", 14, base),
        Column(f"Credit, worth in {base}", "money", 14, base),
    )
    lines = [_entry_line(row) for row in entries.rows]
    terms = (Term(0, len(lines) - 1),) if lines else ()
    notes = (note,) if entries.rows else (note, "There is none in this period.")
    total = (None, "Total", *(None,) * 8, entries.debit_worth, entries.credit_worth)
    lines.append(Line(total, "total", terms))
    shown = _weightiest(entries)
    pages = None
    if len(shown) < len(lines):
        told = f"What moves most first, reversals last. Every line stands on the sheet {title} and in csv/{name}.csv."
        pages = Table(name, title, columns, shown, (note, told), is_list=True)
    return Table(name, title, columns, tuple(lines), notes, is_list=True, in_document=pages)


def _entry_line(row: ClosingPosting) -> Line:
    debit, credit = (row.amount, None) if row.amount > 0 else (None, -row.amount)
    worth = row.value or 0
    about = (row.day, row.title, row.belongs_on, None if row.order_id is None else harmless(row.order_id))
    record = (harmless(row.source), harmless(row.event_id), row.account)
    return Line((*about, *record, debit, credit, row.currency, max(worth, 0), max(-worth, 0)))


def _weightiest(entries: ClosingEntries) -> tuple[Line, ...]:
    """The lines of the weightiest entries, what the others come to by kind of entry, and the total of all."""
    lines: list[Line] = []
    others: dict[str, list[ClosingEntry]] = {}
    for entry in entries.by_weight():
        if others or (lines and len(lines) + len(entry.rows) > _MOST_ON_PAGES):
            others.setdefault(entry.title, []).append(entry)
        else:
            lines += map(_entry_line, entry.rows)
    for title, several in others.items():
        count = "1 more entry" if len(several) == 1 else f"{len(several)} more entries"
        worths = (sum(entry.worth for entry in several), sum(entry.credit_worth for entry in several))
        lines.append(Line((None, title, *(None,) * 4, count, *(None,) * 3, *worths)))
    total = (None, "Total", *(None,) * 8, entries.debit_worth, entries.credit_worth)
    return (*lines, Line(total, "total"))


def month_end_table(entries: ClosingEntries) -> Table:
    """Month-end entries and the reversals of the month before."""
    return _entries_table("month-end-entries", "Month-end entries", entries, _MONTH_END_NOTE)


def prior_period_table(entries: ClosingEntries) -> Table:
    """What belongs to months that were closed before it came."""
    return _entries_table("prior-period-entries", "Prior-period entries", entries, _PRIOR_PERIOD_NOTE)
