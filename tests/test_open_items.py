"""What does not tie out: each kind is found with its day and amount, after its days of grace, and leaves when data comes."""

import datetime
from pathlib import Path

import pytest
from kept_books import Books, bank, order, processor, wallet

from ledger_tools.open_items import KINDS, OpenItem, item_id

DAY = "2031-04-02"

#: 2001 ties out in every way and must never be listed.
ORDERS = [
    order("2001", DAY, "20.00"),
    order("2002", DAY, "21.00"),
    order("2003", DAY, "22.00"),
    order("2004", DAY, "23.00"),
    order("2005", DAY, "24.00"),
    order("2006", DAY, "25.00", cancelled_at="2031-04-03T09:00:00"),
    order("2007", DAY, "26.00", unit_price="30.00"),
    order("2008", DAY, "27.00", quantity=2, unit_price="13.50"),
    order("2009", DAY, "28.00"),
    order("2010", DAY, "29.00", category="gift card"),
    order("2011", DAY, "30.00"),
]

PROCESSOR = [
    *(
        processor(f"ch-{number}", "charge", DAY, amount, amount, order_ref=str(number))
        for number, amount in ((2001, "20.00"), (2003, "20.00"), (2004, "23.00"), (2005, "24.00"), (2006, "25.00"))
    ),
    *(
        processor(f"ch-{number}", "charge", DAY, amount, amount, order_ref=str(number))
        for number, amount in ((2007, "26.00"), (2008, "27.00"), (2009, "28.00"), (2010, "29.00"), (2011, "30.00"))
    ),
    processor("re-2006", "refund", "2031-04-03", "-25.00", "-25.00", order_ref="2006"),
    processor("re-2011", "refund", "2031-04-12", "-31.00", "-31.00", order_ref="2011"),
    processor("ch-x", "charge", "2031-04-04", "9.00", "9.00", order_ref="7777"),
    processor("ch-y", "charge", "2031-04-04", "8.00", "8.00", order_ref="7778"),
    processor("re-y", "refund", "2031-04-05", "-8.00", "-8.00", order_ref="7778", payment_ref=""),
    processor("ad-1", "adjustment", "2031-04-06", "3.00", "3.00", memo="case 5"),
    processor("fe-1", "dispute_lost", "2031-04-07", "0", "0", payment_ref="pay-none"),
    processor("ch-z", "payout", "2031-04-08", "-40.00", "-40.00"),
    processor("po-1", "payout", "2031-04-05", "-50.00", "-50.00"),
    processor("po-2", "payout", "2031-04-05", "-60.00", "-60.00"),
]

MADE = (("2001", 1), ("2002", 1), ("2003", 1), ("2005", 2), ("2006", 1), ("2007", 1), ("2008", 2), ("2011", 1))

WALLET = [
    wallet("w-0", "top_up", "2031-04-01", "300.00"),
    wallet("w-00", "top_up", "2031-04-20", "77.00"),
    *(
        wallet(f"w-{number}-{piece}", "charge", "2031-04-03", "5.00", order_ref=number, sku="MUG", quantity=1)
        for number, pieces in MADE
        for piece in range(1, pieces + 1)
    ),
    wallet("w-9", "charge", "2031-04-03", "6.00", order_ref="2009", production="4.00", shipping="1.00"),
    wallet("w-x", "charge", "2031-04-04", "5.50", order_ref="7779"),
    wallet("w-y", "charge", "2031-04-05", "2.50", reason="packing"),
    wallet("w-c", "credit", "2031-04-06", "1.50", order_ref="7780"),
]

BANK = [
    bank("2031-04-01", "-300.00", "PARTNER", counterparty="Partner"),
    bank("2031-04-07", "50.00", "SETTLEMENT", counterparty="Card company"),
    bank("2031-04-09", "40.00", "SETTLEMENT", counterparty="Card company"),
    bank("2031-04-11", "11.00", "SETTLEMENT", counterparty="Card company"),
    bank("2031-04-12", "-4.00", "CORNER SHOP", counterparty="Corner shop"),
    bank("2031-04-30", "-1.00", "FEE", counterparty="Bank"),
]

