"""Bank lines by amount and days, by what foreign money is worth, and by sum: what is taken, what stays open and why."""

from pathlib import Path

import pytest
from kept_books import Books, bank, processor, wallet

RATES = """
[[rate]]
currency = "EUR"
on = 2031-01-01
rate = "1.10"
"""


def payout(event_id: str, day: str, amount: str, **fields: object) -> dict[str, object]:
    """A payout of an amount."""
    return processor(event_id, "payout", day, f"-{amount}", f"-{amount}", **fields)


def fee(event_id: str, day: str, **fields: object) -> dict[str, object]:
    """A small fee, which shows that the export covers its day."""
    return processor(event_id, "fee", day, "-0.10", "-0.10", **fields)


PROCESSOR = [
    fee("f-1", "2031-01-01"),
    # one after the other, of one amount: the near days tell them apart
    payout("near-1", "2031-02-01", "50.00"),
    payout("near-2", "2031-02-08", "50.00"),
    # the nearest line is not the right one: nothing tells which is
    payout("cross-1", "2031-03-01", "60.00"),
    payout("cross-2", "2031-03-03", "60.00"),
    # two and three in one deposit
    payout("two-1", "2031-04-01", "101.11"),
    payout("two-2", "2031-04-02", "102.23"),
    payout("three-1", "2031-05-01", "100.01"),
    payout("three-2", "2031-05-02", "200.05"),
    payout("three-3", "2031-05-03", "300.17"),
    # one in two deposits
    payout("split-1", "2031-06-01", "707.07"),
    # two combinations: 10 + 40 and 20 + 30
    payout("both-1", "2031-07-01", "10.00"),
    payout("both-2", "2031-07-01", "20.00"),
    payout("both-3", "2031-07-01", "30.00"),
    payout("both-4", "2031-07-01", "40.00"),
    # one payout fits into two deposits
    payout("shared-1", "2031-08-01", "11.00"),
    payout("shared-2", "2031-08-01", "12.00"),
    payout("shared-3", "2031-08-01", "13.00"),
    # foreign: within and beyond 3 % of the known rate, and two that both fit
    payout("euro-in", "2031-09-01", "100.00", currency="EUR"),
    payout("euro-out", "2031-10-01", "200.00", currency="EUR"),
    payout("euro-twin-1", "2031-11-01", "300.00", currency="EUR"),
    payout("euro-twin-2", "2031-11-02", "301.00", currency="EUR"),
    payout("euro-told", "2031-11-25", "400.00", currency="EUR", charged_currency="USD", charged_amount="-512.00"),
    fee("f-2", "2031-12-31"),
]

BANK = [
    bank("2031-01-01", "-0.50", "FIRST"),
    bank("2031-02-03", "50.00", "SETTLEMENT"),
    bank("2031-02-10", "50.00", "SETTLEMENT"),
    bank("2031-03-03", "60.00", "SETTLEMENT"),
    bank("2031-03-07", "60.00", "SETTLEMENT"),
    bank("2031-04-04", "203.34", "SETTLEMENT"),
    bank("2031-05-06", "600.23", "SETTLEMENT"),
    bank("2031-06-03", "700.00", "SETTLEMENT"),
    bank("2031-06-05", "7.07", "SETTLEMENT"),
    bank("2031-07-03", "50.00", "SETTLEMENT"),
    bank("2031-08-03", "23.00", "SETTLEMENT"),
    bank("2031-08-04", "24.00", "SETTLEMENT"),
    bank("2031-09-03", "112.20", "SETTLEMENT"),
    bank("2031-10-03", "226.70", "SETTLEMENT"),
    bank("2031-11-04", "330.50", "SETTLEMENT"),
    bank("2031-11-27", "512.00", "SETTLEMENT"),
    bank("2031-12-31", "-0.50", "LAST"),
]

