"""The mapping proposer: looks at an export that was never seen before and writes down how its columns read.

Place in the flow: before the first import of a source; `map` shows what comes out, and a person checks it. Evidence, in
this order: column names against the trade's words, values (codes, dates, numbers, ids), signs, and sums that must come
out. What the evidence doesn't settle is asked, never guessed. Sample first (`sample`), then columns
(`column_evidence`), then amounts (`proposal_amounts`), then the text (`proposal`).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

from importers.column_evidence import (
    Choice,
    Column,
    Evidence,
    build_columns,
    choose_by_name,
    is_unique,
    name_score,
    reference_shape,
)
from importers.event_words import NOT_BOOKED, WALLET_REASONS, place_word
from importers.proposal import ColumnUse, Draft, Proposal, finish
from importers.proposal_amounts import (
    Chosen,
    find_split,
    money_fields,
    propose_bank,
    propose_processor,
    propose_wallet,
)
from importers.proposal_dates import propose_dates
from importers.proposal_kind import choose_kind_column, explain_kind, propose_answers, propose_words, score_kinds
from importers.proposal_orders import propose_orders
from importers.sample import Sample, take_sample
from importers.value_patterns import NumberStyle, find_dates, find_number_style, strip_symbols
from importers.vocabulary import COLUMN_WORDS, OTHER_THINGS, STATUS
from ledger_tools.money import currencies_by_digits, minor_digits
from ledger_tools.records import KINDS

__all__ = ["ColumnUse", "Proposal", "propose_mapping"]

_AMOUNTS = {
    "orders": propose_orders,
    "processor": propose_processor,
    "wallet": propose_wallet,
    "bank": propose_bank,
}
_STATUS_SCORE = 70


def propose_mapping(
    path: Path, *, source: str, kind: str | None, currency: str, shop_zone: str, card: bool = False
) -> Proposal:
    """The mapping that fits an export best, with its reasons and with questions about what can't be told.

    `kind` None: guessed from the columns. `currency` is the source's, for amounts without a currency of their own. `card`: the
    source is a credit card, whose signs are often the reverse of a bank account's.

    Raises:
        LedgerError: the file is empty, no text and no spreadsheet, or has no columns.
    """
    sample = take_sample(path)
    style = find_number_style(_number_cells(sample), currency)
    evidence = Evidence(sample, tuple(build_columns(sample, style)), style, currency, shop_zone)
    scores = score_kinds(evidence)
    draft = Draft(path.name, source, kind or max(scores, key=lambda entry: scores[entry]), card)
    if kind is None:
        explain_kind(draft, scores)
    _propose_file(draft, evidence)
    chosen = choose_by_name(evidence.columns, draft.kind)
    choose_kind_column(draft, evidence, chosen)
    _complete_by_values(draft, evidence, chosen)
    amounts = _AMOUNTS[draft.kind](draft, evidence.columns, chosen)
    propose_words(draft, evidence, chosen, amounts)
    propose_answers(draft, chosen)
    _propose_reason(draft, chosen)
    _propose_currency(draft, evidence, chosen)
    _propose_ids(draft, evidence, chosen)
    propose_dates(draft, evidence.columns, chosen, shop_zone)
    _propose_units(draft, evidence, chosen)
    _propose_skips(draft, evidence, chosen)
    _put_columns(draft, chosen)
    return finish(draft, [(column.name, _why_not(column)) for column in evidence.columns])


def _number_cells(sample: Sample) -> list[list[str]]:
    """Cells of the columns that look like numbers and not like dates, for the vote on decimal marks."""
    found = []
    for position in range(len(sample.columns)):
        cells = [cell for cell in sample.cells(position) if cell]
        shaped = [cell for cell in cells if re.fullmatch(r"[+-]?[\d.,'’ \u00a0\u202f]*\d", strip_symbols(cell))]
        if cells and len(shaped) >= 0.9 * len(cells) and find_dates(cells) is None:
            found.append(shaped)
    return found


def _propose_file(draft: Draft, evidence: Evidence) -> None:
    sample, style = evidence.sample, evidence.style
    if sample.delimiter:
        draft.put("file", "delimiter", sample.delimiter)
    if sample.encoding and sample.encoding not in ("utf-8", "utf-8-sig"):
        draft.notes.append(f"The text is read as {sample.encoding}; a file in UTF-8 is recognised by itself.")
    if sample.header_row != 1:
        comment = "no header: columns are called by their numbers" if not sample.header_row else "title rows above it"
        draft.put("file", "header_row", sample.header_row, comment)
    if len(sample.sheets) > 1:
        draft.put("file", "sheet", sample.sheet, f"one of {len(sample.sheets)} sheets")
    if style.decimal_mark != ".":
        draft.put("file", "decimal_mark", style.decimal_mark)
    if style.thousands_mark:
        draft.put("file", "thousands_mark", style.thousands_mark)
    if style.doubt:
        answers = [("decimal_mark", ".", "a point"), ("decimal_mark", ",", "a comma")]
        draft.take_back("file", "decimal_mark")
        draft.ask("file", "", style.doubt, answers)
    if sample.odd_rows:
        rows = ", ".join(str(number) for number in sample.odd_rows[:5])
        more = " …" if len(sample.odd_rows) > 5 else ""
        draft.refuse(
            f"row {rows}{more}",
            f"it has another number of cells than the {len(sample.columns)} columns (row 1 is the first of the file)",
            "take title and summary rows out of a copy of the file, or export it without them",
        )


def _complete_by_values(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    """Required fields that no name gave, and the telling ones of a file without header, by values alone."""
    taken = {choice.column.position for choice in chosen.values()}
    free = [column for column in evidence.columns if column.position not in taken and not column.personal]
    dated_by = "placed_at" if draft.kind == "orders" else "at"

    def take(name: str, column: Column | None, reason: str) -> None:
        if column is not None and name not in chosen:
            chosen[name] = Choice(column, 50, reason)
            free.remove(column)

    if dated_by not in chosen:
        dated = [column for column in free if column.dates and len(column.filled) == len(column.cells)]
        dated.sort(key=lambda column: (not (column.dates and column.dates.has_time), column.position))
        take(dated_by, dated[0] if dated else None, "a date on every row")
    if "currency" not in chosen:
        take("currency", next((column for column in free if column.is_currency), None), "ISO 4217 codes")
    id_name = {"orders": "order_id", "bank": ""}.get(draft.kind, "event_id")
    if id_name and id_name not in chosen:
        ids = [column for column in free if _looks_like_id(column, unique=draft.kind != "orders")]
        take(id_name, ids[0] if ids else None, "it identifies the rows")
    if draft.kind in ("processor", "wallet") and "order_ref" not in chosen and not evidence.sample.header_row:
        shaped = [column for column in free if column.dates is None and not column.is_currency]
        shaped = [column for column in shaped if column.distinct > 1 and reference_shape(column)]
        take("order_ref", shaped[0] if shaped else None, "references of one form")
    if draft.kind == "bank" and "memo" not in chosen:
        texts = [column for column in free if not column.is_number and not column.dates and not column.is_currency]
        texts.sort(key=lambda column: -column.distinct)
        take("memo", texts[0] if texts and texts[0].distinct > 1 else None, "the most varied text")
    _complete_amount(draft, free, chosen)


def _complete_amount(draft: Draft, free: Sequence[Column], chosen: Chosen) -> None:
    """The one column of decimal numbers, where nothing has the main amount yet."""
    main = {"orders": "total", "processor": "gross", "wallet": "total"}.get(draft.kind)
    if main is None or main in chosen or (main == "total" and "unit_price" in chosen):
        return
    numbers = [column for column in free if column.shows_decimals]
    if len(numbers) == 1 and find_split(free) is None:
        chosen[main] = Choice(numbers[0], 50, "the only column of decimal numbers left")


def _looks_like_id(column: Column, *, unique: bool) -> bool:
    if OTHER_THINGS.intersection(column.words):
        return False
    if column.dates or len(column.filled) < len(column.cells) or (column.is_number and not column.is_whole):
        return False
    if any(" " in cell for cell in column.filled) or not all(
        any(sign.isdigit() for sign in cell) and len(cell) >= 3 for cell in set(column.filled)
    ):
        return False
    return is_unique(column) if unique else column.distinct > len(column.filled) // 20 + 1


def _propose_reason(draft: Draft, chosen: Chosen) -> None:
    """A wallet's kinds that are reasons as well ("Reprint", "Sample"): the same column gives both."""
    if draft.kind != "wallet" or "reason" in chosen or "kind" not in chosen:
        return
    column = chosen["kind"].column
    outgoing = {word for word in set(column.filled) if place_word("wallet", word) in ("charge", "fee")}
    if outgoing and {word.lower() for word in outgoing} <= WALLET_REASONS:
        chosen["reason"] = Choice(column, 50, "its words are reasons as well")


