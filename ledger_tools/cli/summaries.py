"""One line about each command, for the help of the group; the whole text is each command's own docstring."""

from __future__ import annotations

SUMMARIES = {
    "demo": "Write a demo shop's books and show what they say.",
    "init": "Start a new set of books.",
    "map": "Propose how an export's columns are to be read.",
    "import": "Archive exports and rebuild the books.",
    "status": "What is covered, what is open, what to do next.",
    "orders": "What each order earned.",
    "open-items": "Everything that does not tie out.",
    "settle": "Record a decision about an open item.",
    "reconcile": "Stated balances against the books.",
    "trial-balance": "Balance of every account.",
    "income-statement": "Revenue, costs and net income of a period.",
    "balance-sheet": "Assets, liabilities and equity on a day.",
    "cash-flow": "Money received and paid in a period.",
    "account": "Every posting of one account.",
    "sales-tax": "Sales and sales tax by jurisdiction, and the returns due.",
    "tax-forms": "Gross receipts by processor, income and cost by line of the form.",
    "packet": "Write the accountant's workbook, PDF, CSV and journal.",
    "view": "The books in the browser, on this machine only.",
    "close": "Close a month: look through the steps, freeze it.",
    "reopen": "Open the last closed month again.",
    "check": "Prove the books: every identity, beancount's verdict.",
}
