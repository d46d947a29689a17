"""The kinds of value that settings are made of: tables without stray keys, days, and numbers that are never floats."""

from __future__ import annotations

import datetime
from decimal import Decimal
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict


class SettingsTable(BaseModel):
    """A table of the settings: frozen, exact about types, and without keys that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


def shown(value: object) -> str:
    """A value as messages give it: texts in quotes, all of it short."""
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, (dict, list)):
        return "a table" if isinstance(value, dict) else "a list"
    text = repr(value) if isinstance(value, str) else str(value)
    return text if len(text) <= 60 else f"{text[:59]}…"


def _day(value: object) -> object:
    if isinstance(value, str):
        try:
            return datetime.date.fromisoformat(value)
        except ValueError:
            raise ValueError(f"{value[:60]!r} is not a date of the calendar such as 2031-04-30") from None
    return value


def _number(value: object) -> str:
    if isinstance(value, (str, int, Decimal)) and not isinstance(value, bool):
        return str(value)
    raise ValueError(f'found {shown(value)}, expected a decimal number such as "12.50"')


#: A TOML date, or an ISO 8601 date in quotes.
Day = Annotated[datetime.date, BeforeValidator(_day)]

#: The text of a decimal number, in quotes or plain; TOML's decimals are read as they are written, never as floats.
Number = Annotated[str, BeforeValidator(_number)]
