"""The proposer's single decisions: what it asks, what it leaves alone, and that no file makes it fail otherwise."""

from __future__ import annotations

import csv
import io
import time
import tomllib
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from importers.event_words import read_words
from importers.mapping import parse_mapping
from importers.preview import render_preview
from importers.propose import Proposal, propose_mapping
from importers.sample import copy_beginning
from importers.value_patterns import NumberStyle, find_dates, find_number_style, parse_number
from ledger_tools.errors import LedgerError
from ledger_tools.records import KINDS


def propose(path: Path, content: str | bytes, kind: str | None = None, currency: str = "USD") -> Proposal:
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    return propose_mapping(path, source="somewhere", kind=kind, currency=currency, shop_zone="America/New_York")


def used_for(proposal: Proposal) -> dict[str, str]:
    return {use.column: use.field for use in proposal.uses}


def test_unknown_words_are_asked_about(tmp_path: Path) -> None:
    """A word that names no known kind of event becomes a question with the line to fill in."""
    text = "id,type,date,amount\n1,Payment,2031-04-01,5.00\n2,Flumox,2031-04-02,-1.00\n"
    proposal = propose(tmp_path / "a.csv", text, "processor")
    (question,) = proposal.questions
    assert question.where == "a.csv, column type"
    assert question.what == "the word 'Flumox' (1 row) is not known; what happened on these rows?"
    assert question.next_step.startswith('put `Flumox = "…"` (one of charge, refund, ')
    assert '# Flumox = "…"  # one of charge, refund, ' in proposal.toml


def test_a_word_whose_sign_speaks_against_it_is_asked_about(tmp_path: Path) -> None:
    """Refunds shown positive would add to the balance: the word is not mapped until a person says so."""
    text = "id,type,date,amount\n1,Payment,2031-04-01,5.00\n2,Refund,2031-04-02,5.00\n"
    proposal = propose(tmp_path / "a.csv", text, "processor")
    (question,) = proposal.questions
    assert "the word 'Refund' (1 row) seems to mean refund, but its amounts are positive" in question.what
    assert "\nRefund =" not in proposal.toml


def test_one_word_for_both_directions() -> None:
    """A transfer that is negative on some rows and positive on others is a payout and a payout that came back."""
    found = read_words("processor", ["Transfer", "Transfer", "Sale"], [-500, 500, 900])
    assert {entry.word: entry.meaning for entry in found} == {
        "Transfer": ("payout_returned", "payout"),
        "Sale": "charge",
    }


@pytest.mark.parametrize(
    ("kind", "word", "meaning"),
    [
        ("processor", "Chargeback fee", "fee"),
        ("processor", "Chargeback reversed", "dispute_won"),
        ("processor", "Dispute lost", "dispute_lost"),
        ("processor", "Release of reserve", "reserve_release"),
        ("processor", "Marketplace tax withheld", "tax_withheld"),
        ("processor", "PAYOUT_FAILED", "payout_returned"),
        ("processor", "refundIssued", "refund"),
        ("wallet", "Order refund", "credit"),
        ("wallet", "Monthly storage", "fee"),
        ("wallet", "Funds added", "top_up"),
    ],
)
def test_words_of_the_trade(kind: str, word: str, meaning: str) -> None:
    """Phrases before single words: a fee for a chargeback is a fee, a refund of an order is a credit."""
    assert [meaning] == [entry.meaning for entry in read_words(kind, [word], [None])]


def test_personal_columns_are_never_mapped(tmp_path: Path) -> None:
    """Names, e-mails (by their look too), phones and addresses are left out, even where their names fit a field."""
    text = (
        "order id,date,total,customer,contact,phone,ship to name,street,reference\n"
        "1,2031-04-01,5.00,A B,a@example.com,1,A B,1 Road,x@example.com\n"
        "2,2031-04-15,6.00,C D,c@example.com,2,C D,2 Road,y@example.com\n"
    )
    proposal = propose(tmp_path / "orders.csv", text, "orders")
    uses = used_for(proposal)
    assert ["", "", "", "", "", ""] == [
        uses[column] for column in ("customer", "contact", "phone", "ship to name", "street", "reference")
    ]
    assert [] == [use.column for use in proposal.uses if "person" in use.reason and use.field]


