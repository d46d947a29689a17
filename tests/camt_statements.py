"""Small camt.053 statements that the tests read, each valid by the official schema of its version.

`tests/open_data/test_camt_schemas.py` holds every text of this module against the schemas. What differs between the
versions is here: from 04 on each detail has its amount, from 08 on an entry's status is a code below `Sts` and a party's
name stands below `Pty`.
"""

from __future__ import annotations

#: Versions that the tests use; the number is the last part of the namespace.
VERSIONS = ("02", "04", "08")

_TRANSACTION_CODE = "<BkTxCd><Prtry><Cd>NTRF</Cd></Prtry></BkTxCd>"
_CAMT = """<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.{version}"><BkToCstmrStmt><GrpHdr><MsgId>M1</MsgId>
<CreDtTm>2031-05-01T06:00:00</CreDtTm></GrpHdr>
<Stmt><Id>S1</Id><CreDtTm>2031-05-01T06:00:00</CreDtTm><Acct><Id><IBAN>XX42TEST</IBAN></Id></Acct>
<Bal><Tp><CdOrPrtry><Cd>OPBD</Cd></CdOrPrtry></Tp><Amt Ccy="EUR">100.00</Amt>
<CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-01</Dt></Dt></Bal>
<Bal><Tp><CdOrPrtry><Cd>{page_end}</Cd></CdOrPrtry></Tp><Amt Ccy="EUR">{middle}</Amt>
<CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-02</Dt></Dt></Bal>
<Ntry><Amt Ccy="EUR">50.25</Amt>
<CdtDbtInd>CRDT</CdtDbtInd><Sts>{booked}</Sts>
<BookgDt><DtTm>2031-04-02T23:30:00+02:00</DtTm></BookgDt>
<AcctSvcrRef>B1</AcctSvcrRef>{code}<NtryDtls><TxDtls>{detail}
<RltdPties><Dbtr>{name}</Dbtr></RltdPties><RmtInf><Ustrd>Payout</Ustrd></RmtInf>
</TxDtls></NtryDtls></Ntry>
<Ntry><Amt Ccy="EUR">9.00</Amt>
<CdtDbtInd>DBIT</CdtDbtInd><Sts>{pending}</Sts>
<BookgDt><Dt>2031-04-02</Dt></BookgDt>{code}</Ntry></Stmt>{more}
</BkToCstmrStmt></Document>
"""
_PAGE_2 = """<Stmt><Id>S1</Id><CreDtTm>2031-05-01T06:00:00</CreDtTm><Acct><Id><IBAN>XX42TEST</IBAN></Id></Acct>
<Bal><Tp><CdOrPrtry><Cd>ITBD</Cd></CdOrPrtry></Tp><Amt Ccy="EUR">150.25</Amt>
<CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-02</Dt></Dt></Bal>
<Bal><Tp><CdOrPrtry><Cd>CLBD</Cd></CdOrPrtry></Tp><Amt Ccy="EUR">149.25</Amt>
<CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-03</Dt></Dt></Bal>
<Ntry><Amt Ccy="EUR">1.00</Amt>
<CdtDbtInd>DBIT</CdtDbtInd><Sts>{booked}</Sts>
<BookgDt><Dt>2031-04-03</Dt></BookgDt>{code}</Ntry></Stmt>"""


def _words(version: str) -> dict[str, str]:
    """What a version writes for a status, a party, and (from 04 on) the amount of a detail."""
    detail = "" if version == "02" else '<Amt Ccy="EUR">50.25</Amt><CdtDbtInd>CRDT</CdtDbtInd>'
    if int(version) < 8:
        return {"booked": "BOOK", "pending": "PDNG", "name": "<Nm>Partner</Nm>", "detail": detail}
    return {
        "booked": "<Cd>BOOK</Cd>", "pending": "<Cd>PDNG</Cd>", "name": "<Pty><Nm>Partner</Nm></Pty>", "detail": detail,
    }  # fmt: skip


def camt(version: str = "02", page_end: str = "CLBD", middle: str = "150.25", more: str = "") -> str:
    """A statement with one booked and one pending entry; `more` stands after it."""
    code = _TRANSACTION_CODE
    return _CAMT.format(version=version, page_end=page_end, middle=middle, more=more, code=code, **_words(version))


def camt_pages(version: str = "02") -> str:
    """A statement of two pages that meet in an interim balance."""
    page = _PAGE_2.format(code=_TRANSACTION_CODE, **_words(version))
    return camt(version, page_end="ITBD", more=page)


