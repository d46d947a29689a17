"""Signs of a credit card's export: proposed where the balance or the texts tell them, asked where nothing does."""

from __future__ import annotations

from pathlib import Path

import pytest
from proposing import propose_and_read

LINES = [
    ("2031-05-03", "20.00", "Design software", "20.00"),
    ("2031-05-20", "100.00", "Wallet top-up", "120.00"),
    ("2031-05-22", "-20.00", "Design software refund", "100.00"),
    ("2031-05-28", "15.00", "Card interest", "115.00"),
    ("2031-06-06", "-115.00", "Payment thank you", "0.00"),
]
AMOUNTS = ["-20.00", "-100.00", "20.00", "-15.00", "115.00"]
BALANCES = ["-20.00", "-120.00", "-100.00", "-115.00", "0.00"]


def negated(text: str) -> str:
    """An amount with the other sign."""
    return text if text == "0.00" else text[1:] if text.startswith("-") else f"-{text}"


def export(*, amount: bool, balance: bool | None, thanks: bool = True) -> str:
    """The card's lines: what is reversed against a card that shows what is owed, and whether payments say that they are."""
    rows = ["Date,Amount,Description" + ("" if balance is None else ",Balance")]
    for day, moved, text, left in LINES:
        told = text if thanks else text.replace("Payment thank you", "Online 4711")
        cells = [day, negated(moved) if amount else moved, told]
        rows.append(",".join(cells + ([] if balance is None else [negated(left) if balance else left])))
    return "\n".join(rows) + "\n"


@pytest.mark.parametrize("thanks", [True, False])
@pytest.mark.parametrize("balance", [False, True])
@pytest.mark.parametrize("amount", [False, True])
def test_the_balance_tells_the_signs(amount: bool, balance: bool, thanks: bool, tmp_path: Path) -> None:
    """However a card lists purchases and what is owed, a purchase reads as negative, and what is owed too."""
    content = export(amount=amount, balance=balance, thanks=thanks)
    reading = propose_and_read(tmp_path / "card.csv", content, kind="bank", card=True)
    assert () == reading.proposal.questions
    assert (AMOUNTS, BALANCES) == (reading.column("amount"), reading.column("balance"))


@pytest.mark.parametrize("amount", [False, True])
def test_payments_tell_the_signs(amount: bool, tmp_path: Path) -> None:
    """Without a balance the lines that are payments by their text tell what the others are."""
    reading = propose_and_read(tmp_path / "card.csv", export(amount=amount, balance=None), kind="bank", card=True)
    assert () == reading.proposal.questions
    assert AMOUNTS == reading.column("amount")


def test_what_nothing_tells_is_asked(tmp_path: Path) -> None:
    """Without a balance and without payments the sign is asked, and the answer reads the file."""
    content = export(amount=False, balance=None, thanks=False)
    reading = propose_and_read(tmp_path / "card.csv", content, kind="bank", card=True, answers=('amount = "flip"',))
    (question,) = reading.proposal.questions
    assert "nothing tells whether a purchase on this card is positive or negative" == question.what
    assert AMOUNTS == reading.column("amount")


def test_evidence_that_contradicts_is_asked(tmp_path: Path) -> None:
    """Where payments by their text raise what the balance says is owed, neither is believed."""
    content = (
        export(amount=False, balance=False)
        .replace("Design software\n", "x")
        .replace("Design software,20", "Payment,20")
    )
    content = content.replace("Payment thank you", "Shop")
    content = content.replace("Design software refund", "Refund")
    (question,) = propose_and_read(tmp_path / "card.csv", content, kind="bank", card=True).proposal.questions
    assert "the balance and the texts do not agree" in question.what


def test_two_columns_give_the_sign(tmp_path: Path) -> None:
    """Where purchases and payments have a column each, the balance alone may be what is owed."""
    rows = ["Date,Description,Debit,Credit,Balance"]
    for day, moved, text, left in LINES:
        rows.append(f"{day},{text},,{moved[1:]},{left}" if moved.startswith("-") else f"{day},{text},{moved},,{left}")
    reading = propose_and_read(tmp_path / "card.csv", "\n".join(rows) + "\n", kind="bank", card=True)
    assert () == reading.proposal.questions
    assert (AMOUNTS, BALANCES) == (reading.column("amount"), reading.column("balance"))


def test_a_bank_account_is_asked_nothing(tmp_path: Path) -> None:
    """What holds for cards does not hold for a bank account: its signs stay as they are."""
    reading = propose_and_read(tmp_path / "bank.csv", export(amount=False, balance=False), kind="bank")
    assert () == reading.proposal.questions
    assert [moved for _, moved, _, _ in LINES] == reading.column("amount")
