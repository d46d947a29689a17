"""Which kind of export a file is, and which kind of event each of its rows is, by names, words and signs.

Used by the mapping proposer. A kind of export is guessed by the fields that only it has; an event's kind by the words
of one column against the trade's, and by the sign of the amount.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

from importers.arithmetic import running_balance
from importers.column_evidence import YES_AND_NO, Choice, Column, Evidence, choose_by_name, has_few_words
from importers.event_words import OTHER_DIRECTION, REMITTERS, TAX_PLACES, place_word, read_words
from importers.proposal import Draft, count_rows
from importers.proposal_amounts import Chosen, find_split
from importers.vocabulary import fold_name
from ledger_tools.records import KINDS

#: How much a field speaks for its kind of export: the ones that other kinds have as well say little.
_TELLING = {
    "orders": {"order_id": 2, "placed_at": 1, "unit_price": 3, "quantity": 1, "item": 1.5, "shipping_charged": 1,
               "order_discount": 1, "line_discount": 2, "tip": 2, "gift_card_paid": 2, "total": 1, "channel": 1,
               "prices_include_tax": 2, "cancelled_at": 1.5, "tax_collected_by": 2, "sku": 1},
    "processor": {"gross": 1, "fee": 3, "net": 3, "kind": 1, "payout_id": 2, "available_on": 1.5, "event_id": 1,
                  "order_ref": 0.5, "payment_ref": 1, "charged_amount": 2, "at": 0.5},
    "wallet": {"production": 3.5, "shipping": 1, "kind": 1, "reason": 1.5, "sku": 1, "order_ref": 1.5, "total": 0.5,
               "event_id": 1, "quantity": 0.5, "tax": 0.5, "discount": 0.5, "at": 0.5},
    "bank": {"balance": 3, "memo": 1.5, "counterparty": 2, "amount": 1, "at": 1},
}  # fmt: skip
_FILE_WORDS = {
    "orders": ("order", "sales", "bestell"),
    "processor": ("payment", "balance", "payout", "processor", "zahlung"),
    "wallet": ("wallet", "fulfil", "print", "billing", "charges"),
    "bank": ("bank", "statement", "checking", "account", "konto", "umsatz", "umsaetze"),
}


def score_kinds(evidence: Evidence) -> dict[str, float]:
    scores = {}
    for kind, telling in _TELLING.items():
        chosen = choose_by_name(evidence.columns, kind)
        score = sum(telling.get(name, 0.3) * _sureness(choice.score) for name, choice in chosen.items())
        used = {choice.column.position for choice in chosen.values()}
        open_columns = [column for column in evidence.columns if not column.personal]
        score += 2 * len(used) / max(len(open_columns), 1)
        score += any(word in evidence.sample.name.lower() for word in _FILE_WORDS[kind])
        if kind in ("processor", "wallet"):
            score += 3 * max((placed_share(column, kind) for column in evidence.columns), default=0.0)
        if kind == "bank":
            score += 3 if find_split(evidence.columns) or _has_running_balance(evidence) else 0
        scores[kind] = score
    return scores


def _has_running_balance(evidence: Evidence) -> bool:
    """Whether, in a file without names of columns, one column is the running balance of another."""
    if evidence.sample.header_row:
        return False
    numeric = [column.numbers for column in evidence.columns if column.shows_decimals][:6]
    found = [running_balance(amount, balance) for amount, balance in itertools.permutations(numeric, 2)]
    return any(entry is not None and entry.equation.proven for entry in found)


def _sureness(score: int) -> float:
    """How much a name counts: all of it for a field's own name, little for a word that many kinds of file use."""
    return min(max(score - 60, 10), 40) / 40


def explain_kind(draft: Draft, scores: dict[str, float]) -> None:
    ranked = sorted(scores, key=lambda kind: -scores[kind])
    draft.notes.append(f"Taken for an export of kind {ranked[0]} by its columns.")
    if scores[ranked[0]] - scores[ranked[1]] < 0.15 * scores[ranked[0]]:
        draft.refuse(
            "kind",
            f"the columns fit {ranked[0]} hardly better than {ranked[1]}",
            f"say which it is: --kind {ranked[0]} or --kind {ranked[1]}",
        )


