"""The order report by group: by SKU, category, region, channel, month or discount.

An order belongs to one region, channel, month and discount band. By SKU and category its amounts are split over its
lines by largest remainder, so that the groups sum to the orders: items and discounts by what each line states,
production by the partner's charges where they name the lines' SKUs, everything else in proportion to what the lines
brought after their discounts.
"""

from __future__ import annotations

import datetime
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import duckdb

from ledger_tools.calendar import Period
from ledger_tools.money import allocate
from ledger_tools.reports.order_figures import Figures, add_figures
from ledger_tools.reports.order_profit import OrderProfit, OrderReport
from ledger_tools.store import sku_key

#: Upper ends of the discount bands in per cent of the items, with their names; the last has no end.
DISCOUNT_BANDS: tuple[tuple[int | None, str], ...] = (
    (0, "no discount"),
    (10, "up to 10 %"),
    (25, "10 to 25 %"),
    (None, "over 25 %"),
)

#: SQL expressions over `order_head`: the region that an order ships to, and the channel that it came by.
REGION = "coalesce(ship_country || '-' || ship_region, ship_country, '(no region)')"
CHANNEL = "coalesce(nullif(trim(channel), ''), '(no channel)')"


@dataclass(frozen=True)
class Group:
    """One group of the report; `orders` counts the orders that have a part in it."""

    name: str
    orders: int
    figures: Figures

    def as_json(self, currency: str) -> dict[str, Any]:
        """The group as the report prints it."""
        return {"group": self.name, "orders": self.orders, **self.figures.as_json(currency)}


@dataclass(frozen=True)
class GroupedReport:
    """Orders of a period, summed by group."""

    period: Period
    as_of: datetime.date | None
    currency: str
    by: str
    groups: tuple[Group, ...]
    totals: Figures

    def as_json(self) -> dict[str, Any]:
        """The report as the interface fixes it."""
        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "by": self.by,
            "groups": [group.as_json(self.currency) for group in self.groups],
            "totals": self.totals.as_json(self.currency),
        }


class StatedLine(NamedTuple):
    """What a line of an order states, in minor units of the order's currency."""

    sku: str
    category: str
    gross: int
    discount: int
    quantity: int
    sells_gift_card: bool
    sku_key: str | None


Part = tuple[str, Figures]


def group_orders(connection: duckdb.DuckDBPyConnection, report: OrderReport, by: str) -> GroupedReport:
    """Sum the orders of a report by one of `GROUPINGS`; months and discount bands stand in their order, other groups by
    profit, the greatest first, then name."""
    parts_of = GROUPINGS[by](connection)
    members: dict[str, list[Figures]] = defaultdict(list)
    counts: dict[str, int] = defaultdict(int)
    for order in report.orders:
        parts = parts_of(order)
        for name in dict(parts):
            counts[name] += 1
        for name, figures in parts:
            members[name].append(figures)
    groups = [Group(name, counts[name], add_figures(figures)) for name, figures in members.items()]
    return GroupedReport(report.period, report.as_of, report.currency, by, order_the_groups(by, groups), report.totals)


def order_the_groups(by: str, groups: Iterable[Group]) -> tuple[Group, ...]:
    """Months and discount bands in their own order; other groups by profit, the greatest first, then name."""
    bands = [name for _, name in DISCOUNT_BANDS]
    if by == "month":
        return tuple(sorted(groups, key=lambda group: group.name))
    if by == "discount":
        return tuple(sorted(groups, key=lambda group: bands.index(group.name)))
    return tuple(sorted(groups, key=lambda group: (-group.figures.profit, group.name)))


def _by_month(connection: duckdb.DuckDBPyConnection) -> Callable[[OrderProfit], list[Part]]:
    del connection
    return lambda order: [(f"{order.placed_on:%Y-%m}", order.figures)]


def discount_band(figures: Figures) -> str:
    """Name of the band that an order's discount falls in, by its share of the items' price."""
    for end, name in DISCOUNT_BANDS:
        if end is None or 100 * figures.discounts <= end * figures.items:
            return name
    raise AssertionError("the last band has no end")


def _by_discount(connection: duckdb.DuckDBPyConnection) -> Callable[[OrderProfit], list[Part]]:
    del connection
    return lambda order: [(discount_band(order.figures), order.figures)]


def _by_head(expression: str) -> Callable[[duckdb.DuckDBPyConnection], Callable[[OrderProfit], list[Part]]]:
    """Grouping by an SQL expression over `order_head`."""

    def grouping(connection: duckdb.DuckDBPyConnection) -> Callable[[OrderProfit], list[Part]]:
        names = dict(connection.execute(f"SELECT order_no, {expression} FROM order_head").fetchall())
        return lambda order: [(str(names[order.order_no]), order.figures)]

    return grouping


