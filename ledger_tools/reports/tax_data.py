"""Figures of tax rules that ship with the program: each row with its year, the day it was looked up, and its source.

They are never rules of what is taxable, they change, and they must be checked before use; settings come before them.
"""

from __future__ import annotations

import csv
import tomllib
from decimal import Decimal
from functools import cache
from importlib import resources
from typing import Any


def _text(name: str) -> str:
    return (resources.files("ledger_tools") / "tax_data" / name).read_text(encoding="utf-8")


@cache
def table_rows(name: str) -> tuple[dict[str, str], ...]:
    """Rows of a CSV file, in its order."""
    return tuple(csv.DictReader(_text(name).splitlines()))


@cache
def listed(name: str, key: str) -> tuple[dict[str, Any], ...]:
    """The tables of one name in a TOML file, in its order; decimals stay exact."""
    return tuple(tomllib.loads(_text(name), parse_float=Decimal)[key])
