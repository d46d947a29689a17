"""What the signs of a credit card's export mean: which lines are purchases, and whether the balance is what is owed.

Ours are those of a bank account: a purchase is negative, and so is the balance while money is owed. Many cards list both the
other way round. Two things tell: how the balance follows from the amounts, since the balance of a card is what is owed as
a rule (common practice), and the lines that are payments by their text. What they don't settle, or say differently, is asked.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from importers.arithmetic import running_balance
from importers.column_evidence import Column
from importers.proposal import Draft

#: Words of a line by which the card is paid.
_PAYMENT = re.compile(
    r"\b(payments?|autopay|thank you|zahlung|zahlungseingang|paiement|pago|pagamento)\b", re.IGNORECASE
)


def propose_card_signs(
    draft: Draft, amounts: Sequence[int | None], balance: Column | None, texts: Sequence[str], *, in_columns: bool
) -> None:
    """Put the signs of amount and balance, or ask for them.

    Args:
        amounts: as the file has them, or made of two columns.
        texts: what each line says.
        in_columns: the amount stands in two columns, in and out, whose names give its sign.
    """
    relation = running_balance(amounts, balance.numbers) if balance else None
    owed = None if balance is None else _shows_what_is_owed(balance)
    told: dict[bool, str] = {}
    if in_columns:
        told[False] = "money in and money out stand in two columns"
    else:
        if relation is not None and owed is not None:
            told[owed != relation.flipped] = "the balance, which is what is owed, says which lines are purchases"
        payments = _signs_of_payments(amounts, texts)
        if payments:
            told.setdefault(payments < 0, "lines that are payments by their text have the other sign")
    if len(told) != 1:
        why = "nothing tells" if not told else "the balance and the texts do not agree"
        answers = [("amount", "flip", "where purchases are positive")]
        if balance is not None:
            answers.append(("balance", "flip", "where it is positive while money is owed"))
        draft.ask("signs", "", f"{why} whether a purchase on this card is positive or negative", answers)
        return
    ((is_flipped, reason),) = told.items()
    if is_flipped:
        draft.put("signs", "amount", "flip", f"purchases are positive in the file: {reason}")
    elif not in_columns:
        draft.notes.append(f"Purchases are negative in the file: {reason}.")
    if balance is not None and (is_flipped != relation.flipped if relation else owed):
        draft.put("signs", "balance", "flip", "the balance is what is owed")


def _shows_what_is_owed(balance: Column) -> bool | None:
    """Whether a positive balance is what is owed: a card's balance mostly is; None where it tells nothing."""
    positive, negative = balance.signs
    return None if positive == negative else positive > negative


def _signs_of_payments(amounts: Sequence[int | None], texts: Sequence[str]) -> int:
    """The sign that payments have, where others have the other one; 0 where the texts tell nothing."""
    signs: dict[bool, set[bool]] = {True: set(), False: set()}
    for amount, text in zip(amounts, texts, strict=True):
        if amount:
            signs[_PAYMENT.search(text) is not None].add(amount > 0)
    if len(signs[True]) != 1 or signs[True] == signs[False] or not signs[False]:
        return 0
    return 1 if True in signs[True] else -1
