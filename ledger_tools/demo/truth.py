"""The demo's known truth, by plain sums over the simulation: what the books have to say.

Independent of the program: nothing here reads an export file, a mapping or the database. Units: minor units; the
figures of orders, tax and costs are in the base currency (foreign orders after `valuation`), balances in the currency
they are held in, debit positive. Month-end entries (deferred revenue and the like) are not part of it.
"""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from ledger_tools.demo.balances import month_end_balances
from ledger_tools.demo.clock import Whole, days_of
from ledger_tools.demo.faults import PlantedFault, plant_list
from ledger_tools.demo.identifiers import order_id
from ledger_tools.demo.processors import DISPUTE_KINDS, UNKNOWN_ORDER, ProcessorEvents
from ledger_tools.demo.scenario import (
    EUR,
    EURO_RATES,
    MONTH_STARTS,
    MONTHS,
    PLACES,
    RATE_SCALE,
    USD,
    WEB,
    jurisdiction_of,
)
from ledger_tools.demo.simulation import Simulation
from ledger_tools.demo.stories import STORIES
from ledger_tools.demo.valuation import Rates, rates_of_orders, round_half_up, values_of_entry
from ledger_tools.demo.wallet import REASON, REASONS, WalletEvents

#: The columns of the orders report, in its order.
FIGURES = (
    "items",
    "discounts",
    "shipping_charged",
    "tips",
    "returns",
    "net_revenue",
    "production",
    "shipping_cost",
    "supplier_tax",
    "reprints",
    "processing_fees",
    "dispute_fees",
    "chargebacks",
    "profit",
    "tax_collected",
)
_COSTS = FIGURES[FIGURES.index("production") : FIGURES.index("profit")]
_REASON_ACCOUNTS = {
    "sample": "Expenses:Samples",
    "artwork_setup": "Expenses:ArtworkSetup",
    "storage": "Expenses:Storage",
    "subscription": "Expenses:Subscriptions",
}


@dataclass(frozen=True)
class DemoFiles:
    """What was written.

    Attributes:
        settings: text of `shop.toml`.
        mappings: source → text of its mapping.
        exports: (source, file) in the order in which a shop would import them.
    """

    settings: str
    mappings: dict[str, str]
    exports: tuple[tuple[str, Path], ...]


@dataclass(frozen=True)
class Truth:
    """What the books have to say.

    Attributes:
        order_ids, placed_on: of each order, in the order of placing.
        figures: column of the orders report → amount of each order, base currency.
        totals: column → sum.
        flags: flag → ids of the orders that carry it, where the simulation knows.
        not_tied_to_an_order: account → balance of costs and fees that belong to no order, debit positive.
        balances: month's last day → account → currency → balance at its end, debit positive.
        sales_tax: month → jurisdiction → collected, refunded and remitted in it, base currency.
        faults: the planted faults.
        files: what was written, once it is.
    """

    seed: int
    currency: str
    order_ids: list[str]
    placed_on: list[str]
    figures: dict[str, Whole]
    totals: dict[str, int]
    flags: dict[str, list[str]]
    not_tied_to_an_order: dict[str, int]
    balances: dict[str, dict[str, dict[str, int]]]
    sales_tax: dict[str, dict[str, dict[str, int]]]
    faults: list[PlantedFault]
    files: DemoFiles | None = None

    def order(self, wanted: str) -> dict[str, int]:
        """The figures of one order."""
        place = self.order_ids.index(wanted)
        return {name: int(values[place]) for name, values in self.figures.items()}

    def as_json(self) -> str:
        """The truth as JSON; figures of orders as one list a column, amounts as whole minor units."""
        parts = {
            "seed": self.seed,
            "currency": self.currency,
            "totals": self.totals,
            "flags": self.flags,
            "not_tied_to_an_order": self.not_tied_to_an_order,
            "balances": self.balances,
            "sales_tax": self.sales_tax,
            "faults": [asdict(fault) for fault in self.faults],
        }
        head = json.dumps(parts, indent=1)
        columns = {"order_id": self.order_ids, "placed_on": self.placed_on}
        lists = {**columns, **{name: values.tolist() for name, values in self.figures.items()}}
        body = ",\n".join(f'  "{name}": {json.dumps(values)}' for name, values in lists.items())
        return f'{head[:-2]},\n "orders": {{\n{body}\n }}\n}}\n'


