"""Payments and fulfilment charges without a usable reference: by amount and days, by sum, by goods; or left open."""

from pathlib import Path

import pytest
from kept_books import Books, order, processor, wallet


def charge(event_id: str, day: str, amount: str, **fields: object) -> dict[str, object]:
    """A payment of an amount, without fee unless the fields say otherwise."""
    return processor(event_id, "charge", day, amount, str(fields.pop("net", amount)), **fields)


ORDERS = [
    order("10001", "2031-01-01", "5.55"),
    order("10002", "2031-02-01", "21.00"),
    order("10003", "2031-02-03", "22.00"),
    # two orders of one amount within the window: the same day tells them apart
    order("10004", "2031-02-10", "23.00"),
    order("10005", "2031-02-11", "23.00"),
    # two orders of one amount on one day: nothing tells
    order("10006", "2031-02-20", "24.00"),
    order("10007", "2031-02-20", "24.00"),
    # a gift card paid a part; another currency; a reference that points elsewhere; one cut short; one garbled
    order("10008", "2031-03-01", "30.00", gift_card_paid="4.50"),
    order("10009", "2031-03-05", "31.00", currency="EUR"),
    order("10010", "2031-03-10", "32.00"),
    order("10011", "2031-03-15", "33.00"),
    order("10012", "2031-03-20", "34.00"),
    # one payment for two orders; one that two combinations fit
    order("10013", "2031-04-01", "41.17"),
    order("10014", "2031-04-02", "52.31"),
    order("10015", "2031-05-01", "10.00"),
    order("10016", "2031-05-01", "20.00"),
    order("10017", "2031-05-01", "30.00"),
    order("10018", "2031-05-01", "40.00"),
    # one payment reference for two orders; a refund that follows
    order("10019", "2031-06-01", "11.00", payment_ref="basket-7"),
    order("10020", "2031-06-01", "12.00", payment_ref="basket-7"),
    order("10021", "2031-06-10", "61.00"),
    order("10022", "2031-07-30", "5.55"),
]

PAYMENTS = [
    charge("p-01", "2031-01-01", "5.55", order_ref="10001"),
    charge("p-02", "2031-02-02", "21.00"),
    charge("p-03", "2031-02-09", "22.00"),
    charge("p-04", "2031-02-10", "23.00"),
    charge("p-05", "2031-02-11", "23.00"),
    charge("p-06", "2031-02-20", "24.00"),
    charge("p-07", "2031-02-20", "24.00"),
    charge("p-08", "2031-03-01", "25.50"),
    charge("p-09", "2031-03-05", "33.80", charged_currency="EUR", charged_amount="31.00"),
    charge("p-10", "2031-03-10", "32.00", order_ref="10777"),
    charge("p-11", "2031-03-15", "33.00", order_ref="100"),
    charge("p-12", "2031-03-20", "34.00", order_ref="1.00E+04", payment_ref="px-1"),
    charge("p-13", "2031-04-02", "93.48", fee="3.01", net="90.47"),
    charge("p-15", "2031-05-01", "50.00"),
    charge("p-19", "2031-06-01", "23.00", payment_ref="basket-7", fee="1.00", net="22.00"),
    charge("p-21", "2031-06-10", "61.00", payment_ref="px-2"),
    processor("r-21", "refund", "2031-06-20", "-1.00", "-1.00", payment_ref="px-2"),
    charge("p-22", "2031-07-30", "5.55", order_ref="10022"),
]

#: A payment's event, its order and how that was found.
GOLDEN = {
    "p-01": ("10001", "reference"),
    "p-02": ("10002", "amount and date"),
    "p-03": (None, None),
    "p-04": ("10004", "amount and date"),
    "p-05": ("10005", "amount and date"),
    "p-06": (None, None),
    "p-07": (None, None),
    "p-08": ("10008", "amount and date"),
    "p-09": ("10009", "amount and date"),
    "p-10": (None, None),
    "p-11": ("10011", "amount and date"),
    "p-12": ("10012", "amount and date"),
    "p-13/10013": ("10013", "sum"),
    "p-13/10014": ("10014", "sum"),
    "p-15": (None, None),
    "p-19/10019": ("10019", "payment reference"),
    "p-19/10020": ("10020", "payment reference"),
    "p-21": ("10021", "amount and date"),
    "r-21": ("10021", "payment reference"),
    "p-22": ("10022", "reference"),
}


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """One set of books with all cases."""
    return Books(tmp_path_factory.mktemp("payments")).put(orders=ORDERS, processor=PAYMENTS).build()


def test_payments(books: Books) -> None:
    """Each payment goes to the order that alone fits it, and to none where a reference or a rival speaks against it."""
    rows = books.query("SELECT event_id, order_id, matched_by FROM processor_row LEFT JOIN order_head USING (order_no)")
    assert GOLDEN == {event_id: (order_id, how) for event_id, order_id, how in rows}


