"""References of other exports to orders: as they are written, by the mapping's pattern, by the payment's own reference."""

from pathlib import Path

import pytest
from kept_books import Books, Row, csv_text, order, processor, wallet

PATTERN = """source = "card-processor"
kind = "processor"

[file]
reference_pattern = "^store/(\\\\d+)/"

[columns]
event_id = "event_id"
kind = "kind"
at = "at"
order_ref = "order_ref"
gross = "gross"
net = "net"
currency = "currency"
"""

ORDERS = ["#1001", "SO-1002", "1003", "1004-2", "1005", "1005-2", "A-1006", "B-1006", "x-1007"]

#: A reference, and the order that it finds.
FOUND = {
    "1001": "#1001",
    " #1001 ": "#1001",
    "1001-2": "#1001",
    "so-1002": "SO-1002",
    "#1003": "1003",
    "1003.1": "1003",
    "1004-2": "1004-2",
    "1005": "1005",
    "1005-2": "1005-2",
    "A-1006": "A-1006",
    "1006": None,
    "SO-1001": None,  # most references have no letters, and another payment names the order
    "1002": None,
    "C-1006": None,
    "1005-3": None,
    "X-1007": "x-1007",
    "10010": None,
    "1001-234": None,
    "100": None,
    "": None,
}


@pytest.fixture(scope="module")
def matched(tmp_path_factory: pytest.TempPathFactory) -> dict[str, tuple[str | None, str | None]]:
    """The order and the way of matching of each charge of one set of books."""
    rows = [
        processor(f"c{place}", "charge", "2031-04-03", "1.00", "1.00", order_ref=text)
        for place, text in enumerate(FOUND)
    ]
    rows += [
        processor("p1", "charge", "2031-04-03", "1.00", "1.00", payment_ref="pay-1"),
        processor("p2", "refund", "2031-04-04", "-1.00", "-1.00", payment_ref="pay-2"),
        processor("p3", "charge", "2031-04-03", "1.00", "1.00", payment_ref="pay-2", order_ref="1003"),
        processor("p4", "charge", "2031-04-03", "1.00", "1.00", payment_ref="pay-both"),
    ]
    sold = [order(name, "2031-04-02", "1.00") for name in ORDERS]
    sold += [order("2001", "2031-04-02", "1.00", payment_ref="pay-1")]
    sold += [order(name, "2031-04-02", "1.00", payment_ref="pay-both") for name in ("2002", "2003")]
    books = Books(tmp_path_factory.mktemp("references")).put(orders=sold, processor=rows)
    found = books.query(
        "SELECT event_id, head.order_id, matched_by FROM processor_row LEFT JOIN order_head AS head USING (order_no)"
    )
    return {event_id: (order_id, how) for event_id, order_id, how in found}


@pytest.mark.parametrize(("place", "text"), list(enumerate(FOUND)), ids=[repr(text) for text in FOUND])
def test_reference_finds(place: int, text: str, matched: dict[str, tuple[str | None, str | None]]) -> None:
    """A reference finds its order as it is, without a leading mark, and without a suffix where one order fits."""
    assert FOUND[text] == matched[f"c{place}"][0]


def test_way_is_told(matched: dict[str, tuple[str | None, str | None]]) -> None:
    """How a payment was matched is kept with it."""
    ways = {text: matched[f"c{place}"][1] for place, text in enumerate(FOUND)}
    assert ("reference", "reference without prefix or suffix", None) == (ways["1001"], ways["1001-2"], ways["1006"])


def charge(event_id: str, text: str, amount: str = "9.00", kind: str = "charge", on: str = "2031-04-03") -> Row:
    """An event of the processor that names an order."""
    return processor(event_id, kind, on, amount, amount, order_ref=text)


