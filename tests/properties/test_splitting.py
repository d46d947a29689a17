"""Splits of money: parts sum to the whole, nothing is given back twice, and SQL splits as Python does."""

from __future__ import annotations

import random
from collections.abc import Callable
from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st
from shop_books import ShopBooks

from ledger_tools.money import allocate, format_amount, minor_digits, parse_amount, round_half_up
from ledger_tools.posting.splits import Credit, Parts, give_back_overpaid, split_credits, split_refunds

NOTHING: Parts = (0, 0, 0, 0, 0)
AMOUNTS = st.integers(0, 10**9)
WEIGHTS = st.lists(AMOUNTS, min_size=1, max_size=8).filter(any)
PARTS = st.tuples(*[st.integers(0, 10**6)] * 5)


@given(st.integers(-(10**12), 10**12), WEIGHTS)
def test_allocation_is_whole_and_fair(total: int, weights: list[int]) -> None:
    """Parts sum to the total, and each is less than one unit from its exact share."""
    parts = allocate(total, weights)
    assert total == sum(parts)
    whole = sum(weights)
    assert all(abs(part - Fraction(total * weight, whole)) < 1 for part, weight in zip(parts, weights, strict=True))
    assert all(part == 0 for part, weight in zip(parts, weights, strict=True) if weight == 0)


