"""Opening balances out of an accountant's trial balance: a CSV file becomes one entry of `hand.beancount`.

The file has a row for each account, with a column `account` and either `debit` and `credit` or `balance` (debit
positive). A name is an account of ours (`Assets:Bank:Checking`), or the accountant's own with a `type` (asset, liability,
equity, income, expense) that says under which root it stands, or any with `our_account`. Lines that begin with `#` and a
row of totals are skipped. Amounts become minor units of the base currency.
"""

from __future__ import annotations

import csv
import datetime
import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from ledger_tools.accounts import ACCOUNT_PATTERN, account_part
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount, parse_amount

#: What the `type` column may say, with the root that it means.
TYPES: Mapping[str, str] = {
    **dict.fromkeys(("asset", "assets"), "Assets"),
    **dict.fromkeys(("liability", "liabilities"), "Liabilities"),
    **dict.fromkeys(("equity",), "Equity"),
    **dict.fromkeys(("income", "revenue"), "Income"),
    **dict.fromkeys(("expense", "expenses"), "Expenses"),
}

COLUMNS = ("account", "our_account", "type", "debit", "credit", "balance")
_TOTAL = re.compile(r"(grand )?totals?\Z", re.IGNORECASE)
_GROUPED = re.compile(r"-?\d{1,3}(,\d{3})+(\.\d*)?\Z")
_ACCOUNT_WIDTH, _NUMBER_WIDTH = 46, 14


@dataclass(frozen=True)
class OpeningLine:
    """Balance of one account in minor units, debit positive; `name` is what the accountant calls it."""

    account: str
    name: str
    amount: int


@dataclass(frozen=True)
class OpeningBalances:
    """A trial balance that balances, as of the end of a day."""

    as_of: datetime.date
    currency: str
    lines: tuple[OpeningLine, ...]

    @property
    def total(self) -> int:
        """Sum of the debits, which is that of the credits."""
        return sum(line.amount for line in self.lines if line.amount > 0)

    def as_entry(self) -> str:
        """The balances as one entry of beancount text, each line with the accountant's own name beside it."""
        lines = [f'\n{self.as_of} * "Opening balances from the trial balance"\n']
        for line in self.lines:
            number = format_amount(line.amount, self.currency)
            told = "" if line.name == line.account else f"  ; {line.name}"
            lines.append(f"  {line.account:<{_ACCOUNT_WIDTH}}{number:>{_NUMBER_WIDTH}} {self.currency}{told}\n")
        return "".join(lines)


def read_trial_balance(file: Path, as_of: datetime.date, currency: str) -> OpeningBalances:
    """The trial balance in a CSV file.

    Raises:
        LedgerError: every row that can't be read, columns that are missing, or a difference of debits and credits.
    """
    rows = _read_rows(file)
    problems: list[Problem] = []
    lines: list[OpeningLine] = []
    for number, row in rows:
        where = f"{file.name}, line {number}"
        try:
            line = _read_line(row, where, currency)
        except LedgerError as trouble:
            problems += trouble.problems
            continue
        if line is not None:
            lines.append(line)
    problems += _doubled(file, lines)
    if not problems and not lines:
        problems.append(Problem(file.name, "holds no balance", "give a row for each account with a balance"))
    left = sum(line.amount for line in lines)
    if left and not problems:
        side = "debits are more than credits" if left > 0 else "credits are more than debits"
        what = f"does not balance: {side} by {format_amount(abs(left), currency)} {currency}"
        problems.append(Problem(file.name, what, "mend the row that is wrong or missing; nothing was taken over"))
    if problems:
        raise LedgerError(problems)
    return OpeningBalances(as_of, currency, tuple(lines))


