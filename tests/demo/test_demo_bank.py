"""The bank's lines: each movement has at most one line, amounts are unambiguous, statements state what lines sum to."""

from __future__ import annotations

import re
from collections import Counter
from decimal import Decimal

import pytest
from demo_shop import Shop

from ledger_tools.demo.bank import DEPOSIT, TOP_UP, business_day
from ledger_tools.demo.bank_files import statements
from ledger_tools.demo.scenario import date_of, day_number
from ledger_tools.demo.simulation import Simulation, simulate


@pytest.fixture(scope="module")
def simulation() -> Simulation:
    """What happened in the default demo."""
    return simulate(400, 20310101)


def test_amounts_of_deposits_and_top_ups_are_unique(simulation: Simulation) -> None:
    """No two payouts, deposits or top-ups have the same amount, so amount alone can match them."""
    payouts = (-simulation.events.gross[simulation.events.of_kind("payout")]).tolist()
    top_ups = simulation.wallet.total[simulation.wallet.is_a("top_up")].tolist()
    lines = [abs(line.amount) for line in simulation.bank if line.nature not in (DEPOSIT, TOP_UP, "other")]
    counts = Counter([*payouts, *top_ups, *lines])
    assert [] == [amount for amount, count in counts.items() if count > 1]


def test_lines_are_booked_on_business_days_and_leave_money_in_the_account(simulation: Simulation) -> None:
    """No line is booked on a weekend, and the balance is positive after each."""
    assert all(date_of(line.day).weekday() < 5 for line in simulation.bank)
    balance = 0
    for line in simulation.bank:
        balance += line.amount
        assert balance > 0


def test_payouts_without_a_line_are_the_planted_the_returned_and_those_under_way(simulation: Simulation) -> None:
    """Every other payout is in exactly one deposit; a deposit is what its payouts sum to, and one is of two."""
    events, deposits = simulation.events, [line for line in simulation.bank if line.nature == DEPOSIT]
    arrived = [place for line in deposits for place in line.movements]
    assert len(set(arrived)) == len(arrived) == len(deposits) + 1
    assert [line.amount for line in deposits] == [-int(events.gross[list(line.movements)].sum()) for line in deposits]
    missing = [place for place in range(len(events.at)) if events.of_kind("payout")[place] and place not in arrived]
    numbers = [(int(events.source[place]), int(events.payout[place])) for place in missing]
    assert [(0, simulation.special.returned), (0, simulation.special.missing), (1, 3)] == numbers


def test_business_days_skip_weekends() -> None:
    """A Friday's two business days later is the Tuesday; a Saturday is moved to Monday first."""
    friday = day_number(date_of(2))
    assert (2, 6, 5) == (friday, business_day(friday, 2), business_day(3))


def test_statements_state_what_their_lines_sum_to(shop: Shop, simulation: Simulation) -> None:
    """Closing balances of OFX and camt.053 and the last running balance of the CSV are the truth's."""
    texts = list(statements(simulation.bank).values())
    found = [re.findall(r"<BALAMT>([\d.]+)", text)[0] for text in texts[:2]]
    found.append(re.findall(r"<Cd>CLBD</Cd>.*?<Amt Ccy=\"USD\">([\d.]+)<", texts[2])[0])
    found.append(texts[3].splitlines()[-1].split(",")[-1])
    expected = [accounts["Assets:Bank:Checking"]["USD"] for _, accounts in sorted(shop.truth.balances.items())]
    assert expected == [int(Decimal(text) * 100) for text in found]
