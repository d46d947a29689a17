"""SWIFT MT940 statements (and MT942 interim reports): tagged lines of fixed-width parts.

Place in the flow: file → `StatementFile`. Several statements may stand in one file; pages with the intermediate
balances :60M: and :62M: are statements of their own and proved one by one. An interim report has no balances: where it
states the number and sum of its entries (:90D:, :90C:), these are proved. Lines of a report that a statement of the same
file holds too are one set of lines. Dates stay as the bank wrote them.
"""

from __future__ import annotations

import datetime
import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal
from pathlib import Path

from importers.statements import Balance, Statement, StatementFile, StatementLine, join_texts, negate, plain_amount
from ledger_tools.errors import LedgerError, Problem

_TAG = re.compile(r":(\d{2}[A-Z]?|NS):(.*)", re.DOTALL)
#: Days; a day of the year lies no further from any date in the year nearest to it.
_HALF_A_YEAR = 183
_BALANCE = re.compile(r"([CD])(\d{2})(\d{2})(\d{2})([A-Z]{3})([\d,]+)")
_PLAIN = re.compile(r"-?\d+(\.\d*)?")
_SUM = re.compile(r"(\d{1,5})([A-Z]{3})([\d,]+)")
_LINE = re.compile(
    r"(?P<year>\d{2})(?P<month>\d{2})(?P<day>\d{2})(?:(?P<booked>\d{4})|    )?(?P<sign>R?[CD])(?P<funds>[A-Z])?"
    r"(?P<amount>\d[\d,]*)(?P<type>[A-Z][A-Z0-9]{3})(?P<own>[^\n]*?)(?://(?P<bank>[^\n]*))?(?:\n(?P<more>.*))?",
    re.DOTALL,
)
_AGAIN = "ask the bank for the statement again"
#: Tags that only an interim report (MT942) has.
_INTERIM_TAGS = frozenset({"13", "13D", "34F", "90C", "90D"})


@dataclass
class _Open:
    """A statement while its tags are read; `sums` holds what an interim report states by "C" and "D"."""

    account_id: str = ""
    number: str = ""
    currency: str = ""
    opening: Balance | None = None
    closing: Balance | None = None
    unbooked: int = 0
    reversals: int = 0
    booked_last: bool = False
    interim: bool = False
    sums: dict[str, str] = field(default_factory=dict)
    lines: list[StatementLine] = field(default_factory=list)


def read_mt940(path: Path) -> StatementFile:
    """The statements of an MT940 file.

    Raises:
        LedgerError: not MT940, or a tag that can't be read.
    """
    data = path.read_bytes()
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
    problems: list[Problem] = []
    statements = _once(list(_statements(text, path.name, problems)))
    if problems:
        raise LedgerError(problems)
    if not statements:
        raise LedgerError(Problem(path.name, "is not MT940: no tag :20: was found", "export the statement again"))
    return StatementFile(tuple(statements))


def _tags(text: str) -> Iterator[tuple[str, str]]:
    """Each tag with its value; the lines of a value stay apart. Block headers, trailers and "-" end a value."""
    tag, parts = "", list[str]()
    for raw in text.replace("\r\n", "\n").replace("\r", "\n").split("\n"):
        line = re.sub(r"^(\{[^:{}]+:[^{}]*\})*\{4:", "", raw.strip("\x01\x03 "))
        ends = line.startswith(("{", "-}")) or line == "-"
        found = _TAG.match(line)
        if (found or ends) and tag:
            yield tag, "\n".join(parts)
            tag = ""
        if found:
            tag, parts = found[1], [found[2]]
        elif tag and line:
            parts.append(line)
    if tag:
        yield tag, "\n".join(parts)


def _statements(text: str, file: str, problems: list[Problem]) -> Iterator[Statement]:
    current: _Open | None = None
    place = 0
    for tag, value in _tags(text):
        if tag == "20":
            if current:
                yield _close(current, f"{file}, statement {place}", place, problems)
            current, place = _Open(), place + 1
        if current is None:
            continue
        where = f"{file}, statement {place}"
        current.interim = current.interim or tag in _INTERIM_TAGS
        if tag in ("25", "25P"):
            current.account_id = value.split("\n")[0].strip()
        elif tag in ("28C", "28"):
            current.number = value.strip()
        elif tag in ("60F", "60M", "62F", "62M"):
            balance = _balance(value, current, f"{where}, :{tag}:", problems, tag.endswith("F"))
            if tag.startswith("60"):
                current.opening = current.opening or balance
            else:
                current.closing = balance
        elif tag == "34F" and not current.currency:
            current.currency = value[:3]
        elif tag in ("90C", "90D"):
            current.sums[tag[2]] = value.strip()
        elif tag == "61":
            current.booked_last = not re.match(r"\d{6}(\d{4})?E[CD]", value)
            if not current.booked_last:
                current.unbooked += 1
                continue
            line = _line(value, f"{where}, line {len(current.lines) + 1}", problems)
            if line:
                current.lines.append(line)
                current.reversals += bool(re.match(r"[\d ]*R", value))
        elif tag == "86" and current.lines and current.booked_last and not current.closing:
            last = current.lines[-1]
            memo, party = _information(value)
            current.lines[-1] = StatementLine(last.event_id, last.on, last.amount, join_texts([memo, last.memo]), party)
    if current:
        yield _close(current, f"{file}, statement {place}", place, problems)


