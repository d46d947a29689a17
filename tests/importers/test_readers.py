"""The door of the importers on canonical files: what is read, carried, derived, and refused with which words."""

from __future__ import annotations

import datetime

import pytest

BANK = "at,amount,currency,memo\n"
PROCESSOR = "event_id,kind,at,currency,gross,fee,net\n"


def test_canonical_processor_file_is_typed(read):
    """Each field gets its type: money in cents, moments in the shop's zone, words as they are."""
    facts, rows = read(PROCESSOR + "e1,Charge,2031-04-01T03:30:00Z,usd,12.50,0.66,11.84\n", "processor")
    expected = {
        "record": 1, "event_id": "e1", "kind": "charge", "at": rows[0]["at"],
        "currency": "USD", "gross": 1250, "fee": 66, "net": 1184,
    }  # fmt: skip
    assert [expected] == rows
    assert "2031-03-31 22:30:00" == rows[0]["at"].isoformat(" ")
    assert (datetime.date(2031, 3, 31), datetime.date(2031, 3, 31)) == (facts.first_day, facts.last_day)
    assert (1, 1) == (facts.rows_read, facts.records)


@pytest.mark.parametrize(
    ("text", "currency", "expected"),
    [
        ("12.50", "USD", 1250),
        ("-0.05", "USD", -5),
        ("+7", "USD", 700),
        (".5", "USD", 50),
        ("5.", "USD", 500),
        ("12.5000", "USD", 1250),
        ("1250.00", "JPY", 1250),
        ("1.234", "KWD", 1234),
        ("$12.50", "USD", 1250),
        ("12.50 USD", "USD", 1250),
        ("(12.50)", "USD", -1250),
        ("12.50-", "USD", -1250),
        ("\u221212.50", "USD", -1250),
        ("1'234.50", "CHF", 123450),
        ("1\u202f234.50", "EUR", 123450),
        ("0009.10", "USD", 910),
    ],
)
def test_amounts_in_every_dress(read, text, currency, expected):
    """An amount is exact in its currency's minor unit, whatever it wears."""
    _, rows = read(f'{BANK}2031-04-01,"{text}",{currency},x\n', "bank")
    assert expected == rows[0]["amount"]


@pytest.mark.parametrize(
    "text",
    ["12.505", "1e3", "1_000", "NaN", "inf", "abc", "1,250.00", "1.2.3", "--5", "(-5)", "12.50 EUR", "0x10", "5 5",
     "1'23.50", "1250.5JPY", "99999999999999999999", "1e.03", "\u0661"],
)  # fmt: skip
def test_junk_is_never_an_amount(refusal, text):
    """What is not an amount of the currency refuses the file and is quoted in the message."""
    problems = refusal(f'{BANK}2031-04-01,"{text}",USD,x\n', "bank")
    assert len(problems) == 1
    assert f"export.csv, record 1, column amount: found {text!r}, expected an amount" in problems[0]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2031-04-01", "2031-04-01 00:00:00"),
        ("2031-04-01T10:00:00", "2031-04-01 10:00:00"),
        ("2031-04-01 10:00", "2031-04-01 10:00:00"),
        ("2031-04-01T10:00:00Z", "2031-04-01 05:00:00"),
        ("2031-04-01T10:00:00+02:00", "2031-04-01 03:00:00"),
        ("2031-04-01T10:00:00.250-0530", "2031-04-01 10:30:00.250000"),
        ("2031-01-01 10:00:00 UTC", "2031-01-01 04:00:00"),
        ("2031-04-01 10:00:00+02", "2031-04-01 03:00:00"),
    ],
)
def test_moments_are_local_to_the_shop(read, text, expected):
    """An offset is honoured, a moment without one is the shop's, a date alone stays that date."""
    _, rows = read(f"{BANK}{text},1.00,USD,x\n", "bank")
    assert expected == rows[0]["at"].isoformat(" ")