def _same_day_line(amount: str, side: str, day: str, text: str) -> str:
    return (
        f'<Ntry><Amt Ccy="USD">{amount}</Amt><CdtDbtInd>{side}</CdtDbtInd><Sts>BOOK</Sts><BookgDt><Dt>{day}</Dt></BookgDt>'
        f"{_TRANSACTION_CODE}<NtryDtls><TxDtls><RmtInf><Ustrd>{text}</Ustrd></RmtInf></TxDtls></NtryDtls></Ntry>"
    )


#: Ten days with two equal lines; a test holds the same lines as OFX.
EQUAL_LINES = f"""<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.02"><BkToCstmrStmt><GrpHdr><MsgId>1</MsgId>
<CreDtTm>2031-04-11T06:00:00</CreDtTm></GrpHdr><Stmt><Id>1</Id><CreDtTm>2031-04-11T06:00:00</CreDtTm>
<FrToDt><FrDtTm>2031-04-01T00:00:00</FrDtTm><ToDtTm>2031-04-10T23:59:59</ToDtTm></FrToDt>
<Acct><Id><Othr><Id>77</Id></Othr></Id><Ccy>USD</Ccy></Acct>
<Bal><Tp><CdOrPrtry><Cd>OPBD</Cd></CdOrPrtry></Tp><Amt Ccy="USD">0.00</Amt><CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-01</Dt></Dt></Bal>
<Bal><Tp><CdOrPrtry><Cd>CLBD</Cd></CdOrPrtry></Tp><Amt Ccy="USD">65.00</Amt><CdtDbtInd>CRDT</CdtDbtInd><Dt><Dt>2031-04-10</Dt></Dt></Bal>
{_same_day_line("12.50", "DBIT", "2031-04-04", "Parcel office, till 2")}
{_same_day_line("12.50", "DBIT", "2031-04-04", "Parcel office, till 1")}
{_same_day_line("90.00", "CRDT", "2031-04-05", "Refund of customs")}
</Stmt></BkToCstmrStmt></Document>
"""

_SAMPLE_BALANCE = """<Bal><Tp><CdOrPrtry><Cd>{0}</Cd></CdOrPrtry></Tp><Amt Ccy="SEK">{1}</Amt><CdtDbtInd>CRDT</CdtDbtInd>
<Dt><Dt>{2}</Dt></Dt></Bal>"""
_SAMPLE_ENTRY = """<Ntry><Amt Ccy="SEK">{0}</Amt><CdtDbtInd>{1}</CdtDbtInd><Sts>BOOK</Sts>
<BookgDt><DtTm>2010-10-18T13:15:00+01:00</DtTm></BookgDt><ValDt><Dt>2010-10-18</Dt></ValDt>
<AcctSvcrRef>{2}</AcctSvcrRef><BkTxCd><Prtry><Cd>NTRF</Cd></Prtry></BkTxCd></Ntry>"""
_SAMPLE = """<?xml version="1.0" encoding="UTF-8"?>
<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.04"><BkToCstmrStmt>
<GrpHdr><MsgId>AAAASESS-FP-STAT001</MsgId><CreDtTm>2010-10-18T17:00:00+01:00</CreDtTm>
<MsgPgntn><PgNb>1</PgNb><LastPgInd>true</LastPgInd></MsgPgntn></GrpHdr>
<Stmt><Id>AAAASESS-FP-STAT001</Id><CreDtTm>2010-10-18T17:00:00+01:00</CreDtTm>
<FrToDt><FrDtTm>2010-10-18T08:00:00+01:00</FrDtTm><ToDtTm>2010-10-18T17:00:00+01:00</ToDtTm></FrToDt>
<Acct><Id><Othr><Id>50000000054910000003</Id></Othr></Id></Acct>
{balances}{entries}</Stmt></BkToCstmrStmt></Document>"""
#: Entries of the published business sample: amount, side and the bank's reference.
PUBLISHED_ENTRIES = (
    ("105678.50", "CRDT", "AAAASESS-FP-CN_98765/01"),
    ("200000", "DBIT", "AAAASESS-FP-ACCR-01"),
    ("30000", "CRDT", "AAAASESS-FP-CONF-FX"),
)


def published_sample(closing: str = "435678.50", entries: tuple[tuple[str, str, str], ...] = PUBLISHED_ENTRIES) -> str:
    """The figures of the published business sample of camt.053.001.04, with this closing balance and these entries."""
    balances = _SAMPLE_BALANCE.format("OPBD", "500000", "2010-10-15")
    balances += _SAMPLE_BALANCE.format("CLBD", closing, "2010-10-18")
    return _SAMPLE.format(balances=balances, entries="".join(_SAMPLE_ENTRY.format(*entry) for entry in entries))
