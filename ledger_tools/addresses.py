"""E-mail addresses in texts of exports: what counts as one and how it is taken out, the same in Python and in SQL.

Nothing that people read (journal, reports, open items) may show one. What counts is wide on purpose: whatever holds an
@ between two blanks.
"""

from __future__ import annotations

import re
from typing import overload

from ledger_tools.store import quoted

_ADDRESS = "[^ ]+@[^ ]+"  # means the same to Python's re and to DuckDB's

#: What stands where an address was.
STAND_IN = "(e-mail)"


@overload
def without_addresses(text: str) -> str: ...
@overload
def without_addresses(text: str | None) -> str | None: ...
def without_addresses(text: str | None) -> str | None:
    """A text, or the lack of one, with each e-mail address replaced."""
    return None if text is None else re.sub(_ADDRESS, STAND_IN, text)


def addresses_replaced(column: str, stand_in: str = STAND_IN) -> str:
    """SQL expression: a text with each e-mail address replaced."""
    return f"regexp_replace({column}, {quoted(_ADDRESS)}, {quoted(stand_in)}, 'g')"