#: Rows of the processor of orders 1001 to 1006 of 9.00, and the order that the last row finds. What it is for stands beside it.
PREFIXES: dict[str, tuple[list[Row], str | None]] = {
    "all are written so": ([charge("a", "SO-1001"), charge("b", "SO-1002"), charge("z", "SO-1003", "5.00")], "1003"),
    "most are written so": ([charge("a", "1001"), charge("b", "SO-1002"), charge("z", "SO-1003", "5.00")], "1003"),
    "others are written plainly": ([charge("a", "1001"), charge("b", "1002"), charge("z", "W1003", "5.00")], None),
    "the payment is what the order owes": ([charge("a", "1001"), charge("b", "1002"), charge("z", "W1003")], "1003"),
    "another payment names the order": ([charge("a", "1001"), charge("b", "1003"), charge("z", "W1003")], None),
    "a refund of another series": ([charge("a", "1001"), charge("b", "1002"), charge("z", "W1001", "-3.00", "refund")], None),
    "refunds have a word before": (
        [
            *(charge(f"a{n}", f"100{n}") for n in range(1, 7)),
            *(charge(f"b{n}", f"Refund 100{n}", "-1.00", "refund") for n in range(1, 3)),
            charge("z", "Refund 1003", "-1.00", "refund"),
        ],
        "1003",
    ),
    "refunds follow their payment": (
        [charge("a", "1001"), charge("b", "1002"), charge("c", "W1003"), charge("z", "W1003", "-3.00", "refund")], "1003"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", PREFIXES)
def test_lettered_prefix(name: str, tmp_path: Path) -> None:
    """A prefix is left out where the source writes so for the most part, or the payment is what the order owes."""
    rows, expected = PREFIXES[name]
    sold = [order(f"100{number}", "2031-04-02", "9.00") for number in range(1, 7)]
    books = Books(tmp_path).put(orders=sold, processor=rows)
    query = "SELECT head.order_id FROM processor_row LEFT JOIN order_head AS head USING (order_no) WHERE event_id = 'z'"
    assert [(expected,)] == books.query(query)


@pytest.mark.parametrize(("sku", "expected"), [("mug", "1003"), ("TEE", None)])
def test_lettered_prefix_of_a_charge(sku: str, expected: str | None, tmp_path: Path) -> None:
    """A charge whose reference has letters that most have not belongs to the order if it is for its goods."""
    rows = [
        wallet("a", "charge", "2031-04-03", "2.00", order_ref="1001"),
        wallet("b", "charge", "2031-04-03", "2.00", order_ref="1002"),
    ]
    rows.append(wallet("z", "charge", "2031-04-03", "2.00", order_ref="W1003", sku=sku, quantity=1))
    sold = [order(f"100{number}", "2031-04-02", "9.00", sku="MUG") for number in range(1, 4)]
    books = Books(tmp_path).put(orders=sold, wallet=rows)
    query = "SELECT head.order_id FROM wallet_row LEFT JOIN order_head AS head USING (order_no) WHERE event_id = 'z'"
    assert [(expected,)] == books.query(query)


def test_what_is_not_taken_is_a_candidate(tmp_path: Path) -> None:
    """Orders that a reference may mean are named: one written with letters, one that lost its zeros, one of two shops."""
    second = '[[source]]\nname = "market"\nkind = "orders"\ncurrency = "USD"\n'
    books = Books(tmp_path, more=second)
    books.put(
        orders=[order(name, "2031-04-02", total) for name, total in (("1001", "9.00"), ("0042", "7.00"), ("7", "5.00"), ("8", "1.00"))],
        processor=[
            charge("a", "1001"), charge("b", "8", "1.00"), charge("c", "W1001", "-3.00", "refund"), charge("d", "42", "7.00"),
            charge("e", "7", "6.00"),
        ],
    )  # fmt: skip
    target = books.folder.exports / "market"
    target.mkdir(parents=True)
    (target / "m.csv").write_text(csv_text([order("7", "2031-04-02", "6.00")]), encoding="utf-8")
    found = {
        item.event_id: [(each.match, each.amount) for each in item.candidates]
        for item in books.open_items()
        if item.kind == "payment-without-order"
    }
    assert {
        "c": [("1001", 900)],
        "d": [("0042", 700)],
        "e": [("market/7", 600), ("shop/7", 500)],
    } == found
    (cause,) = [item.cause for item in books.open_items() if item.event_id == "e"]
    assert cause.startswith("several shops have an order 7")


def test_payment_reference(matched: dict[str, tuple[str | None, str | None]]) -> None:
    """A payment's reference finds the order by the shop's word, or by another event of the payment that names it."""
    assert ("2001", "payment reference") == matched["p1"]
    assert ("1003", "payment reference") == matched["p2"]


def test_payment_reference_of_two_orders(matched: dict[str, tuple[str | None, str | None]]) -> None:
    """A payment's reference that two orders have finds neither."""
    assert (None, None) == matched["p4"]


def test_pattern_of_the_mapping(tmp_path: Path) -> None:
    """With a reference pattern its first group is what identifies the order; what does not fit it is read as it is."""
    books = Books(tmp_path)
    (books.folder.mappings / "card-processor.toml").write_text(PATTERN, encoding="utf-8")
    rows = [
        processor("c1", "charge", "2031-04-03", "1.00", "1.00", order_ref="store/1001/web"),
        processor("c2", "charge", "2031-04-03", "1.00", "1.00", order_ref="#1002"),
        processor("c3", "charge", "2031-04-03", "1.00", "1.00", order_ref="store/9/web"),
    ]
    books.put(orders=[order("1001", "2031-04-02", "1.00"), order("1002", "2031-04-02", "1.00")], processor=rows)
    found = books.query(
        "SELECT event_id, head.order_id FROM processor_row LEFT JOIN order_head AS head USING (order_no) ORDER BY 1"
    )
    assert [("c1", "1001"), ("c2", "1002"), ("c3", None)] == found


def test_wallet_references_find_orders_too(tmp_path: Path) -> None:
    """A charge for a split shipment counts for its order, one for an unknown order is open."""
    books = Books(tmp_path).put(
        orders=[order("#1001", "2031-04-02", "9.00", quantity=2, unit_price="4.50")],
        wallet=[
            wallet("w1", "charge", "2031-04-03", "2.00", order_ref="1001-1", sku="MUG", quantity=1),
            wallet("w2", "charge", "2031-04-03", "2.00", order_ref="1001-2", sku="MUG", quantity=1),
            wallet("w3", "charge", "2031-04-03", "2.00", order_ref="7777", sku="MUG", quantity=1),
        ],
    )
    assert [("order-1001",), ("order-1001",), ()] == [entry.links for entry in books.entries() if entry.event[0] == "w"]
    assert [("fulfilment-without-order", "w3")] == [(item.kind, item.event_id) for item in books.open_items()]
