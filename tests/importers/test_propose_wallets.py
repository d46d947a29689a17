"""Invented layouts of wallets' exports: the proposed mapping must read each to the right canonical values."""

from __future__ import annotations

from pathlib import Path

from proposing import propose_and_read

WALLET_PLAIN = """\
Entry ID,Date,Type,Store order,Reason,SKU,Pieces,Item cost,Shipping cost,Discount,VAT,Amount,Destination
w1,2031-04-01 08:00:00,Deposit,,,,,,,,,200.00,
w2,2031-04-01 09:00:00,Order charge,#1001,order,MUG-W,2,11.00,4.50,-1.00,0.00,-14.50,US
w3,2031-04-02 09:00:00,Order charge,#1002-1,order,TEE-M,1,9.25,4.00,0.00,0.00,-13.25,US
w4,2031-04-02 09:30:00,Order charge,#1002-2,order,MUG-W,1,5.50,4.50,0.00,0.00,-10.00,US
w5,2031-04-03 09:00:00,Refund,#1001,order,MUG-W,1,5.50,0.00,0.00,0.00,5.50,US
w6,2031-04-04 09:00:00,Storage,,storage,,,,,,,-3.00,
"""


def test_wallet_with_signed_amounts(tmp_path: Path) -> None:
    """Signed amounts become positive ones, the kind gives the direction; parts of an order lose their part number."""
    reading = propose_and_read(tmp_path / "partner.csv", WALLET_PLAIN)
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "wallet"
    assert reading.column("kind") == ["top_up", "charge", "charge", "charge", "credit", "fee"]
    assert reading.column("total") == ["200.00", "14.50", "13.25", "10.00", "5.50", "3.00"]
    assert reading.column("discount")[1] == "1.00"
    assert reading.column("production")[1] == "11.00"
    assert 'reference_pattern = "(\\\\d+)(?:-\\\\d{1,2})?$"' in reading.proposal.toml


WALLET_SEMICOLON = """\
Buchung;Zeitpunkt;Vorgang;Auftrag;Herstellung;Versand;MwSt;Gesamt
F-1;01.04.2031 07:00:00;Aufladung;;;;;500,00
F-2;01.04.2031 08:00:00;Bestellung;4711;11,00;4,50;2,95;18,45
F-3;22.04.2031 08:00:00;Bestellung;4712;22,00;4,50;5,04;31,54
F-4;23.04.2031 08:00:00;Gutschrift;4711;11,00;0,00;2,09;13,09
"""


def test_wallet_in_german(tmp_path: Path) -> None:
    """German words for kinds and parts; amounts without a sign; the parts make the total on each row."""
    reading = propose_and_read(tmp_path / "guthaben.csv", WALLET_SEMICOLON, currency="EUR")
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "wallet"
    assert reading.column("kind") == ["top_up", "charge", "charge", "credit"]
    assert reading.column("event_id") == ["F-1", "F-2", "F-3", "F-4"]
    assert reading.column("order_ref")[1:] == ["4711", "4712", "4711"]
    assert reading.column("tax")[1] == "2.95"
    assert reading.column("total") == ["500.00", "18.45", "31.54", "13.09"]


WALLET_TWO_COLUMNS = """\
Movement,When,Kind of movement,Client reference,Credit,Debit
10,2031-04-01,Funds added,,100.00,
11,2031-04-02,Production order,1001,,14.50
12,2031-04-03,Reimbursement,1001,14.50,
13,2031-04-04,Reprint,1001,,7.00
"""


def test_wallet_with_two_amount_columns(tmp_path: Path) -> None:
    """Credits and debits in two columns, of which each row fills one: the filled one is the total."""
    reading = propose_and_read(tmp_path / "wallet.csv", WALLET_TWO_COLUMNS)
    assert reading.proposal.questions == ()
    assert reading.column("kind") == ["top_up", "charge", "credit", "charge"]
    assert reading.column("total") == ["100.00", "14.50", "14.50", "7.00"]


WALLET_BY_SUMS = """\
Movement no,Booked,Kind of movement,Order,Making,Posting,Duty,Reduction,Altogether
1,2031-04-01 07:00,Filled up,,,,,,100.00
2,2031-04-02 07:00,Made and sent,71,11.00,4.50,0.70,1.10,15.10
3,2031-04-03 07:00,Made and sent,72,5.50,4.50,0.00,0.00,10.00
4,2031-04-03 08:00,Made and sent,73,9.25,6.00,1.20,0.00,16.45
"""


def test_wallet_whose_sums_tell_the_total(tmp_path: Path) -> None:
    """A total whose name says nothing is the column that production, shipping, tax and discount make."""
    reading = propose_and_read(tmp_path / "partner.csv", WALLET_BY_SUMS, kind="wallet")
    assert reading.proposal.questions == ()
    assert reading.column("kind") == ["top_up", "charge", "charge", "charge"]
    assert reading.column("total") == ["100.00", "15.10", "10.00", "16.45"]
    assert reading.column("discount") == ["", "1.10", "0.00", "0.00"]
