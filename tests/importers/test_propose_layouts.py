"""Invented export layouts of all four kinds: the proposed mapping must read each to the right canonical values."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import pytest

from importers.mapping import parse_mapping
from importers.preview import render_preview
from importers.propose import Proposal, propose_mapping

ZONE = "America/New_York"


@dataclass(frozen=True)
class Reading:
    """A proposal, and the rows as they read with it."""

    proposal: Proposal
    rows: list[dict[str, str]]

    def column(self, field: str) -> list[str]:
        return [row.get(field, "") for row in self.rows]


def propose_and_read(
    path: Path,
    content: str | bytes,
    *,
    kind: str | None = None,
    currency: str = "USD",
    answers: tuple[str, ...] = (),
) -> Reading:
    """Writes a file, proposes its mapping, answers questions by taking the "#" from their lines, and reads it all."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    proposal = propose_mapping(path, source="somewhere", kind=kind, currency=currency, shop_zone=ZONE)
    text = proposal.toml
    for answer in answers:
        assert f"\n# {answer}" in text, text
        text = text.replace(f"\n# {answer}", f"\n{answer}")
    mapping = parse_mapping(text, "proposal")
    return Reading(proposal, render_preview(path, mapping, currency=currency, shop_zone=ZONE, rows=10_000))


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


ORDERS_REPEATED = """\
Order number,Order date,SKU,Product,Category,Qty,Unit price,Discount,Shipping,Tax,Total,Country,Ship state,Buyer name
#1001,2031-04-01 09:00,MUG-W,Mug white,mug,2,12.50,5.00,4.00,1.60,38.10,US,NY,A Person
#1001,2031-04-01 09:00,TEE-M,Tee M,shirt,1,12.50,5.00,4.00,1.60,38.10,US,NY,A Person
#1002,2031-04-02 10:00,MUG-W,Mug white,mug,1,12.50,0.00,4.00,1.00,17.50,US,CA,B Person
#1003,2031-04-03 10:00,TEE-M,Tee M,shirt,3,12.50,2.50,0.00,2.80,37.80,US,TX,C Person
"""


def test_orders_with_repeated_order_fields(tmp_path: Path) -> None:
    """One row a line, order fields on each: the discount is the order's, as the totals prove; names stay outside."""
    reading = propose_and_read(tmp_path / "orders.csv", ORDERS_REPEATED)
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "orders"
    assert reading.column("order_discount") == ["5.00", "5.00", "0.00", "2.50"]
    assert reading.column("line_discount") == ["", "", "", ""]
    assert reading.column("unit_price") == ["12.50"] * 4
    assert reading.column("total") == ["38.10", "38.10", "17.50", "37.80"]
    assert reading.column("ship_region") == ["NY", "NY", "CA", "TX"]
    assert "Buyer name" not in reading.proposal.toml


ORDERS_FIRST_LINE = """\
Sales order\tPlaced\tPaid total\tCurrency\tDelivery\tVAT\tItem code\tItem title\tPieces\tPrice each\tLine discount
SO-2001\t03/04/2031\t29.00\tGBP\t3.00\t0.00\tP1\tPoster\t2\t14.00\t2.00
SO-2001\t\t\t\t\t\tP2\tSticker\t0\t1.00\t0.00
SO-2002\t25/04/2031\t17.00\tGBP\t3.00\t0.00\tP1\tPoster\t1\t14.00\t0.00
SO-2003\t26/04/2031\t31.00\tGBP\t3.00\t0.00\tP1\tPoster\t1\t14.00\t0.00
SO-2003\t\t\t\t\t\tP3\tPrint\t1\t14.00\t0.00
"""