def test_a_payment_for_two_orders_is_posted_in_parts(books: Books) -> None:
    """Each order's part has its share of the fee; the parts are the payment to the cent."""
    parts = [entry for entry in books.entries() if entry.event.startswith("p-13/")]
    assert [
        ("order-10013",), ("order-10014",),
    ] == [entry.links for entry in parts]  # fmt: skip
    assert [
        ("Assets:Processor:CardProcessor", "39.84", "USD", ""),
        ("Expenses:Fees:Processing", "1.33", "USD", ""),
        ("Assets:Clearing:Orders", "-41.17", "USD", ""),
        ("Assets:Processor:CardProcessor", "50.63", "USD", ""),
        ("Expenses:Fees:Processing", "1.68", "USD", ""),
        ("Assets:Clearing:Orders", "-52.31", "USD", ""),
    ] == [line for entry in parts for line in entry.lines]


def test_candidates(books: Books) -> None:
    """What could be an open payment's order is named, from both sides; parts of combinations too."""
    rows = books.query(
        "SELECT record_id, match_id, why FROM candidate WHERE record_id IN ('p-06', '10006', 'p-15') ORDER BY record_id, rank, match_id"
    )
    several = "several combinations of 4 open records make up this amount"
    assert [
        ("10006", "p-06", "the same amount, the same day"),
        ("10006", "p-07", "the same amount, the same day"),
        ("p-06", "10006", "the same amount, the same day"),
        ("p-06", "10007", "the same amount, the same day"),
        ("p-15", "10015", several),
        ("p-15", "10018", several),
        ("p-15", "10016", several),
        ("p-15", "10017", several),
    ] == rows


SHIRT = {"sku": "SHIRT", "ship_country": "US", "ship_region": "CO"}
HAT, BAG = {**SHIRT, "sku": "HAT", "quantity": 1}, {**SHIRT, "sku": "BAG", "quantity": 1}
GOODS_ORDERS = [
    order("1", "2031-04-01", "9.00", sku="MUG", ship_country="US", ship_region="CO"),
    order("2", "2031-04-05", "9.00", **SHIRT, quantity=2, unit_price="4.50"),
    order("3", "2031-04-05", "9.00", **SHIRT),
    order("4", "2031-04-10", "9.00", sku="MUG", ship_country="US", ship_region="WA", quantity=1, unit_price="4.00"),
    order("4", "2031-04-10", "9.00", sku="CAP", ship_country="US", ship_region="WA", quantity=1, unit_price="5.00"),
    order("5", "2031-04-20", "9.00", **SHIRT),
    order("6", "2031-04-20", "9.00", **SHIRT),
    # the charge came before the second order, so it can only be the first one's; the next came before its only order
    order("8", "2031-04-25", "9.00", **{**HAT, "placed_at": "2031-04-25T09:00:00"}),
    order("9", "2031-04-25", "9.00", **{**HAT, "placed_at": "2031-04-25T18:00:00"}),
    order("10", "2031-04-26", "9.00", **{**BAG, "placed_at": "2031-04-26T18:00:00"}),
    order("7", "2031-04-30", "9.00", sku="MUG", ship_country="US", ship_region="CO"),
]
MAKINGS = [
    wallet(
        "w1", "charge", "2031-04-01", "2.00", sku="MUG", quantity=1, ship_country="US", ship_region="CO", order_ref="1"
    ),
    wallet("w2", "charge", "2031-04-06", "5.00", sku="shirt", quantity=2, ship_country="US", ship_region="CO"),
    wallet("w3", "charge", "2031-04-06", "5.00", sku="SHIRT", quantity=1, ship_country="US", ship_region="NY"),
    wallet("w4a", "charge", "2031-04-12", "2.00", sku="MUG", quantity=1, ship_country="US", ship_region="WA"),
    wallet("w4b", "charge", "2031-04-12", "3.00", sku="CAP", quantity=1, ship_country="US", ship_region="WA"),
    wallet("w5", "charge", "2031-04-21", "2.00", sku="SHIRT", quantity=1, ship_country="US", ship_region="CO"),
    wallet("w8", "charge", "2031-04-25", "2.00", at="2031-04-25T12:00:00", **HAT),
    wallet("w10", "charge", "2031-04-26", "2.00", at="2031-04-26T12:00:00", **BAG),
    wallet(
        "w7", "charge", "2031-05-01", "2.00", sku="MUG", quantity=1, ship_country="US", ship_region="CO", order_ref="1"
    ),
]


