"""The partner's charges against the rate card: above it is an open item by the excess, below and unknown are none."""

from decimal import Decimal
from pathlib import Path

import pytest
from kept_books import Books, order, wallet

from ledger_tools.errors import LedgerError
from ledger_tools.settings import parse_settings

DAY = "2031-04-02"

CARD = """
[rate_card]

[[rate_card.production]]
sku = "MUG"
price = "6.00"

[[rate_card.production]]
sku = "MUG"
price = "7.00"
from = 2031-05-01

[[rate_card.production]]
sku = "TEE"
price = "11.00"

[[rate_card.shipping]]
category = "Mugs"
destination = "US"
first = "5.00"
additional = "2.00"

[[rate_card.shipping]]
category = "mugs"
destination = ["US-HI", "US-AK"]
first = "9.00"
additional = "4.00"

[[rate_card.shipping]]
category = "Shirts"
first = "4.00"
additional = "1.00"
"""


def charge(
    number: str, piece: int, sku: str, quantity: int | str, made: str, sent: str, **fields: object
) -> dict[str, object]:
    """A fulfilment charge whose parts add up."""
    discount = str(fields.pop("discount", "0"))
    total = str(Decimal(made) + Decimal(sent) - Decimal(discount))
    usual: dict[str, object] = {
        "sku": sku,
        "quantity": quantity,
        "production": made,
        "shipping": sent,
        "discount": discount,
    }
    day = str(fields.pop("day", "2031-04-03"))
    return wallet(f"w-{number}-{piece}", "charge", day, total, order_ref=number, **{**usual, **fields})


def sold(number: str, *lines: tuple[str, str, int], region: str = "CO", **fields: object) -> list[dict[str, object]]:
    """An order of (sku, category, quantity) lines."""
    place = {"ship_country": "US", "ship_region": region}
    return [
        order(number, DAY, "50.00", sku=sku, category=category, quantity=quantity, unit_price="", **place, **fields)
        for sku, category, quantity in lines
    ]


MUG, TEE, CAP = ("MUG", "Mugs", 1), ("TEE", "Shirts", 1), ("CAP", "Caps", 1)

#: Order lines, wallet rows, and the excess in cents; None is no item.
CASES: dict[str, tuple[list[dict[str, object]], list[dict[str, object]], int | None]] = {
    "on the card": (sold("1", MUG), [charge("1", 1, "MUG", 1, "6.00", "5.00")], None),
    "below the card": (sold("2", MUG), [charge("2", 1, "MUG", 1, "5.00", "4.00")], None),
    "production above": (sold("3", MUG), [charge("3", 1, "MUG", 1, "6.50", "5.00")], 50),
    "production above, less its discount": (
        sold("4", MUG), [charge("4", 1, "MUG", 1, "6.50", "5.00", discount="0.50")], None),
    "shipping above": (sold("5", ("MUG", "Mugs", 3)), [charge("5", 1, "MUG", 3, "18.00", "9.01")], 1),
    "both above": (sold("6", MUG), [charge("6", 1, "MUG", 1, "6.10", "5.20")], 30),
    "the basket's dearest piece is the first": (
        sold("7", MUG, TEE), [charge("7", 1, "TEE", 1, "11.00", "1.00"), charge("7", 2, "MUG", 1, "6.00", "5.00")], None),
    "two first pieces in one parcel": (
        sold("8", MUG, TEE), [charge("8", 1, "TEE", 1, "11.00", "4.00"), charge("8", 2, "MUG", 1, "6.00", "5.00")], 300),
    "two parcels have two first pieces": (
        sold("9", MUG, TEE),
        [charge("9", 1, "TEE", 1, "11.00", "4.00", shipped_at="2031-04-05T10:00:00"),
         charge("9", 2, "MUG", 1, "6.00", "5.00", shipped_at="2031-04-06T10:00:00")], None),
    "the region's own rate": (sold("10", MUG, region="HI"), [charge("10", 1, "MUG", 1, "6.00", "9.00")], None),
    "any destination": (sold("11", TEE, region="HI"), [charge("11", 1, "TEE", 1, "11.00", "4.50")], 50),
    "unknown SKU and category": (sold("12", CAP), [charge("12", 1, "CAP", 1, "99.00", "99.00")], None),
    "unknown piece in the parcel": (
        sold("13", CAP, MUG), [charge("13", 1, "CAP", 1, "9.00", "9.00"), charge("13", 2, "MUG", 1, "6.25", "9.00")], 25),
    "the price of the day": (sold("14", MUG), [charge("14", 1, "MUG", 1, "7.00", "5.00", day="2031-05-02")], None),
    "one charge for the whole order": (
        sold("15", MUG, TEE), [charge("15", 1, "", "", "17.40", "6.00")], 40),
    "credited in full": (
        sold("16", MUG), [charge("16", 1, "MUG", 1, "6.50", "5.00"),
                          wallet("c-16", "credit", "2031-04-09", "0.50", order_ref="16")], None),
    "credited in part": (
        sold("17", MUG), [charge("17", 1, "MUG", 1, "6.50", "5.00"),
                          wallet("c-17", "credit", "2031-04-09", "0.20", order_ref="17")], 30),
    "charged twice is another item": (
        sold("18", MUG), [charge("18", 1, "MUG", 1, "6.00", "5.00"), charge("18", 2, "MUG", 1, "6.00", "5.00")], None),
}  # fmt: skip


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """One shop with all the cases."""
    orders = [line for lines, _, _ in CASES.values() for line in lines]
    charges = [row for _, rows, _ in CASES.values() for row in rows]
    return Books(tmp_path_factory.mktemp("card"), CARD).put(orders=orders, wallet=charges)