@pytest.mark.parametrize(
    "text", ["2031-02-31", "31/01/2031", "1889-01-01", "2101-01-01", "tomorrow", "20310401", "2031-04-01T25:00:00Z"]
)
def test_impossible_moments_are_refused(refusal, text):
    """A date that the calendar lacks, or that no mapping explains, refuses the file."""
    problems = refusal(f"{BANK}{text},1.00,USD,x\n", "bank")
    assert len(problems) == 1
    assert f"record 1, column at: found {text!r}, expected" in problems[0]


def test_all_problems_come_at_once(refusal):
    """One bad file is one list, in the order of its records."""
    text = PROCESSOR + "e1,charge,2031-04-01,USD,abc,0,1\n,refund,2031-13-01,USD,1,0,1\ne3,gift,2031-04-01,XXQ,1,0,1\n"
    problems = refusal(text, "processor")
    places = [problem.split(": ")[0].removeprefix("export.csv, record ") for problem in problems]
    assert ["1, column gross", "2, column at", "3, column kind", "3, column currency", "2, column event_id"] == places


def test_a_long_list_is_cut(refusal):
    """The list of problems stops at fifty and says how many more there are."""
    problems = refusal(BANK + "2031-04-01,abc,USD,x\n" * 60, "bank")
    assert 51 == len(problems)
    assert "export.csv: and 10 more problems" == problems[-1]


def test_unknown_words_come_once_with_their_count(refusal):
    """Each unknown word is listed once, with the mapping's line that would explain it."""
    rows = "".join(f"e{number},Chargeback fee,2031-04-01,USD,1,0,1\n" for number in range(3))
    (problem,) = refusal(PROCESSOR + rows, "processor")
    assert "found the unknown word 'Chargeback fee' (3 times)" in problem
    assert '[words.kind] "Chargeback fee" = "charge"' in problem


def test_order_lines_are_filled_from_the_first_line(read):
    """Order-level fields that later lines leave blank are the first line's, and lines need not be adjacent."""
    text = (
        "order_id,placed_at,currency,sku,unit_price,total,quantity\n"
        "A,2031-04-01,JPY,s1,1250,2500,1\nB,2031-04-02,,s3,1.00,1.00,\nA,,,s2,1250,,1\n"
    )
    _, rows = read(text, "orders")
    assert [("A", "JPY", 1250, 2500, 1), ("B", "USD", 100, 100, 1), ("A", "JPY", 1250, 2500, 1)] == [
        (row["order_id"], row["currency"], row["unit_price"], row["total"], row["quantity"]) for row in rows
    ]
    assert "2031-04-01 00:00:00" == rows[2]["placed_at"].isoformat(" ")


def test_an_order_that_contradicts_itself_is_refused(refusal):
    """Two totals of one order are named with both records."""
    text = "order_id,placed_at,total\nA,2031-04-01,5.00\nA,2031-04-01,6.00\n"
    (problem,) = refusal(text, "orders")
    assert (
        "export.csv, record 2, column total: found '6.00', expected '5.00' as in record 1 of the same order (A)"
        in problem
    )


BY_CONTENT = """source = "source"
kind = "orders"
[columns]
placed_at = "placed_at"
total = "total"
"""


def test_rows_without_an_order_id_are_orders_of_their_own_where_the_mapping_says_so(read):
    """Equal rows stay apart, and get the same ids when they are read again."""
    text = "placed_at,total\n2031-04-01,5.00\n2031-04-01,5.00\n2031-04-02,5.00\n"
    mapping = BY_CONTENT + '[derive]\norder_id = "content"\n'
    _, rows = read(text, "orders", mapping)
    ids = [row["order_id"] for row in rows]
    assert 3 == len(set(ids))
    assert ids[0].removesuffix("-1") == ids[1].removesuffix("-2")
    assert ids == [row["order_id"] for row in read(text, "orders", mapping)[1]]


def test_file_without_order_ids_is_refused(refusal):
    """Ids from the content would make an order of each line: a file without order ids, canonical or mapped, is refused."""
    text = "placed_at,total\n2031-04-01,5.00\n"
    assert [
        "export.csv, column order_id: is missing; the file has placed_at, total\n"
        "    → `ledger-tools map FILE --source source` proposes a mapping of its columns"
    ] == refusal(text, "orders")
    (problem,) = refusal(text, "orders", BY_CONTENT)
    assert "[columns] order_id: is missing: the field is required" in problem
    assert 'only where every order has one row, put order_id = "content" under [derive]' in problem


