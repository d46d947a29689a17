"""A shop in two states whose every figure of sales tax can be checked by hand; amounts in USD.

A: taxed, with shipping, discount and tip, a part refunded in February. B: exempt. C: a marketplace collects. D: a gift card
and a mug, taxed, never refunded. E: sent where the shop is not registered. The return of January is paid in February.
"""

SETTINGS = """
[[bank_rule]]
pattern = "revenue office"
account = "Liabilities:SalesTax:US-CO"

[[registration]]
jurisdiction = "US-CO"
filing = "monthly"
since = 2031-01-01
due_day = 25
allowance_percent = "2.5"

[[registration]]
jurisdiction = "US-WY"
filing = "quarterly"
since = 2031-01-01
"""

_CO = {"ship_country": "US", "ship_region": "CO"}

ORDERS = [
    {
        "order_id": "A", "placed_at": "2031-01-05", "category": "Mugs", "quantity": "2", "unit_price": "50.00",
        "order_discount": "5.00", "shipping_charged": "10.00", "tax": "8.40", "tip": "2.00", "total": "115.40", **_CO,
        "refunded_items": "20.00", "refunded_tip": "2.00", "refunded_tax": "1.60",
    },
    {
        "order_id": "B", "placed_at": "2031-01-20", "category": "Mugs", "quantity": "1", "unit_price": "50.00",
        "tax": "0", "total": "50.00", **_CO,
    },
    {
        "order_id": "C", "placed_at": "2031-01-21", "category": "Mugs", "quantity": "1", "unit_price": "30.00",
        "tax": "2.40", "total": "32.40", "tax_collected_by": "marketplace", **_CO,
    },
    {
        "order_id": "D", "placed_at": "2031-01-31", "category": "Gift card", "quantity": "1", "unit_price": "25.00",
        "tax": "1.60", "total": "46.60", **_CO,
    },
    {
        "order_id": "D", "placed_at": "2031-01-31", "category": "Mugs", "quantity": "1", "unit_price": "20.00",
        "tax": "1.60", "total": "46.60", **_CO,
    },
    {
        "order_id": "E", "placed_at": "2031-02-03", "category": "Mugs", "quantity": "1", "unit_price": "40.00",
        "total": "40.00", "ship_country": "US", "ship_region": "TX",
    },
]  # fmt: skip

BANK = [{"at": "2031-02-24", "amount": "-10.00", "currency": "USD", "memo": "REVENUE OFFICE JANUARY"}]

#: A balance from before the registration, the tax of a sale that nobody paid, and the allowance for filing in time.
HAND = """
2031-01-01 open Expenses:BadDebts
2031-01-01 open Income:FilingAllowance
2030-12-31 * "Opening balance"
  Equity:OpeningBalances           30.00 USD
  Liabilities:SalesTax:US-CO      -30.00 USD
2031-02-10 * "The opening balance is paid by cheque"
  Liabilities:SalesTax:US-CO       30.00 USD
  Assets:Bank:Checking            -30.00 USD
2031-02-15 * "Order D was never paid" ^order-D
  Expenses:BadDebts                45.00 USD
  Liabilities:SalesTax:US-CO        1.60 USD
  Assets:Clearing:Orders          -46.60 USD
2031-02-24 * "Allowance for January"
  Liabilities:SalesTax:US-CO        0.25 USD
  Income:FilingAllowance           -0.25 USD
"""
