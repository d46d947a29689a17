"""Invented layouts of order exports: the proposed mapping must read each to the right canonical values."""

from __future__ import annotations

import datetime
from pathlib import Path

import openpyxl
import pytest
from proposing import ZONE, propose_and_read

from importers.mapping import parse_mapping
from importers.preview import render_preview
from importers.propose import propose_mapping
from ledger_tools.errors import LedgerError

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
    with pytest.raises(LedgerError, match="03/04/2031"):
        propose_and_read(tmp_path / "orders.csv", ORDERS_AMBIGUOUS, kind="orders")


def write_workbook(path: Path) -> None:
    """A workbook with a cover sheet before the sheet of the orders, which has a title above its header."""
    workbook = openpyxl.Workbook()
    cover = workbook.active
    cover.append(["Sales of April"])
    sheet = workbook.create_sheet("Sales")
    sheet.append(["All sales"])
    sheet.append(["Order number", "Order date", "Product", "Qty", "Unit price", "Tax", "Total", "E-mail"])
    moment = datetime.datetime.fromisoformat
    sheet.append(["SO-1", moment("2031-04-01 09:30"), "Mug", 2, 12.5, 2.1, 27.1, "a@example.com"])
    sheet.append(["SO-2", moment("2031-04-02"), "Poster", 1, 20, 0, 20, "b@example.com"])
    sheet.append(["SO-3", moment("2031-04-03 23:59:59"), "Mug", 1, 12.5, 1.05, 13.55, "c@example.com"])
    workbook.save(path)


def test_orders_in_a_workbook(tmp_path: Path) -> None:
    """The sheet that holds most is taken, its title is passed over, dates and numbers are the cells' own."""
    path = tmp_path / "sales.xlsx"
    write_workbook(path)
    proposal = propose_mapping(path, source="somewhere", kind=None, currency="USD", shop_zone=ZONE)
    assert proposal.questions == ()
    assert proposal.kind == "orders"
    mapping = parse_mapping(proposal.toml, "proposal")
    assert (mapping.file.sheet, mapping.file.header_row) == ("Sales", 2)
    rows = render_preview(path, mapping, currency="USD", shop_zone=ZONE)
    assert [row["placed_at"] for row in rows] == ["2031-04-01 09:30:00", "2031-04-02", "2031-04-03 23:59:59"]
    assert [row["total"] for row in rows] == ["27.10", "20.00", "13.55"]
    assert [row["unit_price"] for row in rows] == ["12.50", "20.00", "12.50"]


ORDERS_BY_SUMS = """\
Order,Ordered,Pieces,Each,Postage,Knocked off,All in all,Tax is,Tax sent on by,Sales tax,Back as gift card
71,2031-04-01 07:00,2,10.00,5.50,1.00,26.50,on top,us,2.00,
71,,1,0.00,,,,,,,
72,2031-04-02 07:00,1,10.00,5.50,0.00,16.30,on top,the marketplace,0.80,
73,2031-04-03 07:00,3,10.00,0.00,2.50,27.50,on top,us,0.00,10.00
74,2031-04-04 07:00,1,10.00,5.50,0.50,15.00,on top,us,0.00,
"""


def test_orders_whose_sums_tell_what_names_do_not(tmp_path: Path) -> None:
    """The total and the discount have names that say nothing: they are found because the orders add up with them."""
    reading = propose_and_read(tmp_path / "orders.csv", ORDERS_BY_SUMS, kind="orders")
    assert reading.proposal.questions == ()
    assert reading.column("total") == ["26.50", "26.50", "16.30", "27.50", "15.00"]
    assert reading.column("order_discount") == ["1.00", "1.00", "0.00", "2.50", "0.50"]
    assert reading.column("prices_include_tax") == ["no"] * 5
    assert reading.column("tax_collected_by") == ["shop", "shop", "marketplace", "shop", "shop"]
    assert reading.column("gift_card_paid") == [""] * 5