RULE = '[[bank_rule]]\npattern = "^fee"\naccount = "Expenses:BankFees"\n'
STATED = """
[[stated_balance]]
source = "checking"
on = 2031-04-10
amount = "-210.00"

[[stated_balance]]
source = "card-processor"
on = 2031-04-10
amount = "77.77"
"""

#: Kind, order or event, day, amount: all that stands open on 30 April. The processor's balance on the 10th is: charges
#: 252.00, unknown ones 9.00, refund -25.00, adjustment 3.00, payouts -150.00 = 89.00.
OPEN = [
    ("order-without-payment", "2002", DAY, 2100),
    ("payment-without-order", "ch-x", "2031-04-04", 900),
    ("payment-without-order", "ch-y", "2031-04-04", 800),
    ("payment-without-order", "re-y", "2031-04-05", -800),
    ("payment-differs", "2003", DAY, 200),
    ("order-without-fulfilment", "2004", DAY, 2300),
    ("fulfilment-without-order", "w-x", "2031-04-04", 550),
    ("charged-twice", "2005", "2031-04-03", 500),
    ("charged-though-cancelled", "2006", "2031-04-03", 500),
    ("payout-not-in-bank", "po-2", "2031-04-05", 6000),
    ("deposit-without-payout", "20310411:1100:1", "2031-04-11", 1100),
    ("top-up-without-bank-line", "w-00", "2031-04-20", -7700),
    ("balance-differs", "card-processor", "2031-04-10", -1123),
    ("order-does-not-add-up", "2007", DAY, 400),
    ("event-does-not-add-up", "2009", "2031-04-03", 100),
    ("event-does-not-add-up", "w-c", "2031-04-06", 150),
    ("event-does-not-add-up", "fe-1", "2031-04-07", 0),
    ("event-does-not-add-up", "2011", "2031-04-12", 100),
    ("bank-line-without-rule", "w-y", "2031-04-05", 250),
    ("bank-line-without-rule", "ad-1", "2031-04-06", 300),
    ("bank-line-without-rule", "20310412:-400:1", "2031-04-12", -400),
]


def told(item: OpenItem) -> tuple[str, str, str, int | None]:
    """An item as the tables above write it."""
    return item.kind, item.order_id or item.event_id or item.source or "", item.date.isoformat(), item.amount


def by_kind(rows: list[tuple[str, str, str, int | None]]) -> list[tuple[str, str, str, int | None]]:
    """Rows of one kind in an order that ids don't decide."""
    names = [kind.name for kind in KINDS]
    return sorted(rows, key=lambda row: (names.index(row[0]), row[2], row[1]))


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """A shop in which one thing of each kind does not tie out."""
    found = Books(tmp_path_factory.mktemp("open"), RULE + STATED)
    return found.put(orders=ORDERS, processor=PROCESSOR, wallet=WALLET, bank=BANK)


def test_everything_that_is_open(books: Books) -> None:
    """Each thing that does not tie out is listed with its day and amount, by kind and day, and nothing else is."""
    found = [told(item) for item in books.open_items("2031-04-30")]
    assert by_kind(OPEN) == by_kind(found)
    assert [row[0] for row in by_kind(OPEN)] == [row[0] for row in found]


def test_item_says_all_that_is_needed(books: Books) -> None:
    """An item has its age in days, its source, the cause and what settles it."""
    for item in books.open_items("2031-04-30"):
        assert (datetime.date(2031, 4, 30) - item.date).days == item.age_days
        assert item.source
        assert item.cause
        assert item.next_step
        assert (item.amount is None) == (item.currency is None)


def test_ids_are_those_of_kind_source_and_key(books: Books) -> None:
    """Ids differ from item to item, and are the same in every run and on every day."""
    items = books.open_items("2031-04-30")
    assert len(items) == len({item.id for item in items})
    assert item_id("order-without-payment", "shop", "2002") == items[0].id
    later = {item.id for item in books.open_items("2031-06-30")}
    assert {item.id for item in items} <= later


