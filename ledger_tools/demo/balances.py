"""Balances of the accounts that somebody outside states, and of the control accounts, at the end of each month.

Plain sums of the simulation's events by date. Minor units of the currency that is held, debit positive. The stray
deposit (a planted fault) is in the bank's balance and in no other, because where it belongs is for a person to say.
"""

from __future__ import annotations

import numpy as np

from ledger_tools.demo.bank import DEPOSIT, TOP_UP
from ledger_tools.demo.clock import Whole, days_of
from ledger_tools.demo.orders import Flags
from ledger_tools.demo.processors import NONE
from ledger_tools.demo.scenario import CARD, CURRENCIES, EUR, EURO, MARKETPLACE, MONTH_STARTS, USD, date_of
from ledger_tools.demo.simulation import Simulation

_BALANCE_ACCOUNTS = ("Assets:Processor:CardProcessor", "Assets:Processor:EuroProcessor")


def month_end_balances(simulation: Simulation) -> dict[str, dict[str, dict[str, int]]]:
    """Month's last day → account → currency → balance."""
    order_day, event_day = simulation.orders.day, days_of(simulation.events.at)
    wallet_day, refund_day = days_of(simulation.wallet.at), days_of(simulation.refunds.at)
    balances = {}
    for end in MONTH_STARTS[1:]:
        balances[date_of(end - 1).isoformat()] = {
            **_held(simulation, event_day < end),
            "Assets:Wallet:FulfilmentWallet": {"USD": int(simulation.wallet.change[wallet_day < end].sum())},
            **_bank_side(simulation, end, event_day < end, wallet_day < end),
            "Assets:Clearing:Orders": _clearing(simulation, order_day < end, event_day < end),
            "Liabilities:GiftCards": {"USD": _gift_cards(simulation, order_day < end, refund_day < end)},
            "Liabilities:MarketplaceTax": {
                "USD": _marketplace(simulation, order_day < end, event_day < end, refund_day < end)
            },
        }
    return balances


def _held(simulation: Simulation, past: Flags) -> dict[str, dict[str, int]]:
    events = simulation.events

    def held(source: int, currency: int) -> int:
        return int(events.net[past & (events.source == source) & (events.currency == currency)].sum())

    opened = events.of_kind("dispute")
    settled = events.of_kind("dispute_won")
    lost = np.unique(events.order[past & events.of_kind("dispute_lost")])
    disputed = -events.gross[past & opened].sum() - events.gross[past & settled].sum()
    disputed += events.gross[past & opened & np.isin(events.order, lost)].sum()
    reserve = events.gross[past & events.of_kind("reserve_hold", "reserve_release")].sum()
    return {
        _BALANCE_ACCOUNTS[CARD]: {"USD": held(CARD, USD)},
        _BALANCE_ACCOUNTS[EURO]: {"EUR": held(EURO, EUR), "USD": held(EURO, USD)},
        "Assets:Reserve:CardProcessor": {"USD": -int(reserve)},
        "Assets:Disputed": {"USD": int(disputed)},
    }


def _bank_side(simulation: Simulation, end: int, past: Flags, wallet_past: Flags) -> dict[str, dict[str, int]]:
    events, wallet = simulation.events, simulation.wallet
    lines = [line for line in simulation.bank if line.day < end]
    sent = -events.gross[past & events.of_kind("payout", "payout_returned")].sum()
    arrived = sum(line.amount for line in lines if line.nature == DEPOSIT)
    filled = wallet.total[wallet_past & wallet.is_a("top_up")].sum()
    paid = -sum(line.amount for line in lines if line.nature == TOP_UP)
    return {
        "Assets:Bank:Checking": {"USD": sum(line.amount for line in lines)},
        "Assets:InTransit:Payouts": {"USD": int(sent) - arrived},
        "Assets:InTransit:TopUps": {"USD": paid - int(filled)},
    }


def _clearing(simulation: Simulation, placed: Flags, past: Flags) -> dict[str, int]:
    orders, events = simulation.orders, simulation.events
    charges = past & events.of_kind("charge")
    foreign = events.charged_currency != NONE
    currency = np.where(foreign, events.charged_currency, events.currency)
    amount = np.where(foreign, events.charged, events.gross)
    owed = orders.total - orders.gift_paid
    return {
        name: int(_sum(owed, placed & (orders.currency == code)) - _sum(amount, charges & (currency == code)))
        for code, name in enumerate(CURRENCIES)
    }


def _sum(values: Whole, chosen: Flags) -> int:
    return int(values[chosen].sum())


def _gift_cards(simulation: Simulation, placed: Flags, refunded: Flags) -> int:
    orders, refunds = simulation.orders, simulation.refunds
    given = _sum(refunds.amount, refunded & (refunds.to_gift_card > 0))
    return _sum(orders.gift_paid, placed) - _sum(orders.gift_cards, placed) - given


def _marketplace(simulation: Simulation, placed: Flags, past: Flags, refunded: Flags) -> int:
    orders, events, refunds = simulation.orders, simulation.events, simulation.refunds
    there = orders.draft.channel == MARKETPLACE
    collected = _sum(orders.tax, placed & there) - _sum(refunds.tax, refunded & there[refunds.order])
    return -collected - _sum(events.gross, past & events.of_kind("tax_withheld"))