def test_same_event_twice_is_kept_but_other_content_is_refused(read, refusal):
    """A repeated event is the store's business, a contradiction is refused."""
    line = "e1,charge,2031-04-01,USD,1,0,1\n"
    assert 2 == len(read(PROCESSOR + line + line, "processor")[1])
    (problem,) = refusal(PROCESSOR + line + line.replace(",1,0,1", ",2,0,2"), "processor")
    assert "record 2, column event_id: found the id 'e1' of record 1 again, with other content" in problem


def test_texts_lose_blanks_and_control_characters(read):
    """Line breaks and other control characters are one blank; long free texts are cut at 500 characters."""
    _, rows = read(f'{BANK}2031-04-01,1,USD," a\r\nb\tc\u00a0"\n2031-04-01,1,USD,{"x" * 600}\n', "bank")
    assert ["a b c", "x" * 500] == [row["memo"] for row in rows]


def test_the_order_of_a_large_file_is_kept(read):
    """Records are numbered as they stand in the file, however many threads read it."""
    lines = "".join(f"2031-04-01,{number}.00,{'USD' if number % 3 else 'EUR'},m{number}\n" for number in range(150_000))
    _, rows = read(BANK + lines, "bank")
    assert all(row["amount"] == (row["record"] - 1) * 100 for row in rows)


def test_what_the_customer_paid_is_in_its_own_currency(read, refusal):
    """charged_amount has the digits of charged_currency, and a message about it names that currency."""
    header = PROCESSOR.replace("net", "net,charged_currency,charged_amount")
    _, rows = read(
        header + "e1,charge,2031-04-01,USD,10,,10,JPY,1500\ne2,charge,2031-04-01,USD,10,,10,,9.99\n", "processor"
    )
    assert [1500, 999] == [row["charged_amount"] for row in rows]
    (problem,) = refusal(header + "e1,charge,2031-04-01,USD,10,,10,JPY,15.5\n", "processor")
    assert "column charged_amount: found '15.5', expected an amount of at most 0 decimals (JPY)" in problem


@pytest.mark.parametrize(
    ("formats", "days", "step"),
    [
        (
            "",
            ("03/04/2031", "05/06/2031"),
            'set date_formats = ["%d/%m/%Y"] (day first) or ["%m/%d/%Y"] (month first), as the file means it,',
        ),
        ("", ("03/04/2031", "05/26/2031"), 'set date_formats = ["%m/%d/%Y"] in mappings/source.toml under [file]'),
        ("", ("26.05.2031 09:15", "27.05.2031 10:00"), 'set date_formats = ["%d.%m.%Y %H:%M"] in'),
        ('"%d.%m.%Y"', ("26.05.2031", "27.05.2031 10:00"), 'set date_formats = ["%d.%m.%Y", "%d.%m.%Y %H:%M"] in'),
        (
            '"%d/%m/%Y"',
            ("26/05/2031", "05/26/2031"),
            'set date_formats = ["%m/%d/%Y"], if all dates of the file are so, in',
        ),
        ("", ("2031-02-28", "2031-02-30"), "mend the cell"),
        (
            "",
            ("2031-02-28", "Total"),
            'mend the cell, or declare such rows in mappings/source.toml: skip = [{ column = "at"',
        ),
    ],
)
def test_refused_date_proposes_the_formats_that_fit(refusal, formats, days, step):
    """Formats are those of the cells, both orders where nothing tells them apart; rows are not skipped by their date."""
    mapping = f'source = "source"\nkind = "bank"\n[file]\ndate_formats = [{formats}]\n[columns]\nat = "at"\namount = "amount"\n'
    problem = refusal("at,amount\n" + "".join(f"{day},1.00\n" for day in days), "bank", mapping if formats else None)[
        -1
    ]
    assert step in problem
    assert ("Total" in days) == ("skip = " in problem)
