"""Differences between stated balances and the books: where they arose and what explains them.

One set of books serves all cases: each is a bank account, a processor or a wallet of its own.
"""

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from decimal import Decimal

import pytest
from shop_books import Row, build_books, silent

from ledger_tools.archive import open_books
from ledger_tools.open_items import list_all_items
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.reconciliation_form import Reconciled, Reconciliation
from ledger_tools.reports.reconciliation_steps import StatedDay, find_steps

AS_OF = datetime.date(2031, 4, 30)


def day(number: int, difference: int) -> StatedDay:
    """A stated day of April with a difference."""
    return StatedDay(datetime.date(2031, 4, number), 1000 + difference, "settings", 1000)


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        pytest.param([(1, 0), (2, 5), (3, 5)], [(1, 2, 5)], id="arose once and stayed"),
        pytest.param([(1, 5), (2, 5)], [(None, 1, 5)], id="stood from the first stated day on"),
        pytest.param([(1, 7), (2, 0), (3, 5)], [(2, 3, 5)], id="what was before it agreed does not count"),
        pytest.param([(1, 0), (2, 5), (3, 12), (4, 7)], [(2, 3, 7)], id="what undid itself is left out"),
        pytest.param([(1, 0), (2, 5), (3, 8)], [(1, 2, 5), (2, 3, 3)], id="two steps"),
        pytest.param(
            [(number, number * (number + 1)) for number in range(1, 15)],
            [(None, 3, 12), *((number - 1, number, 2 * number) for number in range(4, 15))],
            id="the oldest of many are one",
        ),
    ],
)
def test_steps(days: list[tuple[int, int]], expected: list[tuple[int | None, int, int]]) -> None:
    """A difference is told step by step: after which stated day each part arose, and by which."""
    steps = find_steps([day(number, difference) for number, difference in days])
    assert expected == [(step.after.day if step.after else None, step.by.day, step.change) for step in steps]


def line(on: str, amount: str, memo: str) -> Row:
    """A bank line."""
    return {"at": f"2031-04-{on}", "amount": amount, "currency": "USD", "memo": memo}


def event(event_id: str, kind: str, on: str, net: str, order_id: str = "", fee: str = "") -> Row:
    """A processor's event; a fee is on top of the net."""
    gross = str(Decimal(net) + Decimal(fee or 0))
    return {
        "event_id": event_id, "kind": kind, "at": f"2031-04-{on}", "currency": "USD", "gross": gross, "fee": fee,
        "net": net, "order_ref": order_id,
    }  # fmt: skip


def charges(*order_ids: str) -> list[Row]:
    """A charge of 20.00 less a fee of 1.00 for each order, on the day that the id ends with."""
    return [event(f"ch-{name}", "charge", f"0{name[-1]}", "19.00", name, "1.00") for name in order_ids]


#: Bank lines of four days; balance 100.00, 70.00, 58.00, 51.50.
LINES = [
    line("01", "100.00", "OPENING DEPOSIT"),
    line("04", "-30.00", "SCREENS"),
    line("08", "-12.00", "SOFTWARE"),
    line("12", "-6.50", "STAMPS"),
]


@dataclass(frozen=True)
class Case:
    """One account with its export, its stated balances, and the parts that its difference is told in.

    Attributes:
        parts: (kind, amount, events, day after which it arose or None).
    """

    source: str
    kind: str
    rows: Sequence[Row]
    stated: Sequence[tuple[str, str]]
    parts: Sequence[tuple[str, int, Sequence[str], str | None]]
    what: str = ""


