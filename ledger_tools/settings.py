"""What the shop is: `shop.toml` as one frozen value, checked as a whole before anything runs.

Every key that a person can set stands here with its meaning; every problem of a file is reported at once, with its
key. Amounts and rates are kept as the decimal text that they were written as; whoever needs one parses it exactly.
"""

from __future__ import annotations

import re
import shlex
import tomllib
import zoneinfo
from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from ledger_tools.accounts import ACCOUNT_PATTERN, ROLES, ROLES_BY_NAME
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import SETTINGS_FILE
from ledger_tools.money import currencies_by_digits, format_amount, parse_amount
from ledger_tools.rate_card import RateCard
from ledger_tools.setting_types import Day, Number, SettingsTable, shown
from ledger_tools.tax_settings import Registration, TaxSettings, Threshold

KindOfExport = Literal["orders", "processor", "wallet", "bank"]

#: Digits that a rate may have, in all and before its point, and an amount in minor units: products of them stay within
#: the 128 bits that values are computed in.
RATE_DIGITS, RATE_WHOLE_DIGITS = 12, 6
AMOUNT_DIGITS = 15
#: Days of grace; ten years are no grace any more.
LONGEST_GRACE = 3_650


def _currency(code: str) -> str:
    if code not in currencies_by_digits():
        raise ValueError(f"{code!r} is not an ISO 4217 currency code such as USD")
    return code


def _account(name: str) -> str:
    if not ACCOUNT_PATTERN.match(name):
        raise ValueError(f"{name!r} is not an account name such as Expenses:BankFees")
    return name


def _pattern(text: str) -> str:
    try:
        re.compile(text)
    except (re.error, RecursionError, OverflowError) as trouble:
        raise ValueError(f"{text!r} is not a regular expression: {trouble}") from None
    return text


CurrencyCode = Annotated[str, AfterValidator(_currency)]


class Source(SettingsTable):
    """A place that exports come from."""

    name: str = Field(
        pattern=r"^[a-z0-9][a-z0-9-]{0,63}$",
        description="short name; the folder under exports/ and the mapping's file name",
    )
    kind: KindOfExport = Field(description="orders, processor, wallet or bank")
    currency: CurrencyCode = Field(description="currency of amounts where a row names none")
    account_id: str | None = Field(None, description="bank: the account number that its statements carry")
    card: bool = Field(False, description="bank: a credit card, whose balance is what is owed")
    payout_pattern: str | None = Field(
        None, description="bank: regular expression on memo and counterparty of incoming payouts"
    )
    recoverable_tax: str | None = Field(None, description="wallet: jurisdiction that gives the partner's tax back")

    @model_validator(mode="after")
    def _check_card(self) -> Source:
        if self.card and self.kind != "bank":
            raise ValueError(f"only a source of the kind bank can be a card, {self.name!r} is of the kind {self.kind}")
        return self

    @property
    def role(self) -> str:
        """The role of the account whose balance the exports tell of."""
        return "card" if self.card else self.kind

    @field_validator("payout_pattern")
    @classmethod
    def _check_pattern(cls, text: str | None) -> str | None:
        return text if text is None else _pattern(text)


class BankRule(SettingsTable):
    """What a bank line or a processor's adjustment is, known by its text."""

    pattern: str = Field(description="regular expression on memo and counterparty, case ignored")
    account: str = Field(description="account of the other side")
    source: str | None = Field(None, description="only lines of this source")

    _check_pattern = field_validator("pattern")(_pattern)
    _check_account = field_validator("account")(_account)


class StatedBalance(SettingsTable):
    """A balance that somebody stated for the end of a day."""

    source: str = Field(description="whose balance")
    on: Day = Field(description="the day at whose end it held")
    amount: Number = Field(description='the balance, as text such as "1204.50"; of a card what is owed')
    currency: CurrencyCode | None = Field(None, description="where it isn't the source's")


