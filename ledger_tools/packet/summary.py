"""The first sheet: the period in figures, each linked to the sheet that it is from, and the story in sentences."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ledger_tools.open_items import OpenItem
from ledger_tools.packet.letters import amount_in_words
from ledger_tools.packet.statement_tables import figure_of
from ledger_tools.packet.table import Cell, Column, Figure, Formula, Standing, Statement, Table, Weight
from ledger_tools.packet.tax_tables import TAX_OWED
from ledger_tools.reports.cash_flow import CashFlow
from ledger_tools.reports.order_profit import OrderReport
from ledger_tools.reports.reconciliation_form import Reconciliation
from ledger_tools.reports.sales_tax import SalesTaxReport
from ledger_tools.reports.statements import BalanceSheet, IncomeStatement

_RESULT = (
    ("Revenue", "Total revenue", "revenue"),
    ("Cost of goods sold", "Total cost of goods sold", "cost_of_goods_sold"),
    ("Gross profit", "Gross profit", "gross_profit"),
    ("Operating expenses", "Total operating expenses", "operating_expenses"),
    ("Net income", "Net income", "net_income"),
)


@dataclass(frozen=True)
class Reports:
    """The reports that the summary tells of."""

    income: IncomeStatement
    sheet: BalanceSheet
    cash: CashFlow
    sales_tax: SalesTaxReport
    orders: OrderReport
    reconciliation: Reconciliation
    open_items: Sequence[OpenItem]


def summary_table(
    reports: Reports, tables: Mapping[str, Table], standing: Standing, compared_name: str, broken_checks: int
) -> Table:
    """The period in figures."""
    base = standing.currency
    lines = Statement()
    amounts: tuple[Cell, Cell]

    def link(column: int, figure: Figure) -> tuple[int, Formula]:
        return column, (figure,)

    lines.add(("Result", None, None, None, None), "heading")
    income, before = tables["income-statement"], reports.income.compared_totals
    for name, label, field in _RESULT:
        links = tuple(link(column, figure_of(income, label, column)) for column in (1, 2))
        amounts = (getattr(reports.income.totals, field), getattr(before, field))
        weight: Weight = "total" if field == "net_income" else "plain"
        lines.add((name, *amounts, None, income.title), weight, formulas=links)
    lines.add(("Orders placed in the period", None, None, None, None), "heading")
    profit = figure_of(tables["orders-to-income"], "Profit of the orders placed in the period")
    count = len(reports.orders.orders)
    lines.add(("Their profit", reports.orders.totals.profit, None, count, "Orders"), formulas=(link(1, profit),))
    lines.add((f"Position at the end of {reports.sheet.as_of}", None, None, None, None), "heading")
    sheet, cash, tax = tables["balance-sheet"], tables["cash-flow"], tables["sales-tax"]
    closing = tuple(link(column, figure_of(cash, "Closing cash", column)) for column in (1, 2))
    amounts = (reports.cash.closing, reports.cash.compared_closing)
    lines.add(("Cash", *amounts, None, cash.title), formulas=closing)
    for section in ("assets", "liabilities", "equity"):
        links = tuple(link(column, figure_of(sheet, f"Total {section}", column)) for column in (1, 2))
        totals = (reports.sheet.total(section), reports.sheet.compared_total(section))
        lines.add((section.capitalize(), *totals, None, sheet.title), formulas=links)
    owed = link(1, Figure(tax.name, len(tax.lines) - 1, TAX_OWED))
    lines.add(("Sales tax owed", reports.sales_tax.totals.owed, None, None, tax.title), formulas=(owed,))
    lines.add(("What to look at", None, None, None, None), "heading")
    differing = sum(1 for account in reports.reconciliation.accounts if account.disagrees)
    lines.add(("Months not closed", None, None, len(standing.open_months), "Close"))
    lines.add(("Open items", None, None, len(reports.open_items), "Open items"))
    lines.add(("Accounts that differ from their stated balance", None, None, differing, "Reconciliations"))
    check = (link(3, Figure("check", 0, 5)),)
    lines.add(("Checks that are not zero", None, None, broken_checks, "Check"), formulas=check)
    columns = (
        Column("What", width=46),
        Column(standing.name, "money", 18, base),
        Column(compared_name, "money", 18, base),
        Column("Number", "count", 10),
        Column("Sheet", width=26),
    )
    return Table("summary", "Summary", columns, tuple(lines.lines), (f"Amounts in {base}.",))


def tell_story(reports: Reports, standing: Standing, compared_name: str) -> tuple[str, ...]:
    """What happened, in sentences."""
    base, totals, before = standing.currency, reports.income.totals, reports.income.compared_totals
    assert before is not None

    def money(amount: int) -> str:
        return amount_in_words(amount, base)

    result = "net income" if totals.net_income >= 0 else "net loss"
    sentences = [
        f"{standing.shop} had revenue of {money(totals.revenue)} in {standing.name} ({compared_name}: "
        f"{money(before.revenue)}). Goods cost {money(totals.cost_of_goods_sold)}, other expenses were "
        f"{money(totals.expenses)}, which leaves a {result} of {money(abs(totals.net_income))} ({compared_name}: "
        f"{money(before.net_income)}).",
        f"{len(reports.orders.orders)} orders were placed; by the end of {standing.last_day} they had earned "
        f"{money(reports.orders.totals.profit)}. The sheet of orders leads to the net income line by line.",
        f"Cash went from {money(reports.cash.opening)} to {money(reports.cash.closing)}. Sales tax of "
        f"{money(reports.sales_tax.totals.owed)} is owed and is no income.",
        f"At the end of {standing.last_day} assets were {money(reports.sheet.total('assets'))}, liabilities "
        f"{money(reports.sheet.total('liabilities'))} and equity {money(reports.sheet.total('equity'))}.",
    ]
    stated = [account for account in reports.reconciliation.accounts if account.stated is not None]
    differing = [account for account in stated if account.disagrees]
    which = ", ".join(
        f"{row.account} by {amount_in_words(row.difference or row.remaining, row.currency)}" for row in differing
    )
    if differing:
        sentences.append(
            f"{len(stated) - len(differing)} of {len(stated)} stated balances agree with the books; what differs: {which}."
        )
    elif stated:
        sentences.append(f"All {len(stated)} stated balances agree with the books.")
    if reports.open_items:
        sentences.append(
            f"{len(reports.open_items)} open items may change these figures; the sheet of open items says what settles each."
        )
    if standing.is_draft:
        sentences.append("This is a draft: month-end entries of the open months are not posted yet.")
    return tuple(sentences)
