"""Transfers between own accounts, cheques written by hand, and a card that pays: nothing is counted twice."""

import datetime
from collections.abc import Iterator

import pytest
from shop_books import Row, ShopBooks, build_books

from ledger_tools.checks import check_control_accounts
from ledger_tools.errors import LedgerError
from ledger_tools.open_items import list_open_items
from ledger_tools.reports.controls import list_controls
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.settings import parse_settings
from ledger_tools.settlement import Balance, open_balance

SETTINGS = """
currency = "USD"
time_zone = "America/Denver"

[[source]]
name = "fulfilment-wallet"
kind = "wallet"
currency = "USD"

[[source]]
name = "checking"
kind = "bank"
currency = "USD"

[[source]]
name = "savings"
kind = "bank"
currency = "USD"

[[source]]
name = "visiting"
kind = "bank"
currency = "USD"

[[source]]
name = "blue"
kind = "bank"
card = true
currency = "USD"

[[stated_balance]]
source = "checking"
on = 2031-04-30
amount = "-1761.69"

[[stated_balance]]
source = "savings"
on = 2031-04-13
amount = "1.00"

[[stated_balance]]
source = "savings"
on = 2031-04-30
amount = "310.99"

[[stated_balance]]
source = "blue"
on = 2031-04-08
amount = "-6.00"

[[bank_rule]]
pattern = "to blue"
account = "Liabilities:Card:Blue"

[[bank_rule]]
pattern = "to savings"
account = "Assets:Bank:Savings"

[[bank_rule]]
pattern = "to visiting"
account = "Assets:Bank:Visiting"

[[bank_rule]]
pattern = "software"
account = "Expenses:Subscriptions"
"""

CHECKING, SAVINGS, CARD = "Assets:Bank:Checking", "Assets:Bank:Savings", "Liabilities:Card:Blue"
TRANSFERS, TOP_UPS = "Assets:InTransit:Transfers", "Assets:InTransit:TopUps"


def line(on: str, amount: str, memo: str) -> Row:
    """A bank line of April."""
    return {"at": f"2031-04-{on}", "amount": amount, "currency": "USD", "memo": memo}


#: What each line is for stands in its text. The card's lines are as its bank sees them: a purchase is negative.
EXPORTS: dict[str, list[Row]] = {
    "checking": [
        line("01", "-75.00", "TO BLUE, before the card's first statement"),
        line("03", "1000.00", "START"),
        line("08", "-200.00", "TO BLUE, both sides known"),
        line("12", "-300.00", "TRANSFER, told by the text alone"),
        line("20", "-50.00", "TO SAVINGS, not there yet"),
        line("21", "-60.00", "TO VISITING, which has no export"),
        line("22", "-66.70", "CHECK 0090"),
        line("23", "-2000.00", "CHECK 5386, booked with another amount"),
        line("24", "-9.99", "NEITHER RULE NOR TWIN"),
    ],
    "savings": [line("02", "1.00", "INTEREST"), line("14", "300.00", "DEPOSIT"), line("25", "9.99", "NO WORD OF IT")],
    "blue": [
        line("03", "-40.00", "PARTNER W-1000"),
        line("04", "-29.00", "SOFTWARE"),
        line("09", "200.00", "THANK YOU"),
    ],
    "fulfilment-wallet": [
        {"event_id": "w-1000", "kind": "top_up", "at": "2031-04-03", "total": "40.00", "currency": "USD"}
    ],
}

HAND = """
2031-04-18 * "Cheque 90, ribbons"
  Expenses:Ribbons             66.70 USD
  Assets:InTransit:Transfers  -66.70 USD
2031-04-18 * "Cheque 91, not in the bank yet"
  Expenses:Ribbons              9.80 USD
  Assets:InTransit:Transfers   -9.80 USD
2031-04-19 * "Cheque 5386, dues"
  Expenses:Dues              1760.00 USD
  Assets:InTransit:Transfers  -1760.00 USD
"""


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """Three bank accounts, a card that pays a top-up, and cheques by hand."""
    built = build_books(tmp_path_factory.mktemp("transfers"), SETTINGS, EXPORTS, HAND)
    yield built
    built.connection.close()


def test_each_account_has_its_own_lines_and_no_more(books: ShopBooks) -> None:
    """Every account's balance is the sum of its statement's lines, but for what came before its first statement."""
    sums = {
        CHECKING: "-1761.69",
        SAVINGS: "310.99",
        CARD: "206.00",  # lines 131.00, and 75.00 that was paid before the first statement
        "Assets:Bank:Visiting": "60.00",
    }
    balances = books.balances()
    assert sums == {name: str(balances[name]) for name in sums}


def test_in_transit_is_what_has_one_end(books: ShopBooks) -> None:
    """Under way are the transfer that savings has not seen, the open cheque, and what a cheque's amount differs by."""
    balances = books.balances()
    assert "280.20" == str(balances[TRANSFERS])  # 50.00 - 9.80 + 2,000.00 - 1,760.00
    assert TOP_UPS not in balances


