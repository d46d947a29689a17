"""What the statements are made of, as tables: the general ledger, the orders, and the exports that brought them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Cells, Column, Line, Lines, Statement, Table, Term
from ledger_tools.reports.export_list import ExportFile
from ledger_tools.reports.general_ledger import GeneralLedger, LedgerRow
from ledger_tools.reports.order_figures import Figures
from ledger_tools.reports.order_groups import GroupedReport
from ledger_tools.reports.order_profit import OrderProfit, OrderReport
from ledger_tools.reports.order_proof import ProfitProof

#: Lines that a sheet of the workbook has at most; beyond, it shows sums, and the CSV file every line.
MOST_LINES = 250_000

#: Places of the general ledger's columns that other sheets add up.
LEDGER_ACCOUNT, LEDGER_CURRENCY, LEDGER_DEBIT, LEDGER_CREDIT, LEDGER_VALUE = 0, 1, 8, 9, 11

#: Columns of the order sheet after the order and its day: heading, and the field of the order's figures.
ORDER_COLUMNS = (
    ("Items", "items"),
    ("Discounts", "discounts"),
    ("Shipping charged", "shipping_charged"),
    ("Tips", "tips"),
    ("Returns", "returns"),
    ("Net revenue", "net_revenue"),
    ("Production", "production"),
    ("Shipping cost", "shipping_cost"),
    ("Supplier tax", "supplier_tax"),
    ("Reprints", "reprints"),
    ("Processing fees", "processing_fees"),
    ("Dispute fees", "dispute_fees"),
    ("Chargebacks", "chargebacks"),
    ("Other costs", "other_costs"),
    ("Profit", "profit"),
    ("Margin", "margin"),
    ("Tax collected", "tax_collected"),
)
#: Place of the margin among these.
MARGIN = next(place for place, (_, field) in enumerate(ORDER_COLUMNS) if field == "margin")


def _ledger_lines(rows: Callable[[], Iterable[LedgerRow]]) -> Iterator[Line]:
    for row in rows():
        memo, order, event = (
            None if text is None else harmless(text) for text in (row.memo, row.order_id, row.event_id)
        )
        about = (row.account, row.currency, row.day, row.title, memo, order, row.source, event)
        yield Line((*about, row.debit, row.credit, row.balance, row.value))


def ledger_table(ledger: GeneralLedger, base: str) -> Table:
    """Every posting of the period; by day in the workbook where they are too many."""
    columns = (
        Column("Account", width=36),
        Column("Currency", width=11),
        Column("Date", "day", 11),
        Column("Entry", width=30),
        Column("Memo", width=28),
        Column("Order", width=14),
        Column("Source", width=18),
        Column("Event", width=22),
        *(Column(heading, "money", 14, currency_in=1) for heading in ("Debit", "Credit", "Balance")),
        Column(f"Worth in {base}", "money", 14, base),
    )
    note = (
        "Debits and credits are in the account's own currency; the worth is debit positive. Source and event name the "
    )
    note += "record of the export that brought the entry."
    daily = None
    if ledger.count > MOST_LINES:
        lines = Lines(ledger.count_daily_rows(), lambda: _ledger_lines(ledger.daily_rows))
        told = f"By day, kind and source: {ledger.count} postings are more than a sheet holds. csv/general-ledger.csv has each."
        daily = Table("general-ledger", "General ledger", columns, lines, (told, note), is_list=True)
    lines = Lines(ledger.count, lambda: _ledger_lines(ledger.rows))
    return Table("general-ledger", "General ledger", columns, lines, (note,), is_list=True, in_workbook=daily)


def _figure_cells(figures: Figures) -> Cells:
    return tuple(getattr(figures, field) for _, field in ORDER_COLUMNS)


def _order_cells(order: OrderProfit) -> Cells:
    """An order's line; its margin is blank while the partner's charge is missing, as most of the cost is."""
    figures = list(_figure_cells(order.figures))
    figures[MARGIN] = order.known_margin
    return (harmless(order.order_id), order.placed_on, *figures, " ".join(order.flags))


def _figure_columns(base: str) -> tuple[Column, ...]:
    return tuple(
        Column(heading, "ratio", 9) if field == "margin" else Column(heading, "money", 13, base)
        for heading, field in ORDER_COLUMNS
    )


def orders_table(report: OrderReport, by_month: GroupedReport) -> Table:
    """What each order placed in the period earned; by month in the workbook where they are too many."""
    base = report.currency
    note = "Orders placed in the period, with all that is known of them by its end. Costs, fees, discounts and returns are "
    note += "positive. Tax collected is no part of revenue or profit. While the partner's charge is missing, no margin is shown."
    totals = (*_figure_cells(report.totals), "")
    columns = (
        Column("Order", width=14),
        Column("Placed", "day", 11),
        *_figure_columns(base),
        Column("Flags", width=32, wraps=True),
    )
    short = None
    if len(report.orders) > MOST_LINES:
        months = Statement()
        for group in by_month.groups:
            months.add((group.name, None, *_figure_cells(group.figures), f"{group.orders} orders"))
        months.add(("Total", None, *totals), "total", (Term(0, len(months.lines) - 1),))
        told = f"By month: {len(report.orders)} orders are more than a sheet holds. csv/orders.csv has each."
        short = Table("orders", "Orders", columns, tuple(months.lines), (told, note), is_list=True)
    last = len(report.orders) - 1

    def lines() -> Iterator[Line]:
        for order in report.orders:
            yield Line(_order_cells(order))
        yield Line(("Total", None, *totals), "total", (Term(0, last),) if last >= 0 else ())

    made = Lines(last + 2, lines)
    return Table("orders", "Orders", columns, made, (note,), is_list=True, in_workbook=short)


def order_proof_table(report: OrderReport, proof: ProfitProof) -> Table:
    """From the orders' profit to the net income of the income statement."""
    statement = Statement()
    statement.add(("Profit of the orders placed in the period", report.totals.profit))
    statement.add(("Less: posted in other periods for these orders", -proof.in_other_periods))
    statement.add(("Plus: posted in this period for other orders", proof.of_other_orders))
    for account, amount in report.not_tied:
        statement.add((f"Not tied to an order: {account}", -amount))
    terms = (Term(0, len(statement.lines) - 1),)
    statement.add(("Net income of the period", proof.net_income), "total", terms)
    columns = (Column("What", width=58), Column("Amount", "money", 18, report.currency))
    note = "How the sheet of orders and the income statement say the same. Income is positive, costs are negative."
    return Table("orders-to-income", "Orders to net income", columns, tuple(statement.lines), (note,))


def exports_table(exports: Sequence[ExportFile]) -> Table:
    """The export files that the books are made of."""
    columns = (
        Column("Source", width=20),
        Column("Kind", width=11),
        Column("File", width=34),
        Column("First day", "day", 11),
        Column("Last day", "day", 11),
        *(Column(heading, "count", 10) for heading in ("Rows", "Records", "Skipped", "Amended")),
        Column("Why rows were skipped", width=30, wraps=True),
        Column("SHA-256 of the file", width=66),
    )
    lines = tuple(
        Line(
            (
                *(row.source, row.kind, harmless(row.file), row.first_day, row.last_day),
                *(row.rows, row.records, row.skipped, row.amended, harmless(row.reasons), row.digest),
            )
        )
        for row in exports
    )
    note = "A record is in the file of its source that covers its day. The digest proves that a file is the one that was read."
    return Table("exports", "Exports", columns, lines, (note,), is_list=True)
