"""Open items as of a day: what is listed is what was known then, whatever the exports of later days bring.

Not so by their nature: gaps of coverage and records that changed or vanished, which only a later export can show, and the
clause of a cause that says how far the exports reach. Matching takes every record into account, the later ones too; the
records here name what they belong to.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from kept_books import Books, Row, bank, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.reports.order_profit import report_orders

DAY = "2031-04-30"

Exports = Mapping[str, list[dict[str, object]]]


def paid(order_id: str, day: str, amount: str) -> dict[str, object]:
    """A payment without a fee."""
    return processor(f"pay-{order_id}", "charge", day, amount, amount, order_ref=order_id)


def made(event_id: str, order_id: str, day: str, **fields: object) -> dict[str, object]:
    """A charge of 5.00 for a mug."""
    return wallet(event_id, "charge", day, "5.00", order_ref=order_id, sku="MUG", quantity=1, **fields)


KNOWN: Exports = {
    "orders": [
        order("done", "2031-04-01", "20.00", shipped_at="2031-04-04T09:00:00"),
        order("unmade", "2031-04-01", "21.00"),
        order("twice", "2031-04-01", "22.00"),
        order("unpaid", "2031-04-01", "23.00"),
        order("refunded", "2031-04-01", "24.00"),
    ],
    "processor": [
        *(paid(name, "2031-04-01", f"{amount}.00") for name, amount in (("done", 20), ("unmade", 21), ("twice", 22), ("refunded", 24))),
        processor("back", "refund", "2031-04-15", "-24.00", "-24.00", order_ref="refunded"),
        paid("early", "2031-04-29", "31.00"),
        processor("po-1", "payout", "2031-04-10", "-40.00", "-40.00", payout_id="po-1"),
    ],
    "wallet": [
        made("w-done", "done", "2031-04-02", shipped_at="2031-04-04T09:00:00"),
        made("w-1", "twice", "2031-04-02"),
        made("w-2", "twice", "2031-04-03"),
        made("w-unpaid", "unpaid", "2031-04-02"),
        made("w-refunded", "refunded", "2031-04-02"),
        made("w-early", "early", "2031-04-29"),
    ],
    "bank": [bank("2031-04-12", "77.77", "SETTLEMENT", counterparty="Card House"), bank("2031-04-20", "-3.21", "UNKNOWN")],
}  # fmt: skip

#: What came after the day: fields that earlier orders got, and records; each with the kind of its export.
CANCELLED = {"cancelled_at": "2031-05-20T10:00:00"}
FIELDS: tuple[tuple[str, dict[str, str]], ...] = (
    ("unmade", CANCELLED),
    ("twice", CANCELLED),
    ("unpaid", CANCELLED),
    ("refunded", CANCELLED),
    ("refunded", {"shipped_at": "2031-05-03T09:00:00"}),
)
RECORDS: tuple[tuple[str, list[dict[str, object]]], ...] = (
    ("orders", [order("early", "2031-05-01", "31.00")]),
    ("orders", [order("next", "2031-05-05", "12.00", shipped_at="2031-05-06T09:00:00")]),
    ("processor", [processor("po-back", "payout_returned", "2031-05-02", "40.00", "40.00", payout_id="po-1")]),
    ("processor", [processor("back-2", "refund", "2031-05-02", "-22.00", "-22.00", order_ref="twice")]),
    ("wallet", [wallet("credit", "credit", "2031-05-02", "5.00", order_ref="twice")]),
    ("wallet", [made("w-unmade", "unmade", "2031-05-04", shipped_at="2031-05-06T09:00:00")]),
    ("wallet", [made("w-again", "refunded", "2031-05-04", shipped_at="2031-05-06T09:00:00")]),
)  # fmt: skip
#: A payout and its bank line, which teach from whom payouts come.
PAYOUT = (
    ("processor", [processor("po-2", "payout", "2031-05-10", "-50.00", "-50.00", payout_id="po-2")]),
    ("bank", [bank("2031-05-11", "50.00", "SETTLEMENT po-2", counterparty="Card House")]),
)


def listed(fields: set[int], records: set[int], with_payout: bool) -> list[tuple[object, ...]]:
    """What is open as of the day, with some of what came after it in the exports."""
    orders = [dict(row) for row in KNOWN["orders"]]
    for place in fields:
        name, more = FIELDS[place]
        next(row for row in orders if row["order_id"] == name).update(more)
    exports: dict[str, list[Row]] = {**KNOWN, "orders": list(orders)}
    for kind, rows in [*(RECORDS[place] for place in sorted(records)), *(PAYOUT if with_payout else ())]:
        exports[kind] = [*exports[kind], *rows]
    with tempfile.TemporaryDirectory() as place:
        items = Books(Path(place)).put(**exports).open_items(DAY)
    return [
        (item.kind, str(item.date), item.amount, item.order_id, item.event_id, re.sub("; exports of.*", "", item.cause))
        for item in items
        if item.kind not in ("coverage-gap", "amended", "vanished")
    ]


@pytest.fixture(scope="module")
def known() -> list[tuple[object, ...]]:
    """What is open as of the day, with nothing later in the exports."""
    return listed(set(), set(), with_payout=False)


def test_what_was_known(known: list[tuple[object, ...]]) -> None:
    """Each record of the scene that can hide behind a later one is listed as of the day."""
    assert {
        ("order-without-fulfilment", "unmade"), ("charged-twice", "twice"), ("order-without-payment", "unpaid"),
        ("charged-though-cancelled", "refunded"), ("payment-without-order", None), ("fulfilment-without-order", None),
        ("payout-not-in-bank", None), ("bank-line-without-rule", None),
    } == {(kind, order_id) for kind, _, _, order_id, *_ in known}  # fmt: skip


def test_all_that_came_later(known: list[tuple[object, ...]]) -> None:
    """All later records and fields together change nothing as of the day."""
    assert known == listed(set(range(len(FIELDS))), set(range(len(RECORDS))), with_payout=True)


@given(
    st.sets(st.integers(0, len(FIELDS) - 1)), st.sets(st.integers(0, len(RECORDS) - 1)), st.booleans()
)  # fmt: skip
@settings(max_examples=3, deadline=None)
def test_any_of_what_came_later(
    known: list[tuple[object, ...]], fields: set[int], records: set[int], late: bool
) -> None:
    """Nor does any choice of them: one may not hide what another one shows."""
    assert known == listed(fields, records, with_payout=late)


@pytest.mark.parametrize("reprint", [False, True])
def test_a_reprint_says_nothing_of_the_order(tmp_path: Path, reprint: bool) -> None:
    """Shipped on 4 April and refunded on the 15th: that a reprint left on the 22nd makes it no refund before shipping."""
    again = wallet(
        "w2", "charge", "2031-04-20", "5.00", order_ref="A", reason="reprint", shipped_at="2031-04-22T09:00:00"
    )
    books = Books(tmp_path).put(
        orders=[order("A", "2031-04-01", "20.00")],
        processor=[
            paid("A", "2031-04-01", "20.00"),
            processor("r1", "refund", "2031-04-15", "-20.00", "-20.00", order_ref="A"),
        ],
        wallet=[made("w1", "A", "2031-04-02", shipped_at="2031-04-04T09:00:00"), *([again] if reprint else [])],
    )
    assert "charged-though-cancelled" not in books.kinds()
    with open_books(books.folder, silent) as connection:
        (row,) = report_orders(connection).orders
    assert "cancelled-but-charged" not in row.flags
