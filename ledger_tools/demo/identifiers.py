"""How each export writes the ids of its records: number and prefix, for the export files and for the truth alike."""

from __future__ import annotations

import numpy as np

from ledger_tools.demo.clock import Whole
from ledger_tools.demo.processors import UNKNOWN_ORDER_NUMBER as UNKNOWN_PAID_NUMBER
from ledger_tools.demo.processors import ProcessorEvents
from ledger_tools.demo.scenario import CARD, FIRST_ORDER_NUMBER
from ledger_tools.demo.wallet import UNKNOWN_ORDER, WalletEvents
from ledger_tools.demo.wallet import UNKNOWN_ORDER_NUMBER as UNKNOWN_MADE_NUMBER

_FIRST_EVENT = 10_000_001
FIRST_TOP_UP = 301
EVENT_PREFIX = ("C", "U")
_FIRST_PAYMENT = 70_000_001


def order_id(position: int) -> str:
    """The shop's number of the order at a position."""
    return str(FIRST_ORDER_NUMBER + position)


def order_numbers(positions: Whole, unknown: int) -> Whole:
    """The shop's numbers of orders; `unknown` for the order that the shop does not know."""
    return np.where(positions == UNKNOWN_ORDER, unknown, FIRST_ORDER_NUMBER + positions)


def payment_numbers(payments: Whole) -> Whole:
    """Numbers of payments, which follow no order number; conversions come out below all payments."""
    return _FIRST_PAYMENT + 3 * payments


def processor_event_numbers(events: ProcessorEvents) -> Whole:
    """Numbers of processor events: counted apart for each source."""
    on_card = events.source == CARD
    return _FIRST_EVENT + np.where(on_card, np.cumsum(on_card), np.cumsum(~on_card)) - 1


def processor_event_id(events: ProcessorEvents, place: int) -> str:
    """The id that the processor gives an event."""
    return f"{EVENT_PREFIX[events.source[place]]}{processor_event_numbers(events)[place]}"


def wallet_event_numbers(wallet: WalletEvents) -> Whole:
    """Numbers of wallet events: top-ups are counted apart from the others."""
    top_up = wallet.is_a("top_up")
    return np.where(top_up, FIRST_TOP_UP + np.cumsum(top_up), _FIRST_EVENT + np.cumsum(~top_up)) - 1


def wallet_event_id(wallet: WalletEvents, place: int) -> str:
    """The id that the fulfilment partner gives an event."""
    prefix = "TU-" if wallet.is_a("top_up")[place] else "W"
    return f"{prefix}{wallet_event_numbers(wallet)[place]}"


__all__ = [
    "EVENT_PREFIX",
    "FIRST_TOP_UP",
    "UNKNOWN_MADE_NUMBER",
    "UNKNOWN_PAID_NUMBER",
    "order_id",
    "order_numbers",
    "payment_numbers",
    "processor_event_id",
    "processor_event_numbers",
    "wallet_event_id",
    "wallet_event_numbers",
]
