"""`settle --always`: one line is settled together with every line like it, by a rule in shop.toml that keeps the rest."""

from pathlib import Path

import pytest
from command_line import Outcome, call
from kept_books import Books, bank, processor, wallet

from ledger_tools.standing_rules import pattern_of, text_once

RULES = """
# What the bank's lines are.
[[bank_rule]]
pattern = "account fee"     # every month
account = "Expenses:BankFees"

# Where the shop files sales tax.
[[registration]]
jurisdiction = "US-CO"
filing = "monthly"
since = 2031-01-01
"""

LINES = [
    bank("2031-04-02", "-90.00", "RENT APRIL REF 771/A", counterparty="Dome (Hill) Studio"),
    bank("2031-04-20", "-95.00", "RENT APRIL REF 802/B", counterparty="Dome (Hill) Studio"),
    bank("2031-04-12", "-4.00", "CORNER SHOP"),
    bank("2031-04-13", "-5.00", "12345"),
]


@pytest.mark.parametrize(
    ("text", "pattern"),
    [
        ("INVOICE 5518 DOME HIRE", r"INVOICE\s+\S*[0-9]\S*\s+DOME\s+HIRE"),
        ("A+B  (rent)", r"A\+B\s+\(rent\)"),
        ("REF-77/2031 Caf\u00e9 Luna", "\\S*[0-9]\\S*\\s+Caf\u00e9\\s+Luna"),
        ("PO-7740 77", None),
        ("fee", None),
        ("", None),
    ],
)
def test_pattern(text: str, pattern: str | None) -> None:
    """Words stand for themselves, a word with a digit for any such word; too few letters are no pattern."""
    assert pattern == pattern_of(text)


def settle(books: Books, event: str, account: str = "Expenses:Rent") -> Outcome:
    """Settle the open item of an event for ever."""
    item = next(item for item in books.open_items() if item.event_id == event)
    words = ("settle", item.id, "--account", account, "--always", "--reason", "studio\nrent", "--by", "Ada")
    return call("--books", books.folder.root, *words)


@pytest.mark.parametrize("line_end", ["\n", "\r\n"])
def test_rule_is_written_and_settles(line_end: str, tmp_path: Path) -> None:
    """The rule stands behind the last rule with who and why, all else is byte for byte the same, and lines like it go too."""
    books = Books(tmp_path, RULES).put(bank=LINES)
    file = books.folder.settings
    before = file.read_bytes().replace(b"\n", line_end.encode())
    file.write_bytes(before)
    done = settle(books, "20310402:-9000:1")
    assert 0 == done.status, done.err
    assert "it fits 2 open line(s)" in done.err
    rule = [
        "[[bank_rule]]",
        r"pattern = 'RENT\s+APRIL\s+REF\s+\S*[0-9]\S*'",
        'account = "Expenses:Rent"',
        'source = "checking"',
    ]
    lines, old = file.read_bytes().decode().split(line_end), before.decode().split(line_end)
    place = lines.index(rule[1]) - 3
    assert ["", *rule] == [lines[place], *lines[place + 2 : place + 6]]
    assert lines[place + 1].startswith("# 20")
    assert lines[place + 1].endswith(", Ada: studio rent")
    assert old == lines[:place] + lines[place + 6 :]
    assert 'account = "Expenses:BankFees"' == lines[place - 1]
    assert ["20310412:-400:1", "20310413:-500:1"] == [item.event_id for item in books.open_items()]
    assert not books.folder.decisions.exists()


def test_rule_knows_the_next_line(tmp_path: Path) -> None:
    """A line of a later statement that fits the rule never becomes an open item."""
    books = Books(tmp_path, RULES).put(bank=LINES[:1])
    settle(books, "20310402:-9000:1")
    books.put(bank=[bank("2031-04-03", "-99.00", "RENT APRIL REF 9", counterparty="Dome (Hill) Studio")])
    assert [] == books.open_items()


def test_adjustment(tmp_path: Path) -> None:
    """A processor's adjustment is known by its memo in the same way."""
    rows = [
        processor("ad-1", "adjustment", "2031-04-06", "3.00", "3.00", memo="goodwill case 5"),
        processor("ad-2", "adjustment", "2031-04-07", "4.00", "4.00", memo="goodwill case 6"),
        processor("ad-3", "adjustment", "2031-04-08", "4.00", "4.00", memo="correction"),
    ]
    books = Books(tmp_path).put(processor=rows)
    assert "it fits 2 open line(s)" in settle(books, "ad-1", "Income:Goodwill").err
    assert ["ad-3"] == [item.event_id for item in books.open_items()]


def refusal(books: Books, event: str) -> str:
    """Why an item can't be settled for ever; nothing is written."""
    before = books.folder.settings.read_bytes()
    done = settle(books, event)
    assert 1 == done.status
    assert before == books.folder.settings.read_bytes()
    assert "→" in done.err
    return done.err


