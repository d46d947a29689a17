"""Bank statements: what OFX, camt.053 and MT940 have in common, and the proof that a statement ties out.

Place in the flow: reader of a format → `Statement` values → canonical CSV in the scratch folder → `typed`, as any other
file. Amounts stay texts with a full stop as decimal mark until they are typed; the proof here is in minor units.
"""

from __future__ import annotations

import csv
import datetime
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import currencies_by_digits, format_amount, parse_amount
from ledger_tools.records import BANK

_HEADER = tuple(field.name for field in BANK)

#: Common practice: a bank makes no statement on a weekend or holiday; beyond a long weekend, an equal balance may be chance.
DAYS_BETWEEN = 4


@dataclass(frozen=True)
class StatementLine:
    """One booked line: the date as the bank wrote it, the amount as signed text."""

    event_id: str
    on: str
    amount: str
    memo: str
    counterparty: str
    currency: str = ""


@dataclass(frozen=True)
class Balance:
    """A balance that a statement states, as signed text.

    Attributes:
        final: it closes or opens a day; an intermediate balance of a page only serves the proof.
    """

    on: str
    amount: str
    final: bool = True


@dataclass(frozen=True)
class Statement:
    """One statement of one account.

    Attributes:
        name: what messages call it.
        first_day, last_day: the span that it says it covers, ISO 8601, or empty.
        opening, closing: where both stand, opening + Σ lines = closing is proved.
        unbooked: lines that the bank lists as pending or expected; they are left out until they are booked.
        interim: a report during a day, without balances; it says nothing about the rest of its days.
        card: it is a credit card's, or a bank account's; None where the format does not say.
    """

    name: str
    account_id: str
    currency: str
    lines: tuple[StatementLine, ...]
    opening: Balance | None = None
    closing: Balance | None = None
    unbooked: int = 0
    first_day: str = ""
    last_day: str = ""
    interim: bool = False
    card: bool | None = None


@dataclass(frozen=True)
class StatementFile:
    """All statements of a file.

    Attributes:
        time_stamp: the moment inside it that says when it was made.
        left_out: each other account whose statements stand in the file too, with the number of their lines.
    """

    statements: tuple[Statement, ...]
    time_stamp: str = ""
    left_out: tuple[tuple[str, int], ...] = ()


def plain_amount(text: str) -> str:
    """An amount as statement formats write it (leading sign, full stop or comma) with a full stop; else unchanged."""
    stripped = text.strip()
    if re.fullmatch(r"[-+]?\d+,\d*|[-+]?,\d+", stripped):
        stripped = stripped.replace(",", ".")
    if re.fullmatch(r"[-+]?(\d+(\.\d*)?|\.\d+)", stripped):
        return stripped.removeprefix("+")
    return text


def negate(amount: str) -> str:
    """The amount text with the other sign."""
    return amount[1:] if amount.startswith("-") else f"-{amount}"


def fold_account(account_id: str) -> str:
    """An account's id as it is compared: without blanks, in capitals."""
    return "".join(account_id.split()).upper()


def one_account(file: StatementFile, path: Path, account_id: str | None) -> StatementFile:
    """The file with the statements of one account alone, the only one that it holds or the one asked for.

    Raises:
        LedgerError: a file without a statement, or with several accounts of which none is asked for.
    """
    if not file.statements:
        raise LedgerError(Problem(path.name, "holds no statement", "export the statement again"))
    accounts = sorted({statement.account_id for statement in file.statements})
    if len(accounts) == 1:
        return file
    wanted = None if account_id is None else fold_account(account_id)
    kept = tuple(each for each in file.statements if fold_account(each.account_id) == wanted)
    if not kept:
        expected = "one account a file" if account_id is None else f"the account {account_id} of the source among them"
        found = f"holds statements of {len(accounts)} accounts ({', '.join(accounts)}), expected {expected}"
        step = "set account_id under [[source]] in shop.toml to the one that the source is, or export each to a file of its own"
        raise LedgerError(Problem(path.name, found, step))
    others = tuple(
        (account, sum(len(each.lines) + each.unbooked for each in file.statements if each.account_id == account))
        for account in accounts
        if fold_account(account) != wanted
    )
    return replace(file, statements=kept, left_out=others)


def find_differences(file: StatementFile, path: Path) -> list[Problem]:
    """Statements whose opening balance and lines don't sum to their closing balance."""
    problems = []
    for statement in file.statements:
        where = f"{path.name}, {statement.name}"
        if statement.currency not in currencies_by_digits():
            problems.append(Problem(where, f"found the currency {statement.currency!r}, expected an ISO 4217 code"))
            continue
        amounts = [(f"balance on {each.on}", each.amount) for each in (statement.opening, statement.closing) if each]
        amounts += [(f"line {place}", line.amount) for place, line in enumerate(statement.lines, start=1)]
        unreadable = [entry for entry in amounts if _units(entry[1], statement.currency) is None]
        for label, text in unreadable:
            what = f"found {text[:40]!r}, expected an amount in {statement.currency}"
            problems.append(Problem(f"{where}, {label}", what, "ask the bank for the statement again"))
        if unreadable or statement.opening is None or statement.closing is None:
            continue
        opening, closing = (_units(each.amount, statement.currency) for each in (statement.opening, statement.closing))
        moved = sum(_units(line.amount, statement.currency) or 0 for line in statement.lines)
        assert opening is not None, "unreadable amounts were listed above"
        assert closing is not None, "unreadable amounts were listed above"
        if opening + moved != closing:
            shown = [format_amount(each, statement.currency) for each in (opening, moved, closing)]
            difference = format_amount(closing - opening - moved, statement.currency)
            what = (
                f"found lines of {shown[1]} between the balances {shown[0]} and {shown[2]} {statement.currency}, "
                f"expected them to sum to the change: {difference} is missing"
            )
            problems.append(Problem(where, what, "lines are lost or doubled: export the statement again"))
    return problems


