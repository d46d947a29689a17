"""The amounts of an order export in a proposed mapping: prices, discounts and totals, as the orders add up.

Used by the mapping proposer. An order's total must follow from its lines; the way of adding up that fits most orders
decides whose discount a column is, whether tax is inside the prices, and which unnamed column is the total.
"""

from __future__ import annotations

from collections.abc import Sequence

from importers.arithmetic import DISPROVED, OrderReading, column_size, group_orders, level_of, read_orders
from importers.column_evidence import Choice, Column, name_score
from importers.proposal import Draft
from importers.proposal_amounts import Chosen, money_fields
from importers.vocabulary import LINE_TOTAL
from ledger_tools.records import KINDS


def propose_orders(draft: Draft, columns: Sequence[Column], chosen: Chosen) -> Sequence[int | None]:
    """Prices, discounts and totals of an order export; returns the totals."""
    order_ids = (
        chosen["order_id"].column.cells if "order_id" in chosen else [str(row) for row in range(_height(columns))]
    )
    groups = group_orders(order_ids)
    _settle_levels(draft, chosen, groups)
    _settle_price(columns, chosen)
    _find_by_sums(columns, chosen, groups)
    discount = chosen.get("order_discount") or chosen.get("line_discount")
    known = _known_parts(chosen)
    reading = read_orders(known, groups, first="line" if discount is chosen.get("line_discount") else "order")
    if reading:
        _apply_reading(draft, chosen, reading, discount)
    if "total" not in chosen:
        if "unit_price" in chosen and not _unexplained(columns, chosen):
            draft.put("derive", "total", "lines", "the file has no total of the order")
        elif "unit_price" in chosen:
            left = ", ".join(column.name for column in _unexplained(columns, chosen))
            what = f"no column holds the order's total, and {left} may be a part of it that is not understood"
            draft.ask("derive", "", what, [("total", "lines", "the total is what the mapped columns add up to")])
        else:
            draft.ask("columns", "", "no column holds the order's total", [("total", "…", "what the customer owed")])
    for name in ("line_discount", "order_discount", "gift_card_paid", "refunded_items"):
        if name in chosen and chosen[name].column.signs[1]:
            draft.put("signs", name, "absolute", "the file shows it as negative")
    return chosen["total"].column.numbers if "total" in chosen else []


def _known_parts(chosen: Chosen) -> dict[str, Sequence[int | None]]:
    """The columns that an order's total is made of; a discount alone may be the order's or the line's."""
    names = ("quantity", "unit_price", "shipping_charged", "tax", "tip", "gift_card_paid", "total")
    known: dict[str, Sequence[int | None]] = {name: chosen[name].column.numbers for name in names if name in chosen}
    discount = chosen.get("order_discount") or chosen.get("line_discount")
    if "line_discount" in chosen and "order_discount" in chosen:
        known["line_discount"] = chosen["line_discount"].column.numbers
    if discount:
        known["discount"] = discount.column.numbers
    return known


def _unexplained(columns: Sequence[Column], chosen: Chosen) -> list[Column]:
    """Columns of decimal numbers that no field takes; line totals are proof, not parts."""
    taken = {choice.column.position for choice in chosen.values()}
    return [
        column
        for column in columns
        if column.position not in taken
        and column.shows_decimals
        and not column.personal
        and name_score(column.words, LINE_TOTAL) < 70
        and not any(word.startswith(("refund", "back", "weight", "rate")) for word in column.words)
    ]


def _find_by_sums(columns: Sequence[Column], chosen: Chosen, groups: Sequence[Sequence[int]]) -> None:
    """Finds a total and discounts that no name tells, by what makes the orders add up.

    A total less a discount reads the other way round as well: of two columns the larger is the total.
    """
    if "unit_price" not in chosen:
        return
    if "total" not in chosen:
        found = [
            (held, column_size(column), column)
            for column in _unexplained(columns, chosen)
            if level_of(column.cells, groups) != "line" and (held := _count_orders(columns, chosen, groups, column))
        ]
        held, _, column = max(found, key=lambda entry: entry[:2], default=(0, 0, None))
        if column is not None and held >= DISPROVED * len(groups):
            chosen["total"] = Choice(column, 100, f"the orders add up to it ({held:,} of {len(groups):,})")
    for _ in range(2):
        _find_discount(columns, chosen, groups)


def _count_orders(columns: Sequence[Column], chosen: Chosen, groups: Sequence[Sequence[int]], total: Column) -> int:
    """How many orders add up to a column, with the unnamed discount that helps most, if any does."""
    known = {**_known_parts(chosen), "total": total.numbers}
    trials = [known]
    if "discount" not in known:
        others = [column for column in _unexplained(columns, chosen) if column is not total]
        trials += [{**known, "discount": column.numbers} for column in others]
    readings = [read_orders(trial, groups, first="order") for trial in trials]
    return max(reading.equation.held if reading and reading.equation.telling else 0 for reading in readings)


