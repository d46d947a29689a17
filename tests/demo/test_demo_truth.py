"""The truth agrees with itself: profit is its parts, totals are sums, stories come out as they are told."""

from __future__ import annotations

from demo_shop import Shop

from ledger_tools.demo import FIGURES, planted_faults
from ledger_tools.demo.simulation import simulate


def _order(shop: Shop, story: str) -> dict[str, int]:
    place = simulate(400, 20310101).positions[story]
    return shop.truth.order(shop.truth.order_ids[place])


def test_totals_are_the_sums_of_the_orders(shop: Shop) -> None:
    """Every total is the sum of its column."""
    assert shop.truth.totals == {name: int(shop.truth.figures[name].sum()) for name in FIGURES}


def test_profit_is_revenue_less_costs(shop: Shop) -> None:
    """Profit of every order is net revenue less direct and payment cost."""
    figures = shop.truth.figures
    revenue = figures["items"] - figures["discounts"] + figures["shipping_charged"] + figures["tips"]
    revenue = revenue - figures["returns"]
    costs = sum(figures[name] for name in FIGURES[FIGURES.index("production") : FIGURES.index("profit")])
    assert revenue.tolist() == figures["net_revenue"].tolist()
    assert (revenue - costs).tolist() == figures["profit"].tolist()


def test_planted_faults_are_of_these_kinds(shop: Shop) -> None:
    """Each kind is planted once, an event that does not add up at the processor and at the partner."""
    expected = [
        "amended",
        "bank-line-without-rule",
        "charged-though-cancelled",
        "charged-twice",
        "cost-above-rate-card",
        "deposit-without-payout",
        "event-does-not-add-up",
        "event-does-not-add-up",
        "fulfilment-without-order",
        "order-does-not-add-up",
        "order-without-fulfilment",
        "order-without-payment",
        "payment-differs",
        "payment-without-order",
        "payout-not-in-bank",
        "tax-rate-unusual",
        "top-up-without-bank-line",
        "vanished",
    ]
    assert expected == [fault.kind for fault in planted_faults(shop.truth)]


def test_lost_dispute_costs_the_payment_and_the_fee(shop: Shop) -> None:
    """The order of the lost dispute bears its whole total as chargeback and 15.00 as fee; the won one bears none."""
    lost, won = _order(shop, "dispute lost"), _order(shop, "dispute won")
    assert (7800, 1500) == (lost["chargebacks"], lost["dispute_fees"])
    assert (0, 0) == (won["chargebacks"], won["dispute_fees"])


def test_full_refund_leaves_no_revenue_and_no_tax(shop: Shop) -> None:
    """A full refund, in dollars, in another currency or in two steps, reverses revenue and tax to the cent."""
    for story in ("refunded with the fee", "refunded in another currency", "refunded in two steps"):
        order = _order(shop, story)
        assert (0, 0) == (order["net_revenue"], order["tax_collected"])
        assert order["items"] > 0
    assert 0 == _order(shop, "refunded with the fee")["processing_fees"]


def test_order_sold_for_nothing_loses_what_it_cost(shop: Shop) -> None:
    """A promotional order has discounts of its goods, no payment and its fulfilment as loss."""
    order = _order(shop, "sold for nothing")
    assert (2600, 2600, 0, 0) == (order["items"], order["discounts"], order["net_revenue"], order["processing_fees"])
    assert order["profit"] == -(order["production"] + order["shipping_cost"] + order["supplier_tax"]) < 0


def test_credited_reprint_costs_nothing(shop: Shop) -> None:
    """Of the six misprints the three that were credited cost nothing, the others production and shipping again."""
    reprints = [_order(shop, f"misprinted batch {number}")["reprints"] for number in range(1, 7)]
    assert [0, 0, 0] == reprints[:3]
    assert [1637, 1637] == reprints[3:5]
    assert 948 + 689 + 38 == reprints[5]


def test_gift_cards_are_owed_at_every_month_end(shop: Shop) -> None:
    """More gift cards are sold than used, so the liability has a credit balance at each month's end."""
    balances = [accounts["Liabilities:GiftCards"]["USD"] for accounts in shop.truth.balances.values()]
    assert all(balance < 0 for balance in balances)
