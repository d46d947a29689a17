"""Cash flow, direct method: where the money in the bank came from and where it went, tied to the bank accounts.

An event that moves cash shares its change of cash over its other accounts: over those of the opposite side, in
proportion, by largest remainder. So opening cash, flows and closing cash tie to the minor unit, always. Amounts are minor
units of the base currency, money received positive.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import format_amount
from ledger_tools.posting.rules import HAND
from ledger_tools.reports.cash_flow_lines import (
    IS_CASH,
    IS_HELD,
    LINES,
    OPENING_TITLE,
    PASSED_LINES,
    SECTIONS,
    FlowLine,
    line_of,
    passed_title,
)
from ledger_tools.reports.comparison import change_percent
from ledger_tools.reports.valued import VALUED_POSTINGS, base_currency

#: The rule in sentences, as the report prints it.
CASH_FLOW_RULE = (
    "Cash is what lies in bank accounts, and accounts below Assets:Cash. Money counts on the day of the bank line.",
    "Payouts are received net of fees and refunds; what passed through the processors stands apart below.",
    "A credit card is a debt, not cash: paying it is an operating payment; loans are financing.",
    "An entry by hand that begins with 'Opening balance' takes balances over and is no flow.",
)


@dataclass(frozen=True)
class CashRow:
    """One line of the cash flow; `accounts` has what it is made of, account by account in the chart's order."""

    title: str
    section: str
    amount: int
    compared: int | None
    accounts: tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class CashFlow:
    """Money received and paid in a period.

    Attributes:
        opening: cash at the end of the day before; `closing` at the end of the period. Both are the sums of the cash
            accounts themselves, not of the flows.
        passed: what moved the balances that processors hold, payouts under way included, beside the bank: title and
            amount, positive where it adds to them.
        held_before: what the processors held at the start; `held_after` at the end.
    """

    period: Period
    currency: str
    rows: tuple[CashRow, ...]
    opening: int
    closing: int
    cash_accounts: tuple[tuple[str, int, int], ...]
    passed: tuple[tuple[str, int], ...]
    held_before: int
    held_after: int
    compared_period: Period | None = None
    compared_opening: int | None = None
    compared_closing: int | None = None

    @property
    def rule(self) -> tuple[str, ...]:
        """What counts as cash and when, in sentences."""
        return CASH_FLOW_RULE

    def total(self, section: str) -> int:
        """Sum of a section."""
        return sum(row.amount for row in self.rows if row.section == section)

    def compared_total(self, section: str) -> int:
        """The same in the period compared with."""
        return sum(row.compared or 0 for row in self.rows if row.section == section)

    @property
    def change(self) -> int:
        """Sum of all flows."""
        return sum(row.amount for row in self.rows)

    @property
    def difference(self) -> int:
        """What the flows leave unexplained of the change of cash; zero."""
        return self.closing - self.opening - self.change

    def as_json(self) -> dict[str, Any]:
        """The report; comparison adds keys of its own."""

        def told(amount: int) -> str:
            return format_amount(amount, self.currency)

        report: dict[str, Any] = {
            "period": self.period.as_json(),
            "currency": self.currency,
            "method": "direct",
            "rule": list(self.rule),
        }
        if self.compared_period is not None:
            report["compared_period"] = self.compared_period.as_json()
        report["rows"] = [self._row_json(row) for row in self.rows]
        report["totals"] = {
            "opening": told(self.opening),
            **{section: told(self.total(section)) for section in SECTIONS},
            "change": told(self.change),
            "closing": told(self.closing),
        }
        if self.compared_opening is not None and self.compared_closing is not None:
            report["compared_totals"] = {
                "opening": told(self.compared_opening),
                **{section: told(self.compared_total(section)) for section in SECTIONS},
                "change": told(sum(row.compared or 0 for row in self.rows)),
                "closing": told(self.compared_closing),
            }
        report["cash_accounts"] = [
            {"account": name, "opening": told(before), "closing": told(after)}
            for name, before, after in self.cash_accounts
        ]
        report["through_processors"] = {
            "opening": told(self.held_before),
            "rows": [{"title": title, "amount": told(amount)} for title, amount in self.passed],
            "closing": told(self.held_after),
        }
        return report

    def _row_json(self, row: CashRow) -> dict[str, Any]:
        told: dict[str, Any] = {
            "section": row.section,
            "title": row.title,
            "amount": format_amount(row.amount, self.currency),
        }
        if row.compared is not None:
            told["compared"] = format_amount(row.compared, self.currency)
            told["change"] = format_amount(row.amount - row.compared, self.currency)
            told["change_percent"] = change_percent(row.amount, row.compared)
        told["accounts"] = [
            {"account": name, "amount": format_amount(amount, self.currency)} for name, amount in row.accounts
        ]
        return told


