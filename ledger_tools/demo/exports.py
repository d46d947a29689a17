"""The monthly export files of the shop, the processors and the wallet, each in a layout of its own.

Sixth stage of the simulator. DuckDB formats and writes the columns, in the order of the arrays; a file holds the
records whose date on the shop's calendar lies in its month, whatever zone its time stamps are in. Two exports overlap:
the shop's second reaches back into January, the card processor's third into February.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path

import duckdb
import numpy as np

from ledger_tools.demo.clock import Whole, days_of, wall_seconds
from ledger_tools.demo.draft import FIRST_NAMES, LAST_NAMES, NEVER
from ledger_tools.demo.identifiers import (
    EVENT_PREFIX,
    UNKNOWN_MADE_NUMBER,
    UNKNOWN_PAID_NUMBER,
    order_numbers,
    payment_numbers,
    processor_event_numbers,
    wallet_event_numbers,
)
from ledger_tools.demo.layouts import CARD_SELECT, EURO_SELECT, SHOP_SELECT, WALLET_SELECT
from ledger_tools.demo.orders import EXPORTED, OVERLAP_FROM, Orders, Refunds, story_column
from ledger_tools.demo.processors import ProcessorEvents
from ledger_tools.demo.scenario import CARD, EUR, EURO, MARKETPLACE, MONTH_STARTS, MONTHS
from ledger_tools.demo.simulation import Simulation
from ledger_tools.demo.wallet import WalletEvents

#: Day from which the card processor's third export repeats events of February.
_CARD_OVERLAP_FROM = MONTH_STARTS[2] - 3
_MACROS = """
    CREATE MACRO dollars(cents) AS (cents * 0.01)::DECIMAL(18, 2);
    CREATE MACRO some_dollars(cents) AS CASE WHEN cents <> 0 THEN (cents * 0.01)::DECIMAL(18, 2) END;
    CREATE MACRO comma_amount(cents) AS CASE WHEN cents < 0 THEN '-' ELSE '' END
        || replace(format('{:,}', abs(cents) // 100), ',', '.') || ',' || lpad((abs(cents) % 100)::VARCHAR, 2, '0');
    CREATE MACRO clock_text(wall, form) AS CASE WHEN wall <> -1 THEN strftime(make_timestamp(wall * 1000000), form) END;
"""


def write_exports(simulation: Simulation, folder: Path, progress: Callable[[str], None]) -> list[tuple[str, Path]]:
    """Write the exports of shop, processors and wallet; (source, file) in the order of writing."""
    connection = duckdb.connect(":memory:", config={"threads": 2})
    try:
        connection.execute("SET preserve_insertion_order = true; SET enable_progress_bar = false")
        connection.execute(_MACROS)
        writer = _Writer(connection, folder)
        for month, name in enumerate(MONTHS):
            progress(f"writing the exports of {name}")
            _write_shop(writer, simulation, month)
            for source in (CARD, EURO):
                _write_processor(writer, simulation.events, source, month)
            _write_wallet(writer, simulation.wallet, month)
        return writer.written
    finally:
        connection.close()


class _Writer:
    """Writes columns as delimited files."""

    def __init__(self, connection: duckdb.DuckDBPyConnection, folder: Path) -> None:
        self._connection = connection
        self._folder = folder
        self.written: list[tuple[str, Path]] = []

    def write(self, source: str, name: str, columns: Mapping[str, Whole], select: str, delimiter: str) -> None:
        """Write one file; the select names its columns and reads from `rows`."""
        file = self._folder / source / name
        file.parent.mkdir(parents=True, exist_ok=True)
        self._connection.register("rows", dict(columns))
        target = str(file).replace("'", "''")
        self._connection.execute(f"COPY ({select}) TO '{target}' (FORMAT csv, HEADER, DELIMITER '{delimiter}')")
        self._connection.unregister("rows")
        self.written.append((source, file))


def _wall(moments: Whole, shown_until: int, zone: str) -> Whole:
    """Wall seconds of moments that an export made at `shown_until` can know; NEVER for the others."""
    known = (moments != NEVER) & (moments <= shown_until)
    return np.where(known, wall_seconds(moments, zone), NEVER)


def _write_shop(writer: _Writer, simulation: Simulation, month: int) -> None:
    orders, draft = simulation.orders, simulation.orders.draft
    first_day = OVERLAP_FROM if month == 1 else MONTH_STARTS[month]
    chosen = (orders.day >= first_day) & (orders.day < MONTH_STARTS[month + 1])
    if month == 1:
        chosen &= story_column(draft, "vanishes") == 0
    columns = _shop_order_columns(orders, simulation.refunds, chosen, month)
    line = np.flatnonzero(chosen[draft.line_order])
    new_position = np.cumsum(chosen) - 1
    of_line = new_position[draft.line_order[line]]
    rows = {name: values[of_line] for name, values in columns.items()}
    rows |= {
        "first": np.concatenate([[1], (of_line[1:] != of_line[:-1]).astype(np.int64)]),
        "sku": draft.line_sku[line],
        "quantity": draft.line_quantity[line],
        "price": orders.line_price[line],
        "line_discount": orders.line_discount_by_line[line],
    }
    writer.write("shop", f"orders-{MONTHS[month]}.csv", rows, SHOP_SELECT, ",")


def _shop_order_columns(
    orders: Orders, refunds: Refunds, chosen: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], month: int
) -> dict[str, Whole]:
    draft = orders.draft
    order = np.flatnonzero(chosen)
    extra = story_column(draft, "shipping_extra_at_first")[order] if month == 0 else np.zeros_like(order)
    shows_payment = (draft.channel[order] == MARKETPLACE) | (orders.currency[order] == EUR)
    columns = {
        "number": order_numbers(order, 0),
        "placed": wall_seconds(draft.placed[order]),
        "shipped": _wall(orders.shipped[order], EXPORTED[month], "America/Denver"),
        "cancelled": _wall(orders.cancelled[order], EXPORTED[month], "America/Denver"),
        "currency": orders.currency[order],
        "order_discount": orders.order_discount[order],
        "shipping": orders.shipping[order] + extra,
        "tax": orders.tax[order],
        "gift_paid": orders.gift_paid[order],
        "tip": orders.tip[order],
        "total": orders.total[order] + extra,
        "first_name": draft.name[order] % len(FIRST_NAMES),
        "last_name": draft.name[order] // len(FIRST_NAMES) % len(LAST_NAMES),
        "place": draft.place[order],
        "channel": draft.channel[order],
        "payment": np.where(shows_payment, payment_numbers(order), NEVER),
    }
    known = (refunds.given > 0) & (refunds.at <= EXPORTED[month])
    for name in ("items", "shipping", "tip", "tax"):
        columns[f"back_{name}"] = _sums(refunds.order, getattr(refunds, name), known, draft.count)[order]
    as_gift = known & (refunds.to_gift_card > 0)
    columns["back_gift"] = _sums(refunds.order, refunds.amount, as_gift, draft.count)[order]
    return columns


def _sums(order: Whole, values: Whole, chosen: np.ndarray[tuple[int, ...], np.dtype[np.bool_]], count: int) -> Whole:
    sums = np.zeros(count, dtype=np.int64)
    np.add.at(sums, order[chosen], values[chosen])
    return sums


def _write_processor(writer: _Writer, events: ProcessorEvents, source: int, month: int) -> None:
    day = days_of(events.at)
    overlaps = source == CARD and month == 2
    first_day = _CARD_OVERLAP_FROM if overlaps else MONTH_STARTS[month]
    chosen = np.flatnonzero((events.source == source) & (day >= first_day) & (day < MONTH_STARTS[month + 1]))
    part = events.pick(chosen)
    # A payout's number stands on its parts once it was made.
    payouts = np.flatnonzero(events.of_kind("payout") & (events.source == source))
    paid_at = np.full(int(events.payout[payouts].max()) + 2, -1, dtype=np.int64)
    paid_at[events.payout[payouts]] = events.at[payouts]
    known = (part.payout >= 0) & (paid_at[part.payout] <= EXPORTED[month])
    by_reference = (part.order != -1) & ~(
        (part.order >= 0) & np.isin(part.payment, _referenced_by_payment(events, source))
    )
    columns = {
        "id": processor_event_numbers(events)[chosen],
        "kind": part.kind,
        "wall": wall_seconds(part.at, "UTC" if source == CARD else "Europe/Berlin"),
        "available": np.where(part.available >= 0, part.available, NEVER),
        "order_number": np.where(by_reference, order_numbers(part.order, UNKNOWN_PAID_NUMBER), NEVER),
        "payment": np.where(part.payment == -1, NEVER, payment_numbers(part.payment)),
        "currency": part.currency,
        "gross": part.gross,
        "fee": part.fee,
        "net": part.net,
        "charged_currency": part.charged_currency,
        "charged": part.charged,
        "payout": np.where(known, part.payout, NEVER),
    }
    name = ("payments", "movements")[source]
    select = (CARD_SELECT, EURO_SELECT)[source]
    folder = ("card-processor", "euro-processor")[source]
    writer.write(folder, f"{name}-{MONTHS[month]}.csv", columns, select.replace("{prefix}", EVENT_PREFIX[source]), ";")


def _referenced_by_payment(events: ProcessorEvents, source: int) -> Whole:
    """Payments of orders that came through the marketplace: their rows carry no order number."""
    withheld = events.of_kind("tax_withheld") & (events.source == source)
    return np.unique(events.payment[withheld])


def _write_wallet(writer: _Writer, wallet: WalletEvents, month: int) -> None:
    day = days_of(wallet.at)
    chosen = np.flatnonzero((day >= MONTH_STARTS[month]) & (day < MONTH_STARTS[month + 1]))
    part = wallet.pick(chosen)
    columns = {
        "id": wallet_event_numbers(wallet)[chosen],
        "kind": part.kind,
        "reason": part.reason,
        "wall": wall_seconds(part.at, "America/New_York"),
        "order_number": np.where(part.order == -1, NEVER, order_numbers(part.order, UNKNOWN_MADE_NUMBER)),
        "part": part.part,
        "sku": part.sku,
        "quantity": part.quantity,
        "production": part.production,
        "shipping": part.shipping,
        "discount": part.discount,
        "tax": part.tax,
        "total": part.total,
        "place": part.place,
        "shipped": _wall(part.shipped, EXPORTED[month], "America/New_York"),
    }
    writer.write("fulfilment-wallet", f"wallet-{MONTHS[month]}.tsv", columns, WALLET_SELECT, "\t")
