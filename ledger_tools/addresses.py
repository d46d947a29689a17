"""E-mail addresses in texts of exports: what counts as one and how it is taken out, the same in Python and in SQL.

Nothing that people read (journal, reports, open items) may show one. What counts is wide on purpose: whatever holds,
between two blanks, an @ with a letter or digit somewhere before it and a letter somewhere after it. So a formula
(`@SUM(A1:A9)`), a handle (`@shop`) and a price (`5@2.00`, `EUR@1.10`) are none.
"""

from __future__ import annotations

import re
from typing import overload

from ledger_tools.store import quoted

# Written out, since \w means ASCII to DuckDB's matcher and more to Python's. A no-break space is no letter.
_LETTER = "[A-Za-z\u00a1-\U0010ffff]"
_WORD = "[0-9A-Za-z_\u00a1-\U0010ffff]"
_ADDRESS = f"[^ ]*{_WORD}[^ ]*@[^ ]*{_LETTER}[^ ]*"  # for DuckDB, whose matcher needs linear time; Python's would not

_A_LETTER, _A_WORD = re.compile(_LETTER), re.compile(_WORD)
_BETWEEN_BLANKS = re.compile("[^ ]+")
#: In text that a program reads quotes and line ends stay as they are.
_BETWEEN_QUOTES = re.compile(r'[^\s"<>]+')

#: What stands where an address was.
STAND_IN = "(e-mail)"


@overload
def without_addresses(text: str) -> str: ...
@overload
def without_addresses(text: str | None) -> str | None: ...
def without_addresses(text: str | None) -> str | None:
    """A text, or the lack of one, with each e-mail address replaced."""
    return None if text is None else _BETWEEN_BLANKS.sub(_replaced, text)


def without_addresses_in_quotes(text: str) -> str:
    """Text of a ledger file with each e-mail address replaced, so that it still loads."""
    return _BETWEEN_QUOTES.sub(_replaced, text)


def _replaced(found: re.Match[str]) -> str:
    return STAND_IN if _is_address(found[0]) else found[0]


def _is_address(piece: str) -> bool:
    before = _A_WORD.search(piece)
    at = piece.find("@", before.end()) if before else -1
    return at >= 0 and _A_LETTER.search(piece, at) is not None


def addresses_replaced(column: str, stand_in: str = STAND_IN) -> str:
    """SQL expression: a text with each e-mail address replaced."""
    return f"regexp_replace({column}, {quoted(_ADDRESS)}, {quoted(stand_in)}, 'g')"
