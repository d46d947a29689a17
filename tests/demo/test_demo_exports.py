"""The export files, read with nothing but csv: balances run true, faults are there, no customer leaves the shop."""

from __future__ import annotations

from collections import Counter
from decimal import Decimal

from demo_shop import Shop

from ledger_tools.demo.draft import LAST_NAMES
from ledger_tools.demo.scenario import MONTHS


def _cents(text: str) -> int:
    return int(Decimal(text or "0") * 100)


def _comma_cents(text: str) -> int:
    return _cents(text.replace(".", "").replace(",", "."))


def _card(shop: Shop) -> dict[str, dict[str, str]]:
    """Rows of the card processor's exports by id; repeated rows once."""
    return {row["Entry"]: row for month in MONTHS for row in shop.rows("card-processor", month, ";")}


def _wallet(shop: Shop) -> list[dict[str, str]]:
    return [row for month in MONTHS for row in shop.rows("fulfilment-wallet", month, "\t")]


def _orders(shop: Shop) -> dict[str, list[dict[str, str]]]:
    """Rows of each order in the last export that holds it."""
    orders: dict[str, list[dict[str, str]]] = {}
    for month in MONTHS:
        of_file: dict[str, list[dict[str, str]]] = {}
        for row in shop.rows("shop", month, ","):
            of_file.setdefault(row["Order"], []).append(row)
        orders |= of_file
    return orders


def test_card_processor_balance_runs_to_the_truth(shop: Shop) -> None:
    """The changes of each month's file sum to the balance that the truth states for its end."""
    seen: dict[str, int] = {}
    for month, (_, accounts) in zip(MONTHS, sorted(shop.truth.balances.items()), strict=True):
        seen |= {row["Entry"]: int(row["Change"]) for row in shop.rows("card-processor", month, ";")}
        assert accounts["Assets:Processor:CardProcessor"]["USD"] == sum(seen.values())


def test_euro_processor_balances_run_to_the_truth(shop: Shop) -> None:
    """Euros and dollars at the euro processor sum to the truth's balances, month by month."""
    balances = Counter({"EUR": 0, "USD": 0})
    for month, (_, accounts) in zip(MONTHS, sorted(shop.truth.balances.items()), strict=True):
        for row in shop.rows("euro-processor", month, ";"):
            balances[row["Balance"]] += _comma_cents(row["After cost"])
        assert accounts["Assets:Processor:EuroProcessor"] == dict(balances)


def test_wallet_never_runs_dry_and_ends_at_the_truth(shop: Shop) -> None:
    """The wallet's balance after each row is never negative, and at month's end it is the truth's."""
    balance, lowest = 0, 0
    for month, (_, accounts) in zip(MONTHS, sorted(shop.truth.balances.items()), strict=True):
        for row in shop.rows("fulfilment-wallet", month, "\t"):
            balance += _cents(row["Sum"]) * (1 if row["Type"] in ("Filled up", "Credited") else -1)
            lowest = min(lowest, balance)
        assert accounts["Assets:Wallet:FulfilmentWallet"]["USD"] == balance
    assert lowest == 0


def test_net_is_gross_less_fee_but_for_the_planted_row(shop: Shop) -> None:
    """Exactly one row of each, processor and partner, does not add up: the planted ones."""
    wrong = [id for id, row in _card(shop).items() if int(row["Amount"]) + int(row["Cost"]) != int(row["Change"])]
    assert [shop.fault("event-does-not-add-up", "card-processor")["event_id"]] == wrong
    wrong = []
    for row in _wallet(shop):
        parts = [_cents(row[name]) for name in ("Making", "Posting", "Duty")]
        if row["Article"] and sum(parts) - _cents(row["Reduction"]) != _cents(row["Sum"]):
            wrong.append(row["Movement"])
    assert [shop.fault("event-does-not-add-up", "fulfilment-wallet")["event_id"]] == wrong


def test_orders_add_up_but_for_the_planted_one(shop: Shop) -> None:
    """Lines, discounts, postage, tip and tax give the total of every order except the planted one."""
    wrong = []
    for number, rows in _orders(shop).items():
        head = rows[0]
        total = sum(int(row["Pieces"]) * _cents(row["Each"]) - _cents(row["Off line"]) for row in rows)
        total += _cents(head["Postage"]) + _cents(head["Gratuity"]) - _cents(head["Off order"])
        total += _cents(head["Sales tax"]) if head["Tax is"] == "on top" else 0
        if total != _cents(head["To pay"]):
            wrong.append(number)
    assert [shop.fault("order-does-not-add-up", "shop")["order_id"]] == wrong


def test_dollar_orders_sum_to_the_totals(shop: Shop) -> None:
    """Items, discounts, shipping and tips of every dollar order are in the truth as the export states them."""
    place = {number: position for position, number in enumerate(shop.truth.order_ids)}
    compared = 0
    for number, rows in _orders(shop).items():
        head = rows[0]
        if head["Money"] != "USD":
            continue
        made = [row for row in rows if row["Range"] != "Gift card"]
        expected = {
            "items": sum(int(row["Pieces"]) * _cents(row["Each"]) for row in made),
            "discounts": sum(_cents(row["Off line"]) for row in rows) + _cents(head["Off order"]),
            "shipping_charged": _cents(head["Postage"]),
            "tips": _cents(head["Gratuity"]),
        }
        assert expected == {name: int(shop.truth.figures[name][place[number]]) for name in expected}
        compared += 1
    assert compared > 300