def tell_truth(simulation: Simulation, seed: int) -> Truth:
    """The truth of a simulation."""
    orders = simulation.orders
    rates = rates_of_orders(orders, simulation.events)
    figures = _order_figures(simulation, rates)
    dates = np.datetime_as_string(np.datetime64("2031-01-01") + orders.day).tolist()
    return Truth(
        seed=seed,
        currency="USD",
        order_ids=[order_id(place) for place in range(orders.draft.count)],
        placed_on=dates,
        figures={name: figures[name] for name in FIGURES},
        totals={name: int(figures[name].sum()) for name in FIGURES},
        flags=_flags(simulation),
        not_tied_to_an_order=_not_tied(simulation),
        balances=month_end_balances(simulation),
        sales_tax=_sales_tax(simulation, rates),
        faults=plant_list(simulation),
    )


def _sum_to_orders(count: int, order: Whole, values: Whole) -> Whole:
    sums = np.zeros(count, dtype=np.int64)
    known = order >= 0
    np.add.at(sums, order[known], values[known])
    return sums


def _placed(simulation: Simulation, rates: Rates) -> dict[str, Whole]:
    """What the entry of each order placed says, in the base currency.

    Its lines stand in the order of the parts of an order: payment, gift card, discounts, goods, shipping, tip, tax.
    """
    orders = simulation.orders
    lines = [
        orders.total - orders.gift_paid,
        orders.gift_paid,
        orders.line_discount + orders.order_discount,
        -(orders.goods - orders.tax_in_items),
        -orders.gift_cards,
        -orders.shipping_net,
        -orders.tip,
        -orders.tax,
    ]
    values = values_of_entry(lines, rates)
    return {
        "discounts": values[2],
        "items": -values[3],
        "shipping_charged": -values[5],
        "tips": -values[6],
        "tax": -values[7],
    }


def _refunded(simulation: Simulation, rates: Rates) -> tuple[Whole, Whole]:
    """Returns and tax of each refund, in the base currency."""
    refunds = simulation.refunds
    parts = [refunds.items + refunds.shipping + refunds.tip, refunds.tax, -refunds.amount]
    values = values_of_entry(parts, rates.of(refunds.order))
    return values[0], values[1]


def _fee_values(events: ProcessorEvents, rates: Rates) -> Whole:
    """Fee of each event of an order, in the base currency: the entry's lines are net, fee, gross."""
    of_order = np.maximum(events.order, 0)
    in_base = events.currency == USD
    rate = rates.of(of_order)
    ones = np.ones_like(rate.numerator)
    rate = Rates(np.where(in_base, ones, rate.numerator), np.where(in_base, ones, rate.denominator))
    return np.where(in_base, events.fee, values_of_entry([events.gross - events.fee, events.fee], rate)[1])


def _order_figures(simulation: Simulation, rates: Rates) -> dict[str, Whole]:
    orders, refunds, events, wallet = simulation.orders, simulation.refunds, simulation.events, simulation.wallet
    count = orders.draft.count
    figures = _placed(simulation, rates)
    returns, tax_back = _refunded(simulation, rates)
    figures["returns"] = _sum_to_orders(count, refunds.order, returns)
    by_shop = orders.draft.channel == WEB
    tax = figures.pop("tax") - _sum_to_orders(count, refunds.order, tax_back)
    figures["tax_collected"] = np.where(by_shop, tax, 0)
    fees = _fee_values(events, rates)
    in_dispute = events.of_kind(*DISPUTE_KINDS)
    figures["processing_fees"] = _sum_to_orders(count, events.order, np.where(in_dispute, 0, fees))
    figures["dispute_fees"] = _sum_to_orders(count, events.order, np.where(in_dispute, fees, 0))
    lost = np.unique(events.order[events.of_kind("dispute_lost")])
    opened = np.where(events.of_kind("dispute") & np.isin(events.order, lost), -events.gross, 0)
    figures["chargebacks"] = _sum_to_orders(count, events.order, opened)
    figures |= {name: _sum_to_orders(count, wallet.order, values) for name, values in _direct_costs(wallet).items()}
    figures["net_revenue"] = (
        figures["items"] - figures["discounts"] + figures["shipping_charged"] + figures["tips"] - figures["returns"]
    )
    figures["profit"] = figures["net_revenue"] - sum(figures[name] for name in _COSTS)
    return figures