def _find_discount(columns: Sequence[Column], chosen: Chosen, groups: Sequence[Sequence[int]]) -> None:
    """One more column that, taken off, makes more orders add up than without it."""
    known = _known_parts(chosen)
    before = read_orders(known, groups, first="order")
    free = [name for name in ("order_discount", "line_discount") if name not in chosen]
    if before is None or not free or before.equation.held == before.equation.tried:
        return
    best: tuple[int, str, Column] | None = None
    for column in _unexplained(columns, chosen):
        for name in free:
            trial = {**chosen, name: Choice(column, 100, "")}
            reading = read_orders(_known_parts(trial), groups, first="line" if name == "line_discount" else "order")
            if reading and reading.discount != "none" and (best is None or reading.equation.held > best[0]):
                best = reading.equation.held, reading.discount + "_discount" if len(free) == 2 else name, column
    if best and best[0] > before.equation.held + 1:
        chosen[best[1]] = Choice(best[2], 100, f"with it {best[0]:,} of {len(groups):,} orders add up")


def _height(columns: Sequence[Column]) -> int:
    return len(columns[0].cells) if columns else 0


def _settle_levels(draft: Draft, chosen: Chosen, groups: Sequence[Sequence[int]]) -> None:
    """Order-level fields: on every line or on the first only; what differs within an order is no field of the order."""
    levels = {
        field.name: level_of(chosen[field.name].column.cells, groups)
        for field in KINDS["orders"]
        if field.order_level and field.name in chosen and field.name != "order_id"
    }
    for name in [name for name, level in levels.items() if level == "line"]:
        column = chosen[name].column
        if name == "order_discount" and "line_discount" not in chosen:
            chosen["line_discount"] = chosen.pop(name)
            continue
        del chosen[name]
        if name == "total":
            draft.notes.append(
                f"{column.name!r} differs between the lines of an order: it is a line's total, not the order's."
            )
        elif name in money_fields("orders"):
            draft.refuse(
                f"column {column.name}",
                f"it differs between the lines of an order, but {name} is one amount for the whole order",
                "export it once for each order, or leave it out: its amount then shows as a difference",
            )
    first_only = [name for name, level in levels.items() if level == "first-line"]
    if first_only and "every-line" not in {levels.get("total"), levels.get("placed_at")}:
        draft.put("file", "order_fields", "first-line", f"{', '.join(first_only)} stand on an order's first line only")
    if "order_id" in chosen and not any(len(rows) > 1 for rows in groups):
        draft.notes.append("Every order has one row.")


def _settle_price(columns: Sequence[Column], chosen: Chosen) -> None:
    """A column of line totals is proof, not a price, where the file has a price of one piece as well."""
    if "unit_price" in chosen:
        return
    taken = {choice.column.position for choice in chosen.values()}
    for column in columns:
        if column.position not in taken and column.is_number and name_score(column.words, LINE_TOTAL) >= 70:
            chosen["unit_price"] = Choice(column, 60, "the line's total, as no price of one piece is given")
            return


def _apply_reading(draft: Draft, chosen: Chosen, reading: OrderReading, discount: Choice | None) -> None:
    draft.notes.append(f"{reading.equation} orders.")
    if reading.equation.share < DISPROVED:
        draft.notes.append("Orders that don't add up are imported as they are and listed as open items.")
        return
    if reading.price == "line" and "quantity" in chosen:
        column = chosen.pop("quantity").column
        draft.put("constants", "quantity", "1", f"{chosen['unit_price'].column.name!r} is the line's total already")
        draft.notes.append(f"{column.name!r} is left out: the only price is the line's total.")
    if discount and {"order_discount", "line_discount"} & chosen.keys() != {"order_discount", "line_discount"}:
        chosen.pop("order_discount", None)
        chosen.pop("line_discount", None)
        if reading.discount == "none" and any(discount.column.numbers):
            draft.notes.append(f"{discount.column.name!r} is left out: the totals add up without it.")
        else:
            chosen["line_discount" if reading.discount == "line" else "order_discount"] = discount
    if reading.tax_included and "prices_include_tax" not in chosen and any(chosen["tax"].column.numbers):
        draft.put("constants", "prices_include_tax", "true", f"{reading.equation} orders")
    if reading.gift_card_outside and any(chosen["gift_card_paid"].column.numbers):
        draft.refuse(
            f"column {chosen['total'].column.name}",
            "the total is what was left to pay after the gift card; ours includes the gift card",
            'name a column with the full total, or put `total = "lines"` under [derive] instead of the column',
        )
