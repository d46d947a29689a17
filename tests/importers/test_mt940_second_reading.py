"""MT940 and MT942 read twice: by the importer and by an independent reader, `mt-940` (BSD licence, for tests only).

Amounts, dates and balances of both must agree, on the texts of the other tests and on files made at random. The field
descriptions (:61: as 6!n[4!n]2a[1!a]15d1!a3!c16x[//16x], :60a:/:62a: as 1!a6!n3!a15d, marks C, D, RC, RD, in an interim report
also EC and ED) are common practice as banks describe them. Where the two readers differ, decided is:

- RC takes money out and RD brings it back (a reversal of a credit, of a debit). The other reader does so by an option.
- EC and ED are expected entries of an interim report, not booked ones: the importer leaves them out and counts them. The
  other reader can't read them.
- Four blanks for the booking date mean that there is none: the value date counts. Both agree.
- A file that is cut off within a statement is refused by the importer; the other reader gives what it has.
"""

from __future__ import annotations

import datetime
import random
from decimal import Decimal
from pathlib import Path

import mt940
import pytest
from test_identify import MT940 as NO_LINES
from test_statements import MT940 as TWO_STATEMENTS

from importers.mt940 import read_mt940
from importers.readers import read_statements
from ledger_tools.errors import LedgerError

Reading = list[tuple[list[tuple[str, Decimal]], tuple[str, Decimal] | None, tuple[str, Decimal] | None]]

PAGES = """:20:P
:25:XX 42
:28C:7/1
:60F:D310401EUR10,5
:61:310402    D1,NTRFNONREF
:86:?00first?20one?21two
three?32Party
:62M:D310402EUR11,5
-
:20:P
:25:XX 42
:28C:7/2
:60M:D310402EUR11,5
:61:3104020403CR20,NTRFA REF//BANKREF
:86:a line
:that looks like a tag
:61:3104030403RDR0,25S103NONREF
:62F:C310403EUR8,75
:64:C310403EUR8,75
:86:about the whole statement
-
"""
INTERIM = """{1:F01BANKXXXX0000000000}{2:O9420000000000BANKXXXX}{4:
:20:I1
:25:XX 42
:28C:8/1
:34F:EURD0,
:34F:EURC0,
:13D:3104101200+0200
:61:3104100410C7,25NTRFNONREF
:86:from a customer
:61:3104100410D3,NCHGNONREF
:90D:1EUR3,
:90C:1EUR7,25
-}
"""
BOOKED = """:20:B1
:25:XX 42
:28C:8/2
:60F:C310409EUR100,
:61:3104100410C7,25NTRFNONREF
:61:3104100410D3,NCHGNONREF
:61:3104100410C7,25NTRFNONREF
:62F:C310410EUR111,5
-
"""


def made_at_random(seed: int) -> str:
    """A file of several statements and interim reports, each with its sums, in the ways in which banks write them."""
    dice = random.Random(seed)
    day, balance, blocks = datetime.date(2030, 12, 20), dice.randint(-50_000, 50_000), list[str]()
    for number in range(dice.randint(1, 6)):
        interim, marks, sums = dice.random() < 0.25, ("C", "D", "RC", "RD"), {"C": [0, 0], "D": [0, 0]}
        letter = dice.choice("FM")
        lines = [":20:R", ":25:XX 42", f":28C:{number + 1}/1"]
        lines += (
            [f":34F:EURD{0},", f":13D:{day:%y%m%d}1200+0100"] if interim else [f":60{letter}:{_balance(balance, day)}"]
        )
        for _ in range(dice.randint(0, 6)):
            day += datetime.timedelta(days=dice.choice((0, 0, 1, 3)))
            mark, amount = dice.choice(marks[:2] if interim else marks), dice.randint(1, 999_999)
            booked = dice.choice((f"{day:%m%d}", f"{day + datetime.timedelta(days=2):%m%d}", "", "    "))
            kind = dice.choice(("NTRF", "NMSC", "S103", "FCHG"))
            reference = dice.choice(("NONREF", "OWN REF 1", "NONREF//BANK1", "INV-7//B-2\nmore of it"))
            lines.append(
                f":61:{day:%y%m%d}{booked}{mark}{dice.choice(('', 'R'))}{_amount(amount, dice)}{kind}{reference}"
            )
            lines += dice.choice(
                ([], [":86:free text"], [":86:?00Credit?20Invoice?21seven?32Party"], [":86:one", "two", "three"])
            )
            change = amount if mark in ("C", "RD") else -amount
            balance += 0 if interim else change
            sums["C" if change > 0 else "D"][0] += 1
            sums["C" if change > 0 else "D"][1] += amount
        if interim:
            lines += [f":90{side}:{count}EUR{total // 100},{total % 100:02}" for side, (count, total) in sums.items()]
        else:
            lines.append(f":62{letter}:{_balance(balance, day)}")
        blocks.append("\r\n".join([*lines, dice.choice(("-", "-}"))]))
    return "\r\n".join([*blocks, ""])


def _balance(amount: int, day: datetime.date) -> str:
    return f"{'D' if amount < 0 else 'C'}{day:%y%m%d}EUR{abs(amount) // 100},{abs(amount) % 100:02}"


def _amount(amount: int, dice: random.Random) -> str:
    """Decimals may be left out where they are zero, the comma may not."""
    whole, cents = divmod(amount, 100)
    return (
        f"{whole},"
        if cents == 0
        else f"{whole},{cents // 10}"
        if cents % 10 == 0 and dice.random() < 0.5
        else f"{whole},{cents:02}"
    )