def placed_share(column: Column, kind: str) -> float:
    """Share of the rows whose word names a kind of event; 0 where the column holds no such words."""
    if column.personal or not has_few_words(column):
        return 0.0
    filled = column.filled
    placed = {word: place_word(kind, word) is not None for word in set(filled)}
    return sum(placed[cell] for cell in filled) / len(column.cells)


def choose_kind_column(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    """The column whose words name most kinds of event; a name alone does not decide it."""
    if "kind" not in {field.name for field in KINDS[draft.kind]}:
        return
    shares = {column.position: placed_share(column, draft.kind) for column in evidence.columns}
    named = chosen.get("kind")
    best = max(evidence.columns, key=lambda column: shares[column.position], default=None)
    if best is None or shares[best.position] < 0.5:
        return
    whole = len(best.filled) == len(best.cells)
    if named is None or (whole and shares[named.column.position] < 0.5 * shares[best.position]):
        for name in [name for name, choice in chosen.items() if choice.column is best]:
            del chosen[name]
        chosen["kind"] = Choice(best, 60, "its words name kinds of event")


def propose_answers(draft: Draft, chosen: Chosen) -> None:
    """The two answers of who remits the tax and of where it is, in the file's words; else the column is left out."""
    for name, answers, known in (
        ("tax_collected_by", REMITTERS, frozenset(REMITTERS)),
        ("prices_include_tax", TAX_PLACES, YES_AND_NO),
    ):
        if name not in chosen:
            continue
        words = {word for word in chosen[name].column.filled if word.lower() not in known}
        meanings = {word: _answer(word, answers) for word in sorted(words)}
        unknown = [word for word, meaning in meanings.items() if meaning is None]
        if unknown:
            column = chosen.pop(name).column
            draft.notes.append(f"{column.name!r} is left out: its word {unknown[0]!r} is no answer for {name}.")
            continue
        for word, meaning in meanings.items():
            draft.put(f"words.{name}", word, meaning)


def _answer(word: str, answers: dict[str, frozenset[str]]) -> str | None:
    found = [ours for ours, words in answers.items() if words.intersection(fold_name(word))]
    return found[0] if len(found) == 1 else None


def propose_words(draft: Draft, evidence: Evidence, chosen: Chosen, amounts: Sequence[int | None]) -> None:
    """Which kind of event each word means; words that can't be placed are asked about, one line each."""
    if "kind" not in {field.name for field in KINDS[draft.kind]}:
        return
    if "kind" not in chosen:
        _propose_kind_constant(draft, amounts)
        return
    column = chosen["kind"].column
    signed = amounts if amounts else [None] * len(column.cells)
    choices = next(field.choices for field in KINDS[draft.kind] if field.name == "kind")
    for found in read_words(draft.kind, column.cells, signed):
        where = f"column {column.name}"
        if found.meaning is None:
            what = f"the word {found.word!r} ({count_rows(found.rows)}) is not known; what happened on these rows?"
            draft.ask("words.kind", where, what, [(found.word, "…", f"one of {', '.join(choices)}")])
        elif found.doubt:
            what = (
                f"the word {found.word!r} ({count_rows(found.rows)}) seems to mean {found.meaning}, but {found.doubt}"
            )
            answers = [(found.word, found.meaning, "if it is right all the same")]
            other = OTHER_DIRECTION.get(str(found.meaning))
            if other:
                answers.insert(0, (found.word, other, "the other direction"))
            draft.ask("words.kind", where, what, answers)
        else:
            draft.put("words.kind", found.word, found.meaning, f"{count_rows(found.rows)} of the sample")
    if any(not cell for cell in column.cells):
        draft.refuse(f"column {column.name}", "some rows have no word for what happened", "declare them with [[skip]]")


def _propose_kind_constant(draft: Draft, amounts: Sequence[int | None]) -> None:
    if amounts and not any((amount or 0) < 0 for amount in amounts):
        draft.put("constants", "kind", "charge", "no column says what happened, and every amount is positive")
        draft.notes.append("No column says what happened on a row: all are read as charges.")
        return
    draft.ask(
        "columns",
        "",
        "no column says what happened on a row, and amounts have both signs",
        [("kind", "…", "the column whose words tell charges, refunds and payouts apart")],
    )