BANKS = (
    Case("caught-up", "bank", LINES, [("02", "100.00"), ("08", "70.00"), ("20", "51.50")], []),
    Case("cut-off-late", "bank", LINES, [("02", "100.00"), ("12", "58.00")],
         [("timing", 650, ["20310412:-650:1"], "02")], "not in the balance of 2031-04-12 yet"),
    Case("cut-off-early", "bank", LINES, [("02", "100.00"), ("11", "51.50")],
         [("timing", -650, ["20310412:-650:1"], "02")], "the books have it on 2031-04-12"),
    Case("doubled", "bank", [*LINES, line("05", "-30.00", "SCREENS AGAIN")], [("02", "100.00"), ("20", "51.50")],
         [("extra", 3000, ["20310405:-3000:1"], "02")], "one of the two is too many"),
    Case("stranger", "bank", [*LINES, line("09", "-3.33", "NOT OURS")], [("08", "58.00"), ("20", "51.50")],
         [("extra", 333, ["20310409:-333:1"], "08")], "not in the stated balance"),
    Case("pair", "bank", LINES, [("02", "100.00"), ("20", "70.00")],
         [("extra", 1850, ["20310408:-1200:1", "20310412:-650:1"], "02")], "2031-04-08 and 2031-04-12"),
    Case("two-parts", "bank", LINES, [("02", "100.00"), ("07", "100.00"), ("10", "88.00"), ("20", "81.32")],
         [("extra", 3000, ["20310404:-3000:1"], "02"), ("unknown", -18, [], "10")], "2031-04-04"),
    Case("ambiguous", "bank", [*LINES, line("18", "-12.00", "SOFTWARE")], [("02", "100.00"), ("28", "51.50")],
         [("unknown", 1200, [], "02")]),
    Case("digits", "bank", LINES, [("02", "100.00"), ("25", "78.50")], [("unknown", 2700, [], "02")],
         "20310404:-3000:1 with two digits changed over, -3.00 USD"),
    Case("sign", "bank", LINES, [("02", "100.00"), ("25", "64.50")], [("unknown", 1300, [], "02")],
         "20310412:-650:1 with the other sign"),
    Case("nine", "bank", LINES, [("02", "100.00"), ("25", "51.41")], [("unknown", -9, [], "02")], "divided by 9"),
    Case("opening", "bank", LINES, [("02", "333.01"), ("25", "284.51")], [("unknown", 23301, [], None)],
         "is an opening balance missing in hand.beancount?"),
    Case("accepted", "bank", LINES, [("02", "100.00"), ("20", "50.77")], [("accepted", -73, [], None)],
         "accepted by Ana: the bank will mend it"),
    Case("grown", "bank", LINES, [("02", "100.00"), ("20", "50.50")],
         [("accepted", -73, [], None), ("unknown", -27, [], None)], "has changed since it was accepted"),
    Case("lost-line", "bank", LINES, [("02", "100.00"), ("20", "128.83")],
         [("missing", 7733, ["po-lost"], "02")], "its line is in no export"),
    Case("own-lines", "bank", [*LINES, line("06", "-5.00", "WIRE FEE"), line("07", "-5.00", "WIRE FEE")], [("20", "46.50")],
         [("unknown", 500, [], None)], "is an opening balance missing in hand.beancount?"),
    Case("late-at-most", "bank", LINES, [("02", "100.00"), ("15", "58.00")],
         [("timing", 650, ["20310412:-650:1"], "02")], "not in the balance of 2031-04-15 yet"),
    Case("too-late", "bank", LINES, [("02", "100.00"), ("16", "58.00")],
         [("extra", 650, ["20310412:-650:1"], "02")], "not in the stated balance"),
    Case("early-at-most", "bank", LINES, [("01", "100.00"), ("02", "93.50")],
         [("timing", -650, ["20310412:-650:1"], "01")], "the books have it on 2031-04-12"),
    Case("too-early", "bank", [LINES[0], *LINES[2:]], [("01", "93.50")], [("unknown", -650, [], None)]),
    Case("twice-in-a-week", "bank", [*LINES, line("11", "-30.00", "SCREENS")], [("02", "100.00"), ("20", "51.50")],
         [("extra", 3000, ["20310411:-3000:1"], "02")], "one of the two is too many"),
    Case("twice-in-eight-days", "bank", [*LINES, line("12", "-30.00", "SCREENS")], [("02", "100.00"), ("20", "51.50")],
         [("unknown", 3000, [], "02")]),
    Case("payout-bank", "bank", [line("07", "44.40", "SETTLEMENT"), line("07", "39.00", "PAYOUT po-1000")], [], []),
)  # fmt: skip

PROCESSORS = (
    Case("lost-payout", "processor", charges("101", "102"), [("03", "38.00"), ("20", "-6.40")],
         [("missing", -4440, ["20310407:4440:1"], "03")], "the event behind it is in no export"),
    Case("lost-charge", "processor", charges("201", "203"), [("01", "19.00"), ("20", "57.00")],
         [("missing", 1900, ["202"], "01")], "order 202 has no payment: 20.00 USD less a fee of 1.00 USD"),
    Case("other-amount", "processor", [*charges("301"), event("po-1000", "payout", "05", "-40.00")],
         [("03", "19.00"), ("20", "-20.00")], [("amount", 100, ["po-1000"], "03")], "its bank line"),
    Case("contradictory", "processor", [{**charges("401")[0], "net": "18.70"}], [("20", "19.00")],
         [("amount", 30, ["ch-401"], None)], "its parts differ from its total by 0.30 USD"),
    Case("waiting", "processor", [*charges("501"), event("po-lost", "payout", "10", "-77.33")], [], []),
)  # fmt: skip