def test_a_missing_date_or_amount_is_asked_about(tmp_path: Path) -> None:
    """What no column holds is asked, and the mapping is not accepted before it is answered."""
    proposal = propose(tmp_path / "bank.csv", "what,who\nrent,A\nfee,B\n", "bank")
    assert ["no column holds a signed amount", "no column holds the date"] == [
        question.what for question in proposal.questions
    ]
    with pytest.raises(LedgerError, match=r"\[columns\] amount: is missing"):
        parse_mapping(proposal.toml, "proposal")


def test_amounts_without_signs_beside_a_direction_are_refused(tmp_path: Path) -> None:
    """Debit and credit as a letter beside an unsigned amount can't be read, and the proposer says so."""
    text = "date,text,dr/cr,amount\n2031-04-01,fee,D,5.00\n2031-04-02,payout,C,27.95\n"
    (question,) = propose(tmp_path / "bank.csv", text, "bank").questions
    assert question.where == "bank.csv, column dr/cr"
    assert question.what == "the amounts in 'amount' have no sign; 'dr/cr' says which way the money went"


def test_a_net_that_does_not_follow_is_refused(tmp_path: Path) -> None:
    """Where net is gross less two fees, one fee column can't explain it: said, with how often the sum holds."""
    text = "id,type,date,gross,fee,other fee,net\n" + "".join(
        f"{row},Sale,2031-04-{row:02},{row}0.00,1.00,0.50,{row}0.00\n".replace(f",{row}0.00\n", f",{row * 10 - 2}.50\n")
        for row in range(1, 6)
    )
    proposal = propose(tmp_path / "a.csv", text, "processor")
    assert "net = gross - fee holds on 0 of 5 rows, so one of these columns holds something else" in (
        proposal.questions[0].what
    )


def test_sums_overrule_names(tmp_path: Path) -> None:
    """A column called "total" that is gross less "costs" is the net amount, whatever the names suggest."""
    rows = "".join(
        f"{row},Sale,2031-04-{row:02},{row * 10}.00,1.{row:02},{row * 10 - 2}.{100 - row}\n" for row in range(1, 9)
    )
    proposal = propose(tmp_path / "a.csv", "id,type,date,before,costs,total\n" + rows, "processor")
    uses = used_for(proposal)
    assert ("gross", "fee", "net") == (uses["before"], uses["costs"], uses["total"])


def test_the_balance_tells_a_flipped_sign(tmp_path: Path) -> None:
    """A balance that falls where the amount is positive means that the file shows money out as positive."""
    text = (
        "date,details,amount,balance\n2031-04-01,a,5.00,95.00\n2031-04-02,b,-10.00,105.00\n2031-04-03,c,1.00,104.00\n"
    )
    proposal = propose(tmp_path / "bank.csv", text, "bank")
    assert tomllib.loads(proposal.toml)["signs"] == {"amount": "flip"}


def test_day_order_from_another_column(tmp_path: Path) -> None:
    """A column without a day above 12 takes its order from one that has such a day and is written alike."""
    text = "id,type,date,available on,amount\n1,Sale,03/04/2031,05/04/2031,5.00\n2,Sale,10/04/2031,25/04/2031,5.00\n"
    proposal = propose(tmp_path / "a.csv", text, "processor")
    assert proposal.questions == ()
    assert tomllib.loads(proposal.toml)["file"]["date_formats"] == ["%d/%m/%Y"]


def test_columns_that_disagree_about_the_day_are_refused(tmp_path: Path) -> None:
    """One column with the day first and one with the month first can't be read by one list of formats."""
    text = "id,type,date,available on,amount\n1,Sale,03/14/2031,15/04/2031,5.00\n2,Sale,03/15/2031,25/04/2031,5.00\n"
    (question,) = propose(tmp_path / "a.csv", text, "processor").questions
    assert "some columns have the day first and others the month" in question.what


@pytest.mark.parametrize(
    ("cells", "format"),
    [
        (["1 Apr 2031", "15 Apr 2031"], "%d %b %Y"),
        (["April 1, 2031"], "%B %d, %Y"),
        (["14/04/2031 9:05 PM"], "%d/%m/%Y %I:%M %p"),
        (["2031-04-01 09:00:00 -0400"], "%Y-%m-%d %H:%M:%S %z"),
        (["20310401"], "%Y%m%d"),
        (["01.04.31"], "%d.%m.%y"),
        (["01.04.2031 08:00 UTC"], "%d.%m.%Y %H:%M UTC"),
    ],
)
def test_date_formats(cells: list[str], format: str) -> None:
    """Formats that are not ISO 8601 are named as strptime knows them."""
    reading = find_dates(cells)
    assert reading is not None
    assert format == reading.formats[0]


