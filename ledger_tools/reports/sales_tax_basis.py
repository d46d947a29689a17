"""What the orders show of how tax was worked out: the usual rate, whether shipping is taxed, and how cents were rounded.

For each jurisdiction the rate is looked for that most orders fit, on the items and on items with shipping; the basis that
more orders fit is the one in use. An order fits on the invoice where rate × base, rounded half up once, is its tax; by item
where each line is rounded on its own. A difference of one minor unit is counted and no fault; what differs by more has
another rate, such as a local one, and is told in `open-items` where it is unusual. Tax collected is never changed by this.
"""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal

import duckdb

from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.money import allocate
from ledger_tools.open_item_finders.tax_rates import WHOLE, common_spans
from ledger_tools.reports.sales_tax_entries import last_day
from ledger_tools.reports.valued import base_currency
from ledger_tools.store import within_period
from ledger_tools.tax_rounding import sales_tax, tax_within

TaxedBase = Literal["items", "items and shipping", "either"]

_PERCENT = WHOLE // 100


@dataclass(frozen=True)
class BasisRow:
    """One jurisdiction.

    Attributes:
        rate: usual rate in percent; None where fewer than half of the orders fit any one.
        base: what is taxed; "either" where no order with shipping tells.
        on_invoice, by_item, one_off, other: numbers of orders that fit on the invoice, only by item, but for one minor unit,
            or not at all.
    """

    jurisdiction: str
    rate: str | None
    base: TaxedBase
    orders: int
    on_invoice: int
    by_item: int
    one_off: int
    other: int

    def as_json(self) -> dict[str, Any]:
        """The row as it is printed."""
        return {
            "jurisdiction": self.jurisdiction,
            "rate_percent": self.rate,
            "taxed": self.base,
            "orders": self.orders,
            "fit_on_invoice": self.on_invoice,
            "fit_by_item": self.by_item,
            "one_minor_unit_off": self.one_off,
            "other": self.other,
        }


@dataclass(frozen=True)
class TaxBasis:
    """All jurisdictions with tax that the shop collected on orders of a period."""

    period: Period
    currency: str
    rows: tuple[BasisRow, ...]

    def as_json(self) -> dict[str, Any]:
        """The report as it is printed."""
        return {
            "period": self.period.as_json(),
            "currency": self.currency,
            "jurisdictions": [row.as_json() for row in self.rows],
        }


_TAXED = f"""
    (SELECT order_no, head.jurisdiction, tax_shop::HUGEINT AS tax, (items_net - discounts)::HUGEINT AS items,
           shipping_net::HUGEINT AS shipping, coalesce(prices_include_tax, false) AS inclusive
    FROM fact_sale JOIN order_head AS head USING (order_no)
    WHERE tax_shop > 0 AND items_net > discounts AND {within_period("posted_on")})
"""

#: For each jurisdiction and base the span of rates that most orders fit: where most of their own spans overlap.
_RATES = f"""
    WITH based AS (
        SELECT jurisdiction, tax, inclusive, base, CASE WHEN base = 'items' AND NOT inclusive THEN items ELSE items + shipping END
                   AS amount
        FROM {_TAXED} AS taxed, (VALUES ('items'), ('items and shipping')) AS kind (base)
    ), span AS (
        SELECT jurisdiction, base,
               ((2 * tax - 1) * {WHOLE} + below - 1) // below AS low, ((2 * tax + 1) * {WHOLE} - 1) // above AS high
        FROM (SELECT *, CASE WHEN inclusive THEN 2 * amount + 1 ELSE 2 * amount END AS below,
                     CASE WHEN inclusive THEN 2 * amount - 1 ELSE 2 * amount END AS above FROM based WHERE amount > 0)
    )
    SELECT * FROM ({common_spans("span")})
"""

#: Orders of a jurisdiction with what their tax is beyond the rate on the invoice.
_BEYOND = f"""
    SELECT order_no, tax::BIGINT, inclusive,
           (tax - CASE WHEN inclusive THEN (2 * (amount + tax) * $rate + {WHOLE} + $rate) // (2 * ({WHOLE} + $rate))
                       ELSE (2 * amount * $rate + {WHOLE}) // (2 * {WHOLE}) END)::BIGINT AS beyond
    FROM (SELECT *, CASE WHEN $items_only AND NOT inclusive THEN items ELSE items + shipping END AS amount
          FROM {_TAXED} AS taxed)
    WHERE jurisdiction = $jurisdiction
"""


