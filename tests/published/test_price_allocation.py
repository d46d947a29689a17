"""A bundle's price spread over its parts by stand-alone price.

Sources: ICAI (Institute of Chartered Accountants of India), Final Financial Reporting question bank, chapter 19,
Ind AS 115, pages 32, 33 and 12,
https://vsmartdownload.com/downloads/bookpreview/cafinal/M22/compiler/Volume%202/CH%2019/files/basic-html/page32.html
(and page33, page12); International GAAP 2019, chapter 28, Example 28.53, https://whosread.com/26922/711249.
Exactness: READ. The books round to whole units of money, so one unit here is one whole unit there.
"""

import pytest

from ledger_tools.money import allocate


@pytest.mark.parametrize(
    ("allocated", "price", "standalone"),
    [
        pytest.param([85500, 41800, 62700], 190000, [90000, 44000, 66000], id="question bank p. 32"),
        pytest.param([40000, 60000], 100000, [44000, 66000], id="question bank p. 33, pair sold together"),
        pytest.param([83333, 16667], 100000, [100000, 20000], id="question bank p. 12, hardware and accessory"),
        pytest.param([68807, 12844, 18349], 100000, [75000, 14000, 20000], id="International GAAP Example 28.53"),
    ],
)
def test_allocation(allocated: list[int], price: int, standalone: list[int]) -> None:
    """Largest remainders give the published parts, and these sum to the price."""
    assert allocated == allocate(price, standalone)
    assert price == sum(allocated)
