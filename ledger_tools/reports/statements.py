"""The financial statements and the functions that make them, in one place for whoever prints or checks them.

Each function takes the database and a period or day, and gives a frozen report whose `as_json` is what the interface
fixes: `report_trial_balance`, `report_income`, `report_balance_sheet`, `report_owner_equity`, `report_cash_flow`.
"""

from __future__ import annotations

from ledger_tools.reports.balance_sheet import (
    CURRENT_EARNINGS,
    RETAINED_EARNINGS,
    BalanceSheet,
    SheetRow,
    report_balance_sheet,
)
from ledger_tools.reports.cash_flow import CashFlow, CashRow, report_cash_flow
from ledger_tools.reports.income_statement import (
    BASES,
    SECTIONS,
    IncomeRow,
    IncomeStatement,
    IncomeTotals,
    report_income,
)
from ledger_tools.reports.owner_equity import OwnerEquity, report_owner_equity
from ledger_tools.reports.trial_balance import TrialBalance, TrialRow, report_trial_balance

__all__ = [
    "BASES",
    "CURRENT_EARNINGS",
    "RETAINED_EARNINGS",
    "SECTIONS",
    "BalanceSheet",
    "CashFlow",
    "CashRow",
    "IncomeRow",
    "IncomeStatement",
    "IncomeTotals",
    "OwnerEquity",
    "SheetRow",
    "TrialBalance",
    "TrialRow",
    "report_balance_sheet",
    "report_cash_flow",
    "report_income",
    "report_owner_equity",
    "report_trial_balance",
]