@given(st.integers(0, 10**12), WEIGHTS)
def test_allocation_gives_the_missing_units_to_the_largest_remainders(total: int, weights: list[int]) -> None:
    """No part that was rounded down had a larger remainder, or the same and an earlier place, than one rounded up."""
    whole = sum(weights)
    floors = [total * weight // whole for weight in weights]
    ranks = [(-(total * weight % whole), place) for place, weight in enumerate(weights)]
    parts = allocate(total, weights)
    up = [rank for rank, part, floor in zip(ranks, parts, floors, strict=True) if part == floor + 1]
    down = [rank for rank, part, floor in zip(ranks, parts, floors, strict=True) if part == floor]
    assert len(parts) == len(up) + len(down)
    assert max(up, default=(-whole, -1)) < min(down, default=(1, 0))


@given(st.integers(-(10**12), 10**12), st.integers(1, 10**6))
def test_rounding_is_half_away_from_zero(numerator: int, denominator: int) -> None:
    """The rounded quotient is the nearest integer, and a half goes away from zero."""
    found = round_half_up(numerator, denominator)
    distance = abs(found - Fraction(numerator, denominator))
    assert distance <= Fraction(1, 2)
    if distance == Fraction(1, 2):
        assert abs(found) > abs(Fraction(numerator, denominator))


@given(st.integers(-(10**15), 10**15), st.sampled_from(["USD", "EUR", "JPY", "KWD", "CLF"]))
def test_amounts_survive_printing(minor: int, currency: str) -> None:
    """An amount that is printed and read again is the same, in currencies of no, two, three and four digits."""
    text = format_amount(minor, currency)
    assert minor == parse_amount(text, currency)
    assert minor_digits(currency) == len(text.partition(".")[2])


@given(st.lists(st.integers(0, 99), max_size=5), st.integers(0, 99), st.integers(0, 99))
def test_no_more_is_given_back_than_was_overpaid(refunds: list[int], overpaid: int, due: int) -> None:
    """No refund gives back more than it is, all together no more than was paid too much, and a return of all is none."""
    back = give_back_overpaid(refunds, overpaid, due, NOTHING)
    assert all(0 <= part <= amount for part, amount in zip(back, refunds, strict=True))
    free = sum(amount for amount in refunds if amount != due)
    assert sum(back) == (overpaid if overpaid in refunds else min(overpaid, free))


@given(PARTS, st.lists(st.integers(0, 10**6), max_size=5), PARTS)
def test_refunds_are_split_whole(held: Parts, refunds: list[int], stated: Parts) -> None:
    """The parts and the excess of each refund sum to it, whatever the shop states."""
    splits = split_refunds(held, refunds, stated)
    assert refunds == [sum(split.parts) + split.excess for split in splits]
    assert all(part >= 0 for split in splits for part in split.parts)


@given(PARTS, st.lists(st.integers(0, 10**6), max_size=5))
def test_refunds_never_exceed_what_remains(held: Parts, refunds: list[int]) -> None:
    """Pro rata, no part is given back beyond what was held, and there is excess only once nothing remains."""
    remaining = list(held)
    for split in split_refunds(held, refunds, NOTHING):
        remaining = [have - part for have, part in zip(remaining, split.parts, strict=True)]
        assert all(have >= 0 for have in remaining)
        assert not split.excess or not any(remaining)


@given(PARTS, st.lists(st.integers(0, 10**6), max_size=3))
def test_a_refund_of_all_that_remains_reverses_all(held: Parts, refunds: list[int]) -> None:
    """Whatever was refunded before, the refund of the rest leaves nothing, and is no estimate."""
    rest = sum(held) - sum(refunds)
    if rest < 0:
        refunds, rest = [], sum(held)
    splits = split_refunds(held, [*refunds, rest], NOTHING)
    assert list(held) == [sum(parts) for parts in zip(*(split.parts for split in splits), strict=True)]
    assert (0, False) == (splits[-1].excess, splits[-1].estimated)


@given(PARTS.filter(any), st.data())
def test_the_shops_own_split_is_used_when_it_sums_to_the_refunds(stated: Parts, data: st.DataObject) -> None:
    """However the refunds came, together they are the shop's split, and none is an estimate."""
    whole = sum(stated)
    cuts = sorted(data.draw(st.lists(st.integers(0, whole), max_size=3)))
    refunds = [after - before for before, after in zip([0, *cuts], [*cuts, whole], strict=True)]
    splits = split_refunds(stated, refunds, stated)
    assert list(stated) == [sum(parts) for parts in zip(*(split.parts for split in splits), strict=True)]
    assert not any(split.estimated or split.excess for split in splits)


@given(st.lists(st.tuples(AMOUNTS, PARTS, st.booleans(), st.booleans()), max_size=4), PARTS, AMOUNTS)
def test_credits_are_split_whole(
    drawn: list[tuple[int, Parts, bool, bool]], charged: Parts, charged_by_reason: int
) -> None:
    """A credit's parts sum to it; together credits give back what was charged and no more; own parts are kept where they can be."""
    credits = [
        Credit(sum(parts[:3]) if is_split else total, parts[:3] if is_split else (0, 0, 0), by_reason)
        for total, parts, is_split, by_reason in drawn
    ]
    splits = split_credits(charged[:3], charged_by_reason, credits)
    whole = sum(charged[:3]) + charged_by_reason
    assert [credit.total for credit in credits] == [
        sum(split.parts) + split.by_reason + split.unknown for split in splits
    ]
    assert min(whole, sum(credit.total for credit in credits)) == sum(
        sum(split.parts) + split.by_reason for split in splits
    )
    assert all(part >= 0 for split in splits for part in (*split.parts, split.by_reason, split.unknown))
    assert sum(charged[:3]) >= sum(sum(split.parts) for split in splits)
    for credit, split in zip(credits, splits, strict=True):
        if any(credit.stated) and sum(split.parts) == credit.total:
            assert credit.stated == split.parts


def test_tax_is_taken_out_in_sql_as_allocate_splits_it(new_shop: Callable[..., ShopBooks]) -> None:
    """In 300 orders whose prices contain the tax, sales by category and shipping are net by largest remainder."""
    dice = random.Random(20310401)
    rows = []
    expected: dict[str, tuple[list[int], int]] = {}
    for number in range(300):
        count, shipping = dice.randint(1, 5), dice.choice((0, dice.randint(1, 2000)))
        prices = [dice.choice((100, 333, dice.randint(1, 9999))) for _ in range(count)]
        discounts = [dice.choice((0, dice.randint(0, price))) for price in prices]
        weights = [*(price - off for price, off in zip(prices, discounts, strict=True)), shipping]
        tax = dice.randint(0, sum(weights) // 3)
        parts = allocate(tax, weights)
        expected[str(number)] = (
            [price - part for price, part in zip(prices, parts, strict=False)],
            shipping - parts[-1],
        )
        rows += [
            {
                "order_id": str(number), "placed_at": "2031-04-01", "category": f"Kind {place}", "quantity": "1",
                "unit_price": format_amount(prices[place], "USD"),
                "line_discount": format_amount(discounts[place], "USD"),
                "shipping_charged": format_amount(shipping, "USD"), "tax": format_amount(tax, "USD"),
                "prices_include_tax": "true", "total": format_amount(sum(weights), "USD"),
            }
            for place in range(count)
        ]  # fmt: skip
    books = new_shop({"shop": rows})
    found: dict[str, tuple[list[int], int]] = {}
    lines = books.connection.execute(
        """SELECT sale.event_id, list(-amount ORDER BY account.name), any_value(shipping_net)
           FROM posting JOIN account USING (account_no) JOIN fact_sale AS sale USING (order_no)
           WHERE account.role = 'sales' GROUP BY ALL"""
    ).fetchall()
    for order_id, sales, shipping in lines:
        found[str(order_id)] = ([int(amount) for amount in sales], int(shipping))
    without_zeros = {name: ([sale for sale in sales if sale], shipping) for name, (sales, shipping) in expected.items()}
    assert {name: pair for name, pair in without_zeros.items() if pair[0]} == found
    assert books.connection.execute("SELECT count(*) FROM event WHERE flagged").fetchone() == (0,)