class Rate(SettingsTable):
    """An exchange rate that the shop states: base currency for one unit of the foreign one."""

    currency: CurrencyCode = Field(description="the foreign currency")
    on: Day = Field(description="the first day that it holds for")
    rate: Number = Field(description='base units for one foreign unit, as text such as "1.0842"')

    @field_validator("rate")
    @classmethod
    def _check_rate(cls, number: str) -> str:
        digits = re.fullmatch(r"0*([0-9]*)(?:\.([0-9]+?)0*)?", number)
        if digits is None or not re.search("[1-9]", number):
            raise ValueError(f'found {shown(number)}, expected a positive number such as "1.0842"')
        whole, fraction = digits[1], digits[2] or ""
        if len(whole) > RATE_WHOLE_DIGITS or len(whole + fraction) > RATE_DIGITS:
            expected = f"at most {RATE_DIGITS} digits, {RATE_WHOLE_DIGITS} of them before the point"
            raise ValueError(f"found {shown(number)}, expected {expected}")
        return f"{whole or '0'}.{fraction or '0'}"


class Recurring(SettingsTable):
    """An account that each month has an entry for (rent, depreciation …); the close looks for it."""

    account: str = Field(description="account that is posted to every month")
    since: Day | None = Field(None, description="first month that needs it, by any of its days; else every month")

    _check_account = field_validator("account")(_account)


class Grace(SettingsTable):
    """Days that a thing may take before it is an open item."""

    payment: int = Field(2, ge=0, le=LONGEST_GRACE, description="order to payment")
    fulfilment: int = Field(5, ge=0, le=LONGEST_GRACE, description="order to fulfilment charge")
    payout: int = Field(7, ge=0, le=LONGEST_GRACE, description="payout to bank")
    top_up: int = Field(5, ge=0, le=LONGEST_GRACE, description="top-up to bank line")


class Matching(SettingsTable):
    """How far apart two records may be that are still matched."""

    exchange_percent: Number = Field(
        "3", description="how far, in percent, a bank line may be from what a foreign payout or top-up is worth"
    )

    @field_validator("exchange_percent")
    @classmethod
    def _check_percent(cls, number: str) -> str:
        if not re.fullmatch(r"[0-9](?:[0-9])?(?:\.[0-9]{1,2})?", number):
            raise ValueError(f'found {shown(number)}, expected a percentage from 0 to 99.99 such as "3" or "1.25"')
        return number

    @property
    def tolerance_basis_points(self) -> int:
        """The same in hundredths of a percent."""
        return int(Decimal(self.exchange_percent) * 100)


