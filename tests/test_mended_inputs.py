"""Settings and hand entries that once ended in a traceback: each is told with its file and its key or line."""

from pathlib import Path

import pytest
from kept_books import Books, order

from ledger_tools.errors import LedgerError
from ledger_tools.hand import read_hand_file
from ledger_tools.settings import parse_settings

HEAD = 'currency = "USD"\ntime_zone = "America/Denver"\n'
SHOP = '[[source]]\nname = "shop"\nkind = "orders"\ncurrency = "JPY"\n'
RATE = '[[rate]]\ncurrency = "EUR"\non = 2031-04-01\nrate = '
STATED = SHOP + '[[stated_balance]]\nsource = "shop"\non = 2031-04-01\namount = '

#: What stands in the settings, and what is said about it.
SETTINGS = [
    ("detail = 5", "detail: found 5, expected 'order' or 'day'"),
    ("name = 5.5", "name: found 5.5, expected a text in quotes"),
    ('name = ""', "name: is empty, expected a text"),
    ("name = true", "name: found true, expected a text in quotes"),
    ("grace = 5", "grace: found 5, expected a table of its own keys"),
    ("[grace]\npayment = 2.5", "grace.payment: found 2.5, expected a whole number without quotes"),
    ('[grace]\npayout = "7"', "grace.payout: found '7', expected a whole number without quotes"),
    ("[grace]\ntop_up = 99999999999", "grace.top_up: found 99999999999, expected at most 3650"),
    ('names = "x"', "names: found 'x', expected a table, [names]"),
    ("[names]\nMugs = 1", "names.Mugs: found 1, expected a text in quotes"),
    (
        '[source]\nname = "shop"',
        "source: found a table, expected a list; a table that can stand several times has double brackets, [[…]]",
    ),
    (f'source = ["{"a" * 70}"]', f"source.1: found '{'a' * 58}…, expected a table of its own keys"),
    ("[[registration]]\njurisdiction = []\nfiling = {}\nsince = 5", "registration.1.since: found 5, expected a date"),
    ("[[registration]]\njurisdiction = []", "registration.1.jurisdiction: found a list, expected a text in quotes"),
    (RATE + "true", 'rate.1.rate: found true, expected a decimal number such as "12.50"'),
    (RATE + "1e3", "rate.1.rate: found '1E+3', expected a positive number such as \"1.0842\""),
    (RATE + "nan", "rate.1.rate: found 'NaN', expected a positive number such as \"1.0842\""),
    (RATE + f'"1.{"1" * 13}"', "expected at most 12 digits, 6 of them before the point"),
    (RATE + '"1234567"', "rate.1.rate: found '1234567', expected at most 12 digits, 6 of them before the point"),
    (RATE.replace("EUR", "EURO") + '"1"', "rate.1.currency: 'EURO' is not an ISO 4217 currency code such as USD"),
    (STATED + '"abc"', "stated_balance.1.amount: amount 'abc' is not a number with '.' as its decimal mark"),
    (STATED + "[]", 'stated_balance.1.amount: found a list, expected a decimal number such as "12.50"'),
    (STATED + '"1.5"', "stated_balance.1.amount: amount '1.5' has more decimals than JPY has (0)"),
    (STATED + '"1000000000000000"', "amount: found '1000000000000000', which is more than the books can hold"),
    (STATED + '"1"\ncurrency = "XXY"', "stated_balance.1.currency: 'XXY' is not an ISO 4217 currency code such as USD"),
    (f"x = {'9' * 5000}", "is not valid TOML"),
    (f"x = {'[' * 5000}", "is not valid TOML"),
]


@pytest.mark.parametrize(("text", "message"), SETTINGS, ids=range(len(SETTINGS)))
def test_settings(text: str, message: str) -> None:
    """Each kind of wrong value is told in the program's own words, with its key and what was found."""
    with pytest.raises(LedgerError) as caught:
        parse_settings(HEAD + text)
    told = str(caught.value)
    assert told.startswith("shop.toml")
    assert message in told
    assert "Input should" not in told


