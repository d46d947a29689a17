"""The accrual of a month's end, piece by piece: what is charged in part, gift cards, SKUs in another case, what is latest."""

from __future__ import annotations

import datetime
from decimal import Decimal
from pathlib import Path

import pytest
from april_shop import WAIVABLE, balances, close
from kept_books import Books, order, silent, wallet

from ledger_tools.archive import archived_exports, fresh_staging, rebuild
from ledger_tools.build import read_inputs
from ledger_tools.posting.month_end import CutOff, list_month_end_entries

LAST = datetime.date(2031, 4, 30)
TO = {"ship_country": "US", "ship_region": "CO"}
SHIPPED = "2031-04-28T09:00:00"

Rows = list[dict[str, object]]


def made(
    event_id: str, order_id: str, day: str, sku: str, production: str, shipping: str = "0", **more: object
) -> dict[str, object]:
    """A charge by its parts, of one piece unless more is said."""
    total = str(Decimal(production) + Decimal(shipping))
    usual: dict[str, object] = {"sku": sku, "quantity": 1, "production": production, "shipping": shipping}
    return wallet(event_id, "charge", day, total, order_ref=order_id, **{**usual, **more})


def piece(order_id: str, sku: str, shipped_at: str = SHIPPED, **more: object) -> dict[str, object]:
    """A line of an order of 30.00 with two lines."""
    usual: dict[str, object] = {"sku": sku, "unit_price": "15.00", "shipped_at": shipped_at, **TO}
    return order(order_id, "2031-04-26", "30.00", **{**usual, **more})


#: A mug lately costs 4.00 and a cap 7.00, one piece 1.00 to ship to Colorado, two 1.50, one to Hawaii 9.00.
USUAL = [
    order("old", "2031-04-01", "10.00", shipped_at="2031-04-03T09:00:00", **TO),
    order("m", "2031-04-20", "10.00", shipped_at=SHIPPED, **TO),
    order("c", "2031-04-20", "20.00", sku="CAP", shipped_at=SHIPPED, **TO),
    order("two", "2031-04-20", "20.00", quantity=2, unit_price="10.00", shipped_at=SHIPPED, **TO),
    order("hi", "2031-04-20", "10.00", shipped_at=SHIPPED, ship_country="US", ship_region="HI"),
]
USUAL_CHARGES = [
    made("old", "old", "2031-04-02", "MUG", "3.50", "1.30"),
    made("z1", "two", "2031-04-30", "MUG", "8.00", "1.50", quantity=2),
    made("z2", "m", "2031-04-30", "MUG", "4.00", "1.00"),
    made("z3", "c", "2031-04-30", "CAP", "7.00", "1.00"),
    made("z4", "hi", "2031-04-30", "MUG", "4.00", "9.00"),
]


#: How the month is cut off; production, shipping and the sum of all legs by rule and order.
April = tuple[CutOff, dict[tuple[str, str], tuple[int, int, int]]]
Case = tuple[str, Rows, Rows, tuple[int, int] | None]


def mug_and_cap(name: str, **more: object) -> Rows:
    """An order of a mug and a cap, shipped on 28 April."""
    return [piece(name, "MUG", **more), piece(name, "CAP", **more)]


def mug(name: str) -> dict[str, object]:
    """April's charge of the mug, with some shipping."""
    return made(f"{name}-mug", name, "2031-04-29", "MUG", "4.00", "1.00")


def cap(name: str) -> dict[str, object]:
    """May's charge of the cap."""
    return made(f"{name}-cap", name, "2031-05-02", "CAP", "7.30", "0.60")


def sent(name: str, region: str) -> dict[str, object]:
    """An order of one mug to a region."""
    return order(name, "2031-04-26", "15.00", shipped_at=SHIPPED, ship_country="US", ship_region=region)


MARCH = {"shipped_at": "2031-03-28T09:00:00", "placed_at": "2031-03-26T12:00:00"}