#: A line's day and amount in cents, the movements that it completes with the cents of each, and by which stage.
GOLDEN: list[tuple[str, int, list[tuple[str, int]], str | None]] = [
    ("2031-02-03", 5000, [("near-1", 5000)], "amount and date"),
    ("2031-02-10", 5000, [("near-2", 5000)], "amount and date"),
    ("2031-03-03", 6000, [], None),
    ("2031-03-07", 6000, [], None),
    ("2031-04-04", 20334, [("two-1", 10111), ("two-2", 10223)], "sum"),
    ("2031-05-06", 60023, [("three-1", 10001), ("three-2", 20005), ("three-3", 30017)], "sum"),
    ("2031-06-03", 70000, [("split-1", 70000)], "sum"),
    ("2031-06-05", 707, [("split-1", 707)], "sum"),
    ("2031-07-03", 5000, [], None),
    ("2031-08-03", 2300, [], None),
    ("2031-08-04", 2400, [], None),
    ("2031-09-03", 11220, [("euro-in", 10000)], "amount at a known rate"),
    ("2031-10-03", 22670, [], None),
    ("2031-11-04", 33050, [], None),
    ("2031-11-27", 51200, [("euro-told", 40000)], "amount stated in the bank's currency"),
]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """One set of books with all cases, a month apart."""
    place = tmp_path_factory.mktemp("stages")
    return Books(place, RATES).put(processor=PROCESSOR, bank=BANK).build()


def test_stages(books: Books) -> None:
    """Each line completes what its stage allows, whole and in parts, and nothing where two answers fit."""
    rows = books.query(
        """SELECT row."at"::DATE::VARCHAR, row.amount, movement.event_id, tie.moved, tie.matched_by
           FROM bank_row AS row LEFT JOIN bank_match AS tie ON tie.source_no = row.source_no AND tie.key = row.key
           LEFT JOIN movement ON movement.movement_no = tie.movement_no
           WHERE row.memo = 'SETTLEMENT' ORDER BY 1, movement.event_id"""
    )
    found: dict[tuple[str, int], tuple[list[tuple[str, int]], str | None]] = {}
    for day, amount, event_id, moved, how in rows:
        parts, _ = found.setdefault((day, amount), ([], how))
        if event_id is not None:
            parts.append((event_id, moved))
    assert {(day, amount): (parts, how) for day, amount, parts, how in GOLDEN} == found


def test_reasons_are_kept(books: Books) -> None:
    """How sure a match is stands with it: alone in the days, the only combination, how far off the rate."""
    why = dict(
        books.query(
            "SELECT movement.event_id, min(why) FROM bank_match JOIN movement USING (movement_no) GROUP BY movement.event_id"
        )
    )
    assert "the only two in the near days (-1 to 4), 2 days after" == why["near-1"]
    assert "the only combination of 2 open records that makes up this amount" == why["two-1"]
    assert "worth within 2.00 % of the latest known rate of EUR" == why["euro-in"]


def test_candidates_are_ranked(books: Books) -> None:
    """What fits but was not taken is a candidate, the nearest first; also each part of a combination."""
    found = books.query(
        """SELECT record_id, rank, match_id, why FROM candidate WHERE record_id IN ('cross-2', '20310803:2300:1')
           ORDER BY record_id, rank, match_id"""
    )
    shared = "its combination shares a record with another one that fits as well"
    assert [
        ("20310803:2300:1", 1, "shared-1", shared),
        ("20310803:2300:1", 1, "shared-2", shared),
        ("cross-2", 1, "20310303:6000:1", "the same amount, the same day"),
        ("cross-2", 2, "20310307:6000:1", "the same amount, 4 days after"),
    ] == found


def test_exchange_difference(books: Books) -> None:
    """What a foreign payout brought more than it was worth is an exchange difference, and nothing stays in transit."""
    entry = next(entry for entry in books.entries() if entry.day == "2031-09-03")
    assert (
        ("Assets:Bank:Checking", "112.20", "USD", ""),
        ("Assets:InTransit:Payouts", "-100.00", "EUR", "110.00 USD"),
        ("Expenses:ExchangeDifferences", "-2.20", "USD", ""),
    ) == entry.lines


def test_a_window_of_equal_amounts_is_bounded(tmp_path: Path) -> None:
    """Three hundred payouts and deposits of one amount stay open, with one word why, and cost no time."""
    days = [f"2031-04-{1 + place % 10:02d}" for place in range(300)]
    books = Books(tmp_path).put(
        processor=[payout(f"po-{place}", day, "10.00") for place, day in enumerate(days)],
        bank=[bank(day, "10.00", f"SETTLEMENT {place}") for place, day in enumerate(days)],
        wallet=[wallet("tu-1", "top_up", "2031-04-01", "30.00")],
    )
    assert [(0,)] == books.query("SELECT count(*) FROM bank_match")
    assert [(600, 600)] == books.query(
        "SELECT count(*), count(*) FILTER (why LIKE '%too many to tell apart%' OR why LIKE '%more than can be told apart%') "
        "FROM candidate WHERE rank = 1"
    )