def test_orders_with_order_fields_on_the_first_line(tmp_path: Path) -> None:
    """Tabs; order fields only on the first line of an order; the day first, told by the 25th."""
    reading = propose_and_read(tmp_path / "sales.tsv", ORDERS_FIRST_LINE, currency="GBP")
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "orders"
    assert 'order_fields = "first-line"' in reading.proposal.toml
    assert reading.column("placed_at") == ["2031-04-03", "2031-04-03", "2031-04-25", "2031-04-26", "2031-04-26"]
    assert reading.column("total") == ["29.00", "29.00", "17.00", "31.00", "31.00"]
    assert reading.column("line_discount") == ["2.00", "0.00", "0.00", "0.00", "0.00"]


ORDERS_FRENCH = """\
Commande;Date de commande;Produit;Quantité;Prix unitaire;Remise;Frais de port;TVA;Total TTC;Adresse
10001;14/04/2031 08:05;Mug;2;1 250,00;-100,00;4,90;416,65;2 404,90;1 rue Quelconque
10002;15/04/2031 19:45;Affiche;1;24,90;0,00;4,90;4,97;29,80;2 rue Quelconque
10003;30/04/2031 23:30;Mug;1;12,50;-2,50;0,00;1,67;10,00;3 rue Quelconque
"""


def test_orders_in_french_with_tax_inside(tmp_path: Path) -> None:
    """Blanks for thousands, negative discounts, and prices that contain the tax, as the totals prove."""
    reading = propose_and_read(tmp_path / "commandes.csv", ORDERS_FRENCH.encode("cp1252"), currency="EUR")
    assert reading.proposal.questions == ()
    assert reading.proposal.kind == "orders"
    assert reading.column("unit_price")[0] == "1250.00"
    assert reading.column("order_discount") == ["100.00", "0.00", "2.50"]
    assert reading.column("prices_include_tax") == ["yes"] * 3
    assert reading.column("total") == ["2404.90", "29.80", "10.00"]
    assert reading.column("placed_at")[2] == "2031-04-30 23:30:00"


ORDERS_LINE_TOTALS = """\
order id,created at,sku,quantity,line total,order total
5001,2031-04-01,A,2,20.00,35.00
5001,2031-04-01,B,3,15.00,35.00
5002,2031-04-02,A,1,10.00,10.00
5003,2031-04-02,B,2,10.00,10.00
"""


def test_orders_with_line_totals_only(tmp_path: Path) -> None:
    """No price of one piece: the line's total is taken as the price of one, so that the order adds up."""
    reading = propose_and_read(tmp_path / "export.csv", ORDERS_LINE_TOTALS, kind="orders")
    assert reading.proposal.questions == ()
    assert reading.column("quantity") == ["1"] * 4
    assert reading.column("unit_price") == ["20.00", "15.00", "10.00", "10.00"]


ORDERS_AMBIGUOUS = """\
order no,order date,item,qty,price,total
1,03/04/2031,Mug,1,10.00,10.00
2,05/04/2031,Mug,2,10.00,20.00
3,12/04/2031,Mug,1,10.00,10.00
"""


@pytest.mark.parametrize(("format", "first"), [("%d/%m/%Y", "2031-04-03"), ("%m/%d/%Y", "2031-03-04")])
def test_orders_with_ambiguous_dates(tmp_path: Path, format: str, first: str) -> None:
    """No day above 12: day and month are asked about, and either answer is one line of the mapping."""
    answer = f'date_formats = ["{format}"]'
    reading = propose_and_read(tmp_path / "orders.csv", ORDERS_AMBIGUOUS, kind="orders", answers=(answer,))
    (question,) = reading.proposal.questions
    assert "day and month could be either way round" in question.what
    assert f"`{answer}`" in question.next_step
    assert reading.column("placed_at")[0] == first


def test_an_unanswered_question_keeps_the_file_out(tmp_path: Path) -> None:
    """The mapping of a file with ambiguous dates parses, but reads nothing until the question is answered."""
    from ledger_tools.errors import LedgerError

    with pytest.raises(LedgerError, match="03/04/2031"):
        propose_and_read(tmp_path / "orders.csv", ORDERS_AMBIGUOUS, kind="orders")


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