def test_what_nobody_calls_a_transfer_is_none(books: ShopBooks) -> None:
    """Two lines that would fit by amount and days stay two lines without a rule: nothing says that they are a transfer."""
    rows = books.connection.execute(
        "SELECT event_id FROM fact_bank WHERE posting = 'unknown' ORDER BY posted_on, event_id"
    ).fetchall()
    assert [("20310402:100:1",), ("20310403:100000:1",), ("20310424:-999:1",), ("20310425:999:1",)] == rows


def test_pairs(books: ShopBooks) -> None:
    """Each end stands with its twin; what is still under way stands alone."""
    rows = books.connection.execute(
        """SELECT list(coalesce(source.name, 'by hand') || ' ' || side.amount ORDER BY end_no) FROM transfer_end AS side
           LEFT JOIN source USING (source_no) GROUP BY coalesce(pair_no, end_no) ORDER BY min(moved_on), min(end_no)"""
    ).fetchall()
    assert [
        ["checking -20000", "blue 20000"],
        ["checking -30000", "savings 30000"],
        ["by hand -980"],
        ["by hand -6670", "checking -6670"],
        ["by hand -176000", "checking -200000"],
        ["checking -5000"],
    ] == [row[0] for row in rows]


@pytest.mark.parametrize(
    ("account", "on", "under_way", "not_booked"),
    [
        pytest.param(CHECKING, 30, [-980], [-24000, 100000, -999], id="cheques, and lines that no rule knows"),
        pytest.param(SAVINGS, 13, [30000], [100], id="a transfer that arrives on the next day"),
        pytest.param(SAVINGS, 30, [5000], [100, 999], id="a transfer that has not arrived"),
        pytest.param(CARD, 8, [20000], [], id="a payment of the card that arrives on the next day"),
    ],
)
def test_sides(account: str, on: int, under_way: list[int], not_booked: list[int], books: ShopBooks) -> None:
    """What is under way stands with the account that lacks it; both sides of each account agree."""
    report = report_reconciliation(books.connection, datetime.date(2031, 4, on))
    (sides,) = [sides for sides in report.sides if sides.account == account]
    assert under_way == [each.amount for each in sides.statement_lines]
    assert not_booked == [each.amount for each in sides.book_lines]
    assert 0 == sides.remaining


def test_transfer_without_its_other_side_is_open(books: ShopBooks) -> None:
    """A transfer that the other account's statement never shows is an open item after its days, with what it holds."""
    items = list_open_items(books.connection, datetime.date(2031, 5, 30))
    (item,) = [item for item in items if item.event_id == "20310420:-5000:1"]
    assert ("bank-line-without-rule", 5000) == (item.kind, item.amount)
    assert item.cause.startswith("the other side of this transfer is on no statement of savings")
    assert Balance(TRANSFERS, "USD", 5000) == open_balance(books.connection, item)
    assert item.id not in {item.id for item in list_open_items(books.connection, datetime.date(2031, 4, 21))}


def test_balance_of_a_card_is_what_is_owed(books: ShopBooks) -> None:
    """The settings state what is owed as a positive number; in the books it is a credit."""
    report = report_reconciliation(books.connection, datetime.date(2031, 4, 8))
    (row,) = [row for row in report.accounts if row.account == CARD]
    assert (600, 600, 0) == (row.stated, row.books, row.difference)
    assert "card" == next(sides.kind for sides in report.sides if sides.account == CARD)


@pytest.mark.parametrize("kind", ["processor", "wallet", "orders"])
def test_only_a_bank_can_be_a_card(kind: str) -> None:
    """The settings say so of a source of another kind."""
    text = SETTINGS.replace('name = "blue"\nkind = "bank"', f'name = "blue"\nkind = "{kind}"')
    with pytest.raises(LedgerError, match="only a source of the kind bank can be a card, 'blue'"):
        parse_settings(text)


def test_control_account_lists_what_is_under_way(books: ShopBooks) -> None:
    """A transfer that has arrived is no item; a cheque and its bank line of another amount are one, with the rest."""
    (control,) = list_controls(books.connection, ("transfers_in_transit",), datetime.date(2031, 4, 30))
    assert 28020 == control.balance
    assert [
        ("by hand, line 18", -980),
        ("checking 20310423:-200000:1", 24000),
        ("checking 20310420:-5000:1", 5000),
    ] == [(item.name, item.amount) for item in control.items]


def test_control_accounts_are_their_items(books: ShopBooks) -> None:
    """Transfers under way are the sum of their ends, and the check that says so notices an end that is lost."""
    assert check_control_accounts(books.connection).passed
    connection = books.connection
    connection.execute("CREATE TEMP TABLE transfer_end AS SELECT * FROM books.transfer_end WHERE amount <> -5000")
    broken = check_control_accounts(connection)
    connection.execute("DROP TABLE temp.transfer_end")
    assert (False, "transfers: items say 230.20, books 280.20 USD") == (broken.passed, broken.detail)