def test_the_true_partner_may_not_be_there_yet(tmp_path: Path) -> None:
    """An amount that occurs again is not matched where both exports end, before its true partner can be in them."""
    books = Books(tmp_path).put(
        wallet=[wallet(f"tu-{day}", "top_up", f"2031-04-{day:02d}", "200.00") for day in (1, 20)],
        bank=[bank("2031-04-02", "-200.00", "PARTNER"), bank("2031-04-20", "-200.00", "PARTNER")],
    )
    assert [] == books.query("SELECT * FROM bank_match")


def test_decisions_make_sums(tmp_path: Path) -> None:
    """A person ties two payouts to one deposit, one decision each, where sums are not told apart."""
    rows = [payout(f"both-{n}", "2031-07-01", f"{n}0.00") for n in (1, 2, 3, 4)]
    books = Books(tmp_path).put(processor=rows, bank=[bank("2031-07-03", "50.00", "SETTLEMENT")])
    text = "".join(
        f'[[decision]]\nitem = "{place:08x}"\nkind = "payout-not-in-bank"\naction = "match"\nreason = "told so"\n'
        f'by = "owner"\ndecided_on = 2031-08-01\nitem_date = 2031-07-01\nsource = "card-processor"\n'
        f'event_id = "both-{n}"\nmatch_source = "checking"\nmatch_id = "20310703:5000:1"\n\n'
        for place, n in enumerate((1, 4))
    )
    books.build()
    before = books.journal_text()
    books.folder.decisions.write_text(text, encoding="utf-8")
    found = books.query(
        "SELECT movement.event_id, moved, matched_by FROM bank_match JOIN movement USING (movement_no) ORDER BY 1"
    )
    assert [("both-1", 1000, "decision"), ("both-4", 4000, "decision")] == found
    books.folder.decisions.unlink()
    assert before == books.journal_text()


def euro_payouts(days: list[str]) -> list[dict[str, object]]:
    """Euro payouts of one amount, each on its day."""
    return [payout(f"euro-{day[5:]}", day, "100.00", currency="EUR") for day in days]


@pytest.mark.parametrize(
    ("deposits", "matched"),
    [
        (["2031-02-02", "2031-03-02", "2031-03-12"], 3),  # one to two days are usual, and the first days are there
        (["2031-02-02", "2031-03-02"], 1),  # a single later payout shows nothing yet
        (["2031-02-04", "2031-03-02", "2031-03-12"], 2),  # not in the usual days
    ],
)
def test_foreign_money_at_the_edge(tmp_path: Path, deposits: list[str], matched: int) -> None:
    """Where both exports begin, foreign money is matched in the days that these two sources have shown, not before."""
    days = ["2031-02-01", "2031-03-01", "2031-03-10"]
    books = Books(tmp_path, RATES).put(
        processor=[*euro_payouts(days), fee("f-1", "2031-04-30")],
        bank=[*(bank(day, "110.00", "SETTLEMENT") for day in deposits), bank("2031-04-30", "-0.50", "LAST")],
    )
    assert [(matched,)] == books.query("SELECT count(*) FROM bank_match WHERE matched_by = 'amount at a known rate'")


def test_parts_of_a_sum_are_no_rivals(tmp_path: Path) -> None:
    """A deposit that turns out to be part of a split payout leaves the foreign payout of its worth to the other one."""
    books = Books(tmp_path, RATES).put(
        processor=[
            fee("f-1", "2031-01-01"),
            *euro_payouts(["2031-02-01"]),
            payout("split", "2031-02-01", "500.00"),
            fee("f-2", "2031-04-30"),
        ],
        bank=[
            bank("2031-01-01", "-0.50", "FIRST"),
            bank("2031-02-02", "110.05", "SETTLEMENT"),
            bank("2031-02-03", "109.90", "SETTLEMENT"),
            bank("2031-02-04", "390.10", "SETTLEMENT"),
            bank("2031-04-30", "-0.50", "LAST"),
        ],
    )
    assert [
        (10990, "split", "sum"),
        (11005, "euro-02-01", "amount at a known rate"),
        (39010, "split", "sum"),
    ] == books.query(
        """SELECT row.amount, movement.event_id, bank_match.matched_by FROM bank_match
           JOIN bank_row AS row USING (source_no, key) JOIN movement ON movement.movement_no = bank_match.movement_no ORDER BY 1"""
    )
