"""Texts that may stand in the packet: without anything that a program acts on, the same in workbook, PDF and CSV."""

from __future__ import annotations

from ledger_tools.addresses import without_addresses
from ledger_tools.money import format_amount

#: Stands for a letter that is left out.
LEFT_OUT = "\N{REPLACEMENT CHARACTER}"

#: What a workbook's cell holds; longer texts end in an ellipsis everywhere.
LONGEST = 2_000


def harmless(text: str) -> str:
    """A text without e-mail addresses, cut if long; control and direction characters become a visible mark."""
    if "@" in text:
        text = without_addresses(text) or ""
    if not text.isprintable():
        text = "".join(letter if letter.isprintable() else LEFT_OUT for letter in text)
    return text if len(text) <= LONGEST else text[: LONGEST - 1] + "…"


def amount_in_words(minor: int, currency: str) -> str:
    """An amount as it stands in a sentence: 123456 USD is "1,234.56 USD"."""
    whole, point, fraction = format_amount(abs(minor), currency).partition(".")
    return f"{'-' if minor < 0 else ''}{int(whole):,}{point}{fraction} {currency}"
