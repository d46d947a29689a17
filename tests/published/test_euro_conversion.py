"""Conversion and rounding at the euro changeover.

Sources: Council Regulation (EC) No 1103/97, Article 4 (consolidated 2001-01-01),
https://fantasticsearch.net/law/eu/en?article=1&id=fW4mZpsB1anJoctMQSb5: rates have six significant figures and are not
rounded or cut, inverse rates are not used. Slovenian euro information site, "Rounding rules",
http://evro.si/en/info-for-consumers/rounding-rules/index.html: the nearest cent, exactly half goes up; the figures.
Exactness: READ.
"""

import pytest

from ledger_tools.money import round_half_up


@pytest.mark.parametrize(
    ("cents", "amount_minor", "rate_thousandths"),
    [
        (209, 500_00, 239_640),  # 500 / 239.640 = 2.0864… = 2.09 euro
        (417, 1000_00, 239_640),  # 1000 / 239.640 = 4.1729… = 4.17 euro
    ],
)
def test_conversion(cents: int, amount_minor: int, rate_thousandths: int) -> None:
    """A national amount divided by the unrounded rate is rounded once, to the nearest cent."""
    assert cents == round_half_up(amount_minor * 1000, rate_thousandths)


@pytest.mark.parametrize(("cents", "euro_thousandths"), [(2478, 24_784), (2479, 24_785)])
def test_final_rounding(cents: int, euro_thousandths: int) -> None:
    """24.784 is 24.78 and 24.785, an exact half, is 24.79; half-even would make both 24.78."""
    assert cents == round_half_up(euro_thousandths, 10)