def _propose_currency(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    if "currency" in chosen:
        found = sorted({code.upper() for code in chosen["currency"].column.filled})
        if found and found != [evidence.currency]:
            draft.notes.append(f"Currencies in the file: {', '.join(found)}; the source's is {evidence.currency}.")
        return
    named = {
        word.upper()
        for column in evidence.columns
        if column.is_number
        for word in column.words
        if word.upper() in currencies_by_digits() and word.upper() in re.split(r"[^A-Z]+", column.name)
    }
    codes = {code for column in evidence.columns for cell in column.filled[:50] if (code := _code_in(cell))}
    known = named or codes
    if len(known) > 1:
        answers = [("currency", code, "") for code in sorted(known)]
        draft.ask("constants", "", f"several currencies are named: {', '.join(sorted(known))}", answers)
        return
    reason = "named in the file" if known else "no column holds it; this is the source's"
    draft.put("constants", "currency", known.pop() if known else evidence.currency, reason)


def _code_in(cell: str) -> str | None:
    """The currency code beside a number in one cell."""
    match = re.fullmatch(r"(?:([A-Z]{3})\s?-?[\d.,]+|-?[\d.,]+\s?([A-Z]{3}))", cell)
    code = (match[1] or match[2]) if match else None
    return code if code in currencies_by_digits() else None


def _propose_ids(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    if draft.kind in ("processor", "wallet") and "event_id" not in chosen:
        draft.put("derive", "event_id", "content", "no column identifies the events")
        draft.notes.append("No column identifies the events: ids are made from each row's content and its ordinal.")
    if draft.kind == "orders" and "order_id" not in chosen:
        answers = [("order_id", "content", "only where every order has one row")]
        draft.ask("derive", "", "no column identifies the orders", answers)
    name = "order_id" if draft.kind == "orders" else "order_ref"
    if name not in chosen:
        return
    shape = reference_shape(chosen[name].column)
    if shape is None:
        return
    prefix, has_parts = shape
    cells = set(chosen[name].column.filled)
    if has_parts and draft.kind != "orders" and _parts_of_orders(cells):
        pattern, reason = r"(\d+)(?:-\d{1,2})?$", "the number, without the part of a split shipment"
        draft.put("file", "reference_pattern", pattern, reason)
    elif prefix and not has_parts:
        draft.put("file", "reference_pattern", r"(\d+)$", f"the number behind {prefix!r}")


def _parts_of_orders(cells: set[str]) -> bool:
    """References such as 1001-2 beside 1001 or 1001-1: parts of one order, not numbers of their own."""
    bases = [re.sub(r"-\d{1,2}$", "", cell) for cell in cells]
    return len(set(bases)) < len(bases)


def _propose_units(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    """Whole cents or whole units: told by a name, by decimals, or asked."""
    if minor_digits(evidence.currency) == 0:
        return
    money = [choice.column for name, choice in chosen.items() if name in money_fields(draft.kind)]
    split = find_split(evidence.columns) if "split" in draft.tables else None
    money += [split.paid_in, split.paid_out] if split else []
    filled = [column for column in money if any(column.numbers)]
    if not filled or not all(column.is_whole for column in filled) or _shows_decimals(filled, evidence.style):
        return
    if any({"cents", "cent", "minor", "pence", "centimes"} & set(column.words) for column in filled):
        draft.put("file", "amounts_in", "minor", "the columns say so")
        return
    names = ", ".join(column.name for column in filled)
    answers = [("amounts_in", "minor", "whole cents: 1250 is 12.50"), ("amounts_in", "major", "1250 is 1250.00")]
    draft.ask("file", f"columns {names}", "no amount has decimals: are they whole cents?", answers)


def _shows_decimals(columns: Sequence[Column], style: NumberStyle) -> bool:
    return any(style.decimal_mark in strip_symbols(cell) for column in columns for cell in column.filled)


def _propose_skips(draft: Draft, evidence: Evidence, chosen: Chosen) -> None:
    """Rows on which no money moved, by the words of a status column, as declared skips."""
    taken = {choice.column.position for choice in chosen.values()}
    scored = [(name_score(column.words, STATUS), column) for column in evidence.columns]
    for score, column in scored:
        if score < _STATUS_SCORE or column.position in taken or column.distinct > 12:
            continue
        reasons: dict[str, list[str]] = {}
        for word in sorted(set(column.filled)):
            if word.lower() in NOT_BOOKED:
                reasons.setdefault(NOT_BOOKED[word.lower()], []).append(re.escape(word.lower()))
        for reason, words in reasons.items():
            draft.skips.append((column.name, f"^({'|'.join(words)})$", reason))
            draft.notes.append(f"Rows whose {column.name} is {' or '.join(words)} are left out: {reason}.")
            draft.use(column.name, "skip", "says on which rows no money moved")


def _put_columns(draft: Draft, chosen: Chosen) -> None:
    """Columns in the order of the kind's fields; dates were put already."""
    done = draft.tables.pop("columns", {})
    for field in KINDS[draft.kind]:
        if field.name in done:
            draft.tables.setdefault("columns", {})[field.name] = done[field.name]
        elif field.name in chosen:
            draft.map_column(field.name, [chosen[field.name].column.name], chosen[field.name].reason)


def _why_not(column: Column) -> str:
    if column.personal:
        return "looks like a person's data: left in the archived export"
    if column.filled and max(name_score(column.words, COLUMN_WORDS["orders"]["ship_country"]), 0) >= 70:
        return "holds names of countries, not ISO 3166-1 codes"
    if column.shows_decimals:
        return "numbers that no field takes"
    return "no field takes it"
