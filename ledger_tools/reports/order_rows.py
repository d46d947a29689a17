"""Orders a page at a time: chosen, searched, sorted and summed by the database, for shops with a great many.

Place in the flow: over the same SQL as `order_profit`, so that a page, its totals and the whole report agree. The rows
of all orders are worked out once for each opened database and kept in memory beside it; everything known counts
(no `as_of`). Amounts are minor units of the base currency.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.reports.order_figures import Figures
from ledger_tools.reports.order_groups import CHANNEL, DISCOUNT_BANDS, REGION, Group, order_the_groups
from ledger_tools.reports.order_parts import CATEGORY, PARTS, SKU, prepare_parts
from ledger_tools.reports.order_profit import ORDER_ROWS, OrderProfit
from ledger_tools.reports.valued import base_currency
from ledger_tools.store import quoted

#: The table of all orders, in the memory of an opened database.
ROWS = "memory.main.order_row"

_NET_REVENUE = "(items - discounts + shipping_charged + tips - returns)"
_DIRECT_COST = "(production + shipping_cost + supplier_tax + reprints)"
_PAYMENT_COST = "(processing_fees + dispute_fees + chargebacks)"
_PROFIT = f"({_NET_REVENUE} - {_DIRECT_COST} - {_PAYMENT_COST} - other_costs)"

#: SQL expression of the margin in hundredths of a per cent, rounded half up as `Figures.margin` is; NULL without net revenue.
MARGIN = """
    CASE WHEN net_revenue <> 0 THEN
        sign(profit) * sign(net_revenue) * ((2 * abs(profit)::HUGEINT * 10000 + abs(net_revenue)) // (2 * abs(net_revenue)))
    END
"""

_BANDS = " ".join(
    f"WHEN 100 * discounts <= {end} * items THEN {quoted(name)}" for end, name in DISCOUNT_BANDS if end is not None
)

_BUILD = f"""
    CREATE TABLE {ROWS} AS
    SELECT *, {MARGIN} AS margin FROM (
        SELECT *, CASE {_BANDS} ELSE {quoted(DISCOUNT_BANDS[-1][1])} END AS discount,
               {_NET_REVENUE} AS net_revenue, {_DIRECT_COST} AS direct_cost, {_PAYMENT_COST} AS payment_cost,
               {_PROFIT} AS profit
        FROM ({ORDER_ROWS}) JOIN (
            SELECT order_no, placed_at, strftime(placed_at, '%Y-%m') AS "month", {REGION} AS region, {CHANNEL} AS channel
            FROM order_head
        ) USING (order_no)
    )
"""

#: What orders can be sorted by, each with its SQL; orders that are equal in it stand by the moment placed.
SORTS: Mapping[str, str] = {
    "placed": "placed_at",
    "order": "order_id",
    "net_revenue": "net_revenue",
    "direct_cost": "direct_cost",
    "payment_cost": "payment_cost",
    "profit": "profit",
    "margin": "margin",
}

_LINE_FIELDS = {"sku": SKU, "category": CATEGORY}


@dataclass(frozen=True)
class OrderChoice:
    """Which orders are looked at.

    Attributes:
        period: by the day placed.
        flag: only orders that bear this flag.
        search: only orders whose id, SKU or item holds this text, case ignored.
        group: only orders of one group, as (what it is grouped by, name of the group).
        losses: only orders that lost money.
    """

    period: Period = ALL_TIME
    flag: str | None = None
    search: str = ""
    group: tuple[str, str] | None = None
    losses: bool = False


@dataclass(frozen=True)
class OrderPage:
    """One page of the chosen orders, with what all chosen orders come to.

    Attributes:
        found: how many orders are chosen, on all pages.
    """

    currency: str
    orders: tuple[OrderProfit, ...]
    found: int
    totals: Figures


@dataclass(frozen=True)
class Band:
    """Orders whose margin lies from `low` per cent (included) to `high` (not included); an end that is None is open."""

    low: int | None
    high: int | None
    orders: int


#: Two requests at once work the rows out once.
_PREPARING = threading.Lock()


def prepare_rows(connection: duckdb.DuckDBPyConnection) -> None:
    """Work out the rows of all orders, once for this opened database."""
    with _PREPARING:
        known = connection.execute(
            "SELECT 1 FROM duckdb_tables() WHERE database_name = 'memory' AND table_name = 'order_row'"
        ).fetchone()
        if known is None:
            connection.execute(_BUILD, {"first": None, "last": None, "as_of": None, "order_no": None})


def prepare_all(connection: duckdb.DuckDBPyConnection) -> None:
    """Work out the rows of all orders and their parts, so that whoever asks next need not wait."""
    prepare_rows(connection)
    prepare_parts(connection, ROWS)


def _where(choice: OrderChoice) -> tuple[str, dict[str, Any]]:
    """SQL condition over the rows, and the values that it binds."""
    parts, values = ["true"], dict[str, Any]()
    if choice.period.first is not None:
        parts.append("placed_on >= $first")
        values["first"] = choice.period.first
    if choice.period.last is not None:
        parts.append("placed_on <= $last")
        values["last"] = choice.period.last
    if choice.flag is not None:
        parts.append("list_contains(string_split(flags, ' '), $flag)")
        values["flag"] = choice.flag
    if choice.losses:
        parts.append("profit < 0")
    if choice.search.strip():
        parts.append(
            """(contains(lower(order_id), $search) OR order_no IN (SELECT order_no FROM order_line
                WHERE contains(lower(sku), $search) OR contains(lower(item), $search)))"""
        )
        values["search"] = choice.search.strip().lower()
    if choice.group is not None:
        by, values["group"] = choice.group
        if by in _LINE_FIELDS:
            parts.append(f"order_no IN (SELECT order_no FROM order_line WHERE {_LINE_FIELDS[by]} = $group)")
        else:
            assert by in ("month", "channel", "region", "discount"), by
            parts.append(f'"{by}" = $group')
    return " AND ".join(parts), values


def _sums(prefix: str = "") -> str:
    return ", ".join(f"coalesce(sum({prefix}{name}), 0)::BIGINT" for name in Figures._fields)


def list_orders(
    connection: duckdb.DuckDBPyConnection,
    choice: OrderChoice,
    *,
    sort: str = "placed",
    descending: bool = False,
    skip: int = 0,
    limit: int = 100,
) -> OrderPage:
    """One page of the chosen orders and the totals of all of them; `sort` is one of `SORTS`."""
    prepare_rows(connection)
    where, values = _where(choice)
    direction = "DESC" if descending else "ASC"
    rows = connection.execute(
        f"""SELECT order_no, order_id, placed_on, flags, {", ".join(Figures._fields)} FROM {ROWS} WHERE {where}
            ORDER BY {SORTS[sort]} {direction} NULLS LAST, placed_at, order_id, order_no LIMIT $limit OFFSET $skip""",
        {**values, "limit": limit, "skip": skip},
    ).fetchall()
    found = connection.execute(f"SELECT count(*), {_sums()} FROM {ROWS} WHERE {where}", values).fetchone()
    assert found is not None
    orders = tuple(
        OrderProfit(number, order_id, placed_on, Figures._make(figures), tuple(flags.split()))
        for number, order_id, placed_on, flags, *figures in rows
    )
    return OrderPage(base_currency(connection), orders, int(found[0]), Figures._make(map(int, found[1:])))


def count_flags(connection: duckdb.DuckDBPyConnection, choice: OrderChoice) -> dict[str, int]:
    """How many of the chosen orders bear each flag; flags that none bears are left out."""
    prepare_rows(connection)
    where, values = _where(choice)
    rows = connection.execute(
        f"SELECT unnest(string_split(flags, ' ')) AS flag, count(*) FROM {ROWS} WHERE {where} AND flags <> '' GROUP BY 1",
        values,
    ).fetchall()
    return {str(flag): int(count) for flag, count in rows}


#: Margins of the distribution: below the first and above the last all orders fall together, in per cent.
LOWEST, HIGHEST, STEP = -50, 100, 10


def margin_bands(connection: duckdb.DuckDBPyConnection, choice: OrderChoice) -> tuple[Band, ...]:
    """How many of the chosen orders have which margin; orders without net revenue have none and are left out."""
    prepare_rows(connection)
    where, values = _where(choice)
    whole_percent = "(margin - ((margin % 100) + 100) % 100) // 100"
    rows = connection.execute(
        f"""SELECT least(greatest({whole_percent}, {LOWEST - 1}), {HIGHEST - 1}) AS percent, count(*)
            FROM {ROWS} WHERE {where} AND margin IS NOT NULL GROUP BY 1""",
        values,
    ).fetchall()
    counts: dict[int, int] = {}
    for percent, count in rows:
        low = LOWEST - STEP if percent < LOWEST else int(percent) // STEP * STEP
        counts[low] = counts.get(low, 0) + int(count)
    lows = range(LOWEST - STEP, HIGHEST, STEP)
    return tuple(
        Band(None if low < LOWEST else low, None if low + STEP >= HIGHEST else low + STEP, counts.get(low, 0))
        for low in lows
    )


def list_groups(connection: duckdb.DuckDBPyConnection, choice: OrderChoice, by: str) -> tuple[Group, ...]:
    """The chosen orders summed by group, as `order_groups.group_orders` sums them, in its order."""
    prepare_rows(connection)
    where, values = _where(choice)
    if by in _LINE_FIELDS:
        prepare_parts(connection, ROWS)
        source = (
            f"(SELECT part.* FROM {PARTS} AS part JOIN (SELECT order_no FROM {ROWS} WHERE {where}) USING (order_no))"
        )
    else:
        source = f"(SELECT * FROM {ROWS} WHERE {where})"
    rows = connection.execute(
        f'SELECT "{by}", count(DISTINCT order_no), {_sums()} FROM {source} GROUP BY 1', values
    ).fetchall()
    return order_the_groups(by, [Group(name, int(count), Figures._make(map(int, sums))) for name, count, *sums in rows])