def _read_rows(file: Path) -> list[tuple[int, dict[str, str]]]:
    """Rows by the names of `COLUMNS`, each with the number of its line; comments and blank rows are left out."""
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError:
        raise LedgerError(Problem(file.name, "is not UTF-8 text", "save it as CSV in UTF-8")) from None
    reader = csv.reader(io.StringIO(text, newline=""))
    header: list[str] | None = None
    rows = []
    try:
        for cells in reader:
            if not any(cell.strip() for cell in cells) or cells[0].lstrip().startswith("#"):
                continue
            if header is None:
                header = [cell.strip().lower().replace(" ", "_") for cell in cells]
                continue
            told = {name: cell.strip() for name, cell in zip(header, cells, strict=False) if name in COLUMNS}
            rows.append((reader.line_num, told))
    except csv.Error as trouble:
        raise LedgerError(Problem(f"{file.name}, line {reader.line_num}", f"is no CSV: {trouble}")) from None
    found = header or []
    if "account" not in found or not ("balance" in found or {"debit", "credit"} <= set(found)):
        what = f"has the columns {', '.join(found) or 'none'}"
        raise LedgerError(Problem(file.name, what, "name them account, and debit and credit, or balance"))
    return rows


def _read_line(row: Mapping[str, str], where: str, currency: str) -> OpeningLine | None:
    """One row; None for a zero balance and for a row of totals that agree.

    Raises:
        LedgerError: what can't be read, with the column.
    """
    name = row.get("account", "")
    sides = [_amount(row.get(column, ""), f"{where}, {column}", currency) for column in ("debit", "credit", "balance")]
    debit, credit, balance = sides
    if _TOTAL.match(name) and not row.get("our_account"):
        if debit != credit or balance:
            raise LedgerError(Problem(where, "is a row of totals that differ", "mend the file, or take the row out"))
        return None
    if sum(1 for side in sides if side) > 1:
        raise LedgerError(Problem(where, "has an amount on both sides", "give the balance on one of them"))
    account = _account(row, where)
    amount = debit - credit + balance
    told = "".join(letter if letter.isprintable() else " " for letter in name)
    return OpeningLine(account, " ".join(told.split()), amount) if amount else None


def _amount(text: str, where: str, currency: str) -> int:
    """Minor units of a cell; blank or a dash is zero, brackets are a minus, commas may stand at the thousands."""
    plain = text.replace("$", "").strip()
    if plain in ("", "-", "–"):
        return 0
    if plain.startswith("(") and plain.endswith(")"):
        plain = f"-{plain[1:-1].strip()}"
    if _GROUPED.match(plain):
        plain = plain.replace(",", "")
    try:
        return parse_amount(plain, currency)
    except LedgerError as trouble:
        raise LedgerError(
            [Problem(where, f"{problem.where} {problem.what}", "write it like 1204.50") for problem in trouble.problems]
        ) from None


def _account(row: Mapping[str, str], where: str) -> str:
    """Our account of a row: the one that it names, else the accountant's name under the root of its type."""
    name, ours, kind = row.get("account", ""), row.get("our_account", ""), row.get("type", "").lower()
    if ours or ACCOUNT_PATTERN.match(name):
        account = ours or name
        if not ACCOUNT_PATTERN.match(account):
            what = f"our_account {account!r} is no account name"
            raise LedgerError(Problem(where, what, "write it like Assets:Bank:Checking"))
        return account
    if not name:
        raise LedgerError(Problem(f"{where}, account", "is blank", "name the account"))
    if kind not in TYPES:
        what = f"nothing says what {name!r} is" if not kind else f"type {kind!r} is unknown"
        step = f"add a column type with one of {', '.join(dict.fromkeys(TYPES))}, or our_account"
        raise LedgerError(Problem(where, what, step))
    part = re.sub(r"[^A-Za-z0-9-]", "", account_part(name)) or "Other"
    return f"{TYPES[kind]}:{part if part[0].isupper() or part[0].isdigit() else 'X' + part}"


def _doubled(file: Path, lines: list[OpeningLine]) -> list[Problem]:
    """Rows that would give one account."""
    first: dict[str, str] = {}
    problems = []
    for line in lines:
        if line.account in first:
            what = f"{first[line.account]!r} and {line.name!r} both give {line.account}"
            problems.append(Problem(file.name, what, "give one of them another our_account"))
        first.setdefault(line.account, line.name)
    return problems
