"""The bank's monthly statements: OFX for two months, camt.053 for one, CSV with a running balance for the last.

Text only; every file states its opening and closing balance in the way of its format (the CSV by its balance
column). The account numbers are invented.
"""

from __future__ import annotations

from itertools import accumulate

from ledger_tools.demo.bank import BankLine
from ledger_tools.demo.scenario import MONTH_STARTS, MONTHS, date_of
from ledger_tools.money import format_amount

ACCOUNT = "000417731"
BANK_FILES = ("statement-2031-01.ofx", "statement-2031-02.ofx", "statement-2031-03.xml", "statement-2031-04.csv")


def statements(lines: list[BankLine]) -> dict[str, str]:
    """File name and text of each month's statement."""
    texts, balance = {}, 0
    writers = (_ofx, _ofx, _camt, _csv)
    for month, name in enumerate(BANK_FILES):
        of_month = [
            (number, line)
            for number, line in enumerate(lines, start=1)
            if MONTH_STARTS[month] <= line.day < MONTH_STARTS[month + 1]
        ]
        texts[name] = writers[month](month, balance, of_month)
        balance += sum(line.amount for _, line in of_month)
    return texts


def _amount(minor: int) -> str:
    return format_amount(minor, "USD")


def _ends(month: int) -> tuple[str, str]:
    return date_of(MONTH_STARTS[month]).isoformat(), date_of(MONTH_STARTS[month + 1] - 1).isoformat()


def _ofx(month: int, opening: int, lines: list[tuple[int, BankLine]]) -> str:
    first, last = (text.replace("-", "") for text in _ends(month))
    rows = [
        "<STMTTRN>"
        f"<TRNTYPE>{'CREDIT' if line.amount > 0 else 'DEBIT'}"
        f"<DTPOSTED>{date_of(line.day):%Y%m%d}"
        f"<TRNAMT>{_amount(line.amount)}"
        f"<FITID>{MONTHS[month]}-{number:05d}"
        f"<NAME>{line.counterparty}"
        f"<MEMO>{line.memo}"
        "</STMTTRN>"
        for number, line in lines
    ]
    closing = opening + sum(line.amount for _, line in lines)
    head = [
        "OFXHEADER:100", "DATA:OFXSGML", "VERSION:102", "SECURITY:NONE", "ENCODING:USASCII", "CHARSET:1252",
        "COMPRESSION:NONE", "OLDFILEUID:NONE", "NEWFILEUID:NONE", "",
        "<OFX>",
        f"<SIGNONMSGSRSV1><SONRS><STATUS><CODE>0<SEVERITY>INFO</STATUS><DTSERVER>{last}235959<LANGUAGE>ENG</SONRS>"
        "</SIGNONMSGSRSV1>",
        "<BANKMSGSRSV1><STMTTRNRS><TRNUID>1<STATUS><CODE>0<SEVERITY>INFO</STATUS>",
        f"<STMTRS><CURDEF>USD<BANKACCTFROM><BANKID>000000001<ACCTID>{ACCOUNT}<ACCTTYPE>CHECKING</BANKACCTFROM>",
        f"<BANKTRANLIST><DTSTART>{first}<DTEND>{last}",
    ]  # fmt: skip
    foot = [
        "</BANKTRANLIST>",
        f"<LEDGERBAL><BALAMT>{_amount(closing)}<DTASOF>{last}</LEDGERBAL>",
        "</STMTRS></STMTTRNRS></BANKMSGSRSV1>",
        "</OFX>",
    ]
    return "\n".join([*head, *rows, *foot, ""])


def _camt_balance(code: str, amount: int, day: str) -> str:
    sign = "CRDT" if amount >= 0 else "DBIT"
    return (
        f'<Bal><Tp><CdOrPrtry><Cd>{code}</Cd></CdOrPrtry></Tp><Amt Ccy="USD">{_amount(abs(amount))}</Amt>'
        f"<CdtDbtInd>{sign}</CdtDbtInd><Dt><Dt>{day}</Dt></Dt></Bal>"
    )


def _camt_entry(number: int, line: BankLine) -> str:
    credit = line.amount > 0
    party = "Dbtr" if credit else "Cdtr"
    return (
        f'<Ntry><NtryRef>{number:05d}</NtryRef><Amt Ccy="USD">{_amount(abs(line.amount))}</Amt>'
        f"<CdtDbtInd>{'CRDT' if credit else 'DBIT'}</CdtDbtInd><Sts>BOOK</Sts>"
        f"<BookgDt><Dt>{date_of(line.day)}</Dt></BookgDt><ValDt><Dt>{date_of(line.day)}</Dt></ValDt>"
        f"<AcctSvcrRef>{line.day:03d}{number:05d}</AcctSvcrRef>"
        f"<BkTxCd><Domn><Cd>PMNT</Cd><Fmly><Cd>{'RCDT' if credit else 'ICDT'}</Cd><SubFmlyCd>OTHR</SubFmlyCd></Fmly></Domn></BkTxCd>"
        f"<NtryDtls><TxDtls><RltdPties><{party}><Nm>{line.counterparty}</Nm></{party}></RltdPties>"
        f"<RmtInf><Ustrd>{line.memo}</Ustrd></RmtInf></TxDtls></NtryDtls></Ntry>"
    )


def _camt(month: int, opening: int, lines: list[tuple[int, BankLine]]) -> str:
    first, last = _ends(month)
    closing = opening + sum(line.amount for _, line in lines)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<Document xmlns="urn:iso:std:iso:20022:tech:xsd:camt.053.001.02"><BkToCstmrStmt>',
        f"<GrpHdr><MsgId>STMT-{MONTHS[month]}</MsgId><CreDtTm>{last}T23:59:59</CreDtTm></GrpHdr>",
        f"<Stmt><Id>{MONTHS[month]}</Id><CreDtTm>{last}T23:59:59</CreDtTm>",
        f"<FrToDt><FrDtTm>{first}T00:00:00</FrDtTm><ToDtTm>{last}T23:59:59</ToDtTm></FrToDt>",
        f"<Acct><Id><Othr><Id>{ACCOUNT}</Id></Othr></Id><Ccy>USD</Ccy></Acct>",
        _camt_balance("OPBD", opening, first),
        _camt_balance("CLBD", closing, last),
    ]
    entries = [_camt_entry(number, line) for number, line in lines]
    return "\n".join([*head, *entries, "</Stmt></BkToCstmrStmt></Document>", ""])


def _csv(_month: int, opening: int, lines: list[tuple[int, BankLine]]) -> str:
    balances = list(accumulate((line.amount for _, line in lines), initial=opening))[1:]
    rows = [
        ",".join(
            [
                f"{date_of(line.day):%m/%d/%Y}",
                f"{number:05d}",
                line.counterparty,
                line.memo,
                _amount(line.amount) if line.amount > 0 else "",
                _amount(-line.amount) if line.amount < 0 else "",
                _amount(balance),
            ]
        )
        for (number, line), balance in zip(lines, balances, strict=True)
    ]
    return "\n".join(["Booked,Line,Party,Text,Paid in,Paid out,Balance after", *rows, ""])