def _direct_costs(wallet: WalletEvents) -> dict[str, Whole]:
    """Cost columns of each wallet event; a credit counts against what it gives back."""
    sign = np.where(wallet.is_a("credit"), -1, 1)
    first_making = wallet.reason == REASON["order"]
    again = wallet.reason == REASON["reprint"]
    whole = wallet.production + wallet.shipping + wallet.tax - wallet.discount
    return {
        "production": np.where(first_making, sign * (wallet.production - wallet.discount), 0),
        "shipping_cost": np.where(first_making, sign * wallet.shipping, 0),
        "supplier_tax": np.where(first_making, sign * wallet.tax, 0),
        "reprints": np.where(again, sign * whole, 0),
    }


def _not_tied(simulation: Simulation) -> dict[str, int]:
    """Costs and fees of no order; a monthly fee held in euros is worth the rate stated for its day."""
    events, wallet = simulation.events, simulation.wallet
    loose = events.order < 0
    stray_fees = events.fee[loose & events.of_kind("charge")].sum()
    monthly = loose & events.of_kind("fee")
    month = np.searchsorted(np.array(MONTH_STARTS), days_of(events.at), side="right") - 1
    in_euro = events.currency == EUR
    worth = round_half_up(-events.net * np.array(EURO_RATES)[month], np.full_like(events.net, RATE_SCALE))
    accounts = {"Expenses:Fees:Processing": int(stray_fees + np.where(in_euro, worth, -events.net)[monthly].sum())}
    stray = wallet.pick(wallet.order == UNKNOWN_ORDER)
    accounts["Expenses:COGS:Production"] = int((stray.production - stray.discount).sum())
    accounts["Expenses:COGS:Shipping"] = int(stray.shipping.sum())
    for reason, account in _REASON_ACCOUNTS.items():
        accounts[account] = int(wallet.total[wallet.reason == REASONS.index(reason)].sum())
    for line in simulation.bank:
        if line.account.startswith("Expenses:"):
            accounts[line.account] = accounts.get(line.account, 0) - line.amount
    return dict(sorted(accounts.items()))


def _sales_tax(simulation: Simulation, rates: Rates) -> dict[str, dict[str, dict[str, int]]]:
    orders, refunds = simulation.orders, simulation.refunds
    placed_tax, (_, tax_back) = _placed(simulation, rates)["tax"], _refunded(simulation, rates)
    refund_day = days_of(refunds.at)
    jurisdiction = np.array([jurisdiction_of(place) for place in PLACES])
    by_shop = orders.draft.channel == WEB
    months: dict[str, dict[str, dict[str, int]]] = {}
    for number, month in enumerate(MONTHS):
        start, end = MONTH_STARTS[number], MONTH_STARTS[number + 1]
        placed = by_shop & (orders.day >= start) & (orders.day < end)
        returned = by_shop[refunds.order] & (refund_day >= start) & (refund_day < end)
        rows = {}
        for position in sorted({place for place, entry in enumerate(PLACES) if entry.tax}):
            name = str(jurisdiction[position])
            account = f"Liabilities:SalesTax:{name}"
            paid = [line.amount for line in simulation.bank if line.account == account and start <= line.day < end]
            here, back_here = orders.draft.place == position, orders.draft.place[refunds.order] == position
            rows[name] = {
                "collected": int(placed_tax[placed & here].sum()),
                "refunded": int(tax_back[returned & back_here].sum()),
                "remitted": -sum(paid),
            }
        months[month] = rows
    return months


def _flags(simulation: Simulation) -> dict[str, list[str]]:
    orders, refunds, events, wallet = simulation.orders, simulation.refunds, simulation.events, simulation.wallet
    whole = orders.items_net + orders.shipping_net + orders.tip + orders.tax
    left = whole - _sum_to_orders(orders.draft.count, refunds.order, refunds.amount)
    partly = np.unique(refunds.order[(refunds.stated == 0) & (left[refunds.order] != 0)])
    told = [(place, STORIES[orders.draft.story[place]]) for place in np.flatnonzero(orders.draft.story >= 0).tolist()]
    chosen = {
        "split estimated": partly,
        "disputed": np.unique(events.order[events.of_kind("dispute")]),
        "reprinted": np.unique(wallet.order[wallet.reason == REASON["reprint"]]),
        "promotional": np.flatnonzero((orders.total == 0) & (orders.goods > 0)),
        "settled in another currency": np.flatnonzero(orders.currency != USD),
    }
    return {
        **{name: [order_id(place) for place in places.tolist()] for name, places in chosen.items()},
        "cancelled": [order_id(place) for place, story in told if story.cancelled_after is not None],
    }
