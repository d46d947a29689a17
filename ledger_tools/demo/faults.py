"""The faults planted in the demo's exports: each is one open item that the tool has to find, and no other may be found.

Amounts are positive minor units of the named currency: what is missing, too much or unexplained.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ledger_tools.demo.bank import STRAY_DEPOSIT, STRAY_LINE
from ledger_tools.demo.clock import days_of
from ledger_tools.demo.identifiers import order_id, processor_event_id, wallet_event_id
from ledger_tools.demo.processors import UNKNOWN_ORDER
from ledger_tools.demo.scenario import BANK_SOURCE, CARD, CURRENCIES, SHOP_SOURCE, SOURCES, WALLET_SOURCE, date_of
from ledger_tools.demo.simulation import Simulation
from ledger_tools.demo.stories import STORIES, Story
from ledger_tools.demo.wallet import KIND as WALLET_KIND

#: Faults of an order that lie in what the fulfilment partner charged.
_FAULTS_OF_CHARGES = (
    "charged-twice",
    "charged-though-cancelled",
    "event-does-not-add-up",
    "cost-above-rate-card",
)


@dataclass(frozen=True)
class PlantedFault:
    """One planted fault.

    Attributes:
        kind: kind of the open item.
        source: the export that is at fault, or that holds the record that nothing answers.
        date: ISO 8601 date of that record; of the first charge, where charges are at fault.
        order_id, event_id: the records concerned, where there are such.
    """

    kind: str
    source: str
    date: str
    amount: int
    currency: str
    order_id: str | None
    event_id: str | None
    what: str


def plant_list(simulation: Simulation) -> list[PlantedFault]:
    """All planted faults, by kind and date."""
    faults = [*_order_faults(simulation), *_event_faults(simulation), *_bank_faults(simulation)]
    return sorted(faults, key=lambda fault: (fault.kind, fault.date))


def _order_faults(simulation: Simulation) -> list[PlantedFault]:
    orders = simulation.orders
    faults = []
    for place in np.flatnonzero(orders.draft.story >= 0).tolist():
        story = STORIES[orders.draft.story[place]]
        if not story.fault:
            continue
        source, event_id, amount, day = _event_of_order_fault(simulation, story, place)
        date = date_of(day).isoformat()
        currency = CURRENCIES[orders.currency[place]]
        faults.append(PlantedFault(story.fault, source, date, amount, currency, order_id(place), event_id, story.name))
    return faults


def _event_of_order_fault(simulation: Simulation, story: Story, place: int) -> tuple[str, str | None, int, int]:
    """Source, event, amount and day number of a story's fault."""
    events, wallet, orders = simulation.events, simulation.wallet, simulation.orders
    charges = np.flatnonzero((wallet.order == place) & wallet.is_a("charge"))
    if story.net_error:
        charge = int(np.flatnonzero((events.order == place) & events.of_kind("charge"))[0])
        day = int(days_of(events.at)[charge])
        return SOURCES[CARD], processor_event_id(events, charge), abs(story.net_error), day
    if charges.size and story.fault in _FAULTS_OF_CHARGES:
        day = int(days_of(wallet.at)[charges[0]])
        wrong = story.partner_error or story.shipping_overcharge
        if wrong:
            return WALLET_SOURCE, wallet_event_id(wallet, int(charges[0])), wrong, day
        return WALLET_SOURCE, None, int(wallet.total[charges].sum()) // story.fulfilment_copies, day
    amount = {
        "payment-differs": abs(story.payment_error),
        "order-does-not-add-up": abs(story.total_error),
        "tax-rate-unusual": abs(story.tax_error),
        "amended": story.shipping_extra_at_first,
    }
    return SHOP_SOURCE, None, amount.get(story.fault, int(orders.total[place])), int(orders.day[place])


def _event_faults(simulation: Simulation) -> list[PlantedFault]:
    events, wallet, special = simulation.events, simulation.wallet, simulation.special
    faults = []

    def processor_fault(kind: str, place: int, what: str) -> None:
        date = date_of(int(days_of(events.at[place : place + 1])[0])).isoformat()
        amount, currency = abs(int(events.gross[place])), CURRENCIES[events.currency[place]]
        event_id = processor_event_id(events, place)
        faults.append(PlantedFault(kind, SOURCES[events.source[place]], date, amount, currency, None, event_id, what))

    def wallet_fault(kind: str, place: int, what: str) -> None:
        date = date_of(int(days_of(wallet.at[place : place + 1])[0])).isoformat()
        event_id = wallet_event_id(wallet, place)
        faults.append(PlantedFault(kind, WALLET_SOURCE, date, int(wallet.total[place]), "USD", None, event_id, what))

    stray = np.flatnonzero(events.order == UNKNOWN_ORDER)
    processor_fault("payment-without-order", int(stray[0]), "a payment for an order that the shop does not know")
    lost = events.of_kind("payout") & (events.source == CARD) & (events.payout == special.missing)
    processor_fault("payout-not-in-bank", int(np.flatnonzero(lost)[0]), "a payout that never reached the bank")
    stray = np.flatnonzero(wallet.order == UNKNOWN_ORDER)
    wallet_fault("fulfilment-without-order", int(stray[0]), "a charge for an order that the shop does not know")
    top_ups = np.flatnonzero(wallet.kind == WALLET_KIND["top_up"])
    wallet_fault(
        "top-up-without-bank-line", int(top_ups[simulation.missing_top_up]), "a top-up that the bank does not show"
    )
    return faults


def _bank_faults(simulation: Simulation) -> list[PlantedFault]:
    kinds = {
        STRAY_DEPOSIT: ("deposit-without-payout", "a deposit that answers no payout"),
        STRAY_LINE: ("bank-line-without-rule", "a payment that no rule knows"),
    }
    return [
        PlantedFault(
            kinds[line.nature][0], BANK_SOURCE, date_of(line.day).isoformat(), abs(line.amount), "USD", None, None,
            kinds[line.nature][1],
        )
        for line in simulation.bank
        if line.nature in kinds
    ]  # fmt: skip
