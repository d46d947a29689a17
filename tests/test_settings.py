"""Settings: every message that a wrong `shop.toml` can get, and that all of them come at once."""

import datetime
from pathlib import Path

import pytest
from kept_books import Books, order

from ledger_tools.errors import LedgerError
from ledger_tools.settings import parse_settings, read_settings

HEAD = 'currency = "USD"\ntime_zone = "America/Denver"\n'
SHOP = '[[source]]\nname = "shop"\nkind = "orders"\ncurrency = "USD"\n'
ROLES = "'walet' is not a role; roles are bank, processor, reserve, clearing, "

#: What stands in the file, and what is said about it.
WRONG = [
    ("x = [", "shop.toml: is not valid TOML: Invalid value (at end of document)\n    → mend the line that it names"),
    ("", "shop.toml, currency: is missing\nshop.toml, time_zone: is missing"),
    (HEAD + 'colour = "red"', "shop.toml, colour: is not a setting (found 'red')"),
    (
        HEAD.replace("USD", "usd"),
        "shop.toml, currency: 'usd' is not an ISO 4217 currency code such as USD",
    ),
    (
        HEAD.replace("USD", "XAU"),
        "shop.toml, currency: 'XAU' is not an ISO 4217 currency code such as USD",
    ),
    (
        HEAD.replace("America/Denver", "Mountain"),
        "shop.toml, time_zone: 'Mountain' is not an IANA time zone such as America/Denver",
    ),
    (
        HEAD.replace("America/Denver", "../etc/passwd"),
        "shop.toml, time_zone: '../etc/passwd' is not an IANA time zone such as America/Denver",
    ),
    (HEAD + 'detail = "week"', "shop.toml, detail: found 'week', expected 'order' or 'day'"),
    (HEAD + SHOP + SHOP, "shop.toml, the settings: source 'shop' is declared twice"),
    (
        HEAD + SHOP.replace("orders", "sales"),
        "shop.toml, source.1.kind: found 'sales', expected 'orders', 'processor', 'wallet' or 'bank'",
    ),
    (
        HEAD + SHOP.replace('"shop"', '"My Shop"'),
        "shop.toml, source.1.name: found 'My Shop', expected at most 64 small letters, digits and hyphens, such as card-processor",
    ),
    (HEAD + SHOP + "colour = 1", "shop.toml, source.1.colour: is not a setting (found 1)"),
    (
        HEAD + SHOP + 'payout_pattern = "("',
        "shop.toml, source.1.payout_pattern: '(' is not a regular expression: missing ), unterminated subpattern at "
        "position 0",
    ),
    (
        HEAD + '[[bank_rule]]\npattern = "["\naccount = "expenses:x"',
        "shop.toml, bank_rule.1.pattern: '[' is not a regular expression: unterminated character set at position 0\n"
        "shop.toml, bank_rule.1.account: 'expenses:x' is not an account name such as Expenses:BankFees",
    ),
    (
        HEAD + SHOP + '[[bank_rule]]\npattern = "a"\naccount = "Expenses:X"\nsource = "savings"',
        "shop.toml, the settings: source 'savings' is not declared; declared are shop",
    ),
    (
        HEAD + '[[stated_balance]]\nsource = "savings"\non = 2031-02-20\namount = "1"',
        "shop.toml, the settings: source 'savings' is not declared; declared are none",
    ),
    (
        HEAD + SHOP + '[[stated_balance]]\nsource = "shop"\non = "2031-02-30"\namount = "1"',
        "shop.toml, stated_balance.1.on: '2031-02-30' is not a date of the calendar such as 2031-04-30",
    ),
    (
        HEAD + '[accounts]\nwallet = "Assets:W"',
        "shop.toml, accounts: the account of wallet needs {} in its name, found 'Assets:W'",
    ),
    (
        HEAD + '[accounts]\nsuspense = "Assets:S:{}"',
        "shop.toml, accounts: the account of suspense can't have {} in its name, found 'Assets:S:{}'",
    ),
    (
        HEAD + '[accounts]\nsuspense = "assets:s"',
        "shop.toml, accounts: 'assets:s' is not an account name such as Expenses:BankFees",
    ),
    (
        HEAD + '[accounts]\ntips = "Income:Shipping"',
        "shop.toml, accounts: tips and shipping_income would share Income:Shipping; each role needs its own account",
    ),
    (
        HEAD + '[reasons]\nphotos = "Expenses"',
        "shop.toml, reasons: 'Expenses' is not an account name such as Expenses:BankFees",
    ),
    (
        HEAD + '[[rate]]\ncurrency = "EUR"\non = 2031-04-01\nrate = "1,08"',
        "shop.toml, rate.1.rate: found '1,08', expected a positive number such as \"1.0842\"",
    ),
    (
        HEAD + '[[rate]]\ncurrency = "EUR"\non = 2031-04-01\nrate = 0',
        "shop.toml, rate.1.rate: found '0', expected a positive number such as \"1.0842\"",
    ),
    (
        HEAD + "[grace]\npayment = -1\nhurry = 2",
        "shop.toml, grace.payment: found -1, expected at least 0\nshop.toml, grace.hurry: is not a setting (found 2)",
    ),
    (
        HEAD + '[[registration]]\njurisdiction = "US-CO"\nfiling = "weekly"\nsince = "soon"',
        "shop.toml, registration.1.filing: found 'weekly', expected 'monthly', 'quarterly' or 'yearly'\n"
        "shop.toml, registration.1.since: 'soon' is not a date of the calendar such as 2031-04-30",
    ),
]


