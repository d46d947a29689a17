"""What the settings say of sales tax and tax forms: registrations, thresholds, lines of forms.

A build keeps these values with the database, so that every report on it reads the settings that it was built from.
Amounts and percentages are decimal text, amounts in the base currency.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal

from pydantic import AfterValidator, Field

from ledger_tools.accounts import ROLES_BY_NAME, account_name
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import parse_amount
from ledger_tools.setting_types import Day, Number, SettingsTable, shown

Filing = Literal["monthly", "quarterly", "yearly"]
Measure = Literal["gross", "retail", "taxable"]
Window = Literal["calendar-year", "twelve-months", "twelve-months-by-quarter", "four-tax-quarters"]

#: Day of the month after the filing period on which a return is due, where a registration names none.
COMMON_DUE_DAY = 20


def _positive(text: str) -> str:
    if not re.fullmatch(r"[0-9]{1,12}(\.[0-9]{1,4})?", text):
        raise ValueError(f'found {shown(text)}, expected a number that is not negative, such as "2.5"')
    return text


def _percent(text: str) -> str:
    if not re.fullmatch(r"(100|[0-9]{1,2})(\.[0-9]{1,4})?", text):
        raise ValueError(f'found {shown(text)}, expected a percentage such as "2.5"')
    return text


#: Text of a decimal number that is not negative, and of a percentage.
Positive = Annotated[Number, AfterValidator(_positive)]
Percent = Annotated[Number, AfterValidator(_percent)]


class Registration(SettingsTable):
    """A jurisdiction that the shop files sales tax in.

    The allowance is what a jurisdiction lets a seller keep for filing and paying in time; none unless it is set.
    """

    jurisdiction: str = Field(min_length=1, description="as orders name it, such as US-CO")
    filing: Filing = Field(description="how often a return is due")
    since: Day = Field(description="first day of the registration")
    due_day: int = Field(
        COMMON_DUE_DAY, ge=1, le=31, description="day of the month after the filing period by which to file and pay"
    )
    allowance_percent: Percent = Field("0", description="percent of the tax due kept for filing in time")
    allowance_on_first: Positive | None = Field(None, description="only on the first so much of the tax due")
    allowance_cap: Positive | None = Field(None, description="at most so much for one return")
    allowance_floor: Positive | None = Field(None, description="no allowance below this tax due")


class Threshold(SettingsTable):
    """Sales into a jurisdiction from which on a seller without a place there has to register."""

    jurisdiction: str = Field(min_length=1, description="destination: country and region such as US-TX, or a country")
    sales: Positive = Field(description="amount of sales in the base currency")
    reached: Literal["more-than", "at-least"] = Field("more-than", description="whether the amount itself counts")
    transactions: int | None = Field(None, ge=1, description="number of orders that counts, too")
    joined: Literal["and", "or"] = Field("or", description="whether both have to be passed, or one")
    measure: Measure = Field("gross", description="which sales count: gross, retail (not for resale), taxable")
    window: Window = Field("calendar-year", description="the span over which sales are counted")
    effective: Day = Field(description="first day of the rule")
    months_to_start: int = Field(0, ge=0, le=12, description="whole months between crossing and the duty to collect")
    as_of: Day = Field(description="when somebody looked the rule up")
    source: str = Field(min_length=1, description="where it stands")


class TaxSettings(SettingsTable):
    """All of it, with what accounts of sales tax are called."""

    registration: tuple[Registration, ...] = ()
    threshold: tuple[Threshold, ...] = ()
    resale_channels: tuple[str, ...] = ()
    tax_lines: dict[str, str] = Field(default_factory=dict)
    sales_tax_account: str = ROLES_BY_NAME["sales_tax"].default
    names: dict[str, str] = Field(default_factory=dict)

    def account_of(self, jurisdiction: str) -> str:
        """The liability account of a jurisdiction."""
        part = self.names.get(jurisdiction, jurisdiction)
        return account_name(ROLES_BY_NAME["sales_tax"], self.sales_tax_account, part)

    def amount_problems(self, where: str, currency: str) -> list[Problem]:
        """Amounts that are finer than the base currency, each with its key."""
        amounts = [
            (f"{table}.{place}.{name}", getattr(entry, name))
            for table, entries, names in (
                ("registration", self.registration, ("allowance_on_first", "allowance_cap", "allowance_floor")),
                ("threshold", self.threshold, ("sales",)),
            )
            for place, entry in enumerate(entries, start=1)
            for name in names
        ]
        problems = []
        for key, text in amounts:
            try:
                parse_amount(text or "0", currency)
            except LedgerError as trouble:
                problems += [
                    Problem(f"{where}, {key}", f"{problem.where} {problem.what}", f"write it in {currency}")
                    for problem in trouble.problems
                ]
        return problems
