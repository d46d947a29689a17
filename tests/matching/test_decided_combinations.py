"""What a person ties together: several records at once, whole or not at all, and what is left is settled afterwards."""

from __future__ import annotations

import datetime
import shlex
from pathlib import Path

import pytest
from kept_books import Books, bank, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks
from ledger_tools.decisions import read_decisions
from ledger_tools.errors import LedgerError
from ledger_tools.settlement import Verdict, list_settled
from ledger_tools.settling import Settling, settle_item, withdraw_item

DAY = datetime.date(2031, 5, 2)
EURO = """
[[source]]
name = "euro-processor"
kind = "processor"
currency = "EUR"

[[rate]]
currency = "EUR"
on = 2031-01-01
rate = "1.10"
"""


def payout(event_id: str, day: str, amount: str, **fields: object) -> dict[str, object]:
    """A payout of an amount."""
    return processor(event_id, "payout", day, f"-{amount}", f"-{amount}", **fields)


def settle(books: Books, event: str, *matches: str, account: str | None = None) -> Settling:
    """Decide about the open item of an event or order: what it is made up of, or where it goes."""
    (item,) = [item for item in books.open_items() if event in (item.event_id, item.order_id)]
    verdict = Verdict(match=matches, account=account)
    return settle_item(books.folder, item.id, verdict, reason="so", by="Ada", decided_on=DAY, progress=silent)


def left(books: Books) -> list[tuple[str | None, int | None]]:
    """What stands open: event or order, and amount."""
    return [(item.event_id or item.order_id, item.amount) for item in books.open_items()]


def failures(books: Books) -> list[str]:
    """Decisions that do not fit, and checks that fail."""
    with open_books(books.folder, silent) as connection:
        stale = [str(one.problem) for one in list_settled(connection) if one.problem]
        return stale + [check.check for check in run_checks(connection, books.folder, silent) if not check.passed]


def three_in_one(place: Path, deposit: str) -> Books:
    """Three payouts and one deposit of an amount."""
    return Books(place).put(
        processor=[
            payout("PO-1", "2031-01-04", "100.00"),
            payout("PO-2", "2031-01-05", "200.00"),
            payout("PO-3", "2031-01-06", "300.00"),
        ],
        bank=[bank("2031-01-30", deposit, "WIRE"), bank("2031-02-20", "-1.00", "FEE")],
    )


def test_one_deposit_and_three_payouts_in_one_decision(tmp_path: Path) -> None:
    """A deposit is tied to three payouts at once: all are in the bank, each decision fits, and all go again together."""
    books = three_in_one(tmp_path, "600.00")
    done = settle(books, "20310130:60000:1", "PO-1", "card-processor/PO-2", "PO-3", "PO-1")
    assert "it belongs to card-processor/PO-1, card-processor/PO-2, card-processor/PO-3." in done.told
    assert 3 == len(read_decisions(books.folder.decisions))
    assert [("20310220:-100:1", -100)] == left(books)
    assert [] == failures(books)


def test_what_is_left_of_the_last_is_open(tmp_path: Path) -> None:
    """Where the deposit is less than its payouts, what is left stands with the last of them and can be settled."""
    books = three_in_one(tmp_path, "590.00")
    settle(books, "20310130:59000:1", "PO-1", "PO-2", "PO-3")
    assert [("PO-3", 1000), ("20310220:-100:1", -100)] == left(books)
    settle(books, "PO-3", account="Expenses:BankFees")
    assert [] == failures(books)


@pytest.mark.parametrize(
    ("matches", "reason"),
    [
        (("PO-1", "PO-9"), "PO-9: is no payout"),
        (("PO-1", "PO-2"), "used up before the last"),
    ],
)
def test_what_does_not_hold_is_refused_whole(matches: tuple[str, ...], reason: str, tmp_path: Path) -> None:
    """A combination with an unknown record, or with more than the deposit, leaves no decision behind."""
    books = three_in_one(tmp_path, "90.00")
    with pytest.raises(LedgerError, match=reason):
        settle(books, "20310130:9000:1", *matches)
    assert not books.folder.decisions.exists()


@pytest.mark.parametrize("side", ["PO-1", "20310130:8500:1"], ids=["from the payout", "from the deposit"])
def test_payout_that_arrives_short(side: str, tmp_path: Path) -> None:
    """Payout 100.00 and deposit 85.00, tied from either side: 15.00 is left, and a further decision settles it."""
    books = Books(tmp_path).put(
        processor=[payout("PO-1", "2031-01-04", "100.00")],
        bank=[bank("2031-01-30", "85.00", "WIRE"), bank("2031-02-20", "1.00", "INTEREST")],
    )
    other = "20310130:8500:1" if side == "PO-1" else "PO-1"
    assert () == settle(books, side, other).stale
    assert [("PO-1", 1500), ("20310220:100:1", 100)] == left(books)
    assert () == settle(books, "PO-1", account="Expenses:BankFees").stale
    assert [("20310220:100:1", 100)] == left(books)
    assert [] == failures(books)