@pytest.mark.parametrize("cells", [["2031-13-01"], ["hello"], ["12"], ["99999999"], ["2031-04-01", "soon"], []])
def test_what_is_no_date(cells: list[str]) -> None:
    """Numbers, texts and days that no calendar has are not taken for dates."""
    assert find_dates(cells) is None


@pytest.mark.parametrize(
    ("cells", "style"),
    [
        (["1,234.50", "7.00"], NumberStyle(".", ",")),
        (["1.234,50", "7,00"], NumberStyle(",", ".")),
        (["1 234,50", "7,00"], NumberStyle(",", " ")),
        (["1'234.50"], NumberStyle(".", "'")),
        (["1,234", "12"], NumberStyle(".", ",")),
        (["1.234", "12"], NumberStyle(",", ".")),
        (["12", "7"], NumberStyle()),
    ],
)
def test_marks_of_numbers(cells: list[str], style: NumberStyle) -> None:
    """Decimal and thousands marks follow from the numbers that leave no choice."""
    assert style == find_number_style([cells], "USD")


def test_mixed_decimal_marks_are_asked_about(tmp_path: Path) -> None:
    """Points and commas as decimal marks in one file: asked, not guessed."""
    text = "id;type;date;amount\n1;Sale;2031-04-01;5.25\n2;Sale;2031-04-02;5,25\n"
    proposal = propose(tmp_path / "a.csv", text, "processor")
    assert "some amounts have a decimal point and others a decimal comma" in [
        entry.what for entry in proposal.questions
    ]
    assert '# decimal_mark = ","' in proposal.toml


@pytest.mark.parametrize(
    ("text", "value"),
    [("-1.25", -12_500), ("(1.25)", -12_500), ("1.25-", -12_500), ("$ 1.25", 12_500), ("USD 1.25", 12_500),
     ("1.25 USD", 12_500), ("−1.25", -12_500), (".5", 5_000), ("", None), ("1.2.3", None), ("abc", None),
     ("--1", None)],
)  # fmt: skip
def test_numbers_in_every_dress(text: str, value: int | None) -> None:
    """Symbols, codes, brackets and signs at either end are understood; what is no number is none."""
    assert value == parse_number(text, NumberStyle())


def test_zone_in_a_column_of_its_own(tmp_path: Path) -> None:
    """One abbreviation on all rows names the zone of the times; several are asked about."""
    rows = "id,type,date,time,zone,amount\n1,Sale,2031-04-01,10:00,PDT,5.00\n2,Sale,2031-04-02,11:00,{},5.00\n"
    assert tomllib.loads(propose(tmp_path / "a.csv", rows.format("PDT"), "processor").toml)["file"]["zone"] == (
        "America/Los_Angeles"
    )
    (question,) = propose(tmp_path / "b.csv", rows.format("CST"), "processor").questions
    assert question.where == "b.csv, column zone"


def test_currency_beside_the_amounts(tmp_path: Path) -> None:
    """The code in a column's name or beside its numbers is the currency, not the source's."""
    named = propose(tmp_path / "a.csv", "id,type,date,amount (EUR)\n1,Sale,2031-04-01,5.00\n", "processor")
    assert tomllib.loads(named.toml)["constants"]["currency"] == "EUR"
    beside = propose(tmp_path / "b.csv", "id,type,date,amount\n1,Sale,2031-04-01,5.00 GBP\n", "processor")
    assert tomllib.loads(beside.toml)["constants"]["currency"] == "GBP"


@pytest.mark.parametrize("kind", list(KINDS))
def test_canonical_names_are_taken_as_they_are(tmp_path: Path, kind: str) -> None:
    """A file whose header uses our own names has each column mapped to the field of its name."""
    values = {"text": "x1", "money": "1.25", "whole": "1", "moment": "2031-04-01", "flag": "true"}
    special = {"currency": "USD", "charged_currency": "USD", "ship_country": "US", "ship_region": "NY"}
    fields = KINDS[kind]
    row = [
        special.get(field.name, field.choices[0] if field.choices else values.get(field.type, "x")) for field in fields
    ]
    text = ",".join(field.name for field in fields) + "\n" + ",".join(row) + "\n"
    columns = tomllib.loads(propose(tmp_path / "a.csv", text, kind).toml)["columns"]
    assert [] == [name for name, column in columns.items() if column != name]
    assert [] == [field.name for field in fields if field.required and field.name not in columns]


