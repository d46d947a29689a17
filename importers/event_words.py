"""What the words for a kind of event mean: a vocabulary, and the reading of one column's words by it.

Used by the mapping proposer only. A word that the vocabulary can't place, and a word whose sign speaks against its
usual meaning, become questions: nothing is guessed about which way money went.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from importers.vocabulary import fold_name

#: What the words of an event's kind mean, most telling first; every word of the phrase must stand in the cell.
EVENT_WORDS: dict[str, tuple[tuple[str, str], ...]] = {
    "processor": (
        ("dispute won", "dispute_won"), ("dispute reversal", "dispute_won"), ("dispute reversed", "dispute_won"),
        ("chargeback reversal", "dispute_won"), ("chargeback reversed", "dispute_won"),
        ("chargeback won", "dispute_won"),
        ("claim won", "dispute_won"), ("claim lost", "dispute_lost"),
        ("dispute lost", "dispute_lost"), ("chargeback lost", "dispute_lost"),
        ("dispute fee", "fee"), ("chargeback fee", "fee"),
        ("claim", "dispute"), ("chargeback", "dispute"), ("dispute", "dispute"), ("ruckbelastung", "dispute"),
        ("inquiry", "dispute"),
        ("retrocession", "dispute"), ("litige", "dispute"),
        ("reserve release", "reserve_release"), ("reserve released", "reserve_release"),
        ("release reserve", "reserve_release"), ("hold release", "reserve_release"), ("release", "reserve_release"),
        ("hold released", "reserve_release"),
        ("let go", "reserve_release"), ("set free", "reserve_release"), ("held back", "reserve_hold"),
        ("reserve", "reserve_hold"), ("hold", "reserve_hold"), ("einbehalt", "reserve_hold"),
        ("tax kept", "tax_withheld"), ("tax withheld", "tax_withheld"), ("withheld tax", "tax_withheld"),
        ("withholding", "tax_withheld"),
        ("marketplace tax", "tax_withheld"), ("tax remitted", "tax_withheld"),
        ("tax collected", "tax_withheld"),
        ("currency conversion", "conversion"), ("conversion", "conversion"), ("exchange", "conversion"),
        ("umrechnung", "conversion"), ("fx", "conversion"),
        ("payout returned", "payout_returned"), ("payout failure", "payout_returned"),
        ("transfer failure", "payout_returned"), ("payout rejected", "payout_returned"),
        ("payout return", "payout_returned"),
        ("returned payout", "payout_returned"), ("payout failed", "payout_returned"),
        ("payout reversal", "payout_returned"), ("payout reversed", "payout_returned"),
        ("failed payout", "payout_returned"), ("transfer failed", "payout_returned"),
        ("transfer returned", "payout_returned"), ("transfer reversal", "payout_returned"),
        ("withdrawal returned", "payout_returned"), ("payout cancelled", "payout_returned"),
        ("payout fee", "fee"), ("transfer fee", "fee"),
        ("paid out", "payout"), ("paid back", "refund"), ("money back", "refund"), ("repayment", "refund"),
        ("payout", "payout"), ("transfer", "payout"), ("withdrawal", "payout"), ("disbursement", "payout"),
        ("auszahlung", "payout"), ("virement", "payout"), ("versement", "payout"), ("transferencia", "payout"),
        ("uitbetaling", "payout"), ("bank deposit", "payout"), ("settlement", "payout"),
        ("fee refund", "adjustment"), ("refund fee", "fee"),
        ("refund", "refund"), ("refunded", "refund"), ("erstattung", "refund"), ("ruckerstattung", "refund"),
        ("ruckzahlung", "refund"), ("gutschrift", "refund"), ("remboursement", "refund"), ("reembolso", "refund"),
        ("terugbetaling", "refund"), ("return", "refund"), ("reversal", "refund"), ("reversed", "refund"),
        ("adjustment", "adjustment"), ("correction", "adjustment"), ("korrektur", "adjustment"),
        ("ajustement", "adjustment"), ("adjust", "adjustment"), ("compensation", "adjustment"),
        ("fee", "fee"), ("fees", "fee"), ("gebuhr", "fee"), ("gebuhren", "fee"), ("frais", "fee"),
        ("subscription", "fee"), ("monthly charge", "fee"), ("service charge", "fee"), ("commission", "fee"),
        ("sale", "charge"), ("payment", "charge"), ("charge", "charge"), ("purchase", "charge"), ("order", "charge"),
        ("capture", "charge"), ("captured", "charge"), ("paid", "charge"), ("zahlung", "charge"),
        ("verkauf", "charge"), ("paiement", "charge"), ("vente", "charge"), ("pago", "charge"), ("venta", "charge"),
        ("betaling", "charge"), ("received", "charge"),
    ),
    "wallet": (
        ("filled up", "top_up"), ("fill up", "top_up"), ("top up", "top_up"), ("paid in", "top_up"),
        ("topup", "top_up"), ("add funds", "top_up"), ("funds added", "top_up"),
        ("deposit", "top_up"), ("recharge", "top_up"), ("reload", "top_up"), ("load", "top_up"),
        ("funding", "top_up"),
        ("aufladung", "top_up"), ("einzahlung", "top_up"), ("rechargement", "top_up"), ("recarga", "top_up"),
        ("prepayment", "top_up"),
        ("withdrawal", "withdrawal"), ("withdraw", "withdrawal"),
        ("payout", "withdrawal"), ("auszahlung", "withdrawal"),
        ("retrait", "withdrawal"), ("cash out", "withdrawal"),
        ("refund", "credit"), ("credit", "credit"), ("credited", "credit"), ("paid back", "credit"),
        ("refunded", "credit"), ("reimbursement", "credit"),
        ("gutschrift", "credit"), ("erstattung", "credit"), ("remboursement", "credit"), ("avoir", "credit"),
        ("cancellation", "credit"), ("reembolso", "credit"),
        ("subscription", "fee"), ("storage", "fee"), ("service", "fee"), ("fee", "fee"), ("membership", "fee"),
        ("gebuhr", "fee"),
        ("frais", "fee"), ("abo", "fee"), ("lagerung", "fee"),
        ("charge", "charge"), ("order", "charge"), ("fulfilment", "charge"), ("fulfillment", "charge"),
        ("production", "charge"), ("made", "charge"), ("printed", "charge"), ("parcel", "charge"),
        ("reprint", "charge"), ("sample", "charge"), ("debit", "charge"),
        ("purchase", "charge"), ("shipment", "charge"), ("bestellung", "charge"), ("auftrag", "charge"),
        ("belastung", "charge"), ("commande", "charge"), ("pedido", "charge"), ("artwork", "charge"),
    ),
}  # fmt: skip

#: Where one word stands for both directions, what each sign of the amount means: word's kind → (positive, negative).
BOTH_SIGNS: dict[tuple[str, str], tuple[str, str]] = {
    ("processor", "payout"): ("payout_returned", "payout"),
    ("processor", "dispute"): ("dispute_won", "dispute"),
    ("processor", "reserve_hold"): ("reserve_release", "reserve_hold"),
    ("processor", "charge"): ("charge", "refund"),
}

#: Who remits a tax: words of the two answers.
REMITTERS = {
    "marketplace": frozenset({"marketplace", "facilitator", "platform", "channel", "marktplatz"}),
    "shop": frozenset({"shop", "seller", "merchant", "us", "self", "own", "me", "store"}),
}

#: Whether prices contain the tax: words of the two answers beside yes and no, which the reader knows.
TAX_PLACES = {
    "true": frozenset({"inside", "included", "inclusive", "incl", "in", "enthalten", "inkl"}),
    "false": frozenset({"top", "added", "excluded", "exclusive", "excl", "extra", "zzgl", "exkl"}),
}

#: Words for why a wallet was charged that the books know as they are.
WALLET_REASONS = frozenset({"order", "reprint", "sample", "artwork_setup", "storage", "subscription"})

#: What a kind of event is called where the money goes the other way.
OTHER_DIRECTION = {
    "payout": "payout_returned",
    "payout_returned": "payout",
    "dispute": "dispute_won",
    "dispute_won": "dispute",
    "reserve_hold": "reserve_release",
    "reserve_release": "reserve_hold",
    "charge": "refund",
}

#: States of a row that say that no money moved (yet), and the reason that the declared skip gives.
NOT_BOOKED: dict[str, str] = {
    "pending": "not settled yet",
    "processing": "not settled yet",
    "authorized": "not captured",
    "authorised": "not captured",
    "uncaptured": "not captured",
    "failed": "failed: no money moved",
    "declined": "declined: no money moved",
    "denied": "declined: no money moved",
    "rejected": "declined: no money moved",
    "expired": "expired: no money moved",
    "voided": "voided: no money moved",
    "void": "voided: no money moved",
    "draft": "a draft, not an order",
    "abandoned": "abandoned, not an order",
}


@dataclass(frozen=True)
class WordMeaning:
    """What one word of a file stands for.

    Attributes:
        word: as it stands in the file.
        rows: how many sampled rows hold it.
        meaning: our word, or (ours where the amount is positive, ours where it is negative); None: can't be placed.
        doubt: why it can't be placed, or why the reading needs a person's eye; empty where all is well.
    """

    word: str
    rows: int
    meaning: str | tuple[str, str] | None
    doubt: str = ""


def place_word(kind: str, word: str) -> str | None:
    """Our word for a kind of event that a file's word names, by the vocabulary alone; None where it has none."""
    tokens = set(fold_name(word))
    tokens |= {token[:-1] for token in tokens if token.endswith("s") and len(token) > 3}
    canonical = {ours for _, ours in EVENT_WORDS.get(kind, ())}
    folded = "_".join(fold_name(word))
    if folded in canonical:
        return folded
    for phrase, ours in EVENT_WORDS.get(kind, ()):
        if set(phrase.split()) <= tokens:
            return ours
    return None