def test_wrong_direction_is_refused(tmp_path: Path) -> None:
    """A payout can't be a line that takes money out of the bank."""
    books = Books(tmp_path).put(
        processor=[payout("PO-1", "2031-01-04", "100.00")], bank=[bank("2031-01-30", "-100.00", "RENT")]
    )
    with pytest.raises(LedgerError, match="money into the bank and money out of it"):
        settle(books, "PO-1", "20310130:-10000:1")


def euros(place: Path) -> Books:
    """A payout of 200.00 EUR that the bank credits in two parts, in dollars."""
    books = Books(place, EURO).put(
        bank=[
            bank("2031-01-30", "80.00", "WIRE"),
            bank("2031-01-30", "138.00", "WIRE"),
            bank("2031-02-20", "-1.00", "FEE"),
        ]
    )
    target = books.folder.exports / "euro-processor"
    target.mkdir(parents=True)
    target.joinpath("euro.csv").write_text(
        "event_id,kind,at,currency,gross,net\nPO-7,payout,2031-01-05T13:00:00,EUR,-200.00,-200.00\n"
    )
    return books


@pytest.mark.parametrize("at_once", [True, False])
def test_foreign_payout_in_two_deposits(at_once: bool, tmp_path: Path) -> None:
    """A foreign payout is shared out over its deposits by what they brought, whether tied at once or one by one."""
    books = euros(tmp_path)
    if at_once:
        settle(books, "PO-7", "20310130:8000:1", "20310130:13800:1")
    else:
        settle(books, "20310130:8000:1", "PO-7")
        assert () == settle(books, "20310130:13800:1", "PO-7").stale
    moved = books.query("SELECT key, moved, matched_by FROM bank_match ORDER BY moved")
    assert [("20310130:8000:1", 7339, "decision"), ("20310130:13800:1", 12661, "decision")] == moved
    assert [("20310220:-100:1", -100)] == left(books)
    assert [] == failures(books)


def test_second_of_two_that_can_not_both_hold_is_refused(tmp_path: Path) -> None:
    """A tie that would undo an earlier one is refused with the reason, and the earlier one stays."""
    books = Books(tmp_path).put(
        processor=[payout("PO-1", "2031-01-04", "100.00"), payout("PO-2", "2031-01-05", "200.00")],
        bank=[
            bank("2031-01-30", "150.00", "WIRE"),
            bank("2031-01-31", "140.00", "WIRE"),
            bank("2031-02-20", "-1.00", "FEE"),
        ],
    )
    settle(books, "20310130:15000:1", "PO-1", "PO-2")
    with pytest.raises(LedgerError, match="several bank lines hang together with several payouts"):
        settle(books, "20310131:14000:1", "PO-2")
    assert 2 == len(books.query("SELECT key FROM bank_match"))


def test_payment_for_several_orders(tmp_path: Path) -> None:
    """A payment is tied to two orders at once where they owe what it paid; a third is refused, and nothing is undone."""
    books = Books(tmp_path).put(
        orders=[order("1", "2031-01-02", "20.00"), order("2", "2031-01-03", "30.00"), order("3", "2031-01-03", "5.00")],
        processor=[processor("p-1", "charge", "2031-01-20", "50.00", "50.00")],
    )
    with pytest.raises(
        LedgerError, match=r"p-1 would be split among the orders 1, 3, which owe 25.00, and paid 50.00 USD"
    ):
        settle(books, "p-1", "1", "3")
    settle(books, "p-1", "1", "shop/2")
    assert ["3"] == [item.order_id for item in books.open_items() if item.kind == "order-without-payment"]
    assert [] == failures(books)


def test_an_accepted_rest_that_changes_is_told(tmp_path: Path) -> None:
    """A payout accepted as not in the bank, of which a part arrives later, is another question: the decision no longer fits."""
    books = Books(tmp_path).put(
        processor=[payout("PO-1001", "2031-01-04", "100.00")], bank=[bank("2031-01-30", "1.00", "INTEREST")]
    )
    (item,) = [item for item in books.open_items() if item.event_id == "PO-1001"]
    accept = Verdict(accept=True)
    settle_item(books.folder, item.id, accept, reason="so", by="Ada", decided_on=DAY, progress=silent)
    books.put(bank=[bank("2031-02-01", "85.00", "WIRE PO-1001")])
    (problem, *_) = failures(books)
    assert "accepted 100.00 USD, it is 15.00 USD now" in problem