def test_excess_over_the_card(books: Books) -> None:
    """Each case gives an item of the excess, or none."""
    found = {item.order_id: item.amount for item in books.open_items() if item.kind == "cost-above-rate-card"}
    expected = {str(place): excess for place, (_, _, excess) in enumerate(CASES.values(), start=1) if excess}
    assert expected == found


def test_cause_names_charge_and_card(books: Books) -> None:
    """The cause says what was charged and what the card says."""
    causes = {item.order_id: item.cause for item in books.open_items() if item.kind == "cost-above-rate-card"}
    assert "production of MUG is 6.50, on the rate card 6.00" == causes["3"]
    assert "shipping is 9.00, on the rate card 6.00" == causes["8"]
    assert "production of MUG is 6.50, on the rate card 6.00; credited only in part" == causes["17"]


def test_without_a_card_nothing_is_above_it(tmp_path: Path) -> None:
    """A shop that states no rate card has no such item."""
    lines, rows, _ = CASES["both above"]
    assert "cost-above-rate-card" not in Books(tmp_path).put(orders=lines, wallet=rows).kinds()


@pytest.mark.parametrize(
    ("card", "told"),
    [
        ('[[rate_card.production]]\nsku = "M"\nprice = "6.001"', "rate_card.production.1.price: found '6.001'"),
        ('[[rate_card.production]]\nsku = "M"\nprice = "-6"', "expected an amount in USD that is not negative"),
        ('[[rate_card.production]]\nsku = "M"\nprice = "6"\nuntil = 2031-01-01', "rate_card.production.1.until"),
        (
            '[[rate_card.shipping]]\ncategory = "M"\ndestination = "Europe"\nfirst = "1"\nadditional = "1"',
            "expected a country",
        ),
        ('[rate_card]\ncurrency = "XXQ"', "not an ISO 4217 currency code"),
    ],
)
def test_wrong_cards(card: str, told: str) -> None:
    """What is wrong with a card is said with its key."""
    with pytest.raises(LedgerError, match=told.replace(".", r"\.")):
        parse_settings(f'currency = "USD"\ntime_zone = "UTC"\n{card}\n')
