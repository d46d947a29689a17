"""What foreign amounts are worth in the base currency: the one rule of the demo's truth.

The amounts of an entry are taken in the entry's order, debits positive; they sum to zero. The value of each is the
difference between two roundings (half up) of the running sum times the rate, so that the values sum to zero too.

One rate an order. Settled in dollars at the processor: what its charge brought, over what the customer paid. Held in
euros: the latest rate known at or before the order's date, from the shop's stated rates and from conversions.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger_tools.demo.clock import Whole
from ledger_tools.demo.orders import Orders
from ledger_tools.demo.processors import ProcessorEvents
from ledger_tools.demo.scenario import (
    CAD,
    CANADA_RATES,
    EUR,
    EURO,
    EURO_RATES,
    MONTH_STARTS,
    RATE_SCALE,
)


@dataclass(frozen=True)
class Rates:
    """Base units for one foreign unit, order by order, as a fraction."""

    numerator: Whole
    denominator: Whole

    def of(self, orders: Whole) -> Rates:
        """The rates of some orders."""
        return Rates(self.numerator[orders], self.denominator[orders])


def round_half_up(numerator: Whole, denominator: Whole) -> Whole:
    """Quotients rounded to the nearest whole; an exact half goes away from zero."""
    magnitude: Whole = (2 * np.abs(numerator) + denominator) // (2 * denominator)
    return np.where(numerator < 0, -magnitude, magnitude)


def values_of_entry(amounts: list[Whole], rates: Rates) -> list[Whole]:
    """Value of each amount of entries (one array a line, one element an entry)."""
    values = []
    running = np.zeros_like(rates.numerator)
    valued = np.zeros_like(rates.numerator)
    for amount in amounts:
        running = running + amount
        reached = round_half_up(running * rates.numerator, rates.denominator)
        values.append(reached - valued)
        valued = reached
    return values


def rates_of_orders(orders: Orders, events: ProcessorEvents) -> Rates:
    """The rate of each order; 1 for those in the base currency."""
    numerator = np.ones(orders.draft.count, dtype=np.int64)
    denominator = np.ones(orders.draft.count, dtype=np.int64)
    month = np.searchsorted(np.array(MONTH_STARTS), orders.day, side="right") - 1
    in_canada = orders.currency == CAD
    numerator[in_canada] = np.array(CANADA_RATES)[month[in_canada]]
    denominator[in_canada] = RATE_SCALE
    charges = events.of_kind("charge") & (events.charged_currency == CAD)
    numerator[events.order[charges]] = events.gross[charges]
    denominator[events.order[charges]] = events.charged[charges]
    in_euro = orders.currency == EUR
    numerator[in_euro] = np.array(EURO_RATES)[month[in_euro]]
    denominator[in_euro] = RATE_SCALE
    conversions = events.of_kind("conversion") & (events.source == EURO)
    sold = -events.gross[conversions & (events.currency == EUR)]
    bought = events.gross[conversions & (events.currency != EUR)]
    for position, start in enumerate(MONTH_STARTS[1:]):
        # A conversion on a month's last day is known for that day's orders; the next day has a stated rate.
        on_last_day = in_euro & (orders.day == start - 1)
        numerator[on_last_day], denominator[on_last_day] = bought[position], sold[position]
    return Rates(numerator, denominator)
