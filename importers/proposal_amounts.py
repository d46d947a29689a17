"""The amounts of a proposed mapping: which columns they are, what their signs mean, and what proves it.

One function a kind of export. Each gets the choice by names, corrects it where sums prove another one, and writes
columns, signs, derivations, notes and questions into the draft.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from importers.arithmetic import (
    DISPROVED,
    Equation,
    find_balance_parts,
    net_equation,
    running_balance,
    total_equation,
)
from importers.column_evidence import Choice, Column, name_score, score_column
from importers.proposal import Draft
from importers.proposal_card import propose_card_signs
from importers.vocabulary import DIRECTION, MONEY_IN, MONEY_OUT
from ledger_tools.records import KINDS, MONEY

Chosen = dict[str, Choice]
_WALLET_PARTS = ("production", "shipping", "tax", "discount")


@dataclass(frozen=True)
class SplitColumns:
    """Two columns of which each row fills one: money in and money out."""

    paid_in: Column
    paid_out: Column


def money_fields(kind: str) -> list[str]:
    return [field.name for field in KINDS[kind] if field.type == MONEY]


def find_split(columns: Sequence[Column]) -> SplitColumns | None:
    """Columns named like money in and money out of which at most one is filled on each row."""
    numeric = [column for column in columns if not column.personal and (column.is_number or not column.filled)]
    paid_in = max(numeric, key=lambda column: name_score(column.words, MONEY_IN), default=None)
    paid_out = max(numeric, key=lambda column: name_score(column.words, MONEY_OUT), default=None)
    if paid_in is None or paid_out is None or paid_in is paid_out:
        return None
    if min(name_score(paid_in.words, MONEY_IN), name_score(paid_out.words, MONEY_OUT)) < 50:
        return None
    pairs = list(zip(paid_in.numbers, paid_out.numbers, strict=True))
    if any(credit and debit for credit, debit in pairs) or not (paid_in.filled or paid_out.filled):
        return None
    return SplitColumns(paid_in, paid_out)


def split_numbers(split: SplitColumns) -> list[int | None]:
    """The signed amounts of two columns; a minus sign in the column of money out is not counted twice."""
    signed: list[int | None] = []
    for credit, debit in zip(split.paid_in.numbers, split.paid_out.numbers, strict=True):
        signed.append(abs(credit) if credit else -abs(debit) if debit else 0)
    return signed


def put_split(draft: Draft, name: str, split: SplitColumns) -> None:
    reason = "money in and money out stand in two columns; each row fills one"
    draft.put("split", name, {"in": split.paid_in.name, "out": split.paid_out.name}, reason)
    draft.use(split.paid_in.name, f"{name} (in)", reason)
    draft.use(split.paid_out.name, f"{name} (out)", reason)


def propose_processor(draft: Draft, columns: Sequence[Column], chosen: Chosen) -> Sequence[int | None]:
    """Gross, fee and net of a processor's export; returns the signed gross of each row, for the kinds of event."""
    fields = {field.name: field for field in KINDS["processor"]}
    parts = find_balance_parts(columns, lambda column, name: score_column(column, fields[name], "processor"))
    named = [chosen.get(name) for name in ("gross", "fee", "net")]
    flipped, equation = False, None
    if all(named):
        gross, fee, net = (choice.column.numbers for choice in named if choice)
        both = [net_equation(gross, fee, net, False), net_equation(gross, fee, net, True)]
        equation = max(both, key=lambda entry: entry.held)
        flipped = equation is both[1] and equation.held > both[0].held
    if parts and (equation is None or equation.share < DISPROVED):
        for name, column in (("gross", parts.gross), ("fee", parts.fee), ("net", parts.net)):
            for other in [other for other, choice in chosen.items() if choice.column is column and other != name]:
                del chosen[other]
            chosen[name] = Choice(column, 100, f"{parts.equation} rows")
        flipped, equation = parts.flipped, parts.equation
    split = None if "gross" in chosen else find_split(columns)
    if equation is not None:
        draft.notes.append(f"{equation} rows.")
        if equation.share < DISPROVED:
            _refuse_net(draft, equation)
    return _put_processor(draft, columns, chosen, flipped, equation, split)


def _refuse_net(draft: Draft, equation: Equation) -> None:
    draft.refuse(
        "columns gross, fee, net",
        f"{equation} rows, so one of these columns holds something else (a second fee or a tax, say)",
        'name the right columns under [columns], or leave `net` out and put `net = "gross-fee"` under [derive]',
    )


