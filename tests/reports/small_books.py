"""A small shop whose every figure can be checked by hand: eleven orders, each with one thing that can happen to one.

Base currency USD, zone America/Denver. What an order is there for stands beside it. Names and numbers are invented.
"""

from pathlib import Path

import duckdb

from ledger_tools.build import build_database, read_inputs
from ledger_tools.export_rows import Export
from ledger_tools.folder import BooksFolder
from ledger_tools.settings import parse_settings

SETTINGS = """
name = "Small shop"
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "shop"
kind = "orders"
currency = "USD"

[[source]]
name = "card-processor"
kind = "processor"
currency = "USD"

[[source]]
name = "fulfilment-wallet"
kind = "wallet"
currency = "USD"

[[source]]
name = "checking"
kind = "bank"
currency = "USD"

[[bank_rule]]
pattern = "account fee"
account = "Expenses:BankFees"
"""

#: 1001 all columns, part refunded; 1002 cancelled, refunded, yet charged; 1003 in dispute; 1004 no payment, nothing
#: made; 1005 promotional; 1006 settled in another currency; 1007 charged twice; 1008 reprinted, sold below cost; 1009 a
#: gift card, nothing to make; 1010 no rate known; 1011 placed in May, dispute lost.
ORDERS = """\
order_id,placed_at,cancelled_at,shipped_at,currency,sku,item,category,quantity,unit_price,line_discount,order_discount,\
shipping_charged,tax,tip,total,ship_country,ship_region,channel
1001,2031-04-02T10:00:00,,2031-04-05T09:00:00,USD,TEE,Night tee,T-shirts,2,20.00,0,5.00,6.00,4.00,1.00,61.00,US,CO,web
1001,2031-04-02T10:00:00,,2031-04-05T09:00:00,USD,MUG,Moon mug,Mugs,1,15.00,0,5.00,6.00,4.00,1.00,61.00,US,CO,web
1002,2031-04-03T10:00:00,2031-04-03T12:00:00,,USD,MUG,Moon mug,Mugs,1,15.00,0,0,5.00,0,0,20.00,US,WA,web
1003,2031-04-04T10:00:00,,2031-04-07T09:00:00,USD,TEE,Night tee,T-shirts,1,20.00,0,0,5.00,0,0,25.00,US,WA,market
1004,2031-04-05T10:00:00,,,USD,TEE,Night tee,T-shirts,1,20.00,0,0,5.00,0,0,25.00,US,WA,web
1005,2031-04-06T10:00:00,,2031-04-08T09:00:00,USD,TEE,Night tee,T-shirts,1,20.00,20.00,0,0,0,0,0.00,US,OR,web
1006,2031-04-07T10:00:00,,2031-04-09T09:00:00,CAD,MUG,Moon mug,Mugs,2,20.00,0,0,10.00,0,0,50.00,CA,ON,web
1007,2031-04-08T10:00:00,,2031-04-10T09:00:00,USD,MUG,Moon mug,Mugs,1,15.00,0,0,5.00,0,0,20.00,US,CO,web
1008,2031-04-30T23:30:00,,2031-05-03T09:00:00,USD,MUG,Moon mug,Mugs,1,5.00,1.00,0,5.00,0,0,9.00,US,CO,web
1009,2031-04-10T10:00:00,,,USD,CARD,Gift card,Gift card,1,25.00,0,0,0,0,0,25.00,,,web
1010,2031-04-11T10:00:00,,,GBP,TEE,Night tee,T-shirts,1,18.00,0,0,0,0,0,18.00,GB,,web
1011,2031-05-02T10:00:00,,2031-05-05T09:00:00,USD,TEE,Night tee,T-shirts,1,20.00,0,0,5.00,0,0,25.00,US,WA,market
"""

PROCESSOR = """\
event_id,kind,at,order_ref,payment_ref,currency,gross,fee,net,charged_currency,charged_amount,payout_id,memo
ch-1,charge,2031-04-02T10:01:00,1001,pay-1,USD,61.00,2.07,58.93,,,po-1,
ch-2,charge,2031-04-03T10:01:00,1002,pay-2,USD,20.00,0.88,19.12,,,,
re-2,refund,2031-04-03T12:01:00,1002,pay-2,USD,-20.00,0,-20.00,,,,
ch-3,charge,2031-04-04T10:01:00,1003,pay-3,USD,25.00,1.03,23.97,,,,
di-3,dispute,2031-04-20T10:00:00,1003,pay-3,USD,-25.00,15.00,-40.00,,,,
ch-6,charge,2031-04-07T10:01:00,#1006,pay-6,USD,36.50,1.36,35.14,CAD,50.00,,
ch-7,charge,2031-04-08T10:01:00,1007,pay-7,USD,20.00,0.88,19.12,,,,
ch-8,charge,2031-05-01T00:01:00,1008,pay-8,USD,9.00,0.56,8.44,,,,
ch-9,charge,2031-04-10T10:01:00,1009,pay-9,USD,25.00,1.03,23.97,,,,
re-1,refund,2031-05-04T10:00:00,1001,pay-1,USD,-10.00,0,-10.00,,,,
ch-11,charge,2031-05-02T10:01:00,1011,pay-11,USD,25.00,1.03,23.97,,,,
di-11,dispute,2031-05-10T10:00:00,1011,pay-11,USD,-25.00,15.00,-40.00,,,,
dl-11,dispute_lost,2031-05-20T10:00:00,1011,pay-11,USD,0,0,0,,,,
fe-1,fee,2031-04-30T10:00:00,,,USD,-10.00,0,-10.00,,,,monthly
po-1,payout,2031-04-12T10:00:00,,,USD,-100.00,0,-100.00,,,po-1,
"""

