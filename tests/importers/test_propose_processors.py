"""Invented layouts of processors' exports: the proposed mapping must read each to the right canonical values."""

from __future__ import annotations

from pathlib import Path

import pytest
from proposing import propose_and_read

PROCESSOR_PLAIN = """\
Transaction ID,Date (UTC),Type,Order No.,Amount,Fee,Net,Currency,Customer e-mail
t1,2031-04-01 02:00:00,Payment,#1001,20.00,0.88,19.12,USD,someone@example.com
t2,2031-04-01 11:00:00,Payment,#1002,30.00,1.17,28.83,USD,other@example.com
t3,2031-04-02 10:00:00,Refund,#1001,-20.00,0.00,-20.00,USD,someone@example.com
t4,2031-04-03 10:00:00,Transfer,,-27.95,0.00,-27.95,USD,
"""


def test_processor_with_plain_columns(tmp_path: Path) -> None:
    """A comma file with UTC times: kinds by words, the number out of "#1001", times moved to the shop's zone."""
    reading = propose_and_read(tmp_path / "activity.csv", PROCESSOR_PLAIN)
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "processor"
    assert reading.column("kind") == ["charge", "charge", "refund", "payout"]
    assert reading.column("at")[0] == "2031-03-31 22:00:00"
    assert reading.column("gross") == ["20.00", "30.00", "-20.00", "-27.95"]
    assert reading.column("fee") == ["0.88", "1.17", "0.00", "0.00"]
    assert reading.column("net") == ["19.12", "28.83", "-20.00", "-27.95"]
    assert 'reference_pattern = "(\\\\d+)$"' in reading.proposal.toml


PROCESSOR_NEGATIVE_FEES = """\
Ref;Booked at;What;Shop order;Gross amount;Processing fee;Net amount
P-1;14.04.2031 09:30;Sale;1001;1.020,00;-29,88;990,12
P-2;15.04.2031 10:00;Sale;1002;30,00;-1,17;28,83
P-3;15.04.2031 18:45;Refund;1001;-20,00;0,30;-19,70
P-4;16.04.2031 00:15;Chargeback;1002;-30,00;-15,00;-45,00
P-5;17.04.2031 08:00;Payout;;-954,25;0,00;-954,25
P-6;18.04.2031 08:00;Payout;;954,25;0,00;954,25
"""


def test_processor_with_decimal_commas_and_negative_fees(tmp_path: Path) -> None:
    """Semicolons, decimal commas, points for thousands, fees that cost shown negative, a payout that came back."""
    reading = propose_and_read(tmp_path / "balance.csv", PROCESSOR_NEGATIVE_FEES, currency="EUR")
    assert reading.proposal.questions == ()
    assert reading.column("kind") == ["charge", "charge", "refund", "dispute", "payout", "payout_returned"]
    assert reading.column("gross")[0] == "1020.00"
    assert reading.column("fee") == ["29.88", "1.17", "-0.30", "15.00", "0.00", "0.00"]
    assert reading.column("net")[3] == "-45.00"
    assert reading.column("at")[3] == "2031-04-16 00:15:00"
    assert reading.column("currency") == ["EUR"] * 6


PROCESSOR_GERMAN = """\
Transaktionsnummer;Datum;Uhrzeit;Typ;Bestellnummer;Währung;Brutto;Gebühr;Netto;Empfänger
A1;01.05.2031;08:15:00;Zahlung;SO-1001;EUR;24,90;-0,97;23,93;Jemand Beispiel
A2;02.05.2031;23:59:59;Zahlung;SO-1002;EUR;1.249,00;-36,47;1.212,53;Jemand Anders
A3;13.05.2031;10:00:00;Rückerstattung;SO-1001;EUR;-24,90;0,00;-24,90;Jemand Beispiel
A4;14.05.2031;10:00:00;Auszahlung;;EUR;-1.211,56;0,00;-1.211,56;
"""


def test_processor_in_german_and_cp1252(tmp_path: Path) -> None:
    """German names in cp1252, date and time in two columns, references "SO-1001"; the recipient's name is left out."""
    reading = propose_and_read(
        tmp_path / "konto.csv", PROCESSOR_GERMAN.encode("cp1252"), kind="processor", currency="EUR"
    )
    assert reading.proposal.questions == ()
    assert reading.column("kind") == ["charge", "charge", "refund", "payout"]
    assert reading.column("at")[1] == "2031-05-02 23:59:59"
    assert reading.column("net")[1] == "1212.53"
    assert reading.column("fee")[1] == "36.47"
    assert 'reference_pattern = "(\\\\d+)$"' in reading.proposal.toml
    assert "Empfänger" not in reading.proposal.toml


PROCESSOR_WITHOUT_NET = """\
id|created|event|payment id|invoice|amount usd|fee usd|batch
e1|2031-04-01T09:00:00-04:00|sale captured|pay1|1001|20.00|0.88|b7
e2|2031-04-01T23:30:00-07:00|sale captured|pay2|1002|30.00|1.17|b7
e3|2031-04-02T09:00:00-04:00|sale refunded|pay1|1001|-5.00|0.00|b7
e4|2031-04-03T09:00:00-04:00|bank transfer||| -42.95 |0.00|b7
"""


