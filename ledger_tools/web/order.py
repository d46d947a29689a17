"""The order page: one order's story as a timeline from the sale to the bank, with its entries and what they rest on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import duckdb
import flask

from ledger_tools.matching.order_lookup import find_order
from ledger_tools.open_items import OpenItem
from ledger_tools.reports.order_flags import FLAGS
from ledger_tools.reports.order_profit import OrderProfit
from ledger_tools.reports.order_story import OrderStory, tell_story
from ledger_tools.web.page import BooksPage

#: Figures of an order in the order of the sum, with their words and whether they are taken off.
SUM = (
    ("items", "items", False),
    ("discounts", "discounts", True),
    ("shipping_charged", "shipping charged", False),
    ("tips", "tips", False),
    ("returns", "returns", True),
    ("production", "production", True),
    ("shipping_cost", "shipping paid", True),
    ("supplier_tax", "tax of the partner", True),
    ("reprints", "reprints", True),
    ("processing_fees", "processing fees", True),
    ("dispute_fees", "dispute fees", True),
    ("chargebacks", "lost in disputes", True),
    ("other_costs", "other costs", True),
)


@dataclass(frozen=True)
class OrderView:
    """What the order page shows; nothing but the field to look one up where no order was named."""

    asked: str
    story: OrderStory | None
    order: OrderProfit | None
    facts: dict[str, Any]
    lines: tuple[dict[str, Any], ...]
    flags: tuple[tuple[str, str], ...]
    items: tuple[OpenItem, ...]


class Order(BooksPage):
    """One order, whole."""

    report_title = "Order"
    lead = "One order from the sale to the bank."
    sum_lines = SUM

    def view(self, connection: duckdb.DuckDBPyConnection) -> OrderView:
        """The story of the order that the address names."""
        asked = flask.request.args.get("id", "").strip()[:300]
        if not asked:
            return OrderView("", None, None, {}, (), (), ())
        story = tell_story(connection, find_order(connection, asked), None)
        (order,) = story.report.orders
        told = story.as_json()["story"]
        means = {flag.name: flag.means for flag in FLAGS}
        items = tuple(item for item in self.desk.open_items(connection) if item.order_id == order.order_id)
        flags = tuple((name, means[name]) for name in order.flags)
        return OrderView(asked, story, order, told["facts"], tuple(told["lines"]), flags, items)
