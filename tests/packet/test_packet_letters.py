"""Texts and amounts as the packet shows them."""

import pytest

from ledger_tools.packet.letters import LONGEST, amount_in_words, harmless


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("Crème & Söhne, Ελλάς", "Crème & Söhne, Ελλάς"),
        ("a\tb\x00c\u202ed\ufffe", "a�b�c�d�"),
        ("paid by someone@example.org today", "paid by (e-mail) today"),
        ("x" * LONGEST, "x" * LONGEST),
        ("x" * (LONGEST + 1), "x" * (LONGEST - 1) + "…"),
    ],
)
def test_harmless(text: str, shown: str) -> None:
    """What a program would act on is replaced by a visible mark, everything else stays."""
    assert shown == harmless(text)


@pytest.mark.parametrize(
    ("minor", "currency", "shown"),
    [
        (123456, "USD", "1,234.56 USD"),
        (-5, "USD", "-0.05 USD"),
        (-1234567, "JPY", "-1,234,567 JPY"),
        (0, "KWD", "0.000 KWD"),
    ],
)
def test_amount_in_words(minor: int, currency: str, shown: str) -> None:
    """An amount in a sentence has its currency's digits and marks at the thousands."""
    assert shown == amount_in_words(minor, currency)
