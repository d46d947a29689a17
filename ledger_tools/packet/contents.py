"""Which sheets the packet has, and which report each is from: every figure is a report's, none is worked out here."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import duckdb

from ledger_tools.calendar import Period
from ledger_tools.closed import ClosedMonth, Reopening
from ledger_tools.open_items import list_open_items
from ledger_tools.packet import close_tables, control_tables, detail_tables, flow_tables, statement_tables, tax_tables
from ledger_tools.packet.proofs import check_table, list_proofs
from ledger_tools.packet.standing import find_standing, list_months
from ledger_tools.packet.summary import Reports, summary_table, tell_story
from ledger_tools.packet.table import Chart, Packet, Series, Table
from ledger_tools.reports.closing_entries import list_month_end_entries, list_prior_period_entries
from ledger_tools.reports.comparison import period_before
from ledger_tools.reports.export_list import list_exports
from ledger_tools.reports.general_ledger import report_general_ledger
from ledger_tools.reports.gross_receipts import report_gross_receipts
from ledger_tools.reports.monthly_income import list_steps, report_months
from ledger_tools.reports.order_groups import group_orders
from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.order_proof import prove_orders
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.sales_tax import report_sales_tax
from ledger_tools.reports.sales_tax_returns import list_returns
from ledger_tools.reports.sales_tax_thresholds import report_thresholds
from ledger_tools.reports.sales_tax_tie_out import tie_out
from ledger_tools.reports.statements import (
    report_balance_sheet,
    report_cash_flow,
    report_income,
    report_owner_equity,
    report_trial_balance,
)
from ledger_tools.reports.tax_forms import report_form_lines
from ledger_tools.reports.valued import list_unvalued
from ledger_tools.reports.waived_items import list_waived_items

#: Sheets, in the order of the workbook; each is made before those that refer to it.
ORDER = (
    *("summary", "trial-balance", "income-statement", "income-cash-basis", "balance-sheet", "cash-flow"),
    *("owners-equity", "general-ledger", "orders", "orders-to-income", "sales-tax", "tax-returns", "sales-tax-proof"),
    *("tax-thresholds", "reconciliations", "two-sided", "control-accounts", "open-items", "waived-items"),
    *("close", "month-end-entries", "prior-period-entries"),
    *("gross-receipts", "tax-form-lines", "months", "where-revenue-goes", "exports", "check"),
)

Progress = Callable[[str], None]


def _charts(tables: dict[str, Table], base: str) -> tuple[Chart, ...]:
    months, steps, tax = tables["months"], tables["where-revenue-goes"], tables["sales-tax-proof"]
    marks = (Series(2, is_base=True), Series(3), Series(4, is_base=True), Series(5))
    return (
        Chart("Revenue and net income by month", "months", 0, (Series(1), Series(5)), base, 0, len(months.lines) - 1),
        Chart("Sales tax owed by jurisdiction", "sales-tax-proof", 1, (Series(7),), base, 0, len(tax.lines) - 1),
        Chart("Where revenue goes", "where-revenue-goes", 0, marks, base, 0, len(steps.lines) - 1, is_stacked=True),
    )


def make_packet(
    connection: duckdb.DuckDBPyConnection,
    period: Period,
    name: str,
    compared_name: Callable[[Period], str],
    progress: Progress,
    closed: Sequence[ClosedMonth] = (),
    reopened: Sequence[Reopening] = (),
) -> Packet:
    """Everything that the packet of a month, quarter or year shows; `name` and `compared_name` say what people call one.

    Raises:
        LedgerError: the books hold nothing of the period.
    """
    standing = find_standing(connection, period, name)
    assert period.first is not None
    assert period.last is not None
    whole = Period(period.first, standing.last_day)
    earlier = period_before(period.first, period.last)
    before = compared_name(earlier)
    base, last = standing.currency, standing.last_day
    months = list_months(standing.first_day, last)
    notes = statement_tables.unvalued_notes(list_unvalued(connection, last), base)
    progress("statements")
    income = report_income(connection, whole, earlier)
    cash = report_cash_flow(connection, whole, earlier)
    sheet = report_balance_sheet(connection, last, earlier.last)
    ledger = report_general_ledger(connection, whole)
    progress("orders")
    orders = report_orders(connection, whole, last)
    reconciliation = report_reconciliation(connection, last)
    tax = report_sales_tax(connection, whole, last)
    reports = Reports(income, sheet, cash, tax, orders, reconciliation, list_open_items(connection, last))
    made = [
        statement_tables.trial_balance_table(report_trial_balance(connection, last), ledger, notes),
        statement_tables.income_table(income, name, before, notes),
        statement_tables.income_table(report_income(connection, whole, earlier, "cash"), name, before, notes),
        statement_tables.balance_sheet_table(sheet, notes),
        statement_tables.months_table(report_months(connection, last), base),
        statement_tables.steps_table(list_steps(income), base),
        flow_tables.cash_flow_table(cash, name, before),
        flow_tables.equity_table(report_owner_equity(connection, whole), name),
        detail_tables.ledger_table(ledger, base),
        detail_tables.orders_table(orders, group_orders(connection, orders, "month")),
        detail_tables.order_proof_table(orders, prove_orders(connection, orders)),
        tax_tables.sales_tax_table(tax),
        tax_tables.returns_table(list_returns(connection, whole, last)),
        tax_tables.thresholds_table(report_thresholds(connection, last)),
        tax_tables.tie_out_table(tie_out(connection, whole, last)),
        tax_tables.form_lines_table(report_form_lines(connection, whole, last)),
        tax_tables.receipts_table(report_gross_receipts(connection, whole)),
        close_tables.close_steps_table(closed, reopened, months, standing.open_months),
        close_tables.month_end_table(list_month_end_entries(connection, whole, base)),
        close_tables.prior_period_table(list_prior_period_entries(connection, whole, base)),
        detail_tables.exports_table(list_exports(connection, last)),
        control_tables.reconciliation_table(reconciliation),
        control_tables.two_sided_table(reconciliation),
        control_tables.controls_table(reconciliation),
        control_tables.open_items_table(reports.open_items),
        control_tables.waived_items_table(list_waived_items(connection, last)),
    ]
    tables = {table.name: table for table in made}
    progress("checks")
    cash_accounts = tuple(account for account, _, _ in cash.cash_accounts)
    tables["check"], broken = check_table(list_proofs(tables, base, months, cash_accounts), tables)
    tables["summary"] = summary_table(reports, tables, standing, before, broken)
    assert set(ORDER) == set(tables), "every sheet that is made has its place"
    story = tell_story(reports, standing, before)
    return Packet(standing, tuple(tables[name] for name in ORDER), _charts(tables, base), story, broken)