def _put_processor(
    draft: Draft,
    columns: Sequence[Column],
    chosen: Chosen,
    flipped: bool,
    equation: Equation | None,
    split: SplitColumns | None,
) -> Sequence[int | None]:
    gross, fee, net = chosen.get("gross"), chosen.get("fee"), chosen.get("net")
    amounts: Sequence[int | None] = []
    if gross:
        amounts = gross.column.numbers
    elif split:
        put_split(draft, "gross", split)
        amounts = split_numbers(split)
    elif net:
        amounts = net.column.numbers
        draft.put("derive", "gross", "net+fee", "the file has no gross amount")
    else:
        draft.ask("columns", "", "no column holds the gross amount", [("gross", "…", "the amount before fees")])
    if fee and equation is None:
        flipped = _costs_are_negative(fee.column, amounts)
    if fee and flipped:
        draft.put("signs", "fee", "flip", "the file shows a fee that costs as negative")
    if not net and (gross or split):
        draft.put("derive", "net", "gross-fee", "the file has no net amount")
        if not fee:
            draft.notes.append("No column holds fees: net is taken to equal gross.")
    if gross and net and not fee:
        _compare_without_fee(draft, chosen)
    return amounts


def _costs_are_negative(fee: Column, amounts: Sequence[int | None]) -> bool:
    """Fees of rows that brought money are mostly negative."""
    signs = [
        cost < 0
        for cost, amount in zip(fee.numbers, amounts, strict=True)
        if cost and amount is not None and amount > 0
    ]
    return sum(signs) > len(signs) / 2


def _compare_without_fee(draft: Draft, chosen: Chosen) -> None:
    """Gross and net without a fee between them: fine where they are equal, a question where they differ."""
    pairs = list(zip(chosen["gross"].column.numbers, chosen["net"].column.numbers, strict=True))
    if all(gross == net for gross, net in pairs):
        return
    draft.refuse(
        "columns gross, net",
        "they differ, but no column holds the fee between them",
        'name the fee\'s column under [columns]: fee = "…"',
    )


def propose_bank(draft: Draft, columns: Sequence[Column], chosen: Chosen) -> Sequence[int | None]:
    """Signed amount and balance of a bank's export; returns the signed amounts."""
    split = find_split(columns)
    if split and "amount" in chosen and chosen["amount"].column in (split.paid_in, split.paid_out):
        del chosen["amount"]
    if split and "amount" not in chosen:
        put_split(draft, "amount", split)
        for name in [name for name, choice in chosen.items() if choice.column in (split.paid_in, split.paid_out)]:
            del chosen[name]
        amounts: Sequence[int | None] = split_numbers(split)
        if "balance" in chosen:
            _prove_balance(draft, amounts, chosen["balance"].column, in_columns=False)
        if draft.card:
            propose_card_signs(
                draft, amounts, _column_of(chosen, "balance"), _texts_of(chosen, amounts), in_columns=True
            )
        return amounts
    if "amount" not in chosen:
        _find_amount_by_balance(columns, chosen)
    if "amount" not in chosen:
        draft.ask(
            "columns", "", "no column holds a signed amount", [("amount", "…", "money in positive, out negative")]
        )
        return []
    amount = chosen["amount"].column
    flipped = "balance" in chosen and _prove_balance(draft, amount.numbers, chosen["balance"].column, in_columns=True)
    if draft.card:
        texts = _texts_of(chosen, amount.numbers)
        propose_card_signs(draft, amount.numbers, _column_of(chosen, "balance"), texts, in_columns=False)
    elif flipped:
        draft.put("signs", "amount", "flip", "the balance falls where the amount is positive")
    _ask_direction(draft, columns, amount)
    return amount.numbers


def _column_of(chosen: Chosen, name: str) -> Column | None:
    return chosen[name].column if name in chosen else None


def _texts_of(chosen: Chosen, amounts: Sequence[int | None]) -> list[str]:
    """What each line says, in memo and other party."""
    columns = [chosen[name].column.cells for name in ("memo", "counterparty") if name in chosen]
    return [" ".join(cells) for cells in zip(*columns, strict=True)] if columns else [""] * len(amounts)


def _prove_balance(draft: Draft, amounts: Sequence[int | None], balance: Column, *, in_columns: bool) -> bool:
    found = running_balance(amounts, balance.numbers)
    if found is None:
        if len(amounts) > 3:
            draft.notes.append(f"The column {balance.name!r} does not follow from the amounts line by line.")
        return False
    order = "newest line first" if found.newest_first else "oldest line first"
    draft.notes.append(f"{found.equation} lines ({order}).")
    return found.flipped and in_columns


