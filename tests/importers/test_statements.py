"""Bank statements of the three formats: dates as written, signs, corrections, and the proof that they tie out."""

from __future__ import annotations

import datetime

import pytest
from camt_statements import VERSIONS, camt, camt_pages

from importers.readers import StatedBalance
from ledger_tools.errors import LedgerError

OFX_1 = """OFXHEADER:100
DATA:OFXSGML
VERSION:102
ENCODING:USASCII
CHARSET:1252

<OFX><SIGNONMSGSRSV1><SONRS><STATUS><CODE>0<SEVERITY>INFO</STATUS><DTSERVER>20310501120000[-5:EST]</SONRS></SIGNONMSGSRSV1>
<BANKMSGSRSV1><STMTTRNRS><TRNUID>1<STMTRS><CURDEF>USD<BANKACCTFROM><BANKID>1<ACCTID>0042<ACCTTYPE>CHECKING</BANKACCTFROM>
<BANKTRANLIST><DTSTART>20310401<DTEND>20310430
<STMTTRN><TRNTYPE>CREDIT<DTPOSTED>20310402233000[-5:EST]<TRNAMT>+1234,5<FITID>f1<NAME>Payout &amp; more<MEMO></STMTTRN>
<STMTTRN><TRNTYPE>DEBIT<DTPOSTED>20310403<TRNAMT>-80.32<FITID>f2<NAME>Ink</STMTTRN>
</BANKTRANLIST><LEDGERBAL><BALAMT>1154.18<DTASOF>20310430120000</LEDGERBAL></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>
"""
OFX_2 = """<?xml version="1.0" encoding="UTF-8"?><?OFX OFXHEADER="200" VERSION="211"?>
<OFX><CREDITCARDMSGSRSV1><CCSTMTTRNRS><CCSTMTRS><CURDEF>EUR</CURDEF><CCACCTFROM><ACCTID>77</ACCTID></CCACCTFROM>
<BANKTRANLIST><DTSTART>20310401</DTSTART><DTEND>20310430</DTEND>
<STMTTRN><DTPOSTED>20310402</DTPOSTED><TRNAMT>-10</TRNAMT><FITID>a</FITID><NAME>Café</NAME></STMTTRN>
<STMTTRN><DTPOSTED>20310402</DTPOSTED><TRNAMT>-20</TRNAMT><FITID>b</FITID></STMTTRN>
<STMTTRN><DTPOSTED>20310403</DTPOSTED><TRNAMT>-11</TRNAMT><FITID>c</FITID><CORRECTFITID>a</CORRECTFITID>
<CORRECTACTION>REPLACE</CORRECTACTION></STMTTRN>
<STMTTRN><DTPOSTED>20310403</DTPOSTED><TRNAMT>0</TRNAMT><FITID>d</FITID><CORRECTFITID>b</CORRECTFITID>
<CORRECTACTION>DELETE</CORRECTACTION></STMTTRN></BANKTRANLIST></CCSTMTRS></CCSTMTTRNRS></CREDITCARDMSGSRSV1></OFX>
"""
MT940 = """{1:F01BANKXXXX0000000000}{2:O9400000000000BANKXXXX}{4:
:20:REF1
:25:DE001/42
:28C:4/1
:60F:C310331EUR100,00
:61:3104020402C50,25NTRFNONREF//B1
:86:166?00Credit?20Payout?21April?32Print?33 Partner
:61:310403RC0,25NCHGOWN1
second line
:86:free text
over two lines
:62F:C310430EUR150,00
-}
:20:REF2
:25:DE001/42
:28C:5/1
:60F:C310430EUR150,00
:61:3012310101D1,00NMSCNONREF
:62F:C310531EUR149,00
-
"""


def short(rows):
    """Date, amount, id, memo and counterparty of each row."""
    return [
        (row["at"].date().isoformat(), row["amount"], row.get("event_id"), row.get("memo"), row.get("counterparty"))
        for row in rows
    ]


def test_ofx_with_tags_that_never_close(read):
    """Dates stay as the bank wrote them, a comma is a decimal mark, an empty element swallows nothing."""
    facts, rows = read(OFX_1, "bank", name="a.ofx")
    assert [
        ("2031-04-02", 123450, "f1", "Payout & more", "Payout & more"),
        ("2031-04-03", -8032, "f2", "Ink", "Ink"),
    ] == short(rows)
    assert (datetime.date(2031, 4, 1), datetime.date(2031, 4, 30)) == (facts.first_day, facts.last_day)
    assert "20310501120000[-5:EST]" == facts.time_stamp
    assert (StatedBalance(datetime.date(2031, 4, 30), 115418, "USD"),) == facts.balances


def test_ofx_xml_card_statement_with_corrections(read):
    """REPLACE takes the place of the line that it corrects, DELETE takes it away."""
    _, rows = read(OFX_2, "bank", name="a.ofx", currency="USD")
    assert [("2031-04-03", -1100, "c", None, None)] == short(rows)
    assert "EUR" == rows[0]["currency"]