def test_processor_without_net(tmp_path: Path) -> None:
    """No net column: it is derived; offsets in the time stamps decide the local day; bars between the cells."""
    reading = propose_and_read(tmp_path / "events.txt", PROCESSOR_WITHOUT_NET)
    assert reading.proposal.questions == ()
    assert reading.column("kind") == ["charge", "charge", "refund", "payout"]
    assert reading.column("at")[1] == "2031-04-02 02:30:00"
    assert reading.column("net") == ["19.12", "28.83", "-5.00", "-42.95"]
    assert reading.column("payment_ref")[:3] == ["pay1", "pay2", "pay1"]
    assert reading.column("payout_id") == ["b7"] * 4
    assert reading.column("order_ref")[:3] == ["1001", "1002", "1001"]


PROCESSOR_NO_HEADER = """\
x-1,2031-04-01 09:00:00,payment,1001,20.00,0.88,19.12,USD
x-2,2031-04-01 11:00:00,payment,1002,30.00,1.17,28.83,USD
x-3,2031-04-02 10:00:00,refund,1001,-20.00,0.00,-20.00,USD
x-4,2031-04-03 10:00:00,payout,,-27.95,0.00,-27.95,USD
"""


def test_processor_without_header(tmp_path: Path) -> None:
    """No header: columns are found by values alone, and gross, fee and net by the sum that they make."""
    reading = propose_and_read(tmp_path / "raw.csv", PROCESSOR_NO_HEADER, kind="processor")
    assert "header_row = 0" in reading.proposal.toml
    assert reading.column("event_id") == ["x-1", "x-2", "x-3", "x-4"]
    assert reading.column("kind") == ["charge", "charge", "refund", "payout"]
    assert reading.column("order_ref")[:3] == ["1001", "1002", "1001"]
    assert reading.column("gross") == ["20.00", "30.00", "-20.00", "-27.95"]
    assert reading.column("fee")[:2] == ["0.88", "1.17"]
    assert reading.column("net")[:2] == ["19.12", "28.83"]


PROCESSOR_MINOR = """\
event,type,time,order,gross_cents,fee_cents,net_cents
1,charge,2031-04-01T09:00:00Z,1001,2000,88,1912
2,charge,2031-04-01T10:00:00Z,1002,3000,117,2883
3,payout,2031-04-02T10:00:00Z,,-4795,0,-4795
"""


def test_processor_in_cents_by_name(tmp_path: Path) -> None:
    """Whole cents, told by the columns' names: nothing is asked."""
    reading = propose_and_read(tmp_path / "gateway.csv", PROCESSOR_MINOR)
    assert reading.proposal.questions == ()
    assert reading.column("gross") == ["20.00", "30.00", "-47.95"]
    assert reading.column("fee") == ["0.88", "1.17", "0.00"]


PROCESSOR_WHOLE = PROCESSOR_MINOR.replace("_cents", "")


@pytest.mark.parametrize(("answer", "gross"), [("minor", "20.00"), ("major", "2000.00")])
def test_processor_in_cents_without_evidence(tmp_path: Path, answer: str, gross: str) -> None:
    """Whole numbers without any hint are asked about; either answer is one line."""
    reading = propose_and_read(tmp_path / "gateway.csv", PROCESSOR_WHOLE, answers=(f'amounts_in = "{answer}"',))
    assert ["no amount has decimals: are they whole cents?"] == [
        question.what for question in reading.proposal.questions
    ]
    assert reading.column("gross")[0] == gross


PROCESSOR_STATUS = """\
Activity ID,Created on,Activity,Status,Order,Total,Charges
1,04/15/2031 1:05 PM,Sale,Completed,1001,$20.00,$0.88
2,04/15/2031 2:05 PM,Sale,Declined,1002,$30.00,$0.00
3,04/16/2031 3:05 PM,Sale,Pending,1003,$30.00,$0.00
4,04/17/2031 12:05 AM,Refund,Completed,1001,($20.00),$0.00
"""


def test_processor_with_declined_rows(tmp_path: Path) -> None:
    """Rows on which no money moved become declared skips; month first, told by the 15th; brackets for minus."""
    reading = propose_and_read(tmp_path / "activity.csv", PROCESSOR_STATUS, kind="processor")
    assert reading.proposal.questions == ()
    assert reading.column("event_id") == ["1", "4"]
    assert reading.column("gross") == ["20.00", "-20.00"]
    assert reading.column("net") == ["19.12", "-20.00"]
    assert reading.column("at") == ["2031-04-15 13:05:00", "2031-04-17 00:05:00"]


BLANKS = """\
 reference  booked      kind     amount
 0001       20310401    payment   11.77
 0002       20310412    payment   12.00
 0003       20310413    refund    -5.00
"""


def test_columns_between_runs_of_blanks(tmp_path: Path) -> None:
    """Columns cut by runs of blanks, and dates as eight digits."""
    reading = propose_and_read(tmp_path / "ledger.txt", BLANKS, kind="processor")
    assert reading.column("event_id") == ["0001", "0002", "0003"]
    assert reading.column("at") == ["2031-04-01", "2031-04-12", "2031-04-13"]
    assert reading.column("net") == ["11.77", "12.00", "-5.00"]
