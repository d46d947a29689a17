"""Rounding of sales tax under the Streamlined agreement, and under the Australian rule.

Sources of the rules, each READ:
- Streamlined Sales and Use Tax Agreement s. 324 as enacted: R.I. Gen. Laws 44-18.1-25,
  https://webserver.rilegislature.gov/Statutes/TITLE44/44-18.1/44-18.1-25.HTM: the tax is carried to the third decimal
  and rounded up to a whole cent where that digit is greater than four; the seller elects to compute it by item or by
  invoice; state and local tax may be aggregated
- RCW 82.08.054 (Washington), https://app.leg.wa.gov/RCW/default.aspx?cite=82.08.054: the same
- A New Tax System (Goods and Services Tax) Act 1999 (Australia), s. 9-90,
  https://www.ato.gov.au/law/view/print?DocID=PAC%2F19990055%2F9-90&PiT=99991231235958: several supplies on one invoice
  are added before rounding, 0.5 cent upwards

Exactness: the figures are DERIVED from these rules; no state's example with figures was found.
"""

import pytest

from ledger_tools.money import round_half_up
from ledger_tools.tax_rounding import parse_rate, sales_tax


@pytest.mark.parametrize(
    ("tax", "thousandths", "price", "rate"),
    [
        (15, 145, 290, "5"),  # 0.145; half-even would give 0.14
        (5, 45, 90, "5"),  # 0.045; half-even would give 0.04
        (413, 4125, 5000, "8.25"),  # 4.125; half-even would give 4.12
        (95, 951, 1499, "6.35"),  # 0.951865
        (54, 535, 733, "7.30"),  # 0.53509
        (4, 44, 89, "5.01"),  # 0.044589: rounding to 0.045 first would wrongly give 0.05
    ],
)
def test_third_decimal(tax: int, thousandths: int, price: int, rate: str) -> None:
    """The tax is what the third decimal of the exact product says, digits after it cut off."""
    above, below = parse_rate(rate)
    assert thousandths == price * above * 10 // below
    assert tax == thousandths // 10 + (1 if thousandths % 10 > 4 else 0)
    assert [tax] == sales_tax([price], [rate])


def test_item_and_invoice_basis() -> None:
    """Three items at 1.10 and 5 % owe 0.18 item by item and 0.17 on the invoice."""
    assert [18] == sales_tax([110, 110, 110], ["5"], basis="item")
    assert [17] == sales_tax([110, 110, 110], ["5"], basis="invoice")


def test_aggregated_and_separate_rates() -> None:
    """State 6 % and county 1.75 % on 0.20 are 0.02 together, but 0.01 and 0.00 apart."""
    assert [2] == sales_tax([20], ["6", "1.75"], aggregate=True)
    assert [1, 0] == sales_tax([20], ["6", "1.75"], aggregate=False)


def test_several_supplies_on_one_invoice() -> None:
    """Three supplies at 1.05 and 10 % owe 0.315, so 0.32; each alone would owe 0.11 and all 0.33."""
    assert [32] == sales_tax([105, 105, 105], ["10"], basis="invoice")
    assert [33] == sales_tax([105, 105, 105], ["10"], basis="item")
    assert 11 == round_half_up(105 * 10, 100)
