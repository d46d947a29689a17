"""Matching by amount and by sum: only what is unique, the same from either side and in whatever order rows come."""

import datetime
import itertools
from collections.abc import Iterator, Sequence

import duckdb
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger_tools.matching.stages import COMBINATIONS_AT_MOST, Window
from ledger_tools.matching.sums import TOO_LONG, TOO_MANY, Target, find_combinations, seek_sums
from ledger_tools.matching.unique_pairs import Sides, accept_alone, fill_sides, match_unique, weigh_pairs

FIRST_DAY = datetime.date(2031, 1, 1)
WINDOW, NEAR = Window(-3, 10), Window(-1, 4)

#: (amount, day number) of each record of one side.
Records = Sequence[tuple[int, int]]


def combinations_that_fit(amount: int, amounts: Sequence[int]) -> list[tuple[int, ...]]:
    """Every combination of two or more places whose amounts sum to an amount, by trying all."""
    places = range(len(amounts))
    return [
        chosen
        for size in range(2, len(amounts) + 1)
        for chosen in itertools.combinations(places, size)
        if sum(amounts[place] for place in chosen) == amount
    ]


@given(st.lists(st.integers(1, 60), max_size=9), st.integers(1, 200))
@settings(max_examples=60)
def test_combinations_are_those_of_trying_all(amounts: list[int], amount: int) -> None:
    """Meeting in the middle finds each combination once, as trying all of them does."""
    assert combinations_that_fit(amount, amounts) == sorted(
        find_combinations(amount, amounts, 1_000), key=lambda chosen: (len(chosen), chosen)
    )


@given(st.lists(st.integers(1, 500), max_size=8), st.lists(st.integers(2, 900), max_size=4), st.randoms())
@settings(max_examples=60)
def test_sums_are_taken_only_where_unique(amounts: list[int], wanted: list[int], dice: object) -> None:
    """What is taken is the only combination of its target, no record is taken twice, and the order plays no part."""
    elements = tuple((("e", place), amount) for place, amount in enumerate(amounts))
    targets = [Target(("t", place), amount, elements) for place, amount in enumerate(wanted)]
    findings = seek_sums(targets)
    taken = [key for finding in findings for key in finding.combination]
    assert sorted(set(taken)) == sorted(taken)
    for finding in findings:
        if finding.combination:
            usable = [amount for _, amount in elements]
            fitting = combinations_that_fit(wanted[finding.key[1]], usable)  # type: ignore[index]
            assert [tuple(place for _, place in finding.combination)] == fitting  # type: ignore[misc]
    shuffled = list(targets)
    dice.shuffle(shuffled)  # type: ignore[attr-defined]
    again = {finding.key: frozenset(finding.combination) for finding in seek_sums(shuffled)}
    assert {finding.key: frozenset(finding.combination) for finding in findings} == again


@pytest.fixture(scope="module")
def connection() -> Iterator[duckdb.DuckDBPyConnection]:
    """A database with two sources whose exports cover three months."""
    with duckdb.connect() as database:
        database.execute("CREATE TABLE covered_span (source_no SMALLINT, first_day DATE, last_day DATE)")
        database.execute("INSERT INTO covered_span SELECT unnest([1, 2]), DATE '2030-12-01', DATE '2031-03-31'")
        yield database


def side(connection: duckdb.DuckDBPyConnection, name: str, source_no: int, rows: list[tuple[int, int, int]]) -> str:
    """A table of (no, amount, day number) as a side's query."""
    connection.execute(f"CREATE OR REPLACE TEMP TABLE {name} (no INTEGER, bucket VARCHAR, day DATE, taken BOOLEAN)")
    for number, amount, day in rows:
        moment = FIRST_DAY + datetime.timedelta(days=day)
        connection.execute(f"INSERT INTO {name} VALUES (?, ?, ?, false)", [number, str(amount), moment])
    return f"SELECT no, bucket, day, {source_no}::SMALLINT AS source_no, NOT taken AS open FROM {name}"