def read_words(kind: str, words: Sequence[str], amounts: Sequence[int | None]) -> list[WordMeaning]:
    """The meaning of each word of a column, the most frequent first; amounts are the rows' signed amounts, if any."""
    signs: dict[str, list[int]] = {}
    for word, amount in zip(words, amounts, strict=True):
        if word:
            signs.setdefault(word, []).append(0 if amount is None else (amount > 0) - (amount < 0))
    any_negative = any(-1 in found for found in signs.values())
    ordered = sorted(signs.items(), key=lambda item: (-len(item[1]), item[0]))
    return [_read_word(kind, word, found, any_negative) for word, found in ordered]


def _read_word(kind: str, word: str, signs: list[int], any_negative: bool) -> WordMeaning:
    ours = place_word(kind, word)
    if kind == "wallet" and ours is None and "payment" in fold_name(word) and any_negative and -1 not in signs:
        ours = "top_up"
    if kind == "processor" and ours is None and "credit" in fold_name(word) and -1 in signs and 1 not in signs:
        ours = "refund"
    if ours is None:
        return WordMeaning(word, len(signs), None, "the vocabulary does not know it")
    both = 1 in signs and -1 in signs
    if both and (kind, ours) in BOTH_SIGNS:
        return WordMeaning(word, len(signs), BOTH_SIGNS[kind, ours])
    if kind == "processor":
        positive_only = {"charge", "dispute_won", "reserve_release", "payout_returned"}
        negative_only = {"refund", "dispute", "reserve_hold", "payout", "tax_withheld"}
        if ours in negative_only and 1 in signs and not (both and ours == "tax_withheld"):
            doubt = "its amounts are positive, but this kind of event takes money off the balance"
            return WordMeaning(word, len(signs), ours, doubt)
        if ours in positive_only and -1 in signs:
            return WordMeaning(word, len(signs), ours, "its amounts are negative, but this kind of event brings money")
    return WordMeaning(word, len(signs), ours)