def test_orders_of_two_shops_are_told_apart(tmp_path: Path) -> None:
    """An order number that two shops use is asked about, and SOURCE/ORDER or the order's link says which is meant."""
    market = '[[source]]\nname = "market"\nkind = "orders"\ncurrency = "USD"\n'
    books = Books(tmp_path, market).put(
        orders=[order("1001", "2031-01-02", "20.00")],
        processor=[
            processor("p-1", "charge", "2031-01-20", "31.00", "31.00"),
            processor("p-2", "charge", "2031-01-20", "21.00", "21.00"),
        ],
    )
    target = books.folder.exports / "market"
    target.mkdir(parents=True)
    target.joinpath("market.csv").write_text("order_id,placed_at,total\n1001,2031-01-02T12:00:00,30.00\n")
    with pytest.raises(LedgerError, match="fits several orders") as told:
        settle(books, "p-1", "1001")
    assert "1001 (market): order-1001.market" in told.value.problems[0].what
    settle(books, "p-1", "market/1001")
    settle(books, "p-2", "^order-1001.shop")
    paid = books.query(
        """SELECT event_id, source.name FROM processor_row JOIN order_head USING (order_no)
           JOIN source ON source.source_no = order_head.source_no ORDER BY 1"""
    )
    assert [("p-1", "market"), ("p-2", "shop")] == paid
    assert [] == failures(books)


@pytest.mark.parametrize("side", ["PO-1001", "20310131:4000:1"], ids=["from the payout", "from the deposit"])
def test_a_part_that_a_text_names_stays(side: str, tmp_path: Path) -> None:
    """What a bank line names stays with its payout when a person ties the rest of it to another line."""
    books = Books(tmp_path).put(
        processor=[payout("PO-1001", "2031-01-04", "100.00")],
        bank=[
            bank("2031-01-06", "60.00", "WIRE PO-1001"),
            bank("2031-01-31", "40.00", "WIRE"),
            bank("2031-02-20", "-1.00", "FEE"),
        ],
    )
    settle(books, side, "20310131:4000:1" if side == "PO-1001" else "PO-1001")
    made = books.query("SELECT key, moved, matched_by FROM bank_match ORDER BY key")
    assert [("20310106:6000:1", 6000, "reference"), ("20310131:4000:1", 4000, "decision")] == made
    assert [("20310220:-100:1", -100)] == left(books)
    assert [] == failures(books)


def printed(books: Books, event: str) -> list[list[str]]:
    """What the commands of an item's candidates match it with, command by command."""
    (item,) = [item for item in books.open_items() if item.event_id == event]
    commands = [item.match_command(candidate) or "" for candidate in item.candidates]
    return [[word for word in shlex.split(command) if "/" in word] for command in commands]


def test_a_combination_is_printed_as_one_command(tmp_path: Path) -> None:
    """A deposit that three of many payouts make up names them in one command, which works as printed; the payouts' do, too."""
    amounts = ["30.00", "37.00", "44.00", *(f"{51 + 7 * place}.00" for place in range(8))]
    books = Books(tmp_path).put(
        processor=[payout(f"PO-{1000 + place}", "2031-01-04", each) for place, each in enumerate(amounts)],
        bank=[bank("2031-01-06", "111.00", "WIRE"), bank("2031-01-30", "-1.00", "FEE")],
    )
    three = [f"card-processor/PO-{number}" for number in (1000, 1001, 1002)]
    assert [three] == printed(books, "20310106:11100:1")
    commands = [(event, *printed(books, event)) for event in ("PO-1000", "PO-1001", "PO-1002")]
    assert [(event, ["checking/20310106:11100:1"]) for event in ("PO-1000", "PO-1001", "PO-1002")] == commands
    settle(books, "20310106:11100:1", *three)
    assert [] == failures(books)
    assert not {"PO-1000", "PO-1001", "PO-1002"} & {event for event, _ in left(books)}
    for name in sorted(books.query("SELECT DISTINCT item FROM decision")):
        withdraw_item(books.folder, name[0], silent)
    for event, (line,) in commands:
        settle(books, event, line)
    assert [] == failures(books)
    assert not {"PO-1000", "PO-1001", "PO-1002"} & {event for event, _ in left(books)}


def test_each_of_two_combinations_is_a_command(tmp_path: Path) -> None:
    """Where two combinations make up a deposit, each is a command of its own."""
    books = Books(tmp_path).put(
        processor=[payout(f"PO-{amount}", "2031-01-04", f"{amount}.00") for amount in ("10", "20", "30", "40")],
        bank=[bank("2031-01-06", "50.00", "WIRE"), bank("2031-01-30", "-1.00", "FEE")],
    )
    both = [sorted(command) for command in printed(books, "20310106:5000:1")]
    assert [
        ["card-processor/PO-10", "card-processor/PO-40"],
        ["card-processor/PO-20", "card-processor/PO-30"],
    ] == sorted(both)


