"""Whatever the day: what clearing, suspense and the accounts of money under way hold is what the items of that day hold."""

import datetime
from collections import Counter
from pathlib import Path

import pytest
from kept_books import Books, bank, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.open_items import find_items

ROLES = ("clearing", "payouts_in_transit", "top_ups_in_transit", "suspense")
FIRST, LAST = datetime.date(2031, 4, 1), datetime.date(2031, 5, 2)


def april(root: Path) -> Books:
    """Payments in parts and before the order, payouts in parts, returned and late, top-ups paid before the wallet has them."""
    return Books(root).put(
        orders=[
            order("1001", "2031-04-02", "50.00"), order("1002", "2031-04-12", "60.00"), order("1003", "2031-04-20", "9.00"),
            order("1004", "2031-04-28", "8.00"),
        ],
        processor=[
            processor("c1", "charge", "2031-04-02", "20.00", "19.00", fee="1.00", order_ref="1001"),
            processor("c2", "charge", "2031-04-09", "30.00", "29.00", fee="1.00", order_ref="1001"),
            processor("c3", "charge", "2031-04-10", "60.00", "59.00", fee="1.00", order_ref="1002"),
            processor("c4", "charge", "2031-04-20", "7.50", "7.50", order_ref="1003"),
            processor("c5", "charge", "2031-04-22", "4.00", "4.00", order_ref="nobody's"),
            processor("po1", "payout", "2031-04-11", "-70.00", "-70.00", payout_id="PO-1"),
            processor("po2", "payout", "2031-04-15", "-25.00", "-25.00", payout_id="PO-2"),
            processor("po2r", "payout_returned", "2031-04-20", "25.00", "25.00", payout_id="PO-2"),
            processor("po3", "payout", "2031-04-24", "-11.00", "-11.00", payout_id="PO-3"),
        ],
        wallet=[
            wallet("w1", "charge", "2031-04-03", "10.00", order_ref="1001"),
            wallet("w2", "charge", "2031-04-16", "10.00", order_ref="1002"),
            wallet("t1", "top_up", "2031-04-17", "90.00"),
            wallet("t2", "top_up", "2031-04-30", "33.00"),
        ],
        bank=[
            bank("2031-04-01", "-1.00", "FEE"), bank("2031-04-10", "70.00", "SETTLEMENT"), bank("2031-04-16", "-50.00", "TOP-UP"),
            bank("2031-04-18", "-40.00", "TOP-UP"), bank("2031-04-26", "6.00", "PO-3 FIRST PART"),
            bank("2031-04-29", "5.00", "PO-3 SECOND PART"), bank("2031-05-02", "12.34", "NOBODY KNOWS"),
        ],
    )  # fmt: skip


@pytest.mark.parametrize("role", ROLES)
def test_accounts_are_what_items_hold(role: str, april_books: Books) -> None:
    """On each day of the month and after it, late and under way together, to the cent."""
    days = [FIRST + datetime.timedelta(days=day) for day in range((LAST - FIRST).days + 1)]
    with open_books(april_books.folder, silent) as connection:
        for day in days:
            found = find_items(connection, day)
            held: Counter[str] = Counter()
            for item in [*found.late, *found.under_way]:
                if item.held is not None and item.held.role == role:
                    held[item.currency or ""] += item.balance
            booked = dict(
                connection.execute(
                    """SELECT currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
                       WHERE role = ? AND posted_on <= ? GROUP BY currency HAVING sum(amount) <> 0""",
                    [role, day],
                ).fetchall()
            )
            assert booked == {currency: amount for currency, amount in held.items() if amount}, day


@pytest.fixture(scope="module")
def april_books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """The month's books, built once."""
    return april(tmp_path_factory.mktemp("april")).build()