class ShopSettings(SettingsTable):
    """Everything that `shop.toml` can hold."""

    detail: Literal["order", "day"] = Field("order", description="one journal entry an event, or one a day and kind")
    name: str = Field("My shop", min_length=1, description="title of the books")
    currency: CurrencyCode = Field(description="base currency of the books")
    time_zone: str = Field(description="IANA zone whose calendar dates the books use")
    gift_card_categories: tuple[str, ...] = Field(
        ("gift card",), strict=False, description="categories that are gift cards, case ignored"
    )
    source: tuple[Source, ...] = Field((), strict=False, description="where exports come from")
    accounts: dict[str, str] = Field(
        default_factory=dict, description="role = account name, to rename a role's account"
    )
    names: dict[str, str] = Field(
        default_factory=dict, description="category or source = the part it has in account names"
    )
    reasons: dict[str, str] = Field(default_factory=dict, description="reason of a wallet charge = account")
    bank_rule: tuple[BankRule, ...] = Field((), strict=False, description="what bank lines are")
    registration: tuple[Registration, ...] = Field((), strict=False, description="where sales tax is filed")
    threshold: tuple[Threshold, ...] = Field(
        (), strict=False, description="registration thresholds, before those on file"
    )
    resale_channels: tuple[str, ...] = Field((), strict=False, description="channels whose orders are sales for resale")
    tax_lines: dict[str, str] = Field(default_factory=dict, description="account = line of the income-tax form")
    stated_balance: tuple[StatedBalance, ...] = Field((), strict=False, description="balances stated by hand")
    rate: tuple[Rate, ...] = Field((), strict=False, description="exchange rates stated by hand")
    matching: Matching = Field(default_factory=lambda: Matching(), description="what is close enough to be matched")
    recognise: Literal["shipped", "placed"] | None = Field(
        None, description="when an order's income is earned; else shipped where any source gives shipping dates"
    )
    recurring: tuple[Recurring, ...] = Field((), strict=False, description="what a person enters every month")
    rate_card: RateCard | None = Field(None, description="what the fulfilment partner charges by its price list")
    grace: Grace = Field(default_factory=lambda: Grace(), description="days before something is late")

    @field_validator("time_zone")
    @classmethod
    def _check_zone(cls, name: str) -> str:
        try:
            zoneinfo.ZoneInfo(name)
        except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
            raise ValueError(f"{name!r} is not an IANA time zone such as America/Denver") from None
        return name

    @field_validator("accounts")
    @classmethod
    def _check_roles(cls, accounts: dict[str, str]) -> dict[str, str]:
        for role, name in accounts.items():
            if role not in ROLES_BY_NAME:
                raise ValueError(f"{role!r} is not a role; roles are {', '.join(ROLES_BY_NAME)}")
            if ROLES_BY_NAME[role].has_parameter != ("{}" in name):
                need = "needs" if ROLES_BY_NAME[role].has_parameter else "can't have"
                raise ValueError(f"the account of {role} {need} {{}} in its name, found {name!r}")
            _account(name.replace("{}", "X"))
        templates = {role.name: accounts.get(role.name, role.default) for role in ROLES}
        for role in accounts:
            twin = next((other for other, name in templates.items() if name == templates[role] and other != role), None)
            if twin:
                raise ValueError(f"{role} and {twin} would share {templates[role]}; each role needs its own account")
        return accounts

    @field_validator("tax_lines")
    @classmethod
    def _check_tax_lines(cls, lines: dict[str, str]) -> dict[str, str]:
        for name in lines:
            _account(name)
        return lines

    @field_validator("reasons")
    @classmethod
    def _check_reasons(cls, reasons: dict[str, str]) -> dict[str, str]:
        for name in reasons.values():
            _account(name)
        return reasons

    @model_validator(mode="after")
    def _check_sources(self) -> ShopSettings:
        names = [source.name for source in self.source]
        doubled = sorted({name for name in names if names.count(name) > 1})
        if doubled:
            raise ValueError(f"source {doubled[0]!r} is declared twice")
        used = [rule.source for rule in self.bank_rule] + [stated.source for stated in self.stated_balance]
        for name in used:
            if name is not None and name not in names:
                raise ValueError(f"source {name!r} is not declared; declared are {', '.join(names) or 'none'}")
        return self

    def source_named(self, name: str) -> Source:
        """The declared source of a name.

        Raises:
            LedgerError: it is not declared.
        """
        for source in self.source:
            if source.name == name:
                return source
        declared = ", ".join(source.name for source in self.source) or "none"
        raise LedgerError(
            Problem(
                SETTINGS_FILE,
                f"source {name!r} is not declared; declared are {declared}",
                f'add [[source]] with name = "{name}", kind and currency',
            )
        )

    def tax_settings(self) -> TaxSettings:
        """What they say of sales tax and tax forms."""
        return TaxSettings(
            registration=self.registration,
            threshold=self.threshold,
            resale_channels=self.resale_channels,
            tax_lines=self.tax_lines,
            sales_tax_account=self.template_of("sales_tax"),
            names=self.names,
        )

    def template_of(self, role: str) -> str:
        """Account name of a role, with `{}` for its parameter where it has one."""
        return self.accounts.get(role, ROLES_BY_NAME[role].default)


