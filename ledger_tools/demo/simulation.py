"""The whole simulation as one value: what happened in the shop, before any file is written."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ledger_tools.demo.bank import BankLine, run_bank
from ledger_tools.demo.clock import days_of
from ledger_tools.demo.draft import day_number_of, draw_orders
from ledger_tools.demo.orders import Orders, Refunds, give_back, price_orders
from ledger_tools.demo.processors import ProcessorEvents, SpecialPayouts, process_payments
from ledger_tools.demo.scenario import MONTH_STARTS, PLACE, WEB
from ledger_tools.demo.wallet import WalletEvents, run_wallet

#: What the shop sends to each state: first and last month of the return (January = 0) and the day it is paid.
_RETURNS = (
    ("US-CO", 0, 0, "2031-02-20"),
    ("US-CO", 1, 1, "2031-03-20"),
    ("US-CO", 2, 2, "2031-04-21"),
    ("US-WA", 0, 2, "2031-04-25"),
    ("US-MN", 0, 2, "2031-04-28"),
)


@dataclass(frozen=True)
class Simulation:
    """Everything that happened: orders, refunds, processor events, wallet events, bank lines."""

    orders: Orders
    refunds: Refunds
    events: ProcessorEvents
    special: SpecialPayouts
    wallet: WalletEvents
    missing_top_up: int
    bank: list[BankLine]

    @property
    def positions(self) -> dict[str, int]:
        """Position of each story's order."""
        return self.orders.draft.positions()


def simulate(count: int, seed: int, progress: Callable[[str], None] = lambda _: None) -> Simulation:
    """Four months of the shop with so many orders; the same seed gives the same months."""
    progress(f"drawing {count} orders")
    orders = price_orders(draw_orders(count, seed))
    refunds = give_back(orders)
    progress("running processors, wallet and bank")
    events, special = process_payments(orders, refunds)
    wallet, missing = run_wallet(orders)
    bank = run_bank(events, special, wallet, missing, tax_returns(orders, refunds))
    return Simulation(orders, refunds, events, special, wallet, missing, bank)


def tax_returns(orders: Orders, refunds: Refunds) -> list[tuple[str, int, int]]:
    """(jurisdiction, day, amount) of each tax return: collected less refunded in its months, in USD cents."""
    returns = []
    refund_day = days_of(refunds.at)
    for jurisdiction, first, last, text in _RETURNS:
        place, start, end = PLACE[jurisdiction], MONTH_STARTS[first], MONTH_STARTS[last + 1]
        by_shop = (orders.draft.place == place) & (orders.draft.channel == WEB)
        collected = orders.tax[by_shop & (orders.day >= start) & (orders.day < end)].sum()
        refunded = refunds.tax[by_shop[refunds.order] & (refund_day >= start) & (refund_day < end)].sum()
        returns.append((jurisdiction, day_number_of(text), int(np.int64(collected - refunded))))
    return returns