#: SQL relation (posted_on, account_no, flow): each event's change of cash, shared over its other accounts. An entry that
#: takes balances over stands whole against the account of opening balances.
_SHARED = f"""
    (WITH moved AS (
        SELECT event_no, any_value(valued.posted_on) AS posted_on, sum(value)::HUGEINT AS change,
               any_value(rule = '{HAND}' AND starts_with(lower(coalesce(memo, '')), '{OPENING_TITLE}')) AS is_taken_over
        FROM {VALUED_POSTINGS} AS valued JOIN account USING (account_no) JOIN event USING (event_no) WHERE {IS_CASH}
        GROUP BY event_no HAVING sum(value) <> 0
    ), leg AS (
        SELECT event_no, account_no, sum(value)::HUGEINT AS value
        FROM {VALUED_POSTINGS} AS valued JOIN account USING (account_no) SEMI JOIN moved USING (event_no)
        WHERE NOT {IS_CASH} GROUP BY ALL
    ), quota AS (
        SELECT event_no, moved.posted_on, account_no, change,
               abs(change) * abs(value) // sum(abs(value)) OVER (PARTITION BY event_no) AS share,
               abs(change) * abs(value) % sum(abs(value)) OVER (PARTITION BY event_no) AS rest
        FROM leg JOIN moved USING (event_no) WHERE sign(value) = -sign(change) AND NOT is_taken_over
    )
    SELECT posted_on, account_no, sign(change)::BIGINT * (
               share + CASE WHEN row_number() OVER (PARTITION BY event_no ORDER BY rest DESC, account_no)
                                 <= abs(change) - sum(share) OVER (PARTITION BY event_no) THEN 1 ELSE 0 END)::BIGINT AS flow
    FROM quota
    UNION ALL
    SELECT posted_on, (SELECT account_no FROM account WHERE role = 'opening_balances'), change::BIGINT
    FROM moved WHERE is_taken_over)
"""


_FLOWS = f"""
    SELECT account.name, role, sum(flow)::BIGINT FROM {_SHARED} AS flow JOIN account USING (account_no)
    WHERE ($first IS NULL OR posted_on >= $first) AND ($last IS NULL OR posted_on <= $last)
    GROUP BY account_no, account.name, role HAVING sum(flow) <> 0 ORDER BY account_no
"""


def _flows(connection: duckdb.DuckDBPyConnection, period: Period) -> dict[FlowLine, list[tuple[str, int]]]:
    rows = connection.execute(_FLOWS, {"first": period.first, "last": period.last}).fetchall()
    found: dict[FlowLine, list[tuple[str, int]]] = {}
    for name, role, amount in rows:
        found.setdefault(line_of(name, role), []).append((str(name), int(amount)))
    return found


def _balances(connection: duckdb.DuckDBPyConnection, period: Period, which: str) -> tuple[tuple[str, int, int], ...]:
    """Name of each account of a kind, its worth before the period and at its end."""
    rows = connection.execute(
        f"""SELECT account.name, coalesce(sum(value) FILTER (posted_on < $first), 0)::BIGINT, coalesce(sum(value), 0)::BIGINT
            FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no)
            WHERE {which} AND ($last IS NULL OR posted_on <= $last) GROUP BY account_no, account.name ORDER BY account_no""",
        {"first": period.first, "last": period.last},
    ).fetchall()
    return tuple((str(name), int(before), int(after)) for name, before, after in rows)


_PASSED = f"""
    WITH touched AS (
        SELECT DISTINCT event_no FROM {VALUED_POSTINGS} AS valued JOIN account USING (account_no) WHERE {IS_HELD}
    )
    SELECT rule, role, -sum(value)::BIGINT
    FROM {VALUED_POSTINGS} AS leg JOIN touched USING (event_no) JOIN event USING (event_no) JOIN account USING (account_no)
    WHERE NOT {IS_HELD} AND ($first IS NULL OR leg.posted_on >= $first) AND ($last IS NULL OR leg.posted_on <= $last)
    GROUP BY rule, role ORDER BY rule, role
"""


def _passed(connection: duckdb.DuckDBPyConnection, period: Period) -> tuple[tuple[str, int], ...]:
    found = dict.fromkeys((line.title for line in PASSED_LINES), 0)
    for rule, role, amount in connection.execute(_PASSED, {"first": period.first, "last": period.last}).fetchall():
        found[passed_title(rule, role)] += int(amount)
    return tuple((title, amount) for title, amount in found.items() if amount)


def report_cash_flow(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, compared_period: Period | None = None
) -> CashFlow:
    """Cash flow of a period by the direct method, with the amounts of another period where one is given."""
    now = _flows(connection, period)
    then = _flows(connection, compared_period) if compared_period else {}
    rows = []
    for section in SECTIONS:
        for line in LINES:
            accounts = now.get(line, [])
            if line.section == section and (accounts or line in then):
                compared = sum(amount for _, amount in then.get(line, [])) if compared_period else None
                amount = sum(amount for _, amount in accounts)
                rows.append(CashRow(line.title, section, amount, compared, tuple(accounts)))
    cash = _balances(connection, period, IS_CASH)
    held = _balances(connection, period, IS_HELD)
    before = _balances(connection, compared_period, IS_CASH) if compared_period else ()
    return CashFlow(
        period,
        base_currency(connection),
        tuple(rows),
        sum(opening for _, opening, _ in cash),
        sum(closing for _, _, closing in cash),
        cash,
        _passed(connection, period),
        sum(opening for _, opening, _ in held),
        sum(closing for _, _, closing in held),
        compared_period,
        sum(opening for _, opening, _ in before) if compared_period else None,
        sum(closing for _, _, closing in before) if compared_period else None,
    )