def _find_amount_by_balance(columns: Sequence[Column], chosen: Chosen) -> None:
    """Two number columns of which one is the running balance of the other; else the only signed column."""
    taken = {choice.column.position for choice in chosen.values()}
    numeric = [column for column in columns if column.is_number and not column.personal]
    free = [column for column in numeric if column.position not in taken]
    for amount in free:
        for balance in numeric:
            found = running_balance(amount.numbers, balance.numbers) if balance is not amount else None
            if found and found.equation.proven:
                chosen["amount"] = Choice(amount, 100, f"{found.equation} lines")
                chosen["balance"] = Choice(balance, 100, f"{found.equation} lines")
                return
    signed = [column for column in free if all(column.signs)]
    if len(signed) == 1:
        chosen["amount"] = Choice(signed[0], 60, "the only column of numbers with both signs")


def _ask_direction(draft: Draft, columns: Sequence[Column], amount: Column) -> None:
    direction = max(columns, key=lambda column: name_score(column.words, DIRECTION), default=None)
    if direction is None or name_score(direction.words, DIRECTION) < 70 or amount.signs[1] or direction.is_number:
        return
    draft.refuse(
        f"column {direction.name}",
        f"the amounts in {amount.name!r} have no sign; {direction.name!r} says which way the money went",
        "export the statement with signed amounts, in two columns (in and out), or as OFX, camt.053 or MT940",
    )


def propose_wallet(draft: Draft, columns: Sequence[Column], chosen: Chosen) -> Sequence[int | None]:
    """Parts and total of a wallet's export; returns the signed totals, for the kinds of event."""
    split = find_split(columns)
    if split and any(
        name in chosen and chosen[name].column in (split.paid_in, split.paid_out) for name in ("total", "production")
    ):
        del chosen["total"]
    if "total" not in chosen and split:
        return _put_wallet_split(draft, split)
    _complete_wallet_total(columns, chosen)
    _complete_wallet_parts(columns, chosen)
    if "total" not in chosen:
        draft.ask(
            "columns", "", "no column holds the event's amount", [("total", "…", "what the event cost or brought")]
        )
        return []
    total = chosen["total"].column
    parts = {name: chosen[name].column.numbers for name in _WALLET_PARTS if name in chosen}
    if parts:
        equation = total_equation(parts, total.numbers)
        draft.notes.append(f"{equation} rows that have any of the parts.")
        if equation.tried > 2 and equation.share < DISPROVED:
            draft.refuse(
                f"columns {', '.join(chosen[name].column.name for name in parts)}",
                f"{equation} rows, so one of these columns holds something else",
                "name the right columns under [columns], or leave the parts out",
            )
    for name in money_fields("wallet"):
        if name in chosen and chosen[name].column.signs[1]:
            draft.put("signs", name, "absolute", "our kinds give the direction, not the sign")
    return total.numbers


def _put_wallet_split(draft: Draft, split: SplitColumns) -> Sequence[int | None]:
    """A wallet's total has no sign: of two columns it is the one that is filled, where the other is blank."""
    both = any(credit and debit for credit, debit in zip(split.paid_in.cells, split.paid_out.cells, strict=True))
    if both:
        draft.refuse(
            f"columns {split.paid_in.name}, {split.paid_out.name}",
            "money in and out stand in two columns that are both filled on some rows; a total is one amount",
            "export the events with one amount, or with blanks instead of zeros",
        )
    else:
        reason = "money in and money out stand in two columns; each row fills one"
        draft.map_column("total", [split.paid_in.name, split.paid_out.name], reason)
        if split.paid_in.signs[1] or split.paid_out.signs[1]:
            draft.put("signs", "total", "absolute", "our kinds give the direction, not the sign")
    return split_numbers(split)


def _complete_wallet_total(columns: Sequence[Column], chosen: Chosen) -> None:
    """Finds the total by its sum where no name tells it: the column that the named parts make."""
    parts = {name: chosen[name].column.numbers for name in _WALLET_PARTS if name in chosen}
    if "total" in chosen or len(parts) < 2:
        return
    taken = {choice.column.position for choice in chosen.values()}
    for column in columns:
        if column.position not in taken and column.is_number and not column.personal:
            equation = total_equation(parts, column.numbers)
            if equation.proven:
                chosen["total"] = Choice(column, 100, f"{equation} rows")
                return


def _complete_wallet_parts(columns: Sequence[Column], chosen: Chosen) -> None:
    """Finds the price of production by its sum where no name tells it: total - shipping - tax + discount."""
    if "production" in chosen or "total" not in chosen or not {"shipping", "tax"} & chosen.keys():
        return
    taken = {choice.column.position for choice in chosen.values()}
    parts = {name: chosen[name].column.numbers for name in _WALLET_PARTS if name in chosen}
    for column in columns:
        if column.position in taken or not column.is_number or column.personal:
            continue
        equation = total_equation({"production": column.numbers, **parts}, chosen["total"].column.numbers)
        if equation.proven:
            chosen["production"] = Choice(column, 100, f"{equation} rows")
            return