def write_canonical(file: StatementFile, scratch: Path) -> Path:
    """The lines of all statements as a CSV with canonical field names."""
    target = scratch / "statement.csv"
    with target.open("w", encoding="utf-8", newline="") as out:
        writer = csv.writer(out, lineterminator="\n")
        writer.writerow(_HEADER)
        for statement in file.statements:
            for line in statement.lines:
                currency = line.currency or statement.currency
                writer.writerow((line.event_id, line.on, line.amount, currency, line.memo, line.counterparty, ""))
    return target


def stated_balances(file: StatementFile) -> list[tuple[datetime.date, int, str, bool]]:
    """Every final balance of the file as (end of day, minor units, currency, whether it is an opening one), one a day of each.

    Some banks date the opening balance on the first day of the statement, others on the day before: it is the balance
    at the end of the day before. One that is dated as the closing balance is may be of the middle of that day, where the
    bank makes several statements a day, and is left out. Of several statements of a day that one closes it with whose
    closing balance no other one opens.
    """
    opening: dict[tuple[datetime.date, str], int] = {}
    closing: dict[tuple[datetime.date, str], int] = {}
    within = {
        (parse_day(each.opening.on), each.currency, _units_of(each.opening, each.currency))
        for each in file.statements
        if each.opening
    }
    for statement in file.statements:
        first, last = _span_of(statement)
        for balance, found in ((statement.opening, opening), (statement.closing, closing)):
            day = parse_day(balance.on) if balance else None
            units = _units_of(balance, statement.currency)
            if day is None or units is None:
                continue
            if found is opening and first is not None and day >= first:
                if day == last:
                    continue
                day = first - datetime.timedelta(days=1)
            if found is closing and (day, statement.currency) in found and (day, statement.currency, units) in within:
                continue
            found[(day, statement.currency)] = units
    told = [(day, units, currency, True) for (day, currency), units in opening.items()]
    told += [(day, units, currency, False) for (day, currency), units in closing.items()]
    return sorted(told)


def spans(file: StatementFile) -> tuple[tuple[datetime.date, datetime.date], ...]:
    """Spans of days without a gap that the statements cover, both ends included.

    A statement goes on from the one before it where it opens with the balance that the other closed with, though days lie
    between: a bank may make none while nothing is booked. Nothing says as little as zero, which goes on over a long weekend
    only.
    """
    dated = [(first, last, each) for each in file.statements for first, last in [_span_of(each)] if first and last]
    found: list[tuple[datetime.date, datetime.date]] = []
    before: dict[str, tuple[datetime.date, int | None]] = {}
    for first, last, statement in sorted(dated, key=lambda each: each[:2]):
        reached, closed = before.get(statement.currency, (first, None))
        opened = _units_of(statement.opening, statement.currency)
        if closed is not None and closed == opened and (opened or (first - reached).days <= DAYS_BETWEEN + 1):
            first = min(first, reached + datetime.timedelta(days=1))
        if found and first <= found[-1][1] + datetime.timedelta(days=1):
            found[-1] = (found[-1][0], max(found[-1][1], last))
        else:
            found.append((first, last))
        if last >= reached:
            before[statement.currency] = (last, _units_of(statement.closing, statement.currency))
    return tuple(found)


def _span_of(statement: Statement) -> tuple[datetime.date | None, datetime.date | None]:
    """First and last day of a statement: its own dates, widened by its lines.

    An opening balance is the closing one of the statement before, with its date (MT940 :60F:, camt.053 PRCD), so that
    nothing was booked from the day after it on. Where a bank dates it on the first day itself (camt.053 OPBD), the
    statement may begin that day: its lines tell, or the equal balance of the one before.
    """
    texts = (statement.first_day, statement.last_day, *(line.on for line in statement.lines))
    days = [day for day in map(parse_day, texts) if day is not None]
    opened = parse_day(statement.opening.on) if statement.opening and statement.opening.final else None
    if opened is not None and days and opened < max(days):
        days.append(opened + datetime.timedelta(days=1))
    return (min(days), max(days)) if days else (None, None)


def parse_day(text: str) -> datetime.date | None:
    """The date that a text starts with in ISO 8601, or None."""
    try:
        return datetime.date.fromisoformat(text[:10])
    except ValueError:
        return None


def join_texts(texts: Sequence[str]) -> str:
    """Texts as one, blanks folded, repetitions left out."""
    folded = [" ".join(text.split()) for text in texts if text and text.strip()]
    return " ".join(dict.fromkeys(folded))


def _units_of(balance: Balance | None, currency: str) -> int | None:
    """The minor units of a final balance."""
    return _units(balance.amount, currency) if balance and balance.final else None


def _units(text: str, currency: str) -> int | None:
    try:
        return parse_amount(text, currency)
    except LedgerError:
        return None