def test_an_answered_proposal_is_the_files_mapping(tmp_path: Path) -> None:
    """The preview reads the first rows through the reader, and shows amounts and local times as text."""
    path = tmp_path / "a.csv"
    proposal = propose(path, "id,type,date (utc),amount\n1,Sale,2031-04-01 02:00:00,5.00\n", "processor")
    rows = render_preview(path, parse_mapping(proposal.toml, "m"), currency="USD", shop_zone="America/New_York")
    assert rows == [
        {
            "event_id": "1",
            "kind": "charge",
            "at": "2031-03-31 22:00:00",
            "currency": "USD",
            "gross": "5.00",
            "net": "5.00",
        }
    ]


def test_a_large_file_is_sampled(tmp_path: Path) -> None:
    """300,000 rows are looked at in a few seconds, and a word that comes up only late is still seen."""
    path = tmp_path / "a.csv"
    with path.open("w") as file:
        file.write("id,type,date,amount\n")
        for row in range(300_000):
            file.write(f"{row},Sale,2031-04-01,5.00\n" if row < 200_000 else f"{row},Refund,2031-04-01,-5.00\n")
    began = time.monotonic()
    proposal = propose_mapping(path, source="s", kind=None, currency="USD", shop_zone="UTC")
    assert time.monotonic() - began < 20
    assert tomllib.loads(proposal.toml)["words"]["kind"] == {"Sale": "charge", "Refund": "refund"}


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "is empty"),
        (b"\n\n", "is empty"),
        (b"\x00\x01\x02", "is not a text file"),
        (b"one\ntwo\n", "a.csv: no delimiter"),
        (b"a,b\n1,\x81\xff\n", "in none of the encodings"),
        (b"\xff\xfea", "in none of the encodings"),
        (b'a,b\n1,"' + b"x" * 140_000, "can't be cut into cells"),
    ],
)
def test_what_is_no_table(tmp_path: Path, content: bytes, what: str) -> None:
    """An empty file, a binary one and one without columns are refused with the reason."""
    with pytest.raises(LedgerError, match=what):
        propose(tmp_path / "a.csv", content)


HOSTILE = st.text(st.characters(exclude_categories=("Cs",)), max_size=12)


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    rows=st.lists(st.lists(HOSTILE, min_size=3, max_size=3), min_size=1, max_size=6),
    kind=st.sampled_from([None, *KINDS]),
    delimiter=st.sampled_from(",;\t|"),
)
def test_no_file_breaks_the_proposer(tmp_path: Path, rows: list[list[str]], kind: str | None, delimiter: str) -> None:
    """Whatever stands in header and cells, the proposal is valid TOML that names only columns of the file."""
    buffer = io.StringIO()
    csv.writer(buffer, delimiter=delimiter).writerows(rows)
    try:
        proposal = propose(tmp_path / "a.csv", buffer.getvalue(), kind)
    except LedgerError:
        return
    document = tomllib.loads(proposal.toml)
    known = {use.column for use in proposal.uses}
    for column in document.get("columns", {}).values():
        assert set([column] if isinstance(column, str) else column) <= known


@pytest.mark.parametrize("name", ['a"\nkind = "bank"', "a'#", 'x" # "', "\x1b[2J", "amount\u2028gross = 1"])
def test_hostile_names_stay_in_their_quotes(tmp_path: Path, name: str) -> None:
    """A column's name can't add a line to the mapping, whether it is used or only named in a comment."""
    buffer = io.StringIO()
    csv.writer(buffer).writerows(
        [["id", "type", "date", f"amount {name}", name], ["1", name, "2031-04-01", "5.00", "x"]]
    )
    proposal = propose(tmp_path / "a.csv", buffer.getvalue(), "processor")
    document = tomllib.loads(proposal.toml)
    assert document["kind"] == "processor"
    assert {"source", "kind", "file", "columns", "constants", "derive", "words", "signs"} >= set(document)
    assert not any(control in proposal.toml for control in "\x1b\u2028")


def test_the_beginning_of_a_large_file_ends_with_a_whole_record(tmp_path: Path) -> None:
    """A preview reads the beginning only: the cut never falls into a record or a quoted cell with line breaks."""
    path = tmp_path / "a.csv"
    path.write_bytes(b'id,text\n1,"two\nlines"\n2,"three\n\nlines"\n')
    for size in range(9, 40):
        copy = copy_beginning(path, tmp_path / "copy" / "a.csv", size).read_bytes()
        assert copy in (b"id,text\n", b'id,text\n1,"two\nlines"\n', path.read_bytes())
