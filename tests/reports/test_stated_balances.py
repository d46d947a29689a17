"""Stated balances, wherever they come from: `reconcile` compares each with the books, and lists two that disagree."""

import datetime
from collections.abc import Iterator
from pathlib import Path

import pytest
from shop_books import ShopBooks, build_books, silent

from ledger_tools.archive import open_books
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.reconciliation_form import Disagreement, Reconciliation

OFX = """OFXHEADER:100

<OFX><BANKMSGSRSV1><STMTTRNRS><STMTRS><CURDEF>USD<BANKACCTFROM><ACCTID>1</BANKACCTFROM><BANKTRANLIST>
<DTSTART>20310401<DTEND>20310430<STMTTRN><DTPOSTED>20310402<TRNAMT>100.00<FITID>a<NAME>START</STMTTRN></BANKTRANLIST>
<LEDGERBAL><BALAMT>{balance}<DTASOF>20310430</LEDGERBAL></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>"""

CARD_OFX = """OFXHEADER:100

<OFX><CREDITCARDMSGSRSV1><CCSTMTTRNRS><CCSTMTRS><CURDEF>USD<CCACCTFROM><ACCTID>9</CCACCTFROM><BANKTRANLIST>
<DTSTART>20310401<DTEND>20310430<STMTTRN><DTPOSTED>20310403<TRNAMT>-29.00<FITID>a<NAME>SOFTWARE</STMTTRN></BANKTRANLIST>
<LEDGERBAL><BALAMT>-29.00<DTASOF>20310430</LEDGERBAL></CCSTMTRS></CCSTMTTRNRS></CREDITCARDMSGSRSV1></OFX>"""

CAMT = """<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.02"><BkToCstmrStmt><GrpHdr><MsgId>M</MsgId>
<CreDtTm>2031-04-30T18:00:00</CreDtTm></GrpHdr><Stmt><Id>S</Id><CreDtTm>2031-04-30T18:00:00</CreDtTm>
<Acct><Id><Othr><Id>3</Id></Othr></Id></Acct>
<Bal><Tp><CdOrPrtry><Cd>OPBD</Cd></CdOrPrtry></Tp><Amt Ccy="USD">0</Amt><CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-01</Dt></Dt></Bal>
<Bal><Tp><CdOrPrtry><Cd>CLBD</Cd></CdOrPrtry></Tp><Amt Ccy="USD">70.00</Amt><CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-30</Dt></Dt></Bal>
<Ntry><Amt Ccy="USD">70.00</Amt><CdtDbtInd>CRDT</CdtDbtInd><Sts>BOOK</Sts><BookgDt><Dt>2031-04-05</Dt></BookgDt>
<BkTxCd/></Ntry></Stmt></BkToCstmrStmt></Document>"""

MT940 = """:20:STATEMENT
:25:4
:28C:1/1
:60F:C310401USD0,00
:61:3104060406C45,00NMSCNONREF
:86:START
:62F:C310430USD45,00
"""

RUNNING = """at,amount,currency,memo,balance
2031-04-09,-5.00,USD,SECOND,25.00
2031-04-08,30.00,USD,FIRST,30.00
"""

#: A card's CSV as many banks give it: what is bought and what is owed are positive.
CARD_CSV = "Day,Text,Charged,Owed\n2031-04-03,SOFTWARE,29.00,29.00\n2031-04-20,PAYMENT,-9.00,20.00\n"
CARD_MAPPING = """
source = "card-by-csv"
kind = "bank"

[columns]
at = "Day"
memo = "Text"
amount = "Charged"
balance = "Owed"

[constants]
currency = "USD"

[signs]
amount = "flip"
balance = "flip"
"""

#: Source, file name, text, stated balance in the books' sign, who states it.
STATEMENTS = [
    ("by-ofx", "april.ofx", OFX.format(balance="100.00"), 10000, "statement"),
    ("by-camt", "april.xml", CAMT, 7000, "statement"),
    ("by-mt940", "april.sta", MT940, 4500, "statement"),
    ("by-csv", "april.csv", RUNNING, 2500, "running balance"),
    ("card-by-ofx", "april.ofx", CARD_OFX, -2900, "statement"),
    ("card-by-csv", "april.csv", CARD_CSV, -2000, "running balance"),
]


