"""The fulfilment partner's rate card as the settings hold it: production by SKU, shipping by category and destination.

Prices are decimal text in the card's currency (else the base currency). A price holds from its first day until a later
one of the same SKU, or category and destination, begins.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterator
from typing import Annotated

from pydantic import BeforeValidator, Field, field_validator

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import currencies_by_digits, parse_amount
from ledger_tools.setting_types import Day, Number, SettingsTable, shown

#: Where a price without a first day begins.
_ALWAYS = datetime.date(1, 1, 1)
_MOST_DIGITS = 12


def _listed(value: object) -> object:
    return (value,) if isinstance(value, str) else tuple(value) if isinstance(value, list) else value


class ProductionPrice(SettingsTable):
    """What the partner charges for making one piece."""

    sku: str = Field(min_length=1, description="as orders and wallet name it")
    price: Number = Field(description="of one piece, less discounts")
    valid_from: Day = Field(_ALWAYS, alias="from", description="the first day that it holds for; else always")


class ShippingPrice(SettingsTable):
    """What the partner charges for shipping the pieces of one category in a parcel."""

    category: str = Field(min_length=1, description="as orders or wallet name it, case ignored")
    destination: Annotated[tuple[str, ...], BeforeValidator(_listed)] = Field(
        ("*",), strict=False, description='country, country-region or "*"; one or a list'
    )
    first: Number = Field(description="of a parcel's first piece")
    additional: Number = Field(description="of each other piece")
    valid_from: Day = Field(_ALWAYS, alias="from", description="the first day that it holds for; else always")

    @field_validator("destination")
    @classmethod
    def _check_destination(cls, places: tuple[str, ...]) -> tuple[str, ...]:
        for place in places:
            if not re.fullmatch(r"\*|[A-Z]{2}(-[A-Z0-9]{1,3})?", place):
                raise ValueError(
                    f'found {shown(place)}, expected a country such as "US", a region such as "US-CO", or "*"'
                )
        return places


class RateCard(SettingsTable):
    """The whole card."""

    currency: str | None = Field(None, description="of all its prices; else the base currency")
    production: tuple[ProductionPrice, ...] = Field((), strict=False, description="prices of making a piece")
    shipping: tuple[ShippingPrice, ...] = Field((), strict=False, description="prices of shipping")

    @field_validator("currency")
    @classmethod
    def _check_currency(cls, code: str | None) -> str | None:
        if code is not None and code not in currencies_by_digits():
            raise ValueError(f"{code!r} is not an ISO 4217 currency code such as USD")
        return code

    def amount_problems(self, where: str, base: str) -> list[Problem]:
        """Prices that are no positive amounts of the card's currency."""
        currency = self.currency or base
        problems = []
        for key, text in self._prices():
            try:
                fits = 0 <= parse_amount(text, currency) < 10**_MOST_DIGITS
            except LedgerError:
                fits = False
            if not fits:
                told = f"found {shown(text)}, expected an amount in {currency} that is not negative"
                problems.append(Problem(f"{where}, rate_card.{key}", told))
        return problems

    def _prices(self) -> Iterator[tuple[str, str]]:
        for place, made in enumerate(self.production, start=1):
            yield f"production.{place}.price", made.price
        for place, sent in enumerate(self.shipping, start=1):
            yield f"shipping.{place}.first", sent.first
            yield f"shipping.{place}.additional", sent.additional

    def production_rows(self, base: str) -> list[tuple[str, datetime.date, str, int]]:
        """(SKU, first day, currency, price in minor units) of every price."""
        currency = self.currency or base
        return [
            (price.sku, price.valid_from, currency, parse_amount(price.price, currency)) for price in self.production
        ]

    def shipping_rows(self, base: str) -> list[tuple[str, str, datetime.date, str, int, int]]:
        """(category in small letters, destination, first day, currency, first and additional piece in minor units)."""
        currency = self.currency or base
        return [
            (
                price.category.lower(), place, price.valid_from, currency, parse_amount(price.first, currency),
                parse_amount(price.additional, currency),
            )
            for price in self.shipping
            for place in price.destination
        ]  # fmt: skip
