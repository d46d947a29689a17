"""Tax on top of a price and tax contained in a price.

Sources, each READ:
- HM Revenue and Customs, "Calculating VAT for VAT-inclusive and VAT-exclusive prices",
  http://www.hmrc.gov.uk/vat/forms-rates/rates/calculating.htm
- accountant's note "VAT fraction" of 2014-06-11 (1/6 and 1/21),
  http://itsrelative.co.uk/headlines/2014-06-11-vat-fraction
- VAT adviser's note "What's the new VAT fraction?" (1/6 and 7/47),
  https://www.vatark.co.uk/vat/howto/whats-the-new-vat-fraction/
- Australian Taxation Office, media release 2000/36 (1/11 of the whole invoice, from half a cent up),
  https://paperzz.com/doc/8687312/certainty-for-business-in-gst-calculations-and-rounding-p...
"""

import pytest

from ledger_tools.money import round_half_up
from ledger_tools.tax_rounding import sales_tax, tax_within


@pytest.mark.parametrize(("tax", "gross", "net", "rate"), [(20_00, 120_00, 100_00, "20"), (5_00, 105_00, 100_00, "5")])
def test_tax_on_top(tax: int, gross: int, net: int, rate: str) -> None:
    """Net price, tax and gross price of the published pairs agree in both directions."""
    assert [tax] == sales_tax([net], [rate])
    assert gross == net + tax
    assert tax == tax_within(gross, rate)


@pytest.mark.parametrize(
    ("tax", "gross", "rate", "fraction"),
    [
        (10_00, 60_00, "20", (1, 6)),
        (3_81, 80_00, "5", (1, 21)),
        (4_00, 24_00, "20", (1, 6)),
        (3_57, 24_00, "17.5", (7, 47)),
    ],
)
def test_tax_fraction(tax: int, gross: int, rate: str, fraction: tuple[int, int]) -> None:
    """The tax in a price is the published fraction of it."""
    assert tax == tax_within(gross, rate)
    assert tax == round_half_up(gross * fraction[0], fraction[1])


@pytest.mark.parametrize(("tax", "gross"), [(1_00, 11_00), (0, 5), (1, 6), (1, 16), (2, 17)])
def test_total_invoice_rule(tax: int, gross: int) -> None:
    """One division by eleven of the invoice's sum, to the nearer cent (rule READ, figures DERIVED)."""
    assert tax == tax_within(gross, "10")