SETTLEMENT = "SETTLEMENT PO-1000 PO-1001 PO-1002"


@pytest.mark.parametrize(
    ("memo", "amount", "matched"),
    [
        pytest.param(SETTLEMENT, "111.00", 3, id="all named, exact"),
        pytest.param(SETTLEMENT, "110.00", 0, id="not their sum"),
        pytest.param(f"{SETTLEMENT} PO-9999", "111.00", 0, id="a name that is not known"),
        pytest.param("SETTLEMENT PO-1000 PO-1001", "67.00", 2, id="two of them"),
        pytest.param("SETTLEMENT PO-1000 PO-1001", "111.00", 0, id="not all named"),
    ],
)
def test_text_that_names_several_payouts(memo: str, amount: str, matched: int, tmp_path: Path) -> None:
    """A line that names several payouts, all of them known, is theirs where they are its amount to the cent, and only then.

    Eight more payouts stand around, among which a sum would be by chance.
    """
    amounts = ["30.00", "37.00", "44.00", *(f"{51 + 7 * place}.00" for place in range(8))]
    books = Books(tmp_path).put(
        processor=[payout(f"PO-{1000 + place}", "2031-01-04", each) for place, each in enumerate(amounts)],
        bank=[bank("2031-01-06", amount, memo), bank("2031-01-08", "50.00", "WIRE")],
    )
    found = books.query("SELECT matched_by, sum(moved) OVER () FROM bank_match")
    total = int(amount.replace(".", "")) if matched else 0
    assert [("reference", total)] * matched == found


def held_in_full(place: Path) -> Books:
    """A payout whose reference the bank's text states, and a deposit that nothing explains."""
    return Books(place).put(
        processor=[
            payout("po2", "2031-01-04", "46.50", payout_id="PO-2"),
            payout("po3", "2031-01-20", "97.00", payout_id="PO-3"),
        ],
        bank=[
            bank("2031-01-06", "46.50", "WIRE PO-2"),
            bank("2031-01-30", "97.50", "WIRE"),
            bank("2031-02-19", "1.00", "INTEREST"),
            bank("2031-02-20", "-1.00", "FEE"),
        ],
    )


def test_a_payout_that_is_in_the_bank_takes_no_more(tmp_path: Path) -> None:
    """A payout that a line holds in full is not tied to another line as well; the refusal names the line."""
    books = held_in_full(tmp_path)
    with pytest.raises(LedgerError) as told:
        settle(books, "20310130:9750:1", "po2")
    what = "card-processor/po2 is in the bank in full already: the line checking/20310106:4650:1 of 2031-01-06, 46.50 USD, holds it"
    assert what == told.value.problems[0].what
    assert not books.folder.decisions.exists()


def test_a_line_that_is_a_payout_is_no_other(tmp_path: Path) -> None:
    """A line that is one payout in full can't be named for another one."""
    books = held_in_full(tmp_path)
    with pytest.raises(
        LedgerError, match="the line checking/20310106:4650:1 of 2031-01-06 is explained in full already"
    ):
        settle(books, "po3", "20310106:4650:1")


def test_what_a_person_tied_is_withdrawn_first(tmp_path: Path) -> None:
    """Where a decision ties the payout to its line, the refusal has the command that takes it back."""
    books = held_in_full(tmp_path)
    done = settle(books, "20310130:9750:1", "PO-3")
    assert ("card-processor", "po3") == (done.decisions[0].match_source, done.decisions[0].match_id)
    with pytest.raises(LedgerError) as told:
        settle(books, "20310219:100:1", "po3")
    assert f"withdraw that first: ledger-tools settle {done.item.id} --withdraw" == told.value.problems[0].next_step


def test_a_reference_of_several_events_is_no_name(tmp_path: Path) -> None:
    """A payout is named by its reference where that is its own; a payout and its return have one in common."""
    books = Books(tmp_path).put(
        processor=[
            payout("po2", "2031-01-04", "46.50", payout_id="PO-2"),
            processor("back", "payout_returned", "2031-01-09", "46.50", "46.50", payout_id="PO-2"),
        ],
        bank=[bank("2031-01-30", "46.00", "WIRE"), bank("2031-02-20", "-1.00", "FEE")],
    )
    with pytest.raises(LedgerError) as told:
        settle(books, "20310130:4600:1", "PO-2")
    assert "is the reference of several events" == told.value.problems[0].what
    assert {"card-processor/po2", "card-processor/back"} == set(told.value.problems[0].next_step.split()) - {
        "write",
        "or",
    }