@pytest.mark.parametrize(
    ("rate", "amount", "value"),
    [
        ("0.999999999999", "9999999999.99", 999_999_999_998),
        ("000999999.9999990", "9999999.99", 999_999_998_999_000),
        ("0.000000000001", "9999999999.99", 1),
    ],
)
def test_rate_at_the_limit(rate: str, amount: str, value: int, tmp_path: Path) -> None:
    """A rate of all the digits that are allowed values a great amount to the cent; outer zeros don't count."""
    books = Books(tmp_path, RATE + f'"{rate}"\n')
    books.put(orders=[order("1", "2031-04-02", amount, currency="EUR")])
    assert [(value,)] == books.query("SELECT max(value) FROM posting")


def test_stated_balance_in_its_own_currency() -> None:
    """The amount is read in the currency that the balance names, else in its source's."""
    settings = parse_settings(HEAD + STATED + '"1.005"\ncurrency = "KWD"')
    assert ("1.005", "KWD") == (settings.stated_balance[0].amount, settings.stated_balance[0].currency)


H = '2031-04-01 * "x"\n'

#: What stands in the hand file, and what is said about it.
HAND = [
    (H, "line 1: the entry has no lines\n    → write its accounts and amounts, or take it out"),
    (H + "  Assets:Suspense\n", "line 1: the entry has no lines"),
    (
        H + "  Assets:Suspense 99999999999999999999.00 USD\n  Assets:Disputed\n",
        "line 1: 99999999999999999999.00 USD is more than the books can hold\n    → mend the amount",
    ),
    (H + f"  Assets:Suspense {'9' * 40} USD\n  Assets:Disputed\n", "USD is more than the books can hold"),
    (
        H + "  Assets:Suspense 1.0000000000000000000000000000001 USD\n  Assets:Disputed -1 USD\n",
        "1.0000000000000000000000000000001 USD is finer than the currency's minor unit",
    ),
    (
        H + "  Assets:Suspense 1 EUR @ 99999999999999999 GBP\n  Assets:Disputed\n",
        "line 1: the value of 1 EUR is more than the books can hold\n    → mend its price",
    ),
    (H + "  Assets:Suspense 1/0 USD\n  Assets:Disputed\n", "holds something that can't be computed"),
    (
        '; mine\ninclude "other.beancount"\n',
        "line 2: include brings in entries that the books don't read\n    → write the entries into this file",
    ),
]


@pytest.mark.parametrize(("text", "message"), HAND, ids=range(len(HAND)))
def test_hand_entries(text: str, message: str, tmp_path: Path) -> None:
    """What can't be posted is refused with its file and line, before anything is built."""
    file = tmp_path / "hand.beancount"
    file.write_text(text)
    with pytest.raises(LedgerError) as caught:
        read_hand_file([file], "USD")
    assert str(caught.value).startswith("hand.beancount")
    assert message in str(caught.value)


def test_greatest_amount(tmp_path: Path) -> None:
    """Fifteen digits of minor units are kept to the last one."""
    books = Books(tmp_path)
    books.folder.hand.write_text(H + "  Assets:Suspense 9999999999999.99 USD\n  Assets:Disputed\n")
    assert [(10**15 - 1,)] == books.query("SELECT max(amount) FROM posting")


def test_include_in_the_main_ledger(tmp_path: Path) -> None:
    """The main ledger may include what it likes: beancount and Fava are its readers."""
    books = Books(tmp_path)
    with books.folder.main.open("a") as stream:
        stream.write('include "budget.beancount"\n')
    (books.folder.root / "budget.beancount").write_text('2031-04-01 custom "budget" Expenses:Cards "monthly" 5 USD\n')
    assert [] == books.build().query("SELECT * FROM posting")


def test_entry_knows_its_file(tmp_path: Path) -> None:
    """An entry says which of the person's files it stands in, with its order link, for whoever has to point at it."""
    texts = {"hand.beancount": H.replace('"x"', '"x" ^order-1'), "main.beancount": "\n" + H}
    files = []
    for name, text in texts.items():
        files.append(tmp_path / name)
        files[-1].write_text(text + "  Assets:Suspense 1 USD\n  Assets:Disputed\n")
    entries = read_hand_file(files, "USD").entries
    assert [("hand.beancount", 1, ("order-1",)), ("main.beancount", 2, ())] == [
        (entry.file, entry.line_number, entry.order_links) for entry in entries
    ]