@pytest.mark.parametrize(
    ("kind", "last_day_of_grace"),
    [
        ("order-without-payment", "2031-04-04"),
        ("order-without-fulfilment", "2031-04-07"),
        ("payout-not-in-bank", "2031-04-12"),
        ("top-up-without-bank-line", "2031-04-25"),
    ],
)
def test_grace(kind: str, last_day_of_grace: str, books: Books) -> None:
    """A thing may take its days of grace; on the day after the last of them it is open."""
    day = datetime.date.fromisoformat(last_day_of_grace)
    assert kind not in [item.kind for item in books.open_items(day.isoformat()) if told(item) in OPEN]
    assert kind in [
        item.kind for item in books.open_items((day + datetime.timedelta(days=1)).isoformat()) if told(item) in OPEN
    ]


def test_as_of_sees_nothing_later(books: Books) -> None:
    """Seen as of a day, a payout whose bank line came later is not there yet, and what came later is not open yet."""
    kinds = books.kinds("2031-04-03")
    assert "deposit-without-payout" not in kinds
    assert "balance-differs" not in kinds
    assert [] == books.kinds("2031-03-31")
    early = [told(item) for item in books.open_items("2031-04-04")]
    assert ("event-does-not-add-up", "w-c", "2031-04-06", 150) not in early


def test_data_settles(tmp_path: Path) -> None:
    """An item leaves the list when the export comes that it waited for, and its id was the same until then."""
    books = Books(tmp_path).put(
        orders=[order("1", DAY, "10.00")], processor=[processor("f", "fee", "2031-05-01", "-1", "-1")]
    )
    books.put(wallet=[wallet("w", "top_up", "2031-04-01", "9.00")])
    before = books.open_items()
    assert ["order-without-payment", "order-without-fulfilment", "top-up-without-bank-line"] == [
        item.kind for item in before
    ]
    books.put(
        processor=[
            processor("c", "charge", "2031-04-03", "10.00", "10.00", order_ref="1"),
            processor("f", "fee", "2031-05-01", "-1", "-1"),
        ]
    )
    books.put(bank=[bank("2031-04-01", "-9.00", "PARTNER")])
    assert [before[1].id] == [item.id for item in books.open_items()]
    books.put(
        wallet=[
            wallet("w", "top_up", "2031-04-01", "9.00"),
            wallet("w1", "charge", "2031-04-05", "4.00", order_ref="1"),
        ]
    )
    assert [] == books.open_items()


def test_unusual_tax_rate(tmp_path: Path) -> None:
    """With twenty orders in a jurisdiction, one whose tax is off the usual rate on both bases is listed; a cent is no reason."""
    place = {"ship_country": "US", "ship_region": "CO", "unit_price": "20.00", "shipping_charged": "5.00"}
    rows = [order(str(number), DAY, "26.60", tax="1.60", **place) for number in range(1, 19)]
    rows += [order("19", DAY, "21.60", tax="1.60", **{**place, "shipping_charged": "0"})]
    rows += [order("off", DAY, "28.00", tax="3.00", **place), order("cent", DAY, "26.61", tax="1.61", **place)]
    rows += [order("all-in", DAY, "27.00", tax="2.00", **{**place, "ship_region": "WA"})]
    found = [told(item) for item in Books(tmp_path).put(orders=rows).open_items() if item.kind == "tax-rate-unusual"]
    assert [("tax-rate-unusual", "off", DAY, 140)] == found


def test_tax_rate_is_compared_exactly(tmp_path: Path) -> None:
    """Off by more than 0.1 point of 8.25 % is listed with the exact amount and both rates; 0.1 point or less is not."""
    place = {"ship_country": "US", "ship_region": "CO"}
    rows = [order(str(number), DAY, "108.25", tax="8.25", unit_price="100.00", **place) for number in range(1, 21)]
    # taxes rounded to the cent: of small orders they fit many rates, and say little
    rows += [order(f"s{number}", DAY, "1.08", tax="0.08", unit_price="1.00", **place) for number in range(30)]
    rows += [order("none", DAY, "1000.00", unit_price="1000.00", **place)]
    rows += [order("above", DAY, "1083.60", tax="83.60", unit_price="1000.00", **place)]
    rows += [order("at", DAY, "1083.50", tax="83.50", unit_price="1000.00", **place)]
    rows += [order("large", DAY, "54210.01", tax="4210.01", unit_price="50000.00", **place)]
    items = [item for item in Books(tmp_path).put(orders=rows).open_items() if item.kind == "tax-rate-unusual"]
    usual = "of the items, usual in US-CO is 8.25 %"
    assert [
        ("above", 110, f"tax is 8.36 % {usual}"),
        ("large", 8501, f"tax is 8.4201 % {usual}"),
        ("none", -8250, f"tax is 0 % {usual}"),
    ] == sorted((item.order_id or "", item.amount, item.cause) for item in items)


