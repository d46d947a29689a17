"""The mapping file: what each of its tables does to a file, and every problem of it at once."""

from __future__ import annotations

import pytest

from importers.mapping import parse_mapping
from ledger_tools.errors import LedgerError

PROCESSOR = """source = "card"
kind = "processor"
[file]
zone = "UTC"
date_formats = ["%d/%m/%Y %H:%M:%S"]
decimal_mark = ","
thousands_mark = "."
[columns]
at = ["Date", "Time"]
kind = "Type"
gross = "Amount"
fee = "Fee"
[constants]
currency = "EUR"
[derive]
net = "gross-fee"
event_id = "content"
[signs]
fee = "flip"
[words.kind]
"Sale" = "charge"
"Transfer" = { positive = "payout_returned", negative = "payout" }
[[skip]]
column = "State"
pattern = "pend.*"
reason = "not settled yet"
"""
PROCESSOR_FILE = (
    "Date;Time;Type;Amount;Fee;State\n01/04/2031;10:00:00;SALE;1.234,50;-1,50;ok\n01/04/2031;10:00:00;transfer;-500,00;;ok\n"
    "01/04/2031;10:00:00;transfer;-500,00;;ok\nx;y;z;w;;Pending\n01/04/2031;11:00:00;Transfer;5;;\n"
)


def test_every_table_of_a_mapping(read):
    """Formats, zone, marks, joined columns, constants, derivations, signs, words by sign and skips, in one file."""
    facts, rows = read(PROCESSOR_FILE, "processor", PROCESSOR)
    assert [
        (1, "charge", "2031-04-01 05:00:00", "EUR", 123450, 150, 123300),
        (2, "payout", "2031-04-01 05:00:00", "EUR", -50000, None, -50000),
        (3, "payout", "2031-04-01 05:00:00", "EUR", -50000, None, -50000),
        (5, "payout_returned", "2031-04-01 06:00:00", "EUR", 500, None, 500),
    ] == [
        (row["record"], row["kind"], str(row["at"]), row["currency"], row["gross"], row.get("fee"), row["net"])
        for row in rows
    ]
    assert 4 == len({row["event_id"] for row in rows})
    assert ((("not settled yet", 1),), 5, 4) == (facts.skipped, facts.rows_read, facts.records)


def test_amounts_in_two_columns(read, refusal):
    """Money in is positive and money out negative, whatever sign it carries; both at once is refused."""
    mapping = 'source = "b"\nkind = "bank"\n[columns]\nat = "A"\n[split]\namount = { in = "In", out = "Out" }\n'
    text = "A,In,Out\n2031-04-01,5.00,\n2031-04-01,,7.00\n2031-04-01,0.00,7.00\n2031-04-02,,-7\n"
    assert [500, -700, -700, -700] == [row["amount"] for row in read(text, "bank", mapping)[1]]
    problems = refusal("A,In,Out\n2031-04-01,1,7.00\n", "bank", mapping)
    assert ["record 1, columns In and Out: found '1 and 7.00', expected an amount in one of the two columns"] == [
        problem.splitlines()[0].removeprefix("export.csv, ") for problem in problems
    ]


@pytest.mark.parametrize(("tax_flag", "expected"), [("no", 3330), ("yes", 3150)])
def test_totals_from_lines(read, tax_flag, expected):
    """A total that the file lacks is the sum of what the order's lines state, tax on top unless prices contain it."""
    mapping = (
        'source = "s"\nkind = "orders"\n[file]\norder_fields = "first-line"\n[columns]\norder_id = "Id"\n'
        'placed_at = "At"\n'
        'quantity = "Qty"\nunit_price = "Price"\nline_discount = "Off"\norder_discount = "Code"\n'
        'shipping_charged = "Ship"\n'
        'tax = "Tax"\nprices_include_tax = "Incl"\n[derive]\ntotal = "lines"\n[signs]\norder_discount = "absolute"\n'
    )
    text = (
        f"Id,At,Qty,Price,Off,Code,Ship,Tax,Incl\n1,2031-04-01,2,10.00,1.00,-2.50,5.00,1.80,{tax_flag}\n,,,10.00,,,,,\n"
    )
    assert [("1", expected, 2), ("1", expected, 1)] == [
        (row["order_id"], row["total"], row["quantity"]) for row in read(text, "orders", mapping)[1]
    ]


