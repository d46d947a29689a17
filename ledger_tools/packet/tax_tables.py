"""Taxes as tables: sales tax by jurisdiction, the returns due, the proof of each liability, receipts and form lines."""

from __future__ import annotations

from ledger_tools.packet.letters import harmless
from ledger_tools.packet.table import Cell, Column, Figure, Formula, Line, Statement, Table, Term
from ledger_tools.reports.gross_receipts import GrossReceipts
from ledger_tools.reports.sales_tax import SalesTaxReport, TaxFigures
from ledger_tools.reports.sales_tax_returns import TaxReturns
from ledger_tools.reports.sales_tax_thresholds import Thresholds
from ledger_tools.reports.sales_tax_tie_out import TieOut
from ledger_tools.reports.tax_forms import FormLines

CAUTION = "What is taxable, due and when is for local rules and a licensed accountant; these are the books' figures."

#: Columns of the sales tax sheet after jurisdiction and registration: heading, and the field of the figures.
_TAX_COLUMNS = (
    ("Gross sales", "gross_sales"),
    ("Taxable sales", "taxable_sales"),
    ("Exempt sales", "exempt_sales"),
    ("Marketplace sales", "marketplace_sales"),
    ("Collected", "collected"),
    ("Refunded", "refunded"),
    ("Due", "due"),
    ("Remitted", "remitted"),
    ("Adjusted", "adjusted"),
    ("Owed", "owed"),
)
#: Place of the column `Owed`.
TAX_OWED = 1 + len(_TAX_COLUMNS)


def _tax_cells(figures: TaxFigures) -> tuple[Cell, ...]:
    return tuple(getattr(figures, field) for _, field in _TAX_COLUMNS)


def sales_tax_table(report: SalesTaxReport) -> Table:
    """Sales and tax by jurisdiction; gross sales are a live sum of their three parts."""
    lines = []
    for place, row in enumerate(report.rows):
        gross: Formula = tuple(Figure("sales-tax", place, column) for column in (3, 4, 5))
        cells = (harmless(row.jurisdiction), "yes" if row.is_registered else "no", *_tax_cells(row.figures))
        lines.append(Line(cells, formulas=((2, gross),)))
    last = len(lines) - 1
    lines.append(Line(("Total", None, *_tax_cells(report.totals)), "total", (Term(0, last),) if last >= 0 else ()))
    columns = (
        Column("Jurisdiction", width=14),
        Column("Registered", width=12),
        *(Column(heading, "money", 13, report.currency) for heading, _ in _TAX_COLUMNS),
    )
    note = f"In {report.currency}. Due is collected less refunded; owed is the liability account at the period's end. {CAUTION}"
    return Table("sales-tax", "Sales tax", columns, tuple(lines), (note,), is_list=True)


def returns_table(report: TaxReturns) -> Table:
    """The returns whose filing periods touch the period, with what was paid of each."""
    base = report.currency
    headings = (
        "Gross sales",
        "Taxable sales",
        "Collected",
        "Refunded",
        "Adjusted",
        "To pay",
        "Allowance",
        "Paid",
        "Open",
    )
    columns = (
        Column("Jurisdiction", width=14),
        Column("Filing", width=11),
        Column("From", "day", 11),
        Column("To", "day", 11),
        Column("Due on", "day", 11),
        *(Column(heading, "money", 13, base) for heading in headings),
        Column("State", width=10),
    )
    lines = tuple(
        Line(
            (
                *(harmless(row.jurisdiction), row.filing, row.period.first, row.period.last, row.due_on),
                *(row.figures.gross_sales, row.figures.taxable_sales, row.figures.collected, row.figures.refunded),
                *(row.adjusted, row.payable, row.allowance, row.paid, row.open, row.state),
            )
        )
        for row in report.returns
    )
    note = f"As of {report.as_of}. Dates are those of the settings; weekends and holidays are not considered. {CAUTION}"
    return Table("tax-returns", "Tax returns", columns, lines, (note,), is_list=True)