def test_what_is_refused(tmp_path: Path) -> None:
    """No rule is made of a text without words, of a wallet charge, or against lines that a payout explains."""
    books = Books(tmp_path).put(
        bank=[*LINES, bank("2031-04-07", "50.00", "PAYOUT PO-1", counterparty="Card company"),
              bank("2031-04-11", "11.00", "PAYOUT PO-9", counterparty="Card company")],
        processor=[processor("PO-1", "payout", "2031-04-05", "-50.00", "-50.00")],
        wallet=[wallet("w-y", "charge", "2031-04-05", "2.50", reason="packing")],
    )  # fmt: skip
    assert "too few words" in refusal(books, "20310413:-500:1")
    assert "no bank line or adjustment" in refusal(books, "w-y")
    told = refusal(books, "20310411:1100:1")
    assert "would also claim 1 line(s) that are matched with a payout or top-up: 20310407:5000:1" in told


def test_decided_lines_are_not_claimed(tmp_path: Path) -> None:
    """A rule that would take the item of a decision away names the decision to withdraw first."""
    books = Books(tmp_path).put(bank=LINES)
    later = next(item for item in books.open_items() if item.event_id == "20310420:-9500:1")
    call("--books", books.folder.root, "settle", later.id, "--accept", "--reason", "x", "--by", "Ada")
    assert f"settle {later.id} --withdraw" in refusal(books, "20310402:-9000:1")


def test_rules_as_one_list_can_not_be_added_to(tmp_path: Path) -> None:
    """Where the rules are written as one list, the file stays as it is and the rule to add is told."""
    books = Books(tmp_path).put(bank=LINES)
    text = books.folder.settings.read_text(encoding="utf-8")
    books.folder.settings.write_text(
        'bank_rule = [{ pattern = "fee", account = "Expenses:BankFees" }]\n' + text, encoding="utf-8"
    )
    assert "add this one by hand" in refusal(books, "20310402:-9000:1")


def test_always_needs_an_account(tmp_path: Path) -> None:
    """`--always` without an account is a wrong command line."""
    books = Books(tmp_path).put(bank=LINES)
    item = books.open_items()[0]
    words = ("--books", books.folder.root, "settle", item.id, "--accept", "--always", "--reason", "x")
    assert 2 == call(*words).status


def test_persons_stay_out_of_patterns() -> None:
    """The other party's name and addresses are left out while other words say enough."""
    text = "studio rent Zelda Quimby zelda@mailbox.test Zelda Quimby"
    assert r"studio\s+rent" == pattern_of(text, "Zelda Quimby")
    assert r"Harbour\s+Power" == pattern_of("Harbour Power", "Harbour Power")


@pytest.mark.parametrize(
    ("memo", "party", "expected"),
    [
        ("SERVICE FEE", "SERVICE  FEE", "SERVICE FEE"),
        ("SERVICE FEE APRIL", "Service fee", "SERVICE FEE APRIL"),
        ("FEE", "SERVICE FEE", "SERVICE FEE"),
        ("SERVICE FEE", "", "SERVICE FEE"),
        ("FEES", "FEE", "FEES FEE"),
        ("RENT", "Dome Studio", "RENT Dome Studio"),
    ],
)
def test_texts_that_say_the_same(memo: str, party: str, expected: str) -> None:
    """A text that holds the other one stands for both, by whole words."""
    assert expected == text_once(memo, party)


def test_rule_fits_a_line_of_another_format(tmp_path: Path) -> None:
    """A line that has its text twice, as memo and as other party, gives a rule that knows one with the text once."""
    books = Books(tmp_path, RULES).put(bank=[bank("2031-04-02", "-9.00", "SERVICE FEE", counterparty="SERVICE FEE")])
    settle(books, "20310402:-900:1", "Expenses:BankFees")
    assert r"pattern = 'SERVICE\s+FEE'" in books.folder.settings.read_text(encoding="utf-8").splitlines()
    books.put(bank=[bank("2031-04-03", "-9.00", "SERVICE FEE")])
    assert [] == books.open_items()


def test_no_rule_to_the_wallet(tmp_path: Path) -> None:
    """A rule can't send lines to the wallet's own account, whose export tells of its top-ups itself."""
    books = Books(tmp_path, RULES).put(bank=LINES, wallet=[wallet("w1", "top_up", "2031-04-01", "5.00")])
    before = books.folder.settings.read_bytes()
    done = settle(books, "20310412:-400:1", "Assets:Wallet:FulfilmentWallet")
    assert 1 == done.status
    assert "it would count twice" in done.err
    assert before == books.folder.settings.read_bytes()


def test_a_rule_is_not_withdrawn_but_named(tmp_path: Path) -> None:
    """Taking back what a rule settled names the rule to take out of the settings, by a beginning of the id as well."""
    books = Books(tmp_path, RULES).put(bank=LINES)
    item = next(item for item in books.open_items() if item.event_id == "20310402:-9000:1")
    settle(books, "20310402:-9000:1")
    done = call("--books", books.folder.root, "settle", item.id[:7], "--withdraw")
    assert 1 == done.status
    place = books.folder.settings.read_text(encoding="utf-8").partition("Expenses:Rent")[0].count("\n[[bank_rule]]")
    assert f"[[bank_rule]] {place} in shop.toml" in done.err
    assert "to Expenses:Rent" in done.err
    assert "take that rule out of shop.toml; it holds for 2 line(s)" in done.err
    assert not books.folder.decisions.exists()