#: Orders with their charges, and the production and shipping that are accrued at the end of April.
CASES: tuple[Case, ...] = (
    ("nothing charged: both pieces and the parcel", mug_and_cap("a"), [], (1100, 150)),
    ("mug and some shipping charged: the cap alone", mug_and_cap("b"), [mug("b")], (700, 0)),
    ("mug charged without shipping: cap and parcel", mug_and_cap("c1"), [made("c2", "c1", "2031-04-29", "MUG", "4.00")], (700, 150)),
    ("the cap charged in May: that charge", mug_and_cap("d"), [mug("d"), cap("d")], (730, 60)),
    ("cap charged in May, mug not at all: that charge and a mug's cost", mug_and_cap("e"), [cap("e")], (400 + 730, 60)),
    (
        "the mug charged again in May is no cost of the cap",
        mug_and_cap("f"),
        [mug("f"), made("f2", "f", "2031-05-02", "MUG", "4.00", "1.00")],
        (700, 0),
    ),
    ("one mug of three charged", [piece("g", "MUG", quantity=3, unit_price="10.00")], [mug("g")], (800, 0)),
    ("all charged", mug_and_cap("h"), [mug("h"), made("h2", "h", "2031-04-29", "CAP", "7.00")], None),
    (
        "a charge that states no pieces is for all of its SKU",
        [piece("i", "MUG", quantity=2)],
        [made("i1", "i", "2031-04-29", "MUG", "8.00", "1.50", quantity="")],
        None,
    ),
    ("a charge without a SKU is for the whole", mug_and_cap("j"), [made("j1", "j", "2031-04-29", "", "11.00")], None),
    ("so is one of another SKU", mug_and_cap("k"), [made("k1", "k", "2031-04-29", "SET-1", "11.00")], None),
    ("shipped in March, charged in part: no more is expected", mug_and_cap("l", **MARCH), [mug("l")], None),
    ("shipped in March, not charged at all: still owed", mug_and_cap("n", **MARCH), [], (1100, 150)),
    ("SKUs in another case", [piece("o", "mug"), piece("o", "Cap")], [], (1100, 150)),
    ("charged in another case", [piece("p", "mug"), piece("p", "Cap")], [mug("p")], (700, 0)),
    ("a gift card is not made", [piece("q", "MUG"), piece("q", "", category="gift card")], [], (400, 100)),
    ("a region's own latest shipping", [sent("r", "HI")], [], (400, 900)),
    ("a region without parcels: the country's latest", [sent("s", "ME")], [], (400, 900)),
)  # fmt: skip

#: One order whose cap is of a SKU never charged; one cancelled on the month's last day, one on the day after.
OTHERS = [
    piece("unknown", "MUG"),
    piece("unknown", "FLAG"),
    order("gone", "2031-04-20", "10.00", cancelled_at="2031-04-30T10:00:00"),
    order("going", "2031-04-20", "10.00", cancelled_at="2031-05-01T10:00:00"),
]


@pytest.fixture(scope="module")
def april(tmp_path_factory: pytest.TempPathFactory) -> April:
    """How April is cut off; production, shipping and the sum of all legs by rule and order."""
    books = Books(tmp_path_factory.mktemp("april")).put(
        orders=[*USUAL, *OTHERS, *(row for _, orders, _, _ in CASES for row in orders)],
        wallet=[*USUAL_CHARGES, mug("unknown"), *(row for _, _, charges, _ in CASES for row in charges)],
    )
    folder = books.folder
    connection, _ = rebuild(folder, read_inputs(folder), fresh_staging(folder), archived_exports(folder), silent)
    with connection:
        cut_off = list_month_end_entries(connection, LAST, "USD", "shipped")
        rows = connection.execute(
            """SELECT rule, order_id, coalesce(sum(amount) FILTER (role = 'production'), 0)::BIGINT,
                      coalesce(sum(amount) FILTER (role = 'shipping_cost'), 0)::BIGINT, sum(amount)::BIGINT
               FROM month_end_leg JOIN account USING (account_no) JOIN order_head USING (order_no)
               GROUP BY rule, order_id"""
        ).fetchall()
    return cut_off, {(str(rule), str(name)): (*figures,) for rule, name, *figures in rows}


@pytest.mark.parametrize(("orders", "expected"), [pytest.param(case[1], case[3], id=case[0]) for case in CASES])
def test_accrued(orders: Rows, expected: tuple[int, int] | None, april: April) -> None:
    """What is accrued for an order is what of its pieces is not charged; its legs come to zero."""
    assert (None if expected is None else (*expected, 0)) == april[1].get(("accrual", str(orders[0]["order_id"])))


def test_unknown_rest(april: April) -> None:
    """Where no cost of the piece that is left is known, that order alone is named, and nothing of it is accrued."""
    cut_off, entries = april
    assert (("unknown", "no cost of its SKU is known"),) == cut_off.unknown_costs
    assert ("accrual", "unknown") not in entries


def test_cancelled_at_the_months_end(april: April) -> None:
    """An order cancelled on the last day is none of the month's any more; one cancelled on the first of the next still is."""
    assert ["going"] == [name for rule, name in april[1] if rule == "deferral"]


def test_reversal_of_a_rest(tmp_path: Path) -> None:
    """What is accrued of a partly charged order is taken back on the first, so May bears nothing of its own charge."""
    books = Books(tmp_path).put(orders=mug_and_cap("9"), wallet=[mug("9"), cap("9")])
    before = balances(books)
    close(books, "2031-04", *WAIVABLE)
    assert -790 == balances(books, "2031-04-30")["Liabilities:AccruedFulfilment"]
    assert before == balances(books)