def test_mt940_with_two_statements(read):
    """Reversals, subfields, free text, and a booking date of the next year."""
    facts, rows = read(MT940, "bank", name="a.sta")
    assert [
        ("2031-04-02", 5025, "B1", "Credit PayoutApril", "Print Partner"),
        ("2031-04-03", -25, "OWN1", "free text over two lines second line OWN1", None),
        ("2031-01-01", -100, None, None, None),
    ] == short(rows)
    assert {(datetime.date(2031, 4, 30), 15000), (datetime.date(2031, 5, 31), 14900)} <= {
        (balance.on, balance.amount) for balance in facts.balances
    }


@pytest.mark.parametrize("action", ["REPLACE", "DELETE"])
def test_ofx_correction_of_a_line_elsewhere_is_refused(read, action):
    """A correction whose line the statement lacks is refused with its place: taken as it stands, both lines would count."""
    text = OFX_2.replace("<CORRECTFITID>b</CORRECTFITID>", "<CORRECTFITID>of March</CORRECTFITID>")
    text = text.replace("<CORRECTACTION>DELETE", f"<CORRECTACTION>{action}")
    with pytest.raises(LedgerError) as refused:
        read(text, "bank", name="a.ofx", currency="USD")
    assert [
        "a.ofx, statement 1, line 4, CORRECTFITID: found a correction of the line 'of March', expected that line in the "
        "same statement\n    → export the days that hold the corrected line again, in one file with its correction"
    ] == [str(problem) for problem in refused.value.problems]


@pytest.mark.parametrize(
    ("value_date", "booked", "expected"),
    [
        ("311231", "0101", "2032-01-01"),
        ("310102", "1230", "2030-12-30"),
        ("311128", "0105", "2032-01-05"),
        ("310205", "1129", "2030-11-29"),
        ("310715", "0115", "2031-01-15"),  # 181 days before; the next January is 184 after
        ("310401", "0331", "2031-03-31"),
        ("320301", "0229", "2032-02-29"),
    ],
)
def test_mt940_booking_date_is_in_the_nearest_year(read, value_date, booked, expected):
    """A booking date names no year: it is the one in which it lies nearest to the value date."""
    text = f":20:S\n:25:1\n:28C:1/1\n:60F:C300101EUR0,00\n:61:{value_date}{booked}C1,00NMSCNONREF\n:62F:C321231EUR1,00\n-\n"
    _, rows = read(text, "bank", name="a.sta")
    assert [expected] == [day for day, *_ in short(rows)]


@pytest.mark.parametrize("booked", ["0230", "0229"])
def test_mt940_booking_date_that_no_calendar_has_is_refused(read, booked):
    """A thirtieth of February is told as it was written, and a leap day is not looked for in another year."""
    text = f":20:S\n:25:1\n:28C:1/1\n:60F:C310201EUR0,00\n:61:310228{booked}C1,00NMSCNONREF\n:62F:C310331EUR1,00\n-\n"
    with pytest.raises(LedgerError, match=f"2031-02-{booked[2:]}"):
        read(text, "bank", name="a.sta")


@pytest.mark.parametrize("version", VERSIONS)
def test_camt_of_any_version(read, version):
    """Only booked entries are records; pending ones are counted; the opening balance is of the day before."""
    facts, rows = read(camt(version), "bank", name="a.xml")
    assert [("2031-04-02", 5025, "B1", "Payout", "Partner")] == short(rows)
    assert (("not booked yet", 1),) == facts.skipped
    assert (2, 1) == (facts.rows_read, facts.records)
    assert (
        StatedBalance(datetime.date(2031, 4, 1), 10000, "EUR", opening=True),
        StatedBalance(datetime.date(2031, 4, 2), 15025, "EUR"),
    ) == facts.balances


def mt940(opened: str, closed: str, line: str) -> str:
    """An MT940 statement of one line, from 570.00 to 620.00."""
    return f":20:S\n:25:1\n:28C:2/1\n:60F:C{opened}USD570,00\n:61:{line}{line[2:]}C50,00NMSCNONREF\n:62F:C{closed}USD620,00\n-\n"


@pytest.mark.parametrize(
    ("opened", "closed", "line", "first", "opening_on"),
    [
        ("310131", "310228", "310203", "2031-02-01", "2031-01-31"),  # the closing balance of the statement before
        (
            "310201",
            "310228",
            "310203",
            "2031-02-02",
            "2031-02-01",
        ),  # the bank may mean its first day: the line is later
        ("310201", "310228", "310201", "2031-02-01", "2031-01-31"),  # it does
        ("310131", "310203", "310203", "2031-02-01", "2031-01-31"),
        ("310203", "310203", "310203", "2031-02-03", None),  # of the day before, or of the middle of the day
    ],
)
def test_span_of_an_mt940_statement(read, opened, closed, line, first, opening_on):
    """It covers the days after its opening balance's date, and its first line's; the opening balance is of the day before."""
    facts, _ = read(mt940(opened, closed, line), "bank", name="a.sta")
    last = datetime.date.fromisoformat(f"20{closed[:2]}-{closed[2:4]}-{closed[4:]}")
    assert (datetime.date.fromisoformat(first), last) == (facts.first_day, facts.last_day)
    assert opening_on == next((balance.on.isoformat() for balance in facts.balances if balance.amount == 57000), None)


