"""Invented layouts of banks' statements: the proposed mapping must read each to the right canonical values."""

from __future__ import annotations

from pathlib import Path

import pytest
from proposing import ZONE, propose_and_read

from importers.propose import propose_mapping
from ledger_tools.errors import LedgerError

BANK_BALANCE = """\
Posting date,Description,Amount,Running balance
2031-04-03,Transfer from card processor,27.95,1027.95
2031-04-02,Account fee,-5.00,1000.00
2031-04-01,"Paper, ink",-45.10,1005.00
2031-03-31,Opening deposit,50.10,1050.10
"""


def test_bank_with_running_balance(tmp_path: Path) -> None:
    """Signed amounts proven by the running balance, newest line first."""
    reading = propose_and_read(tmp_path / "checking.csv", BANK_BALANCE)
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "bank"
    assert reading.column("amount") == ["27.95", "-5.00", "-45.10", "50.10"]
    assert reading.column("balance")[0] == "1027.95"
    assert reading.column("memo")[2] == "Paper, ink"
    assert any("newest line first" in note for note in reading.proposal.notes)


BANK_TWO_COLUMNS = """\
Account statement April 2031;;;;
Buchungstag;Verwendungszweck;Soll;Haben;Saldo
01.04.2031;Miete Lager;850,00;;4.150,00
02.04.2031;Auszahlung Zahlungsdienst;;1.020,50;5.170,50
15.04.2031;Kontogebühr;9,90;;5.160,60
"""


def test_bank_with_two_amount_columns_and_a_title(tmp_path: Path) -> None:
    """A title row above the header, money out and in as two columns, German marks, cp1252."""
    reading = propose_and_read(tmp_path / "umsaetze.csv", BANK_TWO_COLUMNS.encode("cp1252"), currency="EUR")
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "bank"
    assert "header_row = 2" in reading.proposal.toml
    assert reading.column("amount") == ["-850.00", "1020.50", "-9.90"]
    assert reading.column("memo")[2] == "Kontogebühr"
    assert reading.column("at")[2] == "2031-04-15"


BANK_NO_HEADER = """\
04/14/2031,-45.10,954.90,INK AND PAPER
04/15/2031,27.95,982.85,CARD PROCESSOR PAYOUT
04/16/2031,-5.00,977.85,MONTHLY FEE
04/17/2031,100.00,1077.85,OWNER
"""


def test_bank_without_header(tmp_path: Path) -> None:
    """No header: the amount and the balance are told apart by the running sum."""
    reading = propose_and_read(tmp_path / "statement.csv", BANK_NO_HEADER, kind="bank")
    assert reading.proposal.questions == ()
    assert reading.column("amount") == ["-45.10", "27.95", "-5.00", "100.00"]
    assert reading.column("balance") == ["954.90", "982.85", "977.85", "1077.85"]
    assert reading.column("memo")[1] == "CARD PROCESSOR PAYOUT"


STATEMENT = """\
OFXHEADER:100
DATA:OFXSGML

<OFX><BANKMSGSRSV1></BANKMSGSRSV1></OFX>
"""


def test_a_statement_needs_no_mapping(tmp_path: Path) -> None:
    """A bank's own format is refused with the advice to import it as it is."""
    path = tmp_path / "statement.ofx"
    path.write_text(STATEMENT)
    with pytest.raises(LedgerError, match="is a statement in OFX: it needs no mapping"):
        propose_mapping(path, source="somewhere", kind=None, currency="USD", shop_zone=ZONE)