def report_basis(
    connection: duckdb.DuckDBPyConnection, period: Period = ALL_TIME, as_of: datetime.date | None = None
) -> TaxBasis:
    """The usual rate, the base and the rounding of each jurisdiction, over the orders placed in a period."""
    ends = {"first": period.first, "last": last_day(period, as_of)}
    counts = connection.execute(
        f"""SELECT jurisdiction, count(*), count(*) FILTER (shipping <> 0 AND NOT inclusive) FROM {_TAXED} AS taxed
            GROUP BY jurisdiction ORDER BY jurisdiction""",
        ends,
    ).fetchall()
    spans: dict[str, list[tuple[str, int, int]]] = {}
    for jurisdiction, base, low, high, fitting in connection.execute(_RATES, ends).fetchall():
        spans.setdefault(jurisdiction, []).append((base, roundest(low, high), fitting))
    rows = []
    for jurisdiction, orders, telling in counts:
        found = spans.get(jurisdiction, [])
        rows.append(_row(connection, ends, jurisdiction, orders, telling, found))
    return TaxBasis(period, base_currency(connection), tuple(rows))


def roundest(low: int, high: int) -> int:
    """The rate with the fewest decimals between two, both included, nearest to their middle; in `WHOLE`ths."""
    step = WHOLE
    while True:
        first = -(-low // step) * step
        if first <= high:
            candidates = range(first, high + 1, step)
            return min(candidates[:: max(1, len(candidates) // 100)], key=lambda rate: abs(2 * rate - low - high))
        step //= 10


def _decimals(rate: int) -> int:
    return next(digits for digits in range(5) if rate % (_PERCENT // 10**digits) == 0)


def percent_text(rate: int) -> str:
    """A rate as per cent: 78000 is "7.8"."""
    whole, rest = divmod(rate, _PERCENT)
    return f"{whole}.{rest:04d}".rstrip("0").rstrip(".")


def _row(
    connection: duckdb.DuckDBPyConnection,
    ends: Mapping[str, datetime.date | None],
    jurisdiction: str,
    orders: int,
    telling: int,
    found: list[tuple[str, int, int]],
) -> BasisRow:
    if not found or 2 * max(fitting for *_, fitting in found) < orders:
        return BasisRow(jurisdiction, None, "either", orders, 0, 0, 0, orders)
    base, rate, _ = max(found, key=lambda each: (each[2], -_decimals(each[1]), each[0] == "items"))
    rows = connection.execute(
        _BEYOND, {**ends, "rate": rate, "items_only": base == "items", "jurisdiction": jurisdiction}
    ).fetchall()
    odd = [row for row in rows if row[3]]
    taxes = {order_no: (tax, inclusive) for order_no, tax, inclusive, _ in odd}
    by_item = _fit_by_item(connection, taxes, percent_text(rate), base == "items and shipping")
    one_off = sum(1 for order_no, _, _, beyond in odd if abs(beyond) == 1 and order_no not in by_item)
    told: TaxedBase = "either" if not telling else "items" if base == "items" else "items and shipping"
    on_invoice = orders - len(odd)
    other = len(odd) - len(by_item) - one_off
    return BasisRow(jurisdiction, percent_text(rate), told, orders, on_invoice, len(by_item), one_off, other)


def _fit_by_item(
    connection: duckdb.DuckDBPyConnection, taxes: Mapping[int, tuple[int, bool]], rate: str, with_shipping: bool
) -> set[int]:
    """Of the orders that do not fit on the invoice, those whose lines, each rounded on its own, give their tax.

    `taxes` has each order's tax, and whether its prices, shipping's with them, contain it.
    """
    prices: dict[int, list[int]] = {}
    charged: dict[int, tuple[int, int]] = {}
    rows = connection.execute(
        """SELECT order_no, coalesce(quantity, 1) * unit_price - coalesce(line_discount, 0), coalesce(order_discount, 0),
                  coalesce(shipping_charged, 0)
           FROM order_line JOIN order_head USING (order_no)
           WHERE order_no IN (SELECT unnest(?::INTEGER[])) AND unit_price IS NOT NULL ORDER BY order_no, record""",
        [list(taxes)],
    ).fetchall()
    for order_no, price, discount, shipping in rows:
        prices.setdefault(order_no, []).append(max(int(price), 0))
        charged[order_no] = (int(discount), int(shipping))
    fitting = set()
    for order_no, lines in prices.items():
        discount, shipping = charged[order_no]
        cuts = allocate(discount, lines) if any(lines) else [0] * len(lines)
        parts = [line - cut for line, cut in zip(lines, cuts, strict=True)]
        tax, inclusive = taxes[order_no]
        parts += [shipping] if with_shipping or inclusive else []
        by_line = sum(tax_within(part, rate) for part in parts) if inclusive else sum(sales_tax(parts, [rate], "item"))
        if tax == by_line:
            fitting.add(order_no)
    return fitting
