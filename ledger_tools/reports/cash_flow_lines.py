"""Which line of the cash flow a movement of money stands in: rules as values, by the role or name of the other side.

The lines of the report are by the account that a bank line was posted against; what passed through the processors is
by the kind of event and the role of the account that it moved.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ledger_tools.store import quoted

#: Sections in their order, with what people call them.
SECTIONS: Mapping[str, str] = {
    "operating": "Operating activities",
    "investing": "Investing activities",
    "financing": "Financing activities",
    "exchange": "Exchange differences on cash",
    "taken_over": "Taken over at the start of the books",
}

#: An entry by hand whose text begins so (case ignored) takes balances over: what it brings is no flow of the period.
OPENING_TITLE = "opening balance"

#: Accounts that are cash: by role, or by name with all below it.
CASH_ROLES = ("bank",)
CASH_NAMES = ("Assets:Bank", "Assets:Cash")


@dataclass(frozen=True)
class FlowLine:
    """One line of the report: which other side of a bank line stands there.

    Attributes:
        title: what the line is called.
        section: a key of `SECTIONS`.
        roles: of accounts that stand in it.
        names: accounts that do, with all below them.
    """

    title: str
    section: str
    roles: tuple[str, ...] = ()
    names: tuple[str, ...] = ()


#: Lines in the order of the report. A line takes accounts of its roles; of names, the longest that fits decides.
LINES: tuple[FlowLine, ...] = (
    FlowLine(
        "Received from payment processors", "operating", ("payouts_in_transit", "processor", "reserve", "disputed")
    ),
    FlowLine("Received from customers directly", "operating", ("clearing",), ("Income",)),
    FlowLine("Returned to customers directly", "operating", ("returns", "gift_cards")),
    FlowLine("Top-ups of the fulfilment wallet", "operating", ("top_ups_in_transit", "wallet")),
    FlowLine("Transfers to cards, and cheques", "operating", ("transfers_in_transit",)),
    FlowLine("Expenses paid", "operating", (), ("Expenses",)),
    FlowLine("Sales tax remitted", "operating", ("sales_tax", "marketplace_tax")),
    FlowLine("Other income received", "operating", (), ("Income:Other", "Income:Interest")),
    FlowLine("Cards and other debts", "operating", (), ("Liabilities",)),
    FlowLine("Other assets", "operating", (), ("Assets",)),
    FlowLine("Not explained yet", "operating", ("suspense",)),
    FlowLine(
        "Equipment and other lasting things",
        "investing",
        (),
        (
            *("Assets:Equipment", "Assets:FixedAssets", "Assets:Property", "Assets:Vehicles", "Assets:Computers"),
            *("Assets:Software", "Assets:Furniture", "Assets:Investments", "Assets:LoansGiven"),
        ),
    ),
    FlowLine("Put in by the owner", "financing", ("owner_contributions",)),
    FlowLine("Taken out by the owner", "financing", ("owner_draws",)),
    FlowLine(
        "Loans",
        "financing",
        (),
        (
            *("Liabilities:Loan", "Liabilities:Loans", "Liabilities:Mortgage", "Liabilities:NotesPayable"),
            "Liabilities:CreditLine",
        ),
    ),
    FlowLine("Other equity", "financing", (), ("Equity",)),
    FlowLine("Exchange differences", "exchange", ("exchange_differences",)),
    FlowLine("Balances taken over", "taken_over", ("opening_balances",)),
)


def line_of(name: str, role: str) -> FlowLine:
    """The line of an account that money came from or went to."""
    for line in LINES:
        if role in line.roles:
            return line
    fitting = [(len(top), line) for line in LINES for top in line.names if name == top or name.startswith(f"{top}:")]
    return max(fitting, key=lambda pair: pair[0])[1]


@dataclass(frozen=True)
class PassedLine:
    """One line of what passed through the processors: the first that fits an event's rule and an account's role has it."""

    title: str
    roles: tuple[str, ...] = ()
    rules: tuple[str, ...] = ()


PASSED_LINES: tuple[PassedLine, ...] = (
    PassedLine("Customers' payments", ("clearing",), ("charge",)),
    PassedLine("Fees", ("processing_fees", "dispute_fees")),
    PassedLine("Refunded to customers", rules=("refund", "refund_unknown")),
    PassedLine("Payments in dispute", ("disputed", "chargebacks")),
    PassedLine("Tax withheld by marketplaces", ("marketplace_tax",)),
    PassedLine("Paid out to the bank", ("bank",)),
    PassedLine("Adjustments and other"),
)


def passed_title(rule: str, role: str) -> str:
    """The line of what an event of a rule moved on an account of a role, seen from the processors' balances."""
    for line in PASSED_LINES:
        if (not line.roles or role in line.roles) and (not line.rules or rule in line.rules):
            return line.title
    return PASSED_LINES[-1].title


def _below(names: Sequence[str]) -> str:
    """SQL condition: the account is one of these, or below one."""
    return (
        "("
        + " OR ".join(
            f"account.name = {quoted(name)} OR starts_with(account.name, {quoted(name + ':')})" for name in names
        )
        + ")"
    )


#: SQL condition on `account`: it is cash.
IS_CASH = f"(role IN ({', '.join(map(quoted, CASH_ROLES))}) OR {_below(CASH_NAMES)})"

#: SQL condition on `account`: a processor holds it, or it is on its way from there.
IS_HELD = "role IN ('processor', 'reserve', 'payouts_in_transit')"