def parse_settings(text: str, where: str = SETTINGS_FILE) -> ShopSettings:
    """Settings from TOML text.

    Raises:
        LedgerError: all problems of the text, each with its key.
    """
    try:
        raw = tomllib.loads(text, parse_float=Decimal)
    except (ValueError, RecursionError) as trouble:  # a number of thousands of digits, too, and endless brackets
        raise LedgerError(Problem(where, f"is not valid TOML: {trouble}", "mend the line that it names")) from None
    try:
        settings = ShopSettings.model_validate(raw)
    except ValidationError as trouble:
        problems = []
        for error in trouble.errors(include_url=False):
            key = ".".join(str(part + 1) if isinstance(part, int) else part for part in error["loc"]) or "the settings"
            problems.append(Problem(f"{where}, {key}", told_plainly(error)))
        raise LedgerError(problems) from None
    problems = _balance_problems(settings, where)
    if settings.rate_card is not None:
        problems += settings.rate_card.amount_problems(where, settings.currency)
    problems += settings.tax_settings().amount_problems(where, settings.currency)
    if problems:
        raise LedgerError(problems)
    return settings


#: What is said of each way in which a value can be wrong; `{found}` is what stands there, other names are pydantic's.
_TOLD = {
    "missing": "is missing",
    "extra_forbidden": "is not a setting (found {found})",
    "literal_error": "found {found}, expected {expected}",
    "string_type": "found {found}, expected a text in quotes",
    "string_too_short": "is empty, expected a text",
    "string_pattern_mismatch": (
        "found {found}, expected at most 64 small letters, digits and hyphens, such as card-processor"
    ),
    "int_type": "found {found}, expected a whole number without quotes",
    "greater_than_equal": "found {found}, expected at least {ge}",
    "less_than_equal": "found {found}, expected at most {le}",
    "date_type": "found {found}, expected a date such as 2031-04-30",
    "tuple_type": "found {found}, expected a list; a table that can stand several times has double brackets, [[…]]",
    "dict_type": "found {found}, expected a table, [{key}]",
    "model_type": "found {found}, expected a table of its own keys",
}


def told_plainly(error: Mapping[str, Any]) -> str:
    """What is wrong with a value, in a sentence of our own."""
    kind = error["type"]
    if kind == "value_error":
        return str(error["msg"]).removeprefix("Value error, ")
    key = error["loc"][-1] if error["loc"] else ""
    words = {"found": shown(error["input"]), "key": key, **error.get("ctx", {})}
    return _TOLD.get(kind, f"found {{found}}, which is refused ({kind})").format_map(words)


def _balance_problems(settings: ShopSettings, where: str) -> list[Problem]:
    """Stated balances that are no amount of their currency; only the settings as a whole know the source's."""
    problems = []
    for place, stated in enumerate(settings.stated_balance, start=1):
        currency = stated.currency or settings.source_named(stated.source).currency
        key = f"{where}, stated_balance.{place}.amount"
        try:
            if abs(parse_amount(stated.amount, currency)) >= 10**AMOUNT_DIGITS:
                problems.append(Problem(key, f"found {shown(stated.amount)}, which is more than the books can hold"))
        except LedgerError as trouble:
            problems += [
                Problem(
                    key,
                    f"{problem.where} {problem.what}",
                    f'write it in {currency}, such as "{format_amount(120450, currency)}"',
                )
                for problem in trouble.problems
            ]
    return problems


def read_settings(folder: Path) -> ShopSettings:
    """Settings of a books folder.

    Raises:
        LedgerError: the file is missing, not UTF-8 or wrong.
    """
    file = folder / SETTINGS_FILE
    try:
        text = file.read_text(encoding="utf-8-sig")
    except FileNotFoundError:
        raise LedgerError(
            Problem(
                str(folder),
                f"holds no {SETTINGS_FILE}",
                f"start books with: ledger-tools init {shlex.quote(str(folder))}",
            )
        ) from None
    except UnicodeDecodeError:
        raise LedgerError(Problem(str(file), "is not UTF-8 text", "save it as UTF-8")) from None
    return parse_settings(text)