def tie_out_table(report: TieOut) -> Table:
    """Each liability account from its opening to its closing balance, against the account itself."""
    base = report.currency
    lines = []
    for place, row in enumerate(report.rows):
        figures = row.figures
        cells = (
            *(row.account, harmless(row.jurisdiction), row.opening, figures.collected, -figures.refunded),
            *(-figures.remitted, figures.adjusted + figures.revalued, row.closing, row.balance, row.difference),
        )
        closing: Formula = tuple(Figure("sales-tax-proof", place, column) for column in range(2, 7))
        lines.append(Line(cells, formulas=((7, closing),)))
    headings = (
        "Owed at the start",
        "Collected",
        "Refunded",
        "Remitted",
        "Adjusted",
        "Owed at the end",
        "Account",
        "Difference",
    )
    columns = (
        Column("Liability account", width=32),
        Column("Jurisdiction", width=14),
        *(Column(heading, "money", 14, base) for heading in headings),
    )
    notes = [f"In {base}; what is owed is positive. The account's balance is summed apart from its movements."]
    for misfit in report.misfits:
        notes.append(
            f"Order {harmless(misfit.order_id)} of {misfit.jurisdiction}: its record and its entries disagree on the tax."
        )
    return Table("sales-tax-proof", "Sales tax proof", columns, tuple(lines), tuple(notes), is_list=True)


def thresholds_table(report: Thresholds) -> Table:
    """How far the sales into each place are toward its threshold for registering."""
    base = report.currency
    columns = (
        Column("Place", width=14),
        Column("Registered", width=12),
        Column("From", "day", 11),
        Column("To", "day", 11),
        Column("Sales that count", "money", 15, base),
        Column("Orders", "count", 9),
        Column("Threshold", "money", 15, base),
        Column("Reached, %", "count", 13),
        Column("Passed on", "day", 11),
        Column("Collect from", "day", 12),
        Column("Rule as of", "day", 11),
        Column("Source of the rule", width=44, wraps=True),
    )
    lines = tuple(
        Line(
            (
                *(harmless(row.jurisdiction), "yes" if row.is_registered else "no", row.window.first, row.window.last),
                *(row.sales, row.transactions, row.limit, row.percent, row.crossed_on, row.collect_from),
                row.threshold.as_of if row.threshold else None,
                harmless(row.threshold.source) if row.threshold else "no threshold is on file",
            )
        )
        for row in report.rows
    )
    note = f"As of {report.as_of}, in {base}. A threshold is as its source had it on the day of the rule; check it. {CAUTION}"
    return Table("tax-thresholds", "Tax thresholds", columns, lines, (note,), is_list=True)


def form_lines_table(report: FormLines) -> Table:
    """Income and cost by line of the tax form, with the accounts that make up each."""
    statement = Statement()
    for line in report.lines:
        first = len(statement.lines) + 1
        terms = (Term(first, first + len(line.accounts) - 1),) if line.accounts else ()
        statement.add((line.line, line.meaning, None, line.amount), "subtotal", terms)
        for account, amount in line.accounts:
            statement.add((None, None, account, amount))
    for account, amount in report.unmapped:
        statement.add(("none", "No line is known; name one under [tax_lines] in shop.toml", account, amount))
    statement.add(("", "Net income of the books", None, report.net_income), "total")
    columns = (
        Column("Line", width=7),
        Column("Meaning", width=52, wraps=True),
        Column("Account", width=34),
        Column("Amount", "money", 16, report.currency),
    )
    note = f"Lines of the {report.form_year} U.S. form for a sole owner's business (Schedule C), for the days of this packet; compare "
    note += f"them with the form of your year. {CAUTION}"
    return Table("tax-form-lines", "Tax-form lines", columns, tuple(statement.lines), (note,))


def receipts_table(report: GrossReceipts) -> Table:
    """Gross receipts by processor and month, and the way from their sum to the revenue."""
    lines = Statement()
    for receipts in report.receipts:
        lines.add((receipts.processor, None, None), "heading")
        first = len(lines.lines)
        for month, amount, count in receipts.months:
            lines.add((f"{month:%Y-%m}", amount, count))
        terms = (Term(first, len(lines.lines) - 1),)
        lines.add((f"Gross receipts, {receipts.processor}", receipts.gross, receipts.transactions), "subtotal", terms)
    lines.add(("From gross receipts to revenue", None, None), "heading")
    first = len(lines.lines)
    for step in report.steps:
        lines.add((step.words.capitalize(), step.amount, None))
    lines.add(("Revenue of the income statement", report.revenue, None), "total", (Term(first, len(lines.lines) - 1),))
    columns = (
        Column("What", width=58),
        Column("Amount", "money", 18, report.currency),
        Column("Payments", "count", 10),
    )
    note = "As processors put it on an information return: what customers were charged, by the processor's own date, before fees "
    note += f"and refunds, with tax and shipping. It is no income and no tax base. {CAUTION}"
    return Table("gross-receipts", "Gross receipts", columns, tuple(lines.lines), (note,))