@pytest.mark.parametrize(("text", "message"), WRONG, ids=range(len(WRONG)))
def test_message(text: str, message: str) -> None:
    """Wrong settings are told with their key, what was found and what was expected, all of them at once."""
    with pytest.raises(LedgerError) as caught:
        parse_settings(text)
    assert message == str(caught.value)


def test_unknown_role_lists_the_roles() -> None:
    """An account for a role that is none is told with the roles that there are."""
    with pytest.raises(LedgerError) as caught:
        parse_settings(HEAD + '[accounts]\nwalet = "Assets:W:{}"')
    assert f"shop.toml, accounts: {ROLES}" in str(caught.value)


def test_defaults() -> None:
    """What a file leaves out is the usual: order detail, gift cards by that name, days of grace."""
    settings = parse_settings(HEAD)
    assert ("order", ("gift card",), 2, 5, 7, 5) == (
        settings.detail, settings.gift_card_categories, settings.grace.payment, settings.grace.fulfilment,
        settings.grace.payout, settings.grace.top_up,
    )  # fmt: skip


def test_dates_stand_with_or_without_quotes() -> None:
    """A day is a TOML date or the same in quotes; an amount may be a number, which is never made a float."""
    text = '[[stated_balance]]\nsource = "shop"\non = {}\namount = {}\n'
    plain = parse_settings(HEAD + SHOP + text.format("2031-02-20", "0.10"))
    quoted = parse_settings(HEAD + SHOP + text.format('"2031-02-20"', '"0.10"'))
    assert datetime.date(2031, 2, 20) == plain.stated_balance[0].on == quoted.stated_balance[0].on
    assert "0.10" == str(plain.stated_balance[0].amount) == quoted.stated_balance[0].amount


def test_undeclared_source_is_told_how_to_declare_it() -> None:
    """A source that nobody declared is an error that says what to add."""
    with pytest.raises(LedgerError) as caught:
        parse_settings(HEAD + SHOP).source_named("savings")
    assert (
        "shop.toml: source 'savings' is not declared; declared are shop\n"
        '    → add [[source]] with name = "savings", kind and currency'
    ) == str(caught.value)


def test_missing_file(tmp_path: Path) -> None:
    """A folder without settings is told how to start books there."""
    with pytest.raises(LedgerError) as caught:
        read_settings(tmp_path)
    assert f"{tmp_path}: holds no shop.toml\n    → start books with: ledger-tools init {tmp_path}" == str(caught.value)


