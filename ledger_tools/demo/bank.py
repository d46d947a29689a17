"""Lines of the shop's bank account: deposits of payouts, wallet top-ups, the owner, fees, tax remitted, two strangers.

Fifth stage of the simulator. A few hundred lines at most, so plain values instead of arrays. Amounts are signed
cents; dates are booking days, never on a weekend (holidays are not modelled).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger_tools.demo.clock import days_of
from ledger_tools.demo.draft import day_number_of
from ledger_tools.demo.processors import ProcessorEvents, SpecialPayouts
from ledger_tools.demo.scenario import CARD, DAYS, MONTH_STARTS, date_of
from ledger_tools.demo.wallet import WalletEvents

DEPOSIT, TOP_UP, OTHER, STRAY_DEPOSIT, STRAY_LINE = "deposit", "top-up", "other", "stray deposit", "stray line"

#: Who pays the payouts in, as the bank names them, by source.
PAYERS = ("CARD PROCESSOR SETTLEMENT", "EURO PROCESSOR SETTLEMENT")
PARTNER = "FULFILMENT PARTNER WALLET"
#: Every so many deposits the bank leaves the payout's id out, so that only the amount tells.
_WITHOUT_ID_EVERY = 6
#: Two payouts of the card processor that the bank books as one deposit, whose text names neither.
_TOGETHER = (9, 10)
_STRAY_DEPOSIT = ("2031-03-26", 7319)
_STRAY_LINE = ("2031-04-17", -6425)

_SOFTWARE, _ACCOUNT_FEE = -2900, -1200
_DRAWS = (("2031-02-27", -40_000), ("2031-04-24", -65_000))


@dataclass(frozen=True)
class BankLine:
    """One line of the statement.

    Attributes:
        day: day number of booking.
        amount: signed cents.
        nature: DEPOSIT, TOP_UP, OTHER, STRAY_DEPOSIT or STRAY_LINE.
        account: the other side, for OTHER lines that a rule names.
        movements: positions of the payouts among the processor's events or of the top-up among the wallet's.
    """

    day: int
    amount: int
    counterparty: str
    memo: str
    nature: str = OTHER
    account: str = ""
    movements: tuple[int, ...] = ()


def business_day(day: int, later: int = 0) -> int:
    """The day itself or the next that is no weekend, and so many business days on."""
    while date_of(day).weekday() >= 5:
        day += 1
    for _ in range(later):
        day += 1
        while date_of(day).weekday() >= 5:
            day += 1
    return day


def payout_id(source: int, number: int) -> str:
    """A payout's id as its processor writes it."""
    return f"PO-{1001 + number}" if source == CARD else f"EP-{501 + number}"