def test_payout_of_nothing_waits_for_nothing(tmp_path: Path) -> None:
    """No bank line can hold a payout of 0.00: it is no open item."""
    rows = [processor("po-0", "payout", DAY, "0.00", "0.00"), processor("po-1", "payout", DAY, "-5.00", "-5.00")]
    books = Books(tmp_path).put(processor=rows, bank=[bank("2031-05-30", "-1.00", "FEE")])
    assert ["po-1"] == [item.event_id for item in books.open_items() if item.kind == "payout-not-in-bank"]


def test_tax_rate_of_few_orders_is_not_judged(tmp_path: Path) -> None:
    """With fewer than twenty orders no rate is usual."""
    place = {"ship_country": "US", "ship_region": "CO", "unit_price": "20.00"}
    rows = [order(str(number), DAY, "21.60", tax="1.60", **place) for number in range(1, 19)]
    rows += [order("off", DAY, "24.00", tax="4.00", **place)]
    assert "tax-rate-unusual" not in Books(tmp_path).put(orders=rows).kinds()


def test_same_difference_every_day_is_an_opening_balance(tmp_path: Path) -> None:
    """A statement that always differs by the same is told as a missing opening balance; the entry by hand settles it."""
    rows = [bank("2031-04-01", "10.00", "A", balance="110.00"), bank("2031-04-02", "-5.00", "B", balance="105.00")]
    books = Books(tmp_path).put(bank=rows)
    (item,) = [item for item in books.open_items() if item.kind == "balance-differs"]
    assert (10000, "2031-04-01") == (item.amount, item.date.isoformat())
    assert "the same difference on every stated day: an opening balance is missing" == item.cause
    books.folder.hand.write_text(
        '2031-03-31 * "Opening"\n  Assets:Bank:Checking  100.00 USD\n  Equity:OpeningBalances\n'
    )
    assert "balance-differs" not in books.kinds()


def test_difference_that_is_made_good_later_stays_listed(tmp_path: Path) -> None:
    """A balance that was stated wrong on one day is listed, though a later one agrees: each stated day has to tie out."""
    rows = [bank("2031-04-01", "10.00", "A", balance="10.00"), bank("2031-04-02", "-5.00", "B", balance="6.00"),
            bank("2031-04-03", "-1.00", "C", balance="4.00")]  # fmt: skip
    (item,) = [item for item in Books(tmp_path).put(bank=rows).open_items() if item.kind == "balance-differs"]
    assert (100, 0, "2031-04-02") == (item.amount, item.balance, item.date.isoformat())
    assert "stated and booked differ by this on 2031-04-02 and agree later: reconcile --as-of that day" == item.cause


def test_books_without_data_have_nothing_open(tmp_path: Path) -> None:
    """New books have no open item and no day to see them as of."""
    assert [] == Books(tmp_path).open_items()


def test_shipped_then_refunded(tmp_path: Path) -> None:
    """An order that shipped was made: that its charge is missing is told though all of it was refunded afterwards."""
    books = Books(tmp_path).put(
        orders=[
            order("1", DAY, "20.00", shipped_at="2031-04-03T09:00:00"),
            order("2", DAY, "21.00"),
            order("3", "2031-04-20", "22.00", shipped_at="2031-04-21T09:00:00"),
        ],
        processor=[
            processor("c1", "charge", DAY, "20.00", "20.00", order_ref="1"),
            processor("r1", "refund", "2031-04-05", "-20.00", "-20.00", order_ref="1"),
            processor("c2", "charge", DAY, "21.00", "21.00", order_ref="2"),
            processor("r2", "refund", "2031-04-05", "-21.00", "-21.00", order_ref="2"),
            processor("c3", "charge", "2031-04-20", "22.00", "22.00", order_ref="3"),
        ],
        wallet=[wallet("w3", "charge", "2031-04-20", "9.00", order_ref="3")],
    )
    assert ["1"] == [item.order_id for item in books.open_items() if item.kind == "order-without-fulfilment"]