def test_file_that_is_not_utf8(tmp_path: Path) -> None:
    """Settings in another encoding are refused, and a byte order mark is none of them."""
    (tmp_path / "shop.toml").write_bytes(HEAD.encode() + b"# caf\xe9\n")
    with pytest.raises(LedgerError) as caught:
        read_settings(tmp_path)
    assert "is not UTF-8 text" in str(caught.value)
    (tmp_path / "shop.toml").write_bytes(b"\xef\xbb\xbf" + HEAD.encode())
    assert "USD" == read_settings(tmp_path).currency


@pytest.mark.parametrize(
    ("more", "message"),
    [
        (
            '[[bank_rule]]\npattern = "(?=x)y"\naccount = "Expenses:X"',
            "shop.toml, bank_rule 1, pattern: '(?=x)y' uses what the matcher does not know\n"
            "    → leave out look-around and back-references",
        ),
        (
            '[[stated_balance]]\nsource = "checking"\non = 2031-02-20\namount = "1.005"',
            "has more decimals than USD has (2)",
        ),
    ],
)
def test_message_of_the_build(more: str, message: str, tmp_path: Path) -> None:
    """What only the build can know of the settings is told as well."""
    with pytest.raises(LedgerError) as caught:
        Books(tmp_path, more).build()
    assert message in str(caught.value)


def test_renamed_accounts_are_posted_to(tmp_path: Path) -> None:
    """A role's own account and a category's own name stand in the journal."""
    books = Books(tmp_path, '[accounts]\nclearing = "Assets:Open:Orders"\n[names]\nMugs = "Cups"\n')
    books.put(orders=[order("1001", "2031-04-02", "10.00")])
    assert (("Assets:Open:Orders", "10.00"), ("Income:Sales:Cups", "-10.00")) == tuple(
        line[:2] for line in books.entry("1001").lines
    )


def test_names_that_fold_alike(tmp_path: Path) -> None:
    """Two categories that give one account are an error that says how to name them apart; then they stay apart."""
    rows = [
        order("1", "2031-04-02", "10.00", category="wall art"),
        order("2", "2031-04-02", "12.00", category="Wall-Art"),
    ]
    books = Books(tmp_path).put(orders=rows)
    with pytest.raises(LedgerError) as caught:
        books.build()
    assert (
        "shop.toml, account of sales: 'Wall-Art' and 'wall art' both give Income:Sales:WallArt\n"
        '    → name them apart: add a line "wall art" = "AnotherName" under [names]'
    ) == str(caught.value)
    with books.folder.settings.open("a", encoding="utf-8") as stream:
        stream.write('[names]\n"wall art" = "Posters"\n')
    assert {"Income:Sales:WallArt", "Income:Sales:Posters"} == {entry.lines[1][0] for entry in books.entries()}


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ('allowance_cap = "1.005"', "registration.1.allowance_cap: amount '1.005' has more decimals than USD has (2)"),
        ('allowance_percent = "100.5.1"', "registration.1.allowance_percent: found '100.5.1', expected a percentage"),
        (
            'allowance_floor = "-1"',
            "registration.1.allowance_floor: found '-1', expected a number that is not negative",
        ),
        ("due_day = 32", "registration.1.due_day: found 32, expected at most 31"),
        ('filing = "weekly"', "registration.1.filing"),
        ('[[threshold]]\njurisdiction = "US-TX"', "threshold.1.sales: is missing"),
        ('[tax_lines]\n"marketing" = "8"', "tax_lines: 'marketing' is not an account name"),
    ],
)
def test_tax_settings_that_are_wrong(more: str, message: str) -> None:
    """What is wrong with a registration, a threshold or a line is told with its key."""
    table = '[[registration]]\njurisdiction = "US-CO"\nsince = 2031-01-01\n'
    table += "" if more.startswith("filing") else 'filing = "monthly"\n'
    with pytest.raises(LedgerError) as caught:
        parse_settings(HEAD + table + more)
    assert message in str(caught.value)
