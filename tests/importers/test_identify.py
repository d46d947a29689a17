"""Whose file it is: by mapping, by canonical header, by account; never by guessing."""

from __future__ import annotations

import pytest

from importers.identify import KnownSource, identify_source
from importers.mapping import parse_mapping
from ledger_tools.errors import LedgerError

MAPPING = 'source = "{0}"\nkind = "bank"\n[columns]\nat = "Date"\namount = "Sum"\n[file]\n{1}\n'
MT940 = ":20:A\n:25:DE 42\n:28C:1\n:60F:C310401EUR1,00\n:62F:C310430EUR1,00\n-\n"


#: Statements of a bank account, of a card, and of a credit line, which a bank may list as either.
ACCOUNT = "<OFX><STMTRS><CURDEF>USD<BANKACCTFROM><ACCTID>77<ACCTTYPE>CHECKING</BANKACCTFROM></STMTRS></OFX>"
CARD = "<OFX><CCSTMTRS><CURDEF>USD<CCACCTFROM><ACCTID>88</CCACCTFROM></CCSTMTRS></OFX>"
LINE = ACCOUNT.replace("CHECKING", "CREDITLINE")


def source(name, kind="bank", currency="USD", pattern=None, account_id=None, mapped=False, card=False):
    """A source with a small mapping where `mapped` or a pattern is given."""
    text = MAPPING.format(name, f"name_pattern = '{pattern}'" if pattern else "")
    mapping = parse_mapping(text, "m") if mapped or pattern else None
    return KnownSource(name, kind, currency, mapping, account_id, card)


@pytest.mark.parametrize(
    ("content", "sources", "expected"),
    [
        ("Date;Sum\n", [source("a", mapped=True), source("b")], "a"),
        ("Date,Sum\n", [source("a", pattern="^other"), source("b", pattern="^FILE")], "b"),
        ("at,amount\n", [source("a", mapped=True), source("b", "orders"), source("c", "processor")], "a"),
        ("order_id,placed_at,total,sku\n", [source("a"), source("b", "orders"), source("c", "wallet")], "b"),
        (MT940, [source("a"), source("b", currency="EUR")], "b"),
        (MT940, [source("a", account_id="de42"), source("b", currency="EUR")], "a"),
        (CARD, [source("a"), source("b", card=True)], "b"),
        (ACCOUNT, [source("a"), source("b", card=True)], "a"),
        (LINE, [source("b", card=True)], "b"),
        (CARD, [source("a", account_id="88"), source("b", card=True)], "a"),
    ],
)
def test_the_one_source_that_claims_a_file(tmp_path, content, sources, expected):
    """A mapping goes before the canonical header, a stated account before the currency and whether it is a card's."""
    path = tmp_path / "file.csv"
    path.write_text(content)
    assert expected == identify_source(path, sources)


@pytest.mark.parametrize(
    ("content", "sources", "expected"),
    [
        ("Date,Sum\n", [source("a", mapped=True), source("b", mapped=True)], "2 sources claim this file: a, b"),
        ("at,amount\n", [source("a"), source("b")], "2 sources claim this file: a, b"),
        ("placed_at,total\n", [source("a", "orders")], "no source claims this file with the columns placed_at, total"),
        ("x,y\n", [source("a")], "no source claims this file with the columns x, y"),
        (MT940, [source("b", currency="EUR", account_id="no")], "no bank source has the account DE 42 in EUR"),
        (MT940, [source("a", currency="EUR"), source("b", currency="EUR")], "2 sources claim this file: a, b"),
        (CARD, [source("a")], "no source that is a card has the account 88 in USD"),
        (ACCOUNT, [source("a", card=True)], "no bank source has the account 77 in USD"),
        (LINE, [source("a"), source("b", card=True)], "2 sources claim this file: a, b"),
    ],
)  # fmt: skip
def test_no_source_or_two_are_an_error(tmp_path, content, sources, expected):
    """The message names who claims the file and what to do."""
    path = tmp_path / "file.csv"
    path.write_text(content)
    with pytest.raises(LedgerError) as caught:
        identify_source(path, sources)
    assert expected in str(caught.value)
    assert "--source" in str(caught.value)