def _by_line(field: str) -> Callable[[duckdb.DuckDBPyConnection], Callable[[OrderProfit], list[Part]]]:
    """Grouping by a field of the order's lines."""

    def grouping(connection: duckdb.DuckDBPyConnection) -> Callable[[OrderProfit], list[Part]]:
        lines = _read_lines(connection)
        made = _read_production(connection)

        def parts_of(order: OrderProfit) -> list[Part]:
            own = lines.get(order.order_no) or [StatedLine("(no sku)", "Other", 0, 0, 1, False, None)]
            names = [str(getattr(line, field)) for line in own]
            if len(set(names)) == 1:
                return [(names[0], order.figures)]
            return list(zip(names, split_over_lines(own, order.figures, made.get(order.order_no, {})), strict=True))

        return parts_of

    return grouping


GROUPINGS: Mapping[str, Callable[[duckdb.DuckDBPyConnection], Callable[[OrderProfit], list[Part]]]] = {
    "sku": _by_line("sku"),
    "category": _by_line("category"),
    "region": _by_head(REGION),
    "channel": _by_head(CHANNEL),
    "month": _by_month,
    "discount": _by_discount,
}


def _read_lines(connection: duckdb.DuckDBPyConnection) -> dict[int, list[StatedLine]]:
    """Lines of each order, its order discount spread over them."""
    rows = connection.execute(
        f"""
        SELECT line.order_no, coalesce(nullif(trim(sku), ''), '(no sku)'),
               coalesce(nullif(trim(category), ''), 'Other'),
               coalesce(quantity, 1) * coalesce(unit_price, 0), coalesce(line_discount, 0), coalesce(quantity, 1),
               is_gift_card, {sku_key("sku")}, coalesce(head.order_discount, 0)
        FROM order_line AS line JOIN order_head AS head USING (order_no)
        ORDER BY line.order_no, record
        """
    ).fetchall()
    lines: dict[int, list[StatedLine]] = defaultdict(list)
    order_discounts: dict[int, int] = {}
    for order_no, *fields, order_discount in rows:
        lines[order_no].append(StatedLine(*fields))
        if order_discount > 0:
            order_discounts[order_no] = order_discount
    for order_no, discount in order_discounts.items():
        own = lines[order_no]
        shares = allocate(discount, _net_weights(own))
        pairs = zip(own, shares, strict=True)
        lines[order_no] = [line._replace(discount=line.discount + share) for line, share in pairs]
    return lines


def _read_production(connection: duckdb.DuckDBPyConnection) -> dict[int, dict[str, int]]:
    """What the partner charged for each SKU of an order, where all of the order's charges name one."""
    rows = connection.execute(
        f"""SELECT fact.order_no, {sku_key("row.sku")}, sum(production_net)::BIGINT FROM fact_wallet AS fact
           JOIN wallet_row AS row USING (source_no, event_id)
           WHERE posting = 'fulfilment' AND fact.order_no IS NOT NULL
             AND fact.order_no NOT IN (SELECT order_no FROM wallet_row
                                       WHERE kind = 'charge' AND sku IS NULL AND order_no IS NOT NULL)
           GROUP BY ALL HAVING sum(production_net) > 0"""
    ).fetchall()
    made: dict[int, dict[str, int]] = defaultdict(dict)
    for order_no, sku, amount in rows:
        made[order_no][str(sku)] = int(amount)
    return made


def _first_usable(*choices: Sequence[int]) -> Sequence[int]:
    """The first list of weights that can split anything."""
    return next((weights for weights in choices if sum(weights) > 0), [1] * len(choices[0]))


def _net_weights(lines: Sequence[StatedLine]) -> Sequence[int]:
    net = [max(line.gross - line.discount, 0) for line in lines]
    return _first_usable(net, [max(line.gross, 0) for line in lines], [max(line.quantity, 0) for line in lines])


def split_over_lines(lines: Sequence[StatedLine], figures: Figures, made: Mapping[str, int]) -> list[Figures]:
    """An order's figures as one part for each line; the parts sum to the whole, column by column."""
    goods = [line._replace(gross=0, discount=0) if line.sells_gift_card else line for line in lines]
    net = _net_weights(goods)
    weights: dict[str, Sequence[int]] = {
        "items": _first_usable([max(line.gross, 0) for line in goods], net),
        "discounts": _first_usable([max(line.discount, 0) for line in lines], net),
        "production": _first_usable(_production_weights(goods, made), net),
    }
    columns: Iterable[list[int]] = (
        allocate(amount, weights.get(name, net)) for name, amount in zip(Figures._fields, figures, strict=True)
    )
    return [Figures._make(parts) for parts in zip(*columns, strict=True)]


def _production_weights(lines: Sequence[StatedLine], made: Mapping[str, int]) -> Sequence[int]:
    """The partner's charge for each line, shared by quantity where lines have one SKU; zeros where SKUs don't agree."""
    if not made or not set(made) <= {line.sku_key for line in lines}:
        return [0] * len(lines)
    weights = [0] * len(lines)
    for sku, amount in made.items():
        places = [place for place, line in enumerate(lines) if line.sku_key == sku]
        shares = allocate(amount, _first_usable([max(lines[place].quantity, 0) for place in places]))
        for place, share in zip(places, shares, strict=True):
            weights[place] = share
    return weights
