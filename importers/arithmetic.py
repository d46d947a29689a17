"""What the sums of an export prove: which columns make net = gross - fee, an order's total, a running balance.

Used by the mapping proposer after the choice by names. All functions take the numbers of a sample (ten-thousandths,
None where blank) and count on how many rows or orders an equation holds; they choose nothing by themselves.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from importers.column_evidence import Column

Numbers = Sequence[int | None]

#: An equation counts as proven from this share of rows on; below the lower one it counts as disproved.
PROVEN, DISPROVED = 0.95, 0.5


@dataclass(frozen=True)
class Equation:
    """An equation, and on how many of the rows or orders that could show it it holds.

    Attributes:
        text: in words of our fields.
        held: rows on which it holds.
        tried: rows that have all that it needs.
        telling: rows among those that hold on which it isn't trivially true (a part that is not zero, say).
    """

    text: str
    held: int
    tried: int
    telling: int = 0

    @property
    def share(self) -> float:
        return self.held / self.tried if self.tried else 0.0

    @property
    def proven(self) -> bool:
        return self.telling >= 2 and self.share >= PROVEN

    def __str__(self) -> str:
        return f"{self.text} holds on {self.held:,} of {self.tried:,}"


def net_equation(gross: Numbers, fee: Numbers, net: Numbers, flipped: bool) -> Equation:
    """net = gross - fee, or net = gross + fee where the file shows a fee that costs as negative; blank fee is zero."""
    held = tried = telling = 0
    for whole, cost, rest in zip(gross, fee, net, strict=True):
        if whole is None or rest is None:
            continue
        tried += 1
        cost = cost or 0
        if rest == (whole + cost if flipped else whole - cost):
            held += 1
            telling += cost != 0 and whole != 0
    return Equation("net = gross + fee" if flipped else "net = gross - fee", held, tried, telling)


@dataclass(frozen=True)
class BalanceParts:
    """Three columns that make net = gross - fee, as proven on the sample."""

    gross: Column
    fee: Column
    net: Column
    flipped: bool
    equation: Equation


def find_balance_parts(columns: Sequence[Column], prefer: Callable[[Column, str], int]) -> BalanceParts | None:
    """The three number columns that prove net = gross - fee best; names decide between equal proofs.

    The same three columns also read gross = net + fee: a fee is taken to be the smallest of the three, and to cost on
    most rows.
    """
    numeric = [column for column in columns if column.is_number and not column.personal][:12]
    found: list[tuple[float, bool, int, BalanceParts]] = []
    for gross, fee, net in itertools.permutations(numeric, 3):
        if column_size(fee) > min(column_size(gross), column_size(net)):
            continue
        for flipped in (False, True):
            equation = net_equation(gross.numbers, fee.numbers, net.numbers, flipped)
            if equation.proven:
                names = prefer(gross, "gross") + prefer(fee, "fee") + prefer(net, "net")
                positive, negative = fee.signs
                costs = negative >= positive if flipped else positive >= negative
                found.append((equation.share, costs, names, BalanceParts(gross, fee, net, flipped, equation)))
    if not found:
        return None
    return max(found, key=lambda entry: entry[:3])[3]


def column_size(column: Column) -> int:
    """The sum of a column's numbers without their signs: a fee is smaller than what it is taken from."""
    return sum(abs(number) for number in column.numbers if number is not None)


def total_equation(parts: Mapping[str, Numbers], total: Numbers) -> Equation:
    """production + shipping + tax - discount = total on each row, all without their signs; a blank part is zero."""
    held = tried = telling = 0
    for row, whole in enumerate(total):
        values = {name: abs(numbers[row] or 0) for name, numbers in parts.items()}
        if whole is None or not any(values.values()):
            continue
        tried += 1
        summed = sum(-value if name == "discount" else value for name, value in values.items())
        if summed == abs(whole):
            held += 1
            telling += sum(value != 0 for value in values.values()) > 1
    signs = " ".join(("- " if name == "discount" else "+ ") + name for name in parts)
    return Equation(f"{signs.removeprefix('+ ')} = total", held, tried, telling)


@dataclass(frozen=True)
class RunningBalance:
    """A balance that follows from an amount, line by line.

    Attributes:
        newest_first: the file lists the latest line first.
        flipped: the balance falls where the amount is positive.
    """

    newest_first: bool
    flipped: bool
    equation: Equation


def running_balance(amount: Numbers, balance: Numbers) -> RunningBalance | None:
    """How a balance column follows from an amount column; None where it doesn't on most lines."""
    best: RunningBalance | None = None
    for newest_first in (False, True):
        for flipped in (False, True):
            held = tried = telling = 0
            for above in range(len(amount) - 1):
                below = above + 1
                earlier, later = (below, above) if newest_first else (above, below)
                before, after, change = balance[earlier], balance[later], amount[later]
                if before is None or after is None or change is None:
                    continue
                tried += 1
                if after == before + (-change if flipped else change):
                    held += 1
                    telling += change != 0
            text = "balance = balance before - amount" if flipped else "balance = balance before + amount"
            found = RunningBalance(newest_first, flipped, Equation(text, held, tried, telling))
            if found.equation.share > (best.equation.share if best else 0.0):
                best = found
    return best if best and best.equation.telling >= 2 and best.equation.share >= 0.8 else None