def test_processing_fees_and_costs_sum_to_the_truth(shop: Shop) -> None:
    """Fees on dollar charges and the partner's charges by order are the truth's, from the files alone."""
    fees: Counter[str] = Counter()
    for row in _card(shop).values():
        if row["Type"] in ("Payment", "Repayment") and row["Order no"]:
            fees[row["Order no"].removeprefix("#")] -= int(row["Cost"])
    production: Counter[str] = Counter()
    for row in _wallet(shop):
        if row["Purpose"] == "order":
            sign = -1 if row["Type"] == "Credited" else 1
            number = row["Order reference"].split("-")[0]
            production[number] += sign * (_cents(row["Making"]) - _cents(row["Reduction"]))
    for position, number in enumerate(shop.truth.order_ids):
        assert production[number] == int(shop.truth.figures["production"][position])
        if number in fees:
            assert fees[number] == int(shop.truth.figures["processing_fees"][position])


def test_faults_between_orders_payments_and_charges_are_the_planted_ones(shop: Shop) -> None:
    """What the files hold without an answer is exactly what the truth calls a planted fault."""
    orders = _orders(shop)
    paid: Counter[str] = Counter()
    for row in _card(shop).values():
        if row["Type"] == "Payment" and row["Order no"]:
            paid[row["Order no"].removeprefix("#")] += int(row["Paid amount"] or row["Amount"])
    web = [number for number, rows in orders.items() if rows[0]["Money"] != "EUR" and not rows[0]["Payment key"]]
    due = {number: _cents(orders[number][0]["To pay"]) - _cents(orders[number][0]["By gift card"]) for number in web}
    unpaid = [number for number in web if due[number] and number not in paid]
    assert [shop.fault("order-without-payment", "shop")["order_id"]] == unpaid
    differing = [number for number in web if number in paid and paid[number] != due[number]]
    assert [shop.fault("payment-differs", "shop")["order_id"]] == differing
    assert {"9900417"} == set(paid) - set(orders)

    charged = Counter(row["Order reference"].split("-")[0] for row in _wallet(shop) if row["Purpose"] == "order")
    assert {"9900882"} == set(charged) - set(orders)
    sent = {number for number, rows in orders.items() if rows[0]["Sent"]}
    assert [shop.fault("order-without-fulfilment", "shop")["order_id"]] == sorted(sent - set(charged))


def test_charged_twice_is_the_planted_order(shop: Shop) -> None:
    """One order alone was charged for more pieces than it holds."""
    ordered = {number: sum(int(row["Pieces"]) for row in rows) for number, rows in _orders(shop).items()}
    made: Counter[str] = Counter()
    for row in _wallet(shop):
        if row["Purpose"] == "order" and row["Type"] != "Credited":
            made[row["Order reference"].split("-")[0]] += int(row["Count"])
    twice = [number for number in ordered if made[number] > ordered[number]]
    assert [shop.fault("charged-twice", "fulfilment-wallet")["order_id"]] == twice


def test_overlapping_exports_hold_one_amendment_and_lack_one_order(shop: Shop) -> None:
    """Of the days that both shop exports hold, one order differs in what it charges and one is gone."""
    first, second = (shop.rows("shop", month, ",") for month in MONTHS[:2])
    shared = {row["Order"]: row for row in first if row["Ordered"] >= "2031-01-25" and row["To pay"]}
    later = {row["Order"]: row for row in second if row["To pay"]}
    assert [shop.fault("vanished", "shop")["order_id"]] == sorted(set(shared) - set(later))
    amended = [number for number in shared if number in later and shared[number]["To pay"] != later[number]["To pay"]]
    assert [shop.fault("amended", "shop")["order_id"]] == amended
    filled = [number for number in shared if number in later and not shared[number]["Sent"] and later[number]["Sent"]]
    assert 1 == len(filled)


def test_repeated_processor_rows_say_the_same(shop: Shop) -> None:
    """The card processor's overlap repeats its rows with the same amounts."""
    february = {row["Entry"]: row["Change"] for row in shop.rows("card-processor", "2031-02", ";")}
    repeated = {row["Entry"]: row["Change"] for row in shop.rows("card-processor", "2031-03", ";")}
    shared = february.keys() & repeated.keys()
    assert len(shared) > 5
    assert {id: february[id] for id in shared} == {id: repeated[id] for id in shared}


def test_last_evening_is_in_its_own_month_under_a_later_stamp(shop: Shop) -> None:
    """A payment at 23:30 on 31 January is in January's file, with a time stamp of 1 February in UTC."""
    last = shop.rows("card-processor", "2031-01", ";")[-1]
    assert "2031-02-01 06:30:20" == last["Time (UTC)"]


def test_viral_day_stands_out(shop: Shop) -> None:
    """One day has about sixty orders and no other has more than fifteen."""
    counts = Counter(shop.truth.placed_on).most_common(2)
    assert "2031-03-14" == counts[0][0]
    assert 45 <= counts[0][1] <= 75
    assert counts[1][1] <= 15


def test_names_of_customers_stand_in_the_shop_exports_only(shop: Shop) -> None:
    """The invented names are in the shop's files, and in no file of processors, partner or bank."""
    for file in (shop.folder / "exports").rglob("*-2031-*"):
        holds = any(name in file.read_text() for name in LAST_NAMES)
        assert (file.parent.name == "shop") == holds
