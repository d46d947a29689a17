"""Income and cost by line of the U.S. form for a sole owner's business (Schedule C), tied to the net income.

Amounts are minor units of the base currency, each with the sign that its line has on the form: receipts and income positive
as credits; returns, costs and expenses positive as debits. Which line an account belongs to comes from `[tax_lines]` in the
settings, else from its role and the table that ships with the program; an account that neither knows is listed as not
mapped. The lines are those of one year's form, which is told; whether an amount may be entered there is not.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import SETTINGS_FILE
from ledger_tools.money import format_amount
from ledger_tools.reports.sales_tax_entries import last_day, tax_settings
from ledger_tools.reports.statements import report_income
from ledger_tools.reports.tax_data import table_rows
from ledger_tools.reports.valued import base_currency

#: Lines that the form computes: line → lines that are added, with the sign of each. In the order in which they build up.
_COMPUTED: Mapping[str, tuple[tuple[str, int], ...]] = {
    "3": (("1", 1), ("2", -1)),
    "40": (("35", 1), ("36", 1), ("37", 1), ("38", 1), ("39", 1)),
    "42": (("40", 1), ("41", -1)),
    "4": (("42", 1),),
    "5": (("3", 1), ("4", -1)),
    "7": (("5", 1), ("6", 1)),
}
#: Sides of the form whose amounts are credits.
_CREDITED = frozenset({"income", "stock"})


@dataclass(frozen=True)
class FormLine:
    """One line with its amount and the accounts that make it up, each with its share; computed lines have none."""

    line: str
    meaning: str
    side: str
    amount: int
    accounts: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class FormLines:
    """The form's lines that have an amount or are computed, in its order.

    Attributes:
        form_year: the year of the form whose lines these are.
        unmapped: accounts that no line is known for, with what they add to the net income.
        net_income: of the income statement, computed apart.
    """

    period: Period
    currency: str
    form_year: int
    lines: tuple[FormLine, ...]
    unmapped: tuple[tuple[str, int], ...]
    net_income: int

    def amount_of(self, line: str) -> int:
        """Amount of a line; zero where it has none."""
        return next((each.amount for each in self.lines if each.line == line), 0)

    @property
    def expenses(self) -> int:
        """Sum of the expense lines."""
        return sum(each.amount for each in self.lines if each.side == "cost")

    @property
    def difference(self) -> int:
        """Net income less what gross income, expenses and accounts that are not mapped come to; zero when all is well."""
        return self.net_income - (self.amount_of("7") - self.expenses + sum(amount for _, amount in self.unmapped))

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""

        def text(amount: int) -> str:
            return format_amount(amount, self.currency)

        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "form_year": self.form_year,
            "lines": [
                {
                    "line": each.line,
                    "meaning": each.meaning,
                    "amount": text(each.amount),
                    "accounts": {name: text(amount) for name, amount in each.accounts},
                }
                for each in self.lines
            ],
            "unmapped": {name: text(amount) for name, amount in self.unmapped},
            "totals": {
                "gross_income": text(self.amount_of("7")),
                "expenses": text(self.expenses),
                "unmapped": text(sum(amount for _, amount in self.unmapped)),
                "net_income": text(self.net_income),
                "difference": text(self.difference),
            },
        }


def report_form_lines(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> FormLines:
    """Every income and expense account of a period by line of the form.

    Raises:
        LedgerError: `[tax_lines]` names a line that the form does not have or computes itself.
    """
    last = last_day(period, as_of)
    rows = form_rows(last.year if last else None)
    statement = report_income(connection, Period(period.first, last))
    line_of = _lines_of_accounts(connection, {row["line"]: row["side"] for row in rows})
    earned = [(row.account, row.amount if row.section == "revenue" else -row.amount) for row in statement.rows]
    by_line: dict[str, list[tuple[str, int]]] = {}
    unmapped = []
    for account, amount in earned:
        line = line_of.get(account)
        if line is None:
            unmapped.append((account, amount))
        else:
            by_line.setdefault(line, []).append((account, amount))
    sums: dict[str, int] = {}
    shares: dict[str, tuple[tuple[str, int], ...]] = {}
    for row in rows:
        sign = 1 if row["side"] in _CREDITED else -1
        shares[row["line"]] = tuple((name, sign * amount) for name, amount in by_line.get(row["line"], []))
        sums[row["line"]] = sum(amount for _, amount in shares[row["line"]])
    for line, parts in _COMPUTED.items():
        sums[line] = sum(sign * sums[part] for part, sign in parts)
    lines = tuple(
        FormLine(row["line"], row["meaning"], row["side"], sums[row["line"]], shares[row["line"]])
        for row in rows
        if row["side"] == "computed" or shares[row["line"]]
    )
    return FormLines(
        period, base_currency(connection), int(rows[0]["year"]), lines, tuple(unmapped), statement.totals.net_income
    )


def form_rows(year: int | None) -> tuple[dict[str, str], ...]:
    """Lines of the latest form on file that is not later than a year; of the earliest where all are later."""
    rows = table_rows("schedule_c_lines.csv")
    years = sorted({int(row["year"]) for row in rows})
    chosen = max((each for each in years if year is None or each <= year), default=years[0])
    return tuple(row for row in rows if int(row["year"]) == chosen)


def _lines_of_accounts(connection: duckdb.DuckDBPyConnection, sides: Mapping[str, str]) -> dict[str, str]:
    """Line of each account: the settings' word for it or for the nearest account above it, else its role's."""
    named = tax_settings(connection).tax_lines
    problems = [
        Problem(
            f"{SETTINGS_FILE}, tax_lines.{account}",
            f"line {line!r} is not one that an account can stand on",
            f"name one of {', '.join(each for each, side in sides.items() if side != 'computed')}",
        )
        for account, line in named.items()
        if sides.get(line, "computed") == "computed"
    ]
    if problems:
        raise LedgerError(problems)
    usual = {row["role"]: row["line"] for row in table_rows("schedule_c_roles.csv")}
    found: dict[str, str] = {}
    for account, role in connection.execute("SELECT name, role FROM account").fetchall():
        above = [name for name in named if account == name or account.startswith(f"{name}:")]
        line = named[max(above, key=len)] if above else usual.get(role)
        if line is not None:
            found[account] = line
    return found
