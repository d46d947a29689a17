"""The chart of accounts: each role that an account plays in the books, as a value, and how names are made.

A role is what posting rules speak of ("wallet", "sales"); the name is what stands in the journal. A role with a
parameter has one account for each value of it (a source, a category, a jurisdiction). Any role can be renamed in the
settings. Order of the table = order in `accounts.beancount` and in reports.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from ledger_tools.errors import LedgerError, Problem

#: Profit column of the order report that an account of the role feeds, and the sign that a debit has in it.
PROFIT_COLUMNS = (
    "items",
    "discounts",
    "shipping_charged",
    "tips",
    "returns",
    "production",
    "shipping_cost",
    "supplier_tax",
    "reprints",
    "processing_fees",
    "dispute_fees",
    "chargebacks",
)


@dataclass(frozen=True)
class Role:
    """A part that an account plays.

    Attributes:
        name: the word that rules and settings use.
        default: account name; `{}` stands for the parameter (source, category or jurisdiction).
        means: what the account holds, in words.
        profit_column: the column of the order report that it feeds, if any.
    """

    name: str
    default: str
    means: str
    profit_column: str | None = None

    @property
    def has_parameter(self) -> bool:
        """Whether there is one account for each source, category or jurisdiction."""
        return "{}" in self.default


ROLES: tuple[Role, ...] = (
    Role("bank", "Assets:Bank:{}", "bank account"),
    Role("processor", "Assets:Processor:{}", "balance held by a payment processor"),
    Role("reserve", "Assets:Reserve:{}", "reserve held back by a processor"),
    Role("clearing", "Assets:Clearing:Orders", "orders paid, payment not yet seen (control account, by order)"),
    Role("payouts_in_transit", "Assets:InTransit:Payouts", "payouts under way to the bank"),
    Role("top_ups_in_transit", "Assets:InTransit:TopUps", "wallet top-ups under way"),
    Role(
        "transfers_in_transit",
        "Assets:InTransit:Transfers",
        "transfers between own accounts, cheques and deposits under way",
    ),
    Role("wallet", "Assets:Wallet:{}", "prepaid balance at the fulfilment partner"),
    Role("disputed", "Assets:Disputed", "payments in dispute"),
    Role("prepaid_fulfilment", "Assets:PrepaidFulfilment", "fulfilment paid, not yet shipped (month-end)"),
    Role("recoverable_tax", "Assets:RecoverableTax:{}", "input tax that can be reclaimed"),
    Role("suspense", "Assets:Suspense", "what waits for a person's decision"),
    Role("card", "Liabilities:Card:{}", "credit card"),
    Role("sales_tax", "Liabilities:SalesTax:{}", "sales tax collected, owed"),
    Role("marketplace_tax", "Liabilities:MarketplaceTax", "tax that a marketplace withholds and remits"),
    Role("gift_cards", "Liabilities:GiftCards", "gift cards outstanding"),
    Role("unearned_revenue", "Liabilities:UnearnedRevenue", "orders paid, not yet shipped (month-end)"),
    Role("accrued_fulfilment", "Liabilities:AccruedFulfilment", "shipped, not yet charged (month-end)"),
    Role("opening_balances", "Equity:OpeningBalances", "balances from before the books"),
    Role("owner_contributions", "Equity:OwnerContributions", "money that the owner put in"),
    Role("owner_draws", "Equity:OwnerDraws", "money that the owner took out"),
    Role("sales", "Income:Sales:{}", "sales by category", "items"),
    Role("shipping_income", "Income:Shipping", "shipping charged to customers", "shipping_charged"),
    Role("discounts", "Income:Discounts", "discounts given (contra-revenue)", "discounts"),
    Role("returns", "Income:Returns", "returns and allowances (contra-revenue)", "returns"),
    Role("tips", "Income:Tips", "tips", "tips"),
    Role("production", "Expenses:COGS:Production", "production", "production"),
    Role("shipping_cost", "Expenses:COGS:Shipping", "shipping that the partner charges", "shipping_cost"),
    Role("supplier_tax", "Expenses:COGS:SupplierTax", "tax that the partner charges", "supplier_tax"),
    Role("reprints", "Expenses:COGS:Reprints", "reprints", "reprints"),
    Role("processing_fees", "Expenses:Fees:Processing", "processing fees", "processing_fees"),
    Role("dispute_fees", "Expenses:Fees:Disputes", "dispute fees", "dispute_fees"),
    Role("chargebacks", "Expenses:Chargebacks", "payments lost in disputes", "chargebacks"),
    Role("samples", "Expenses:Samples", "samples"),
    Role("artwork_setup", "Expenses:ArtworkSetup", "artwork set-up"),
    Role("storage", "Expenses:Storage", "storage"),
    Role("subscriptions", "Expenses:Subscriptions", "subscriptions"),
    Role("bank_fees", "Expenses:BankFees", "bank fees"),
    Role("exchange_differences", "Expenses:ExchangeDifferences", "exchange differences"),
    Role("rounding", "Expenses:Rounding", "rounding"),
)

#: Role of income and expense accounts that a person named (by hand, in a rule, in a decision): with an order's link,
#: what is posted there counts in the order's profit.
OWN_RESULT = "own_result"

#: Role of the accounts that hold the tax which the shop collected.
SALES_TAX_ROLE = "sales_tax"

ROLES_BY_NAME: Mapping[str, Role] = {role.name: role for role in ROLES}

#: Where a wallet charge or fee of each reason is posted; the settings can add to it and change it.
REASON_ROLES: Mapping[str, str] = {
    "reprint": "reprints",
    "sample": "samples",
    "artwork_setup": "artwork_setup",
    "storage": "storage",
    "subscription": "subscriptions",
}

#: The reason of a wallet charge that pays for an order's first making.
ORDER_REASON = "order"

ACCOUNT_PATTERN = re.compile(r"(Assets|Liabilities|Equity|Income|Expenses)(:[A-Z0-9][A-Za-z0-9-]*)+\Z")


def account_part(text: str) -> str:
    """One part of an account name from a category or source: split at what is no letter or digit, capitalise, join.

    `Wall art` → `WallArt`, `card-processor` → `CardProcessor`. Letters outside ASCII are kept as beancount allows
    them; a text without any letter or digit gives `Other`.
    """
    words = [word for word in re.split(r"[\W_]+", text) if word]
    joined = "".join(word[0].upper() + word[1:] for word in words)
    if not joined:
        return "Other"
    return joined if joined[0].isupper() or joined[0].isdigit() else f"X{joined}"


def jurisdiction_part(text: str) -> str:
    """One part of an account name from a tax jurisdiction: `US-CO` stays, everything unusual is folded."""
    kept = re.sub(r"[^A-Za-z0-9-]+", "-", text).strip("-")
    if not kept:
        return "Unknown"
    return kept if kept[0].isdigit() or kept[0].isupper() else kept[0].upper() + kept[1:]


PART_MAKERS = {"sales_tax": jurisdiction_part, "recoverable_tax": jurisdiction_part}


def account_name(role: Role, template: str, parameter: str | None) -> str:
    """Name of the account that plays a role, for a parameter where the role has one."""
    if "{}" not in template:
        return template
    part = PART_MAKERS.get(role.name, account_part)(parameter or "")
    return template.replace("{}", part)


def _toml_key(text: str) -> str:
    """A text as a quoted TOML key: as in JSON, but for the one control character that JSON leaves as it is."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def name_accounts(role: Role, template: str, parameters: Iterable[str], renamed: Mapping[str, str]) -> dict[str, str]:
    """Account name of each parameter of a role; `renamed` maps a parameter to the part that it shall have.

    Raises:
        LedgerError: two parameters give the same name, which would mix what must stay apart.
    """
    names: dict[str, str] = {}
    taken: dict[str, str] = {}
    problems = []
    for parameter in sorted(set(parameters)):
        name = account_name(role, template, renamed.get(parameter, parameter))
        if "{}" in template and name in taken:
            problems.append(
                Problem(
                    f"shop.toml, account of {role.name}",
                    f"{taken[name]!r} and {parameter!r} both give {name}",
                    f'name them apart: add a line {_toml_key(parameter)} = "AnotherName" under [names]',
                )
            )
        taken[name] = parameter
        names[parameter] = name
    if problems:
        raise LedgerError(problems)
    return names
