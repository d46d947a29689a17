"""Money that was under way when the books began: what completes it is found, and what doesn't come is on the list."""

import datetime
from collections.abc import Iterator
from decimal import Decimal

import pytest
from shop_books import Row, ShopBooks, build_books

from ledger_tools.checks import check_control_accounts, check_in_transit
from ledger_tools.errors import LedgerError
from ledger_tools.open_items import OpenItem, list_open_items
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.settlement import refuse_own_account

SETTINGS = """
currency = "USD"
time_zone = "America/Denver"

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

[[stated_balance]]
source = "checking"
on = 2031-04-30
amount = "1480.00"
"""

#: Opened with payouts of 300.00 and 45.00 and a top-up of 80.00 under way; a top-up of 60.00 never reached the wallet, and
#: the wallet holds one of 25.00 that the bank pays in April. What each line is for stands in its text.
HAND = """
2031-03-31 * "Opening balances"
  Assets:Bank:Checking       1000.00 USD
  Assets:InTransit:Payouts    300.00 USD
  Assets:InTransit:TopUps      80.00 USD
  Equity:Owner
2031-03-31 * "Payout of the other processor"
  Assets:InTransit:Payouts     45.00 USD
  Equity:Owner
2031-03-31 * "Top-up that never came"
  Assets:InTransit:TopUps      60.00 USD
  Equity:Owner
2031-03-31 * "Top-up that the wallet granted at once"
  Assets:Wallet:FulfilmentWallet  25.00 USD
  Assets:InTransit:TopUps        -25.00 USD
2031-04-20 * "A payout that the processor took back, written off"
  Expenses:Chargebacks         12.00 USD
  Assets:InTransit:Payouts    -12.00 USD
"""


def line(on: str, amount: str, memo: str) -> Row:
    """A bank line of April."""
    return {"at": f"2031-04-{on}", "amount": amount, "currency": "USD", "memo": memo}


EXPORTS: dict[str, list[Row]] = {
    "checking": [
        line("02", "180.00", "TRANSFER, of the 300.00"),
        line("03", "120.00", "TRANSFER, the rest of it"),
        line("04", "-25.00", "CARD PURCHASE, the top-up granted before"),
        line("08", "205.00", "TRANSFER, April's own"),
        line("30", "0.00", "END"),
    ],
    "card-processor": [
        {"event_id": "p-1", "kind": "payout", "at": "2031-04-05", "gross": "-205.00", "net": "-205.00", "currency": "USD"},
        {"event_id": "p-2", "kind": "payout", "at": "2031-04-15", "gross": "-12.00", "net": "-12.00", "currency": "USD"},
    ],
    "fulfilment-wallet": [
        {"event_id": "t-1", "kind": "top_up", "at": "2031-04-01", "total": "80.00", "currency": "USD"},
    ],
}  # fmt: skip


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """Books that begin with money under way."""
    built = build_books(tmp_path_factory.mktemp("written"), SETTINGS, EXPORTS, HAND)
    yield built
    built.connection.close()


@pytest.fixture(scope="module")
def items(books: ShopBooks) -> list[OpenItem]:
    """What is open at the end of April."""
    return list_open_items(books.connection, datetime.date(2031, 4, 30))


def test_what_was_under_way_is_completed(books: ShopBooks) -> None:
    """One payout in two deposits, a top-up that the wallet shows later, one that the bank pays later, one written off."""
    balances = books.balances()
    assert (Decimal("45.00"), Decimal("60.00")) == (
        balances["Assets:InTransit:Payouts"],
        balances["Assets:InTransit:TopUps"],
    )
    assert "Assets:Suspense" not in balances


def test_what_did_not_come_is_listed(items: list[OpenItem]) -> None:
    """A payout that no bank line holds, and a top-up that no wallet does; nothing of what was completed."""
    assert [
        ("payout-not-in-bank", 4500, "2031-03-31/payouts/2", "hand.beancount"),
        ("bank-line-without-rule", -6000, "2031-03-31/top-ups/2", "hand.beancount"),
    ] == [(item.kind, item.amount, item.event_id, item.source) for item in items]


def test_books_and_statement_agree_from_both_sides(books: ShopBooks) -> None:
    """The one payout that is under way stands on the statement's side, and both sides agree to the cent."""
    report = report_reconciliation(books.connection, None)
    (sides,) = (each for each in report.sides if each.account == "Assets:Bank:Checking")
    assert ([("hand.beancount 2031-03-31/payouts/2", 4500)], 0) == (
        [(each.name, each.amount) for each in sides.statement_lines],
        sides.remaining,
    )


def test_identities_hold(books: ShopBooks) -> None:
    """In transit is what has not arrived, and each account is the sum of its items."""
    assert [True, True] == [check(books.connection).passed for check in (check_in_transit, check_control_accounts)]


def test_item_is_not_moved_to_what_is_under_way(books: ShopBooks, items: list[OpenItem]) -> None:
    """Money on the way is tied to what completes it; moved there, it would stand twice."""
    with pytest.raises(LedgerError, match="each amount there is tied to what completes it"):
        refuse_own_account(books.connection, items[0], "Assets:InTransit:Payouts")
