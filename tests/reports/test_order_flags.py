"""The flags at their edges: orders that just bear one and orders that just don't."""

from collections.abc import Iterator

import duckdb
import pytest
import small_books

from ledger_tools.reports.order_flags import FLAGS
from ledger_tools.reports.order_profit import report_orders

ORDERS = """\
order_id,placed_at,cancelled_at,shipped_at,sku,item,category,quantity,unit_price,shipping_charged,gift_card_paid,total
late-cancel,2031-04-01,2031-04-10,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
early-refund,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
late-refund,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
at-cost,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
below-cost,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
given-back,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
two-parcels,2031-04-01,,2031-04-05,MUG,Mug,Mugs,2,10.00,10.00,0,30.00
unnamed-twice,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,20.00,10.00,0,30.00
dispute-won,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
by-gift-card,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,15.00,15.00
part-paid,2031-04-01,,2031-04-05,MUG,Mug,Mugs,1,10.00,5.00,0,15.00
"""

PAID = [line.partition(",")[0] for line in ORDERS.splitlines()[1:] if "by-gift-card" not in line]
AMOUNTS = {"two-parcels": "30.00", "unnamed-twice": "30.00", "part-paid": "14.00"}

PROCESSOR = "event_id,kind,at,order_ref,payment_ref,currency,gross,fee,net\n" + "".join(
    [
        f"c-{name},charge,2031-04-01,{name},{name},USD,{AMOUNTS.get(name, '15.00')},0,{AMOUNTS.get(name, '15.00')}\n"
        for name in PAID
    ]
    + [
        "r-1,refund,2031-04-03,early-refund,early-refund,USD,-15.00,0,-15.00\n",
        "r-2,refund,2031-04-09,late-refund,late-refund,USD,-15.00,0,-15.00\n",
        "d-1,dispute,2031-04-09,dispute-won,dispute-won,USD,-15.00,0,-15.00\n",
        "d-2,dispute_won,2031-04-19,dispute-won,dispute-won,USD,15.00,0,15.00\n",
    ]
)

WALLET = """\
event_id,kind,at,order_ref,reason,sku,quantity,production,shipping,tax,total,currency
w-1,charge,2031-04-02,late-cancel,order,MUG,1,5.00,4.00,0,9.00,USD
w-2,charge,2031-04-02,early-refund,order,MUG,1,5.00,4.00,0,9.00,USD
w-3,charge,2031-04-02,late-refund,order,MUG,1,5.00,4.00,0,9.00,USD
w-4,charge,2031-04-02,at-cost,order,MUG,1,9.50,5.00,0.50,15.00,USD
w-5,charge,2031-04-02,below-cost,order,MUG,1,9.50,4.00,0.51,14.01,USD
w-6a,charge,2031-04-02,given-back,order,MUG,1,5.00,4.00,0,9.00,USD
w-6b,charge,2031-04-02,given-back,order,MUG,1,5.00,4.00,0,9.00,USD
w-6c,credit,2031-04-12,given-back,,,,5.00,4.00,0,9.00,USD
w-7a,charge,2031-04-02,two-parcels,order,MUG,1,5.00,4.00,0,9.00,USD
w-7b,charge,2031-04-02,two-parcels,order,MUG,1,5.00,4.00,0,9.00,USD
w-8a,charge,2031-04-02,unnamed-twice,order,,,5.00,4.00,0,9.00,USD
w-8b,charge,2031-04-02,unnamed-twice,order,,,5.00,4.00,0,9.00,USD
w-9,charge,2031-04-02,dispute-won,order,MUG,1,5.00,4.00,0,9.00,USD
w-10,charge,2031-04-02,by-gift-card,order,MUG,1,5.00,4.00,0,9.00,USD
w-11,charge,2031-04-02,part-paid,order,MUG,1,5.00,4.00,0,9.00,USD
"""

BANK = "at,amount,currency,memo\n"


@pytest.fixture(scope="module")
def edges(tmp_path_factory: pytest.TempPathFactory) -> Iterator[duckdb.DuckDBPyConnection]:
    """A shop whose orders stand at the edges of the flags."""
    folder = tmp_path_factory.mktemp("edges")
    exports = {"orders": ORDERS, "processor": PROCESSOR, "wallet": WALLET, "bank": BANK}
    with small_books.build_small_books(folder, hand="", **exports) as connection:
        yield connection


@pytest.mark.parametrize(
    ("order_id", "flags"),
    [
        pytest.param("late-cancel", [], id="cancelled after it shipped: the charge is due"),
        pytest.param("early-refund", ["cancelled-but-charged"], id="refunded in full before it shipped"),
        pytest.param("late-refund", [], id="refunded in full after it shipped"),
        pytest.param("at-cost", [], id="costs as much as it brings, goods and shipping"),
        pytest.param("below-cost", ["sold-below-cost"], id="a cent of the partner's tax too much"),
        pytest.param("given-back", [], id="charged twice and credited"),
        pytest.param("two-parcels", [], id="two pieces, charged one by one"),
        pytest.param("unnamed-twice", ["charged-twice"], id="the same charge twice, without a SKU"),
        pytest.param("dispute-won", [], id="a dispute that is decided"),
        pytest.param("by-gift-card", [], id="paid by gift card, nothing left to pay"),
        pytest.param("part-paid", [], id="paid less than the total is an open item, not without payment"),
    ],
)
def test_edge(order_id: str, flags: list[str], edges: duckdb.DuckDBPyConnection) -> None:
    """Each order bears just the flags that its story calls for."""
    found = {order.order_id: list(order.flags) for order in report_orders(edges).orders}
    assert flags == found[order_id]


def test_names_are_words() -> None:
    """Names are lower-case words joined by hyphens, each once, and each says what it means."""
    names = [flag.name for flag in FLAGS]
    assert len(names) == len(set(names))
    assert [] == [name for name in names if not name.replace("-", "").isalpha() or name != name.lower()]
    assert [] == [flag.name for flag in FLAGS if not flag.means]