def test_whole_cents_and_a_stated_span(read):
    """Amounts may be whole cents, and the mapping may say what a file covers."""
    mapping = (
        'source = "b"\nkind = "bank"\n[file]\namounts_in = "minor"\n[columns]\nat = "A"\namount = "B"\n'
        '[covers]\nfrom = "2031-04-01"\nto = "2031-04-30"\n'
    )
    facts, rows = read("A,B\n2031-04-02,-1250\n", "bank", mapping)
    assert (-1250, "2031-04-01", "2031-04-30") == (rows[0]["amount"], str(facts.first_day), str(facts.last_day))


BANK = 'source = "b"\nkind = "bank"\n[columns]\nat = "A"\namount = "B"\n'


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("kind = 1 =", "m.toml: is not valid TOML"),
        (BANK.replace("bank", "shop"), "m.toml, kind: found 'shop', expected one of orders, processor, wallet, bank"),
        (BANK.replace('source = "b"\n', ""), "m.toml, source: is missing"),
        (BANK + 'foo = "C"\n', "m.toml, [columns] foo: 'foo' is not a field of this kind"),
        (BANK.replace('at = "A"\n', ""), "m.toml, [columns] at: is missing: the field is required"),
        (BANK + '[file]\nzone = "Mars"\n', "m.toml, [file] zone: found 'Mars', expected an IANA time zone"),
        (BANK + '[file]\nencoding = "q"\n', "m.toml, [file] encoding: found 'q'"),
        (BANK + '[file]\ndelimiter = ":"\n', "m.toml, [file] delimiter: found ':'"),
        (BANK + "[file]\nheader_row = -1\n", "m.toml, [file] header_row: found -1"),
        (BANK + '[file]\nreference_pattern = "abc"\n', "m.toml, [file] reference_pattern: found 0 groups"),
        (BANK + '[file]\nname_pattern = "(?=x)"\n', "m.toml, [file] name_pattern: found '(?=x)', expected a regular"),
        (BANK + '[file]\ndate_formats = ["%q"]\n', "m.toml, [file] date_formats: found '%q'"),
        (BANK + '[file]\nthousands_mark = "."\n', "m.toml, [file] thousands_mark: is the same as decimal_mark"),
        (BANK + '[signs]\nmemo = "flip"\n', "m.toml, [signs] memo: is not a number"),
        (BANK + '[words.memo]\na = "b"\n', "m.toml, [words.memo]: holds free text"),
        (BANK + '[constants]\ncurrency = "XXQ"\n', "m.toml, [constants] currency: found 'XXQ'"),
        (BANK + '[derive]\namount = "lines"\n', "m.toml, [derive] amount: can't be derived"),
        (BANK + '[[skip]]\ncolumn = "A"\n', "m.toml, [[skip]] 1: found {'column': 'A'}, expected the keys"),
        (BANK + '[covers]\nfrom = "2031-04-02"\nto = "2031-04-01"\n', "m.toml, [covers] to: found 2031-04-01"),
        (BANK + "[bogus]\n", "m.toml, bogus: is not a key of a mapping"),
    ],
)  # fmt: skip
def test_each_problem_has_its_words(text, expected):
    """A mapping that can't hold says which key is wrong and what was expected."""
    with pytest.raises(LedgerError) as caught:
        parse_mapping(text, "m.toml")
    assert str(caught.value.problems[0]).startswith(expected)


def test_all_problems_of_a_mapping_come_at_once():
    """Three mistakes are three problems."""
    with pytest.raises(LedgerError) as caught:
        parse_mapping(BANK + 'x = "y"\n[file]\nzone = "Mars"\nheader_row = "1"\n', "m.toml")
    assert {"m.toml, [columns] x", "m.toml, [file] zone", "m.toml, [file] header_row"} == {
        problem.where for problem in caught.value.problems
    }