def test_goods(tmp_path: Path) -> None:
    """Charges go to the order with the same pieces for the same place; one of two equal orders is not guessed."""
    books = Books(tmp_path).put(orders=GOODS_ORDERS, wallet=MAKINGS)
    rows = books.query("SELECT event_id, order_id, matched_by FROM wallet_row LEFT JOIN order_head USING (order_no)")
    goods = "goods, destination and date"
    assert {
        "w1": ("1", "reference"),
        "w2": ("2", goods),
        "w3": (None, None),
        "w4a": ("4", goods),
        "w4b": ("4", goods),
        "w5": (None, None),
        "w8": ("8", goods),
        "w10": (None, None),
        "w7": ("1", "reference"),
    } == {event_id: (order_id, how) for event_id, order_id, how in rows}
    assert [("5",), ("6",)] == books.query("SELECT match_id FROM candidate WHERE record_id = 'w5' ORDER BY rank")


def test_a_decision_withdrawn_leaves_no_trace(tmp_path: Path) -> None:
    """A person's word about a payment that amounts can't place counts, and taken back the journal is as it was."""
    books = Books(tmp_path).put(orders=ORDERS[5:7], processor=PAYMENTS[5:7])
    before = books.journal_text()
    books.folder.decisions.write_text(
        '[[decision]]\nitem = "00000001"\nkind = "payment-without-order"\naction = "match"\nreason = "asked"\nby = "owner"\n'
        'decided_on = 2031-08-01\nitem_date = 2031-02-20\nsource = "card-processor"\nevent_id = "p-07"\nmatch_id = "10006"\n',
        encoding="utf-8",
    )
    assert [("p-06", "10007", "amount and date"), ("p-07", "10006", "decision")] == books.query(
        "SELECT event_id, order_id, matched_by FROM processor_row LEFT JOIN order_head USING (order_no) ORDER BY 1"
    )
    books.folder.decisions.unlink()
    assert before == books.journal_text()


def test_a_person_ties_one_payment_to_two_orders(tmp_path: Path) -> None:
    """Two decisions about one payment split it among the two orders, where what they owe is what was paid."""
    books = Books(tmp_path).put(orders=ORDERS[14:18], processor=PAYMENTS[13:14])
    books.folder.decisions.write_text(
        "".join(
            f'[[decision]]\nitem = "{place:08x}"\nkind = "order-without-payment"\naction = "match"\nreason = "asked"\nby = "owner"\n'
            f'decided_on = 2031-08-01\nitem_date = 2031-05-01\nsource = "shop"\norder_id = "{name}"\n'
            'match_source = "card-processor"\nmatch_id = "p-15"\n'
            for place, name in enumerate(("10016", "10017"))
        ),
        encoding="utf-8",
    )
    assert [("p-15/10016", "10016", 2000, "decision"), ("p-15/10017", "10017", 3000, "decision")] == books.query(
        "SELECT event_id, order_id, gross, matched_by FROM processor_row JOIN order_head USING (order_no) ORDER BY 1"
    )


@pytest.mark.parametrize(
    ("account", "order_id"), [("Assets:Clearing:Orders", None), ("Income:Tips", "1")], ids=["paid", "something else"]
)
def test_an_order_paid_by_hand_takes_no_payment(tmp_path: Path, account: str, order_id: str | None) -> None:
    """An entry in hand.beancount that pays an order leaves a payment of the same amount without an order."""
    books = Books(tmp_path).put(
        orders=[order("1", "2031-04-01", "9.00")], processor=[charge("p-1", "2031-04-01", "9.00")]
    )
    books.folder.hand.write_text(
        f'2031-04-01 * "Cash at the fair" ^order-1\n  Assets:Cash  9.00 USD\n  {account}  -9.00 USD\n', encoding="utf-8"
    )
    found = books.query("SELECT order_id FROM processor_row LEFT JOIN order_head USING (order_no)")
    assert [(order_id,)] == found


@pytest.mark.parametrize("is_crowded", [True, False])
def test_a_sum_beside_a_payment_that_was_not_tried(tmp_path: Path, is_crowded: bool) -> None:
    """Two orders that make up a payment are not taken where a payment among too many orders could be theirs as well."""
    crowd = [order(f"2{number:02}", "2031-04-01", f"10.{number:02}") for number in range(22)]
    few = [order("101", "2031-04-01", "2.11"), order("102", "2031-04-01", "3.07")]
    large = [charge("p-large", "2031-04-01", "55.55")] if is_crowded else []
    books = Books(tmp_path).put(orders=[*few, *crowd], processor=[charge("p-small", "2031-04-01", "5.18"), *large])
    found = {row[0] for row in books.query("SELECT event_id FROM processor_row WHERE order_no IS NOT NULL")}
    assert (set() if is_crowded else {"p-small/101", "p-small/102"}) == found
    told = books.query("SELECT why FROM candidate WHERE record_id = 'p-large'")
    words = "sums were not tried: 24 open records in the days around are more than can be told apart"
    assert ([(words,)] if is_crowded else []) == told