def run_bank(
    events: ProcessorEvents,
    special: SpecialPayouts,
    wallet: WalletEvents,
    missing_top_up: int,
    remittances: list[tuple[str, int, int]],
) -> list[BankLine]:
    """The account's lines up to the demo's end, sorted; remittances are (jurisdiction, day, amount owed)."""
    lines = [*_deposits(events, special), *_top_ups(wallet, missing_top_up), *_regular(remittances)]
    lines = [line for line in lines if line.day < DAYS]
    need = _deepest(lines)
    start = business_day(0)
    contribution = 100_000 * (-(min(need, 0)) // 100_000 + 2)
    lines.append(BankLine(start, contribution, "OWNER", "OWNER CONTRIBUTION", account="Equity:OwnerContributions"))
    return sorted(lines, key=lambda line: (line.day, -line.amount, line.memo))


def _deepest(lines: list[BankLine]) -> int:
    changes = np.zeros(DAYS, dtype=np.int64)
    for line in lines:
        changes[line.day] += min(line.amount, 0)
        if line.amount > 0 and line.day + 1 < DAYS:
            changes[line.day + 1] += line.amount
    return int(np.cumsum(changes).min())


def _deposits(events: ProcessorEvents, special: SpecialPayouts) -> list[BankLine]:
    lines: list[BankLine] = []
    held_back: list[int] = []
    payouts = np.flatnonzero(events.of_kind("payout")).tolist()
    days = days_of(events.at)
    for place in payouts:
        source, number = int(events.source[place]), int(events.payout[place])
        if source == CARD and number in (special.returned, special.missing):
            continue
        if source == CARD and number == _TOGETHER[0]:
            held_back = [place]
            continue
        completed = [*held_back, place] if source == CARD and number == _TOGETHER[1] else [place]
        amount = -int(events.gross[completed].sum())
        named = number % _WITHOUT_ID_EVERY != _WITHOUT_ID_EVERY - 2
        memo = f"PAYOUT {payout_id(source, number)}" if named else "PAYOUT"
        day = business_day(int(days[place]), 2)
        lines.append(BankLine(day, amount, PAYERS[source], memo, DEPOSIT, movements=tuple(completed)))
    text, amount = _STRAY_DEPOSIT
    lines.append(BankLine(day_number_of(text), amount, PAYERS[CARD], "PAYOUT PO-7740", STRAY_DEPOSIT))
    return lines


def _top_ups(wallet: WalletEvents, missing: int) -> list[BankLine]:
    lines = []
    days = days_of(wallet.at)
    for number, place in enumerate(np.flatnonzero(wallet.is_a("top_up")).tolist()):
        if number == missing:
            continue
        memo = f"WALLET TOP UP {top_up_id(number)}" if number % 4 != 3 else "WALLET TOP UP"
        day = business_day(int(days[place]), 1)
        lines.append(BankLine(day, -int(wallet.total[place]), PARTNER, memo, TOP_UP, movements=(place,)))
    return lines


def top_up_id(number: int) -> str:
    """A top-up's id as the fulfilment partner writes it."""
    return f"TU-{301 + number}"


def _regular(remittances: list[tuple[str, int, int]]) -> list[BankLine]:
    lines = []
    for month, start in enumerate(MONTH_STARTS[:4]):
        lines.append(
            BankLine(business_day(start), _SOFTWARE, "CHARTROOM SOFTWARE", f"DESIGN SOFTWARE {month + 1}",
                     account="Expenses:Subscriptions")
        )  # fmt: skip
        end = MONTH_STARTS[month + 1] - 1
        while date_of(end).weekday() >= 5:
            end -= 1
        lines.append(BankLine(end, _ACCOUNT_FEE, "BANK", "ACCOUNT FEE", account="Expenses:BankFees"))
    for text, amount in _DRAWS:
        lines.append(BankLine(day_number_of(text), amount, "OWNER", "OWNER DRAW", account="Equity:OwnerDraws"))
    for jurisdiction, day, amount in remittances:
        state = jurisdiction.removeprefix("US-")
        lines.append(
            BankLine(business_day(day), -amount, f"REVENUE OFFICE {state}", f"SALES TAX {state}",
                     account=f"Liabilities:SalesTax:{jurisdiction}")
        )  # fmt: skip
    text, amount = _STRAY_LINE
    lines.append(BankLine(day_number_of(text), amount, "OBSERVATORY DOME HIRE", "INVOICE 5518", STRAY_LINE))
    return lines


#: The shop's rules for bank lines: pattern and account.
RULES = (
    ("CHARTROOM SOFTWARE", "Expenses:Subscriptions"),
    ("ACCOUNT FEE", "Expenses:BankFees"),
    ("OWNER DRAW", "Equity:OwnerDraws"),
    ("OWNER CONTRIBUTION", "Equity:OwnerContributions"),
    ("REVENUE OFFICE CO", "Liabilities:SalesTax:US-CO"),
    ("REVENUE OFFICE WA", "Liabilities:SalesTax:US-WA"),
    ("REVENUE OFFICE MN", "Liabilities:SalesTax:US-MN"),
)