@dataclass(frozen=True)
class OrderReading:
    """How an order's total follows from its lines.

    Attributes:
        price: "unit" (quantity × price) or "line" (the price column is the line's total already).
        discount: "order", "line", or "none" where the prices are after the discount.
        tax_included: the tax is inside the prices.
        gift_card_outside: the total is what was left to pay after the gift card.
    """

    price: str
    discount: str
    tax_included: bool
    gift_card_outside: bool
    equation: Equation


def group_orders(order_ids: Sequence[str]) -> list[list[int]]:
    """Rows of each order, orders in the order of their first row; rows without an id follow the order above them."""
    groups: dict[str, list[int]] = {}
    current = ""
    for row, order_id in enumerate(order_ids):
        current = order_id or current
        groups.setdefault(current, []).append(row)
    return list(groups.values())


def order_value(numbers: Numbers, rows: Sequence[int]) -> int:
    """An order-level amount: the first that is filled among the order's rows, without its sign; 0 where none is."""
    return next((abs(value) for row in rows if (value := numbers[row]) is not None), 0)


def read_orders(columns: Mapping[str, Numbers], groups: Sequence[Sequence[int]], *, first: str) -> OrderReading | None:
    """The way of adding up lines that fits the totals of most orders; None without a total or a price.

    `first` is what the discount is by its name, "order" or "line": it stands where several ways fit equally well.
    """
    if "total" not in columns or "unit_price" not in columns:
        return None
    prices = ("unit", "line") if "quantity" in columns else ("line",)
    second = "line" if first == "order" else "order"
    discounts = (first, second, "none") if "discount" in columns else ("none",)
    included = (False, True) if "tax" in columns else (False,)
    outside = (False, True) if "gift_card_paid" in columns else (False,)
    best: OrderReading | None = None
    for price, discount, tax_included, gift in itertools.product(prices, discounts, included, outside):
        equation = _try_reading(columns, groups, price, discount, tax_included, gift)
        if best is None or equation.held > best.equation.held:
            best = OrderReading(price, discount, tax_included, gift, equation)
    return best


def _try_reading(
    columns: Mapping[str, Numbers],
    groups: Sequence[Sequence[int]],
    price: str,
    discount: str,
    tax_included: bool,
    gift_card_outside: bool,
) -> Equation:
    held = tried = telling = 0
    blank: Numbers = [None] * len(columns["total"])
    quantity, prices = columns.get("quantity", blank), columns["unit_price"]
    discounts = columns.get("discount", blank)
    for rows in groups:
        if all(columns["total"][row] is None for row in rows):
            continue
        tried += 1
        lines = 0
        for row in rows:
            pieces = 1 if price == "line" else (quantity[row] or 0) // 10_000
            lines += pieces * (prices[row] or 0)
            if discount == "line":
                lines -= abs(discounts[row] or 0)
            lines -= abs(columns.get("line_discount", blank)[row] or 0)
        extras = ["shipping_charged", "tip"] + ([] if tax_included else ["tax"])
        summed = lines + sum(order_value(columns[name], rows) for name in extras if name in columns)
        if discount == "order":
            summed -= order_value(discounts, rows)
        if gift_card_outside:
            summed -= order_value(columns["gift_card_paid"], rows)
        if summed == order_value(columns["total"], rows):
            held += 1
            telling += summed != lines or len(rows) > 1 or price == "unit"
    return Equation(_reading_text(columns, price, discount, tax_included), held, tried, telling)


def _reading_text(columns: Mapping[str, Numbers], price: str, discount: str, tax_included: bool) -> str:
    parts = "Σ quantity × unit_price" if price == "unit" else "Σ unit_price"
    if "line_discount" in columns:
        parts += " - line_discount"
    if discount != "none":
        parts += f" - {discount}_discount"
    for name in ("shipping_charged", "tip"):
        parts += f" + {name}" if name in columns else ""
    if "tax" in columns:
        parts += " (tax included)" if tax_included else " + tax"
    return f"total = {parts}"


def level_of(cells: Sequence[str], groups: Sequence[Sequence[int]]) -> str:
    """Where a column's values belong, by the orders of several lines.

    "line": they differ within an order; "first-line": only the first line of each order has one; "every-line": the
    lines of each order repeat it; "unknown": no order has several lines, or the column is blank.
    """
    several = [rows for rows in groups if len(rows) > 1 and any(cells[row] for row in rows)]
    if not several:
        return "unknown"
    if any(len({cells[row] for row in rows if cells[row]}) > 1 for rows in several):
        return "line"
    if all(not any(cells[row] for row in rows[1:]) for rows in several):
        return "first-line"
    if all(all(cells[row] for row in rows) for rows in several):
        return "every-line"
    return "line"