def _close(current: _Open, where: str, place: int, problems: list[Problem]) -> Statement:
    missing = [tag for tag, balance in ((":60F:", current.opening), (":62F:", current.closing)) if balance is None]
    if missing and not (current.interim and len(missing) == 2):
        what = f"has no {' and no '.join(missing)}, expected the balances that its lines lead from and to"
        problems.append(Problem(where, what, "the file is cut off: export the statement again"))
    if current.sums and not current.unbooked and not current.reversals:
        problems += _sum_problems(current, where)
    number = f" ({current.number})" if current.number else ""
    return Statement(
        name=f"statement {place}{number}",
        account_id=current.account_id,
        currency=current.currency,
        lines=tuple(current.lines),
        opening=current.opening,
        closing=current.closing,
        unbooked=current.unbooked,
        interim=current.interim and current.closing is None,
        last_day=current.closing.on if current.closing and current.closing.final else "",
    )


def _sum_problems(current: _Open, where: str) -> list[Problem]:
    """Entries of an interim report that are not as many, or not as much, as it states."""
    problems = []
    for side, text in sorted(current.sums.items()):
        stated = _SUM.fullmatch(text)
        amounts = [line.amount for line in current.lines if line.amount.startswith("-") == (side == "D")]
        total = sum((Decimal(amount) for amount in amounts if _PLAIN.fullmatch(amount)), Decimal(0))
        found = f"{len(amounts)} entries of {abs(total)}"
        if stated is None or (len(amounts), abs(total)) != (int(stated[1]), Decimal(plain_amount(stated[3]))):
            what = f"found {found}, expected {text[:40]!r}"
            problems.append(Problem(f"{where}, :90{side}:", what, "lines are lost or doubled: export it again"))
    return problems


def _once(statements: Sequence[Statement]) -> list[Statement]:
    """The statements, with those lines taken out of interim reports that a statement of the file holds as well."""
    booked = Counter(
        (statement.account_id, line.on, line.amount)
        for statement in statements
        if not statement.interim
        for line in statement.lines
    )
    kept = []
    for statement in statements:
        lines = []
        for line in statement.lines:
            key = (statement.account_id, line.on, line.amount)
            if statement.interim and booked[key]:
                booked[key] -= 1
            else:
                lines.append(line)
        kept.append(replace(statement, lines=tuple(lines)))
    return kept


def _balance(value: str, current: _Open, where: str, problems: list[Problem], final: bool) -> Balance | None:
    found = _BALANCE.fullmatch(value.strip())
    if not found:
        problems.append(Problem(where, f"found {value[:60]!r}, expected a balance such as C310430EUR1000,00", _AGAIN))
        return None
    sign, year, month, day, currency, amount = found.groups()
    current.currency = current.currency or currency
    if current.currency != currency:
        problems.append(
            Problem(where, f"found {currency}, expected the statement's currency {current.currency}", _AGAIN)
        )
    plain = plain_amount(amount)
    return Balance(f"{_century(year)}-{month}-{day}", plain if sign == "C" else negate(plain), final)


def _line(value: str, where: str, problems: list[Problem]) -> StatementLine | None:
    found = _LINE.fullmatch(value.strip())
    if not found:
        problems.append(
            Problem(f"{where}, :61:", f"found {value[:60]!r}, expected date, sign, amount and type", _AGAIN)
        )
        return None
    parts = found.groupdict(default="")
    plain = plain_amount(parts["amount"])
    credit = parts["sign"] in ("C", "RD")
    own, bank = parts["own"].strip(), parts["bank"].strip()
    return StatementLine(
        event_id=bank or ("" if own == "NONREF" else own),
        on=_booking_day(parts),
        amount=plain if credit else negate(plain),
        memo=join_texts([parts["more"], "" if own == "NONREF" else own]),
        counterparty="",
    )


def _booking_day(parts: dict[str, str]) -> str:
    """The booking date (month and day, in the year nearest to the value date), else the value date."""
    year, month, day = int(_century(parts["year"])), parts["month"], parts["day"]
    if not parts["booked"]:
        return f"{year}-{month}-{day}"
    booked = [f"{each}-{parts['booked'][:2]}-{parts['booked'][2:]}" for each in (year, year - 1, year + 1)]
    value_day = _day_number(f"{year}-{month}-{day}")
    distances = [(abs(number - value_day), text) for text in booked if (number := _day_number(text)) and value_day]
    distance, nearest = min(distances, default=(_HALF_A_YEAR + 1, ""))
    # a day that no calendar has stays as written, for the reader of rows to refuse
    return nearest if distance <= _HALF_A_YEAR else booked[0]


def _day_number(text: str) -> int:
    """A number that grows by one from day to day; 0 for a day that no calendar has."""
    try:
        return datetime.date.fromisoformat(text).toordinal()
    except ValueError:
        return 0


def _century(year: str) -> str:
    return f"{'19' if int(year) >= 80 else '20'}{year}"


def _information(value: str) -> tuple[str, str]:
    """Text and counterparty of a tag :86:, whether structured by ?20-style or /NAME/-style subfields or free."""
    joined = value.replace("\n", "")
    fields = re.findall(r"\?(\d{2})([^?]*)", joined)
    if fields:
        texts = [text for code, text in fields if "20" <= code <= "29" or "60" <= code <= "63" or code == "00"]
        party = "".join(text for code, text in fields if code in ("32", "33"))
        return join_texts(["".join(texts[:1]), "".join(texts[1:])]), party.strip()
    party_field = re.search(r"/NAME/([^/]*)", joined)
    return value.replace("\n", " "), party_field[1].strip() if party_field else ""