AMENDED = Case("amended", "wallet", [
    {"event_id": "w-1", "kind": "charge", "at": "2031-04-02", "total": "7.70", "currency": "USD"},
    {"event_id": "w-2", "kind": "top_up", "at": "2031-04-25", "total": "9.00", "currency": "USD"},
], [("20", "-7.00")], [("amount", 70, ["w-1"], None)], "a later export changed it from 7.00 to 7.70")  # fmt: skip

SETTINGS = """
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "shop"
kind = "orders"
currency = "USD"
"""
ORDER_IDS = ("101", "102", "201", "202", "203", "301", "401", "501")
DECISION = """
[[decision]]
item = "{item}"
kind = "balance-differs"
action = "accept"
reason = "the bank will mend it"
by = "Ana"
decided_on = 2031-05-01
item_date = {on}
source = "{source}"
"""

CASES = (*BANKS, *PROCESSORS, AMENDED)


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reconciliation]:
    """The report on all cases, in one set of books with a source for each, an earlier export and one decision."""
    settings = SETTINGS
    for case in CASES:
        settings += f'[[source]]\nname = "{case.source}"\nkind = "{case.kind}"\ncurrency = "USD"\n'
        for on, amount in case.stated:
            settings += f'[[stated_balance]]\nsource = "{case.source}"\non = 2031-04-{on}\namount = "{amount}"\n'
    orders = [{"order_id": name, "placed_at": f"2031-04-0{name[-1]}", "total": "20.00"} for name in ORDER_IDS]
    root = tmp_path_factory.mktemp("cases")
    built = build_books(root, settings, {"shop": orders, **{case.source: case.rows for case in CASES}})
    items = [item for item in list_all_items(built.connection, AS_OF) if item.kind == "balance-differs"]
    built.connection.close()
    accepted = {item.source: item for item in items if item.source in ("accepted", "grown")}
    decisions = [DECISION.format(item=item.id, on=item.date, source=item.source) for item in accepted.values()]
    decisions[list(accepted).index("grown")] += 'amount = "-0.73"\ncurrency = "USD"\n'
    (built.folder.root / "decisions.toml").write_text("".join(decisions))
    earlier = built.folder.exports / AMENDED.source / "a.csv"
    earlier.write_text("event_id,kind,at,total,currency\nw-1,charge,2031-04-02,7.00,USD\n")
    with open_books(built.folder, silent) as connection:
        yield report_reconciliation(connection, AS_OF)


def account_of(report: Reconciliation, source: str) -> Reconciled:
    """The one row of a source."""
    (row,) = [row for row in report.accounts if row.source == source]
    return row


@pytest.mark.parametrize("case", CASES, ids=[case.source for case in CASES])
def test_difference(case: Case, report: Reconciliation) -> None:
    """A difference has its kind, its parts, the events that make them up and the day after which each arose."""
    row = account_of(report, case.source)
    expected = [(kind, amount, tuple(events), on and f"2031-04-{on}") for kind, amount, events, on in case.parts]
    found = [(part.kind, part.amount, part.event_ids, part.after and str(part.after)) for part in row.explanations]
    assert expected == found
    assert (row.difference or 0) == sum(part.amount for part in row.explanations)
    assert row.is_unexplained == any(kind == "unknown" for kind, *_ in case.parts)
    assert case.what in " ".join(part.what for part in row.explanations)


@pytest.mark.parametrize(
    "case", [case for case in CASES if case.stated], ids=[case.source for case in CASES if case.stated]
)
def test_sides_agree_but_for_what_is_unknown(case: Case, report: Reconciliation) -> None:
    """Whatever explains a difference stands on one of the sides; only what is unknown remains between them."""
    (sides,) = [sides for sides in report.sides if sides.source == case.source]
    assert sum(amount for kind, amount, *_ in case.parts if kind == "unknown") == sides.remaining


def test_accepted_difference_is_an_error_of_the_statement(report: Reconciliation) -> None:
    """What a person accepted stands on the statement's side with who and why."""
    (sides,) = [sides for sides in report.sides if sides.source == "accepted"]
    assert [("errors on the statement", 73, "accepted by Ana: the bank will mend it")] == [
        (each.heading, each.amount, each.what) for each in sides.statement_lines
    ]
