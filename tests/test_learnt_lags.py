"""How long things may take: learnt from the shop's own history, the settings until then, a person's own word always."""

import datetime
from pathlib import Path

import pytest
from kept_books import Books, bank, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.open_item_finders.lags import FEWEST, learn
from ledger_tools.open_items import find_items

START = datetime.date(2031, 1, 1)


@pytest.mark.parametrize(
    ("days", "usual", "within", "allowed"),
    [
        ([2] * 20, 2, 20, 3),
        ([2] * 19 + [30], 2, 19, 3),
        ([4] * 143 + [11], 4, 143, 5),
        ([1] * 197 + [9, 9, 9], 9, 200, 11),
        ([1] * 198 + [9, 9], 1, 198, 2),
        ([0] * 25, 0, 25, 1),
        ([-3] * 25, 0, 25, 1),
        ([10] * 20 + [12] * 2, 12, 22, 15),
    ],
)
def test_rule(days: list[int], usual: int, within: int, allowed: int) -> None:
    """The longest but the top hundredth is usual, and a quarter more, at least a day, is allowed."""
    found = learn("payout", "card-processor", days)
    assert found is not None
    assert (usual, within, len(days), allowed) == (found.took_at_most, found.within, found.of, found.allowed)


def test_too_few_teach_nothing() -> None:
    """Below twenty completed steps nothing is learnt."""
    assert learn("payout", "card-processor", [2] * (FEWEST - 1)) is None


def shop(place: Path, count: int, taking: int, more: str = "") -> Books:
    """Books with a payout a day, each in the bank so many days later, and a last one that is not."""
    days = [START + datetime.timedelta(days=number) for number in range(count)]
    sent = [
        processor(f"po-{n}", "payout", day.isoformat(), f"-{n + 10}.00", f"-{n + 10}.00") for n, day in enumerate(days)
    ]
    sent.append(
        processor("po-last", "payout", (START + datetime.timedelta(days=count)).isoformat(), "-999.00", "-999.00")
    )
    got = [
        bank((day + datetime.timedelta(days=taking)).isoformat(), f"{n + 10}.00", f"SETTLEMENT po-{n}")
        for n, day in enumerate(days)
    ]
    return Books(place, more).put(processor=sent, bank=got)


def found_after(books: Books, count: int, age: int) -> tuple[list[str], list[str]]:
    """Causes of what is late and of what is under way, seen so many days after the last payout."""
    with open_books(books.folder, silent) as connection:
        found = find_items(connection, START + datetime.timedelta(days=count + age))
    return (
        [item.cause for item in found.late if item.event_id == "po-last"],
        [item.cause for item in found.under_way if item.event_id == "po-last"],
    )


def test_learnt_from_own_history(tmp_path: Path) -> None:
    """With 24 payouts that took two days, one is under way for three days and late on the fourth, and the rule is told."""
    books = shop(tmp_path, 24, 2)
    late, under_way = found_after(books, 24, 3)
    assert ([], 1) == (late, len(under_way))
    rule = "24 of this shop's last 24 payouts took at most 2 days: 3 days are allowed"
    assert f"under way: 3 days, and {rule}" in under_way[0]
    late, under_way = found_after(books, 24, 4)
    assert (1, []) == (len(late), under_way)
    assert "no bank line holds this payout; late: 4 days, and 24 of this shop's last 24 payouts took" in late[0]


def test_only_what_was_known_is_learnt(tmp_path: Path) -> None:
    """Seen as of a day when fewer than twenty payouts had arrived, the settings' seven days still hold."""
    books = shop(tmp_path, 24, 2)
    with open_books(books.folder, silent) as connection:
        found = find_items(connection, START + datetime.timedelta(days=15))
    causes = [item.cause for item in found.under_way]
    assert "7 days are allowed until 20 payouts are known" in causes[0]
    assert [] == [item for item in found.late if item.kind == "payout-not-in-bank"]


def test_own_word_wins(tmp_path: Path) -> None:
    """Days that a person wrote under [grace] hold whatever the history says; other keys are learnt all the same."""
    books = shop(tmp_path, 24, 2, "[grace]\npayout = 9\n")
    late, under_way = found_after(books, 24, 9)
    assert ([], 1) == (late, len(under_way))
    assert "[grace] in shop.toml allows 9 days" in under_way[0]
    assert 1 == len(found_after(books, 24, 10)[0])
    other = shop(tmp_path / "other", 24, 2, "[grace]\npayment = 9\n")
    assert 1 == len(found_after(other, 24, 4)[0])


def test_cause_says_where_the_exports_end(tmp_path: Path) -> None:
    """Where the bank's exports do not reach the day by which the payout should have come, the cause says so."""
    late, _ = found_after(shop(tmp_path, 24, 2), 24, 30)
    assert late[0].endswith("; exports of the bank end on 2031-01-26")
