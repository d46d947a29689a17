"""The statements as tables: trial balance, income statement, balance sheet. Figures are the reports' own."""

from __future__ import annotations

from collections.abc import Sequence

from ledger_tools.money import format_amount
from ledger_tools.packet.table import Cells, Column, Figure, Line, Statement, Table, Term, Weight
from ledger_tools.reports.general_ledger import GeneralLedger
from ledger_tools.reports.monthly_income import IncomeStep, MonthIncome
from ledger_tools.reports.statements import BalanceSheet, IncomeRow, IncomeStatement, SheetRow, TrialBalance
from ledger_tools.reports.valued import Unvalued

_ACCOUNT = Column("Account", width=42)

SHEET_SECTIONS = {"assets": "Assets", "liabilities": "Liabilities", "equity": "Equity"}


def unvalued_notes(unvalued: Sequence[Unvalued], base: str) -> tuple[str, ...]:
    """What the figures in the base currency leave out, in words."""
    return tuple(
        f"{gap.events} event(s) with {gap.currency} are left out: "
        + (
            "the month was closed before their rate was known; their value is posted in the first open month."
            if gap.is_frozen
            else f"no rate from {gap.currency} to {base} is known."
        )
        for gap in unvalued
    )


def trial_balance_table(report: TrialBalance, ledger: GeneralLedger, notes: tuple[str, ...]) -> Table:
    """Every account: what it held before, what moved, what it holds, and its worth in the base currency."""
    base = report.currency
    balances = {(row.account, row.currency): row.balance for row in (*report.rows, *report.empty_rows)}
    statement = Statement()
    for row in ledger.activity:
        key = (row.account, row.currency)
        if key not in balances and not row.postings and not row.opening:
            continue
        worth = row.closing_value
        debit, credit = (worth, None) if worth >= 0 else (None, -worth)
        moved = (row.opening, row.debits, row.credits, balances.get(key, 0))
        statement.add((*key, *moved, debit, credit))
    last = len(statement.lines) - 1
    total = ("Total", None, None, None, None, None, ledger.debit_worth, ledger.credit_worth)
    statement.add(total, "total", (Term(0, last),) if last >= 0 else ())
    columns = (
        _ACCOUNT,
        Column("Currency", width=11),
        *(
            Column(heading, "money", 15, currency_in=1)
            for heading in ("Opening balance", "Debits", "Credits", "Closing balance")
        ),
        Column(f"Debit, worth in {base}", "money", 16, base),
        Column(f"Credit, worth in {base}", "money", 16, base),
    )
    told = ("Balances are debit positive, in the account's own currency.", *notes)
    return Table("trial-balance", "Trial balance", columns, tuple(statement.lines), told)


def income_table(statement: IncomeStatement, name: str, compared_name: str, notes: tuple[str, ...]) -> Table:
    """The income statement in steps, beside the period before."""
    assert statement.compared_totals is not None
    base, totals, before = statement.currency, statement.totals, statement.compared_totals
    lines = Statement()

    def total(label: str, field: str, terms: tuple[Term, ...], weight: Weight = "subtotal") -> int:
        return lines.add((label, getattr(totals, field), getattr(before, field)), weight, terms)

    def section(heading: str, rows: Sequence[IncomeRow], label: str, field: str) -> int:
        lines.add((heading, None, None), "heading")
        for row in rows:
            lines.add((row.account, row.amount, row.compared or 0))
        last = len(lines.lines) - 1
        return total(label, field, (Term(last - len(rows) + 1, last),) if rows else ())

    def rows_of(name: str, *, contra: bool = False) -> list[IncomeRow]:
        return [row for row in statement.rows if row.section == name and row.is_contra == contra]

    gross = section("Revenue", rows_of("revenue"), "Gross sales", "gross_sales")
    contra = rows_of("revenue", contra=True)
    if contra:
        less = section("Less discounts and returns", contra, "Total discounts and returns", "contra_revenue")
        revenue = total("Total revenue", "revenue", (Term(gross, gross), Term(less, less)))
    else:
        revenue = total("Total revenue", "revenue", (Term(gross, gross),))
    goods = section(
        "Cost of goods sold", rows_of("cost_of_goods_sold"), "Total cost of goods sold", "cost_of_goods_sold"
    )
    gross_profit = total("Gross profit", "gross_profit", (Term(revenue, revenue), Term(goods, goods, -1)))
    costs = section("Expenses", rows_of("expenses"), "Total operating expenses", "operating_expenses")
    result = total("Operating income", "operating_income", (Term(gross_profit, gross_profit), Term(costs, costs, -1)))
    terms = [Term(result, result)]
    for place, heading, sign in (("other_income", "Other income", 1), ("other_expenses", "Other expenses", -1)):
        rows = rows_of(place)
        if rows:
            found = section(heading, rows, f"Total {heading.lower()}", place)
            terms.append(Term(found, found, sign))
    total("Net income", "net_income", tuple(terms), "total")
    columns = (_ACCOUNT, Column(name, "money", 18, base), Column(compared_name, "money", 18, base))
    told = (
        f"{statement.basis.capitalize()} basis, in {base}. Discounts and returns are negative.",
        *statement.rule,
        *notes,
    )
    is_cash = statement.basis == "cash"
    sheet = ("income-cash-basis", "Income, cash basis") if is_cash else ("income-statement", "Income statement")
    return Table(*sheet, columns, tuple(lines.lines), told)


