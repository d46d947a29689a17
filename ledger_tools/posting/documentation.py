"""The posting rules in words: the table of the docs, printed from the values that the compiler runs."""

from __future__ import annotations

from ledger_tools.accounts import ROLES_BY_NAME
from ledger_tools.posting.month_end import MONTH_END_RULES
from ledger_tools.posting.rules import RULES, Line

_OWN_ROLES = {"rule": "the account of the user's rule", "reason": "the account of the reason", "decided": "the account"}


def _account(line: Line) -> str:
    role = ROLES_BY_NAME.get(line.role)
    if role is None:
        return _OWN_ROLES[line.role]
    return f"`{role.default.replace('{}', '…')}`"


def posting_table() -> str:
    """Markdown table: each event with its debit and credit lines."""
    rows = ["| event | lines |\n", "|---|---|\n"]
    for rule in RULES:
        lines = []
        for line in rule.lines:
            words = line.words
            side = "Cr" if words.startswith("Cr ") else "Dr"
            lines.append(f"{side} {_account(line)} {words.removeprefix('Cr ')}")
        rows.append(f"| {rule.title} | {'; '.join(lines)} |\n")
    rows += [f"| {rule.title}; reversed on the first of the next month | {rule.words} |\n" for rule in MONTH_END_RULES]
    return "".join(rows)