@pytest.fixture(scope="module")
def report(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Reconciliation]:
    """The report on a bank account or card for each way of stating a balance; the settings contradict the OFX."""
    settings = 'currency = "USD"\ntime_zone = "America/Denver"\n'
    for source, *_ in STATEMENTS:
        card = "card = true\n" if source.startswith("card") else ""
        settings += f'[[source]]\nname = "{source}"\nkind = "bank"\n{card}currency = "USD"\n'
    settings += '[[source]]\nname = "wallet"\nkind = "wallet"\ncurrency = "USD"\n'
    for source, on, amount in (
        ("by-ofx", "2031-04-30", "99.00"),
        ("by-camt", "2031-04-30", "70.00"),
        ("wallet", "2031-04-20", "8.00"),
        ("wallet", "2031-05-20", "7.00"),
        ("card-by-ofx", "2031-04-30", "29.00"),
    ):
        settings += f'[[stated_balance]]\nsource = "{source}"\non = {on}\namount = "{amount}"\n'
    top_up = {"event_id": "w-1", "kind": "top_up", "at": "2031-04-02", "total": "8.00", "currency": "USD"}
    built = build_books(tmp_path_factory.mktemp("stated"), settings, {"wallet": [top_up]})
    built.connection.close()
    for source, name, text, _, _ in STATEMENTS:
        (built.folder.exports / source).mkdir()
        (built.folder.exports / source / name).write_text(text)
    (built.folder.mappings / "card-by-csv.toml").write_text(CARD_MAPPING)
    with open_books(built.folder, silent) as connection:
        yield report_reconciliation(connection, datetime.date(2031, 4, 30))


@pytest.mark.parametrize(("source", "amount", "stated_by"), [(row[0], row[3], row[4]) for row in STATEMENTS])
def test_balance_is_stated(source: str, amount: int, stated_by: str, report: Reconciliation) -> None:
    """Each kind of statement states its balance, and the books have it; what a card owes is negative."""
    (row,) = [row for row in report.accounts if row.source == source]
    assert (amount, amount, stated_by) == (row.stated, row.books, row.stated_by)


def test_settings_state_what_no_export_does(report: Reconciliation) -> None:
    """The settings' balance on or before the day counts; a later one is not looked at."""
    (row,) = [row for row in report.accounts if row.source == "wallet"]
    assert (800, datetime.date(2031, 4, 20), "settings") == (row.stated, row.stated_on, row.stated_by)


def test_statement_wins_and_disagreement_is_listed(report: Reconciliation) -> None:
    """Of two balances of one day the statement's counts; only the one that differs is listed, no agreeing one."""
    on = datetime.date(2031, 4, 30)
    expected = Disagreement("Assets:Bank:ByOfx", "USD", on, 10000, "statement", 9900, "settings")
    assert (expected,) == report.disagreements


def test_without_a_day_the_last_stated_balance_counts(tmp_path: Path) -> None:
    """A balance that is stated after the last event is compared as well."""
    settings = 'currency = "USD"\ntime_zone = "America/Denver"\n[[source]]\nname = "wallet"\nkind = "wallet"\ncurrency = "USD"\n'
    settings += '[[stated_balance]]\nsource = "wallet"\non = 2031-04-30\namount = "9.00"\n'
    top_up = {"event_id": "w-1", "kind": "top_up", "at": "2031-04-02", "total": "8.00", "currency": "USD"}
    books: ShopBooks = build_books(tmp_path, settings, {"wallet": [top_up]})
    report = report_reconciliation(books.connection, None)
    books.connection.close()
    (row,) = [row for row in report.accounts if row.source == "wallet"]
    assert (datetime.date(2031, 4, 30), 100) == (report.as_of, row.difference)