def ours(path: Path) -> Reading:
    """What the importer reads: lines as (day, amount), opening and closing balance as (day, amount)."""
    return [
        (
            [(line.on, Decimal(line.amount)) for line in statement.lines],
            *((each.on, Decimal(each.amount)) if each else None for each in (statement.opening, statement.closing)),
        )
        for statement in read_mt940(path).statements
    ]  # type: ignore[misc]


def theirs(text: str) -> Reading:
    """What the other reader reads."""
    readings: Reading = []
    for statement in mt940.parse_statements(text, options=mt940.Options.all()):
        lines = []
        for line in statement.transactions:
            day = line.data.get("entry_date") or line.data["date"]
            lines.append((day.isoformat(), line.data["amount"].amount))
        ends = []
        for side in ("opening", "closing"):
            found = [statement.data.get(f"{kind}_{side}_balance") for kind in ("final", "intermediate")]
            ends.append(next(((each.date.isoformat(), each.amount.amount) for each in found if each), None))
        readings.append((lines, *ends))
    return readings


@pytest.mark.parametrize(
    "text", [NO_LINES, TWO_STATEMENTS, PAGES, INTERIM, BOOKED], ids=["no lines", "two", "pages", "interim", "booked"]
)
def test_both_read_the_same_of_samples(tmp_path: Path, text: str) -> None:
    """Lines, days and balances agree on the texts that the tests use."""
    file = tmp_path / "a.sta"
    file.write_text(text, encoding="utf-8")
    assert theirs(text) == ours(file)


def test_both_read_the_same_of_files_made_at_random(tmp_path: Path) -> None:
    """Lines, days and balances agree on two hundred files, and each statement's lines lead from balance to balance.

    A line of an interim report that a statement repeats is counted once; such files are left out of the comparison.
    """
    file, compared = tmp_path / "a.sta", 0
    for seed in range(200):
        text = made_at_random(seed)
        file.write_bytes(text.encode())
        expected = theirs(text)
        found = read_statements(file, "MT940")
        assert len(expected) == len(found.statements), seed
        booked = {line for lines, opening, _ in expected if opening for line in lines}
        if not any(set(lines) & booked for lines, opening, _ in expected if not opening):
            assert expected == ours(file), seed
            compared += 1
    assert compared > 180


def test_pages_and_texts(tmp_path: Path) -> None:
    """Pages are proved one by one; text that starts with a colon stays text, a statement's own text is no line's."""
    file = tmp_path / "a.sta"
    file.write_text(PAGES, encoding="utf-8")
    first, second = read_statements(file, "MT940").statements
    assert ["onetwothree", "a line :that looks like a tag A REF"] == [
        line.memo.removeprefix("first ") for line in (*first.lines, second.lines[0])
    ]
    assert "" == second.lines[1].memo
    assert (False, True) == (first.closing.final, second.closing.final)


def test_expected_entries_are_not_booked(tmp_path: Path) -> None:
    """EC and ED of an interim report are counted and left out."""
    file = tmp_path / "a.sta"
    file.write_text(INTERIM.replace("0410D3,", "0410ED3,").replace(":90D:1EUR3,\n", ""), encoding="utf-8")
    (report,) = read_statements(file, "MT940").statements
    assert (["7.25"], 1) == ([line.amount for line in report.lines], report.unbooked)


def test_interim_report_and_statement_of_a_day_are_one_set_of_lines(tmp_path: Path) -> None:
    """What the report holds of the statement's lines is left out; what only the report holds stays."""
    file = tmp_path / "a.sta"
    file.write_text(
        INTERIM.replace("C7,25NTRF", "C8,25NTRF").replace("1EUR7,25", "1EUR8,25") + BOOKED, encoding="utf-8"
    )
    statements = read_statements(file, "MT940").statements
    assert [["8.25"], ["7.25", "-3.", "7.25"]] == [[line.amount for line in each.lines] for each in statements]


@pytest.mark.parametrize(
    ("text", "message"),
    [
        (BOOKED.replace("EUR111,5", "EUR111,4"), r"a.sta, statement 1 \(8/2\): found lines of 11.50 between the balances"),
        (PAGES.replace("61:3104030403RDR0,25", "61:3104030403RCR0,25"), r"statement 2 \(7/2\): found lines of 19.75 between"),
        (BOOKED[: BOOKED.index(":62F:")], "a.sta, statement 1: has no :62F:, expected the balances"),
        (BOOKED.replace(":60F:C310409EUR100,\n", ""), "a.sta, statement 1: has no :60F:, expected the balances"),
        (":20:A\n:25:B\n:28C:1\n:61:3104100410C7,25NTRFNONREF\n", "statement 1: has no :60F: and no :62F:"),
        (INTERIM.replace("90C:1EUR7,25", "90C:2EUR7,25"), "a.sta, statement 1, :90C:: found 1 entries of 7.25, expected '2EUR7,25'"),
        (INTERIM.replace("90D:1EUR3,", "90D:1EUR4,"), "a.sta, statement 1, :90D:: found 1 entries of 3, expected '1EUR4,'"),
    ],
    ids=["sum", "sign", "cut off", "no opening", "no balances", "count", "interim sum"],
)  # fmt: skip
def test_what_does_not_tie_out_is_refused(tmp_path: Path, text: str, message: str) -> None:
    """The message names the statement, what was found and what was expected."""
    file = tmp_path / "a.sta"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(LedgerError, match=message):
        read_statements(file, "MT940")
