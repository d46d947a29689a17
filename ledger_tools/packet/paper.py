"""The sheet of paper that a shop prints on."""

from __future__ import annotations

#: Base currencies of countries that print on Letter; all others print on A4 (common practice).
_LETTER = frozenset({"USD", "CAD", "MXN", "PHP", "CLP", "COP"})


def prints_on_letter(currency: str) -> bool:
    """Whether a shop of that base currency prints on Letter rather than A4."""
    return currency in _LETTER