def matched(
    connection: duckdb.DuckDBPyConnection, later: list[tuple[int, int, int]], earlier: list[tuple[int, int, int]]
) -> set[tuple[int, int]]:
    """Pairs of numbers that all passes take."""
    sides = Sides(
        side(connection, "later_record", 1, later),
        side(connection, "earlier_record", 2, earlier),
        "SELECT 1::SMALLINT AS later_source_no, 2::SMALLINT AS earlier_source_no, lag FROM taken_pair",
    )
    connection.execute("CREATE OR REPLACE TEMP TABLE taken_pair (later_no INTEGER, earlier_no INTEGER, lag INTEGER)")

    def take() -> None:
        connection.execute(
            """INSERT INTO taken_pair SELECT later_no, earlier_no, lag FROM paired;
               UPDATE later_record SET taken = true WHERE no IN (SELECT later_no FROM paired);
               UPDATE earlier_record SET taken = true WHERE no IN (SELECT earlier_no FROM paired)"""
        )

    match_unique(connection, sides, WINDOW, NEAR, take)
    return set(connection.execute("SELECT later_no, earlier_no FROM taken_pair").fetchall())


RECORDS = st.lists(st.tuples(st.integers(1, 3), st.integers(0, 40)), max_size=9)


@given(RECORDS, RECORDS, st.randoms())
@settings(max_examples=15, deadline=None)
def test_pairs_do_not_depend_on_the_order_of_rows(
    connection: duckdb.DuckDBPyConnection, later: Records, earlier: Records, dice: object
) -> None:
    """The same pairs in any order; each of one amount, within the window, and of no record two."""
    later_rows = [(number, *record) for number, record in enumerate(later)]
    earlier_rows = [(number, *record) for number, record in enumerate(earlier)]
    pairs = matched(connection, later_rows, earlier_rows)
    for number, other in pairs:
        assert later[number][0] == earlier[other][0]
        assert WINDOW.low <= later[number][1] - earlier[other][1] <= WINDOW.high
    assert (len(pairs), len(pairs)) == (len({pair[0] for pair in pairs}), len({pair[1] for pair in pairs}))
    dice.shuffle(later_rows)  # type: ignore[attr-defined]
    dice.shuffle(earlier_rows)  # type: ignore[attr-defined]
    assert pairs == matched(connection, later_rows, earlier_rows)


@given(RECORDS, RECORDS)
@settings(max_examples=15, deadline=None)
def test_what_is_alone_is_alone_from_both_sides(
    connection: duckdb.DuckDBPyConnection, later: Records, earlier: Records
) -> None:
    """Pairs that are alone are those that trying all finds, and the same with the two sides exchanged."""
    fits = [
        (number, other)
        for number, (amount, day) in enumerate(later)
        for other, (other_amount, other_day) in enumerate(earlier)
        if amount == other_amount and WINDOW.low <= day - other_day <= WINDOW.high
    ]
    alone = {
        (number, other)
        for number, other in fits
        if 1 == sum(pair[0] == number for pair in fits) == sum(pair[1] == other for pair in fits)
    }
    later_query = side(connection, "later_record", 1, [(number, *record) for number, record in enumerate(later)])
    earlier_query = side(connection, "earlier_record", 2, [(number, *record) for number, record in enumerate(earlier)])

    def pairs_of(first: str, second: str, window: Window) -> set[tuple[int, int]]:
        fill_sides(connection, first, second)
        weigh_pairs(connection, window)
        accept_alone(connection, window)
        return set(connection.execute("SELECT later_no, earlier_no FROM paired").fetchall())

    assert alone == pairs_of(later_query, earlier_query, WINDOW)
    turned = pairs_of(earlier_query, later_query, Window(-WINDOW.high, -WINDOW.low))
    assert alone == {(number, other) for other, number in turned}


def test_why_no_sum_was_sought() -> None:
    """Too many records and too much work before are two reasons, and each is told as what it is."""
    twenty = tuple((("m", place), 1000 + place * 37) for place in range(20))
    sixteen = Target("late", 100_000_007, tuple((("x", place), 10**7 + place**4 * 977) for place in range(16)))
    crowd = Target("crowd", 9_000, tuple((("c", place), 500 + place) for place in range(21)))
    before = [Target(("t", place), 15_000 + place, twenty) for place in range(COMBINATIONS_AT_MOST // 2**11)]
    why = {finding.key: finding.why for finding in seek_sums([*before, sixteen, crowd])}
    assert TOO_LONG.format(16) == why["late"]
    assert TOO_MANY.format(21) == why["crowd"]