def balance_sheet_table(sheet: BalanceSheet, notes: tuple[str, ...]) -> Table:
    """Assets, liabilities and equity, beside the day compared with; foreign balances with what is held of the currency."""
    lines = Statement()
    places = {}
    for section, heading in SHEET_SECTIONS.items():
        rows: Sequence[SheetRow] = getattr(sheet, section)
        told: list[Cells] = []
        for row in rows:
            held = ", ".join(f"{format_amount(amount, code)} {code}" for code, amount in row.held)
            told.append((row.account, row.amount, row.compared or 0, held or None))
        subtotal = (f"Total {heading.lower()}", sheet.total(section), sheet.compared_total(section), None)
        places[section] = lines.add_section((heading, None, None, None), told, subtotal)
    terms = tuple(Term(places[section], places[section]) for section in ("liabilities", "equity"))
    both = (sheet.total("liabilities_and_equity"), sheet.compared_total("liabilities_and_equity"))
    lines.add(("Total liabilities and equity", *both, None), "total", terms)
    columns = (
        _ACCOUNT,
        *(Column(f"On {day}", "money", 18, sheet.currency) for day in (sheet.as_of, sheet.compared_as_of)),
        Column("Held in other currencies", width=32),
    )
    about = (f"In {sheet.currency}. Equity:CurrentEarnings is the net income of the year so far.", *notes)
    return Table("balance-sheet", "Balance sheet", columns, tuple(lines.lines), about)


def months_table(months: Sequence[MonthIncome], base: str) -> Table:
    """The income statement's totals by month."""
    names = ("revenue", "cost_of_goods_sold", "gross_profit", "expenses", "net_income")
    headings = ("Revenue", "Cost of goods sold", "Gross profit", "Expenses", "Net income")
    lines = tuple(Line((month.month, *(getattr(month.totals, name) for name in names))) for month in months)
    columns = (Column("Month", width=12), *(Column(heading, "money", 18, base) for heading in headings))
    return Table("months", "Months", columns, lines, ("Totals of each month's income statement.",), is_list=True)


def steps_table(steps: Sequence[IncomeStep], base: str) -> Table:
    """From revenue to net income, with where each step's mark stands in the chart."""
    lines = tuple(
        Line((step.name, step.amount, step.base_above, step.above, step.base_below, step.below)) for step in steps
    )
    headings = ("Amount", "Chart: begins above", "Chart: above zero", "Chart: begins below", "Chart: below zero")
    columns = (Column("Step", width=28), *(Column(heading, "money", 20, base) for heading in headings))
    note = "Revenue, less each cost, is net income. The columns to the right place the marks of the chart."
    return Table("where-revenue-goes", "Where revenue goes", columns, lines, (note,))


def place_of(table: Table, text: str) -> int:
    """Place of the line whose first cell is that text."""
    return next(place for place, line in enumerate(table.lines) if line.cells[0] == text)


def figure_of(table: Table, text: str, column: int = 1) -> Figure:
    """The figure in a column of the line whose first cell is that text."""
    return Figure(table.name, place_of(table, text), column)