WALLET = """\
event_id,kind,at,order_ref,reason,sku,quantity,production,shipping,discount,tax,total,currency,shipped_at
w-0,top_up,2031-04-01T09:00:00,,,,,,,,,500.00,USD,
w-1a,charge,2031-04-03T09:00:00,1001,order,TEE,2,18.00,4.00,0,0.50,22.50,USD,2031-04-05T09:00:00
w-1b,charge,2031-04-03T09:00:00,1001,order,MUG,1,6.00,1.00,0,0.25,7.25,USD,2031-04-05T09:00:00
w-2,charge,2031-04-04T09:00:00,1002,order,MUG,1,6.00,4.00,0,0,10.00,USD,
w-3,charge,2031-04-05T09:00:00,SO-1003,order,TEE,1,9.00,4.00,0,0,13.00,USD,2031-04-07T09:00:00
w-5,charge,2031-04-07T09:00:00,1005,order,TEE,1,9.00,4.00,0,0,13.00,USD,2031-04-08T09:00:00
w-6,charge,2031-04-08T09:00:00,1006,order,MUG,2,12.00,8.00,0,0,20.00,USD,2031-04-09T09:00:00
w-7a,charge,2031-04-09T09:00:00,1007,order,MUG,1,6.00,4.00,0,0,10.00,USD,2031-04-10T09:00:00
w-7b,charge,2031-04-09T09:05:00,1007,order,MUG,1,6.00,4.00,0,0,10.00,USD,2031-04-10T09:00:00
w-7s,charge,2031-04-09T10:00:00,1007,sample,MUG,1,,,,,7.00,USD,
w-8a,charge,2031-05-02T09:00:00,1008,order,MUG,1,6.00,4.00,0,0,10.00,USD,2031-05-03T09:00:00
w-8b,charge,2031-05-09T09:00:00,1008,reprint,MUG,1,6.00,3.00,0,0,9.00,USD,2031-05-10T09:00:00
w-8c,credit,2031-05-11T09:00:00,1008,reprint,,,,,,,2.00,USD,
w-11,charge,2031-05-03T09:00:00,1011,order,TEE,1,9.00,4.00,0,0,13.00,USD,2031-05-05T09:00:00
w-9,fee,2031-04-15T09:00:00,,subscription,,,,,,,29.00,USD,
"""

BANK = """\
at,amount,currency,memo
2031-04-02,-500.00,USD,WALLET TOP-UP W-0
2031-04-14,100.00,USD,PAYOUT PO-1
2031-04-30,-12.00,USD,MONTHLY ACCOUNT FEE
"""

HAND = """
2030-01-01 open Expenses:Marketing
2030-12-31 * "Opening balance"
  Assets:Bank:Checking           1000.00 USD
  Equity:OpeningBalances        -1000.00 USD
2030-12-31 * "Cards printed last year"
  Expenses:Marketing               40.00 USD
  Assets:Bank:Checking            -40.00 USD
2031-04-06 * "Bubble wrap" ^order-1001
  Expenses:COGS:Shipping            0.75 USD
  Assets:Bank:Checking             -0.75 USD
"""


def write_books_folder(folder: Path, settings: str = SETTINGS, hand: str = HAND, **exports: str) -> None:
    """Write a books folder as `init` and `import` leave it, not built yet; exports are replaced by kind."""
    texts = {"orders": ORDERS, "processor": PROCESSOR, "wallet": WALLET, "bank": BANK, **exports}
    for source in parse_settings(settings).source:
        place = folder / "exports" / source.name
        place.mkdir(parents=True)
        (place / "all.csv").write_text(texts[source.kind], encoding="utf-8")
    for name in ("mappings", "journal"):
        (folder / name).mkdir()
    (folder / "shop.toml").write_text(settings, encoding="utf-8")
    (folder / "hand.beancount").write_text(hand, encoding="utf-8")


def build_small_books(
    folder: Path, settings: str = SETTINGS, hand: str = HAND, **exports: str
) -> duckdb.DuckDBPyConnection:
    """The database of the small shop, open; exports can be replaced by kind: orders, processor, wallet, bank."""
    books = BooksFolder(folder / "books")
    write_books_folder(books.root, settings, hand, **exports)
    archived = [Export(source, file.name, file) for source, file in books.export_files()]
    scratch = folder / "scratch"
    scratch.mkdir()
    database, _ = build_database(scratch, read_inputs(books), archived, lambda _: None)
    return database