@pytest.mark.parametrize(
    ("code", "opened", "said", "first"),
    [
        ("PRCD", "2031-03-28", "", "2031-03-29"),
        ("OPBD", "2031-03-31", "", "2031-04-01"),
        ("OPBD", "2031-04-01", "<FrToDt><FrDtTm>2031-04-01T00:00:00</FrDtTm><ToDtTm>2031-04-02T23:59:59</ToDtTm></FrToDt>",
         "2031-04-01"),
        ("PRCD", "2031-03-28", "<FrToDt><FrDtTm>2031-04-01T00:00:00</FrDtTm><ToDtTm>2031-04-02T23:59:59</ToDtTm></FrToDt>",
         "2031-03-29"),
    ],
)  # fmt: skip
def test_span_of_a_camt_statement(read, code, opened, said, first):
    """It covers the days after the previous closing balance, or from the day that it says, whichever is earlier."""
    text = camt().replace("<Cd>OPBD</Cd>", f"<Cd>{code}</Cd>").replace("<Dt>2031-04-01</Dt>", f"<Dt>{opened}</Dt>")
    facts, _ = read(text.replace("<Acct>", f"{said}<Acct>", 1), "bank", name="a.xml")
    assert (datetime.date.fromisoformat(first), datetime.date(2031, 4, 2)) == (facts.first_day, facts.last_day)


def test_several_statements_of_one_day(read):
    """Where a bank makes two statements a day, the second one's opening balance is of the middle of the day."""
    second = (
        mt940("310203", "310203", "310203")
        .replace("570,00", "620,00")
        .replace(":62F:C310203USD620,00", ":62F:C310203USD670,00")
    )
    facts, _ = read(mt940("310131", "310203", "310203") + second, "bank", name="a.sta")
    assert [("2031-01-31", 57000), ("2031-02-03", 67000)] == [
        (each.on.isoformat(), each.amount) for each in facts.balances
    ]


@pytest.mark.parametrize("order", [(0, 1, 2), (2, 1, 0), (1, 2, 0)])
def test_statements_of_one_day_in_any_order(read, order):
    """Whatever comes first in the file, the day ends with the balance that no other statement of it opens with."""
    first = mt940("310131", "310203", "310203")
    second = first.replace("310131USD570", "310203USD620").replace(":62F:C310203USD620", ":62F:C310203USD670")
    third = first.replace("310131USD570", "310203USD670").replace(":62F:C310203USD620", ":62F:C310203USD720")
    texts = (first, second, third)
    facts, _ = read("".join(texts[place] for place in order), "bank", name="a.sta")
    assert ("2031-02-03", 72000) == next(
        (each.on.isoformat(), each.amount) for each in facts.balances if not each.opening
    )


def test_camt_over_two_pages(read):
    """Pages are one statement, from the first opening to the last closing balance."""
    facts, rows = read(camt_pages(), "bank", name="a.xml")
    assert [5025, -100] == [row["amount"] for row in rows]
    assert (StatedBalance(datetime.date(2031, 4, 3), 14925, "EUR")) == facts.balances[-1]


@pytest.mark.parametrize(
    ("content", "name", "expected"),
    [
        (camt(middle="160.00"), "a.xml", "a.xml, statement S1: found lines of 50.25 between the"),
        (MT940.replace("EUR150,00\n-}", "EUR151,00\n-}"), "a.sta", "a.sta, statement 1 (4/1): found lines of 50.00"),
        ("<!DOCTYPE x [<!ENTITY e SYSTEM 'x'>]>" + camt().split("?>")[1], "a.xml", "a.xml: holds a document type"),
        (camt()[:-30], "a.xml", "a.xml: is not well-formed XML"),
        (OFX_1.replace("+1234,5", "1.234,50"), "a.ofx", "a.ofx, statement 1, line 1: found '1.234,50'"),
        (OFX_1.replace("<DTPOSTED>20310403", "<DTPOSTED>x"), "a.ofx", "a.ofx, statement 1, line 2, DTPOSTED: "),
        (OFX_2.replace("<CURDEF>EUR", "<CURDEF>XXQ"), "a.ofx", "a.ofx, statement 1: found the currency 'XXQ'"),
        (MT940.replace(":25:DE001/42", ":25:OTHER", 1), "a.sta", "a.sta: holds statements of 2 accounts"),
        (MT940.replace("3104020402C50,25", "3104020402X50,25"), "a.sta", "a.sta, statement 1, line 1, :61:: found"),
    ],
)  # fmt: skip
def test_what_does_not_tie_out_is_refused(refusal, content, name, expected):
    """The statement and the difference are named, nothing of the file is read."""
    problems = refusal(content, "bank", name=name)
    assert problems[0].startswith(expected)


def test_a_statement_is_not_an_order_export(refusal):
    """A statement for a source of another kind says so."""
    (problem,) = refusal(MT940, "orders", name="a.sta")
    assert "a.sta: is a bank statement (MT940), but the source source is of the kind orders" in problem
