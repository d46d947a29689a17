"""Figures of U.S. tax forms: gross receipts of information returns, and lines of the form for a sole owner's business.

Sources, each READ unless it says otherwise:
- Form 1099-K, Instructions for Payee (2013, 2016, 2018, Rev. March 2024), 26 CFR 1.6050W-1 and IRS Fact Sheet FS-2025-08 (23
  October 2025): the gross amount is not lowered by fees, refunds, discounts or shipping; the boxes of the months sum to
  box 1a; dated by the transaction; refunds are no transactions; both figures of the network rule must be exceeded. The
  worked figures are DERIVED from these rules; no reconciliation with figures was found in print
- Schedule C (Form 1040) 2024, https://omb.report/icr/202405-1545-024/doc/148262200, and IRS Publication 334, chapter 6:
  numbers and meanings of lines; lines 9 to 26 SECONDARY
- IRS Publication 334, chapter 10, sample return of a clothing shop (2001),
  https://unclefed.com/TaxHelpArchives/2001/HTML/p3341001.html: total sales 397,742 and refunds 1,442; line 3 is DERIVED.
  The page was cut after line 35, so purchases, inventory and expenses are not checked
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from shop_books import ShopBooks, build_shop, payment

from ledger_tools.calendar import parse_year
from ledger_tools.errors import LedgerError
from ledger_tools.reports.gross_receipts import GrossReceipts, report_gross_receipts
from ledger_tools.reports.tax_data import table_rows
from ledger_tools.reports.tax_forms import report_form_lines

YEAR = parse_year("2031")

ORDERS = [
    {
        "order_id": "A", "placed_at": "2031-03-01", "category": "Shirts", "quantity": "10", "unit_price": "60.00",
        "shipping_charged": "80.00", "tax": "64.80", "total": "744.80",
    },
    {
        "order_id": "B", "placed_at": "2031-04-01", "category": "Shirts", "quantity": "4", "unit_price": "100.00",
        "total": "400.00", "refunded_items": "120.00",
    },
]  # fmt: skip
PAYMENTS = [
    payment("p1", "2031-03-02", "A", "744.80", "22.00"),
    payment("p2", "2031-04-02", "B", "400.00", "13.00"),
    payment("r1", "2031-05-02", "B", "-120.00", kind="refund"),
    payment("po", "2031-05-03", "", "-989.80", kind="payout"),
]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Iterator[ShopBooks]:
    """The derived vector as exports: sales 1,000, shipping 80, tax 64.80, fees 35, refunds 120, payout 989.80."""
    built = build_shop(tmp_path_factory.mktemp("forms"), {"shop": ORDERS, "card-processor": PAYMENTS})
    yield built
    built.connection.close()


@pytest.fixture
def receipts(books: ShopBooks) -> GrossReceipts:
    """The report of the year."""
    return report_gross_receipts(books.connection, YEAR)


def test_gross_amount(receipts: GrossReceipts) -> None:
    """Sales 1,000, shipping 80 and tax 64.80 are a gross amount of 1,144.80, whatever fees and refunds follow."""
    (processor,) = receipts.receipts
    assert (114480, 2) == (processor.gross, processor.transactions)
    assert [("2031-03", 74480, 1), ("2031-04", 40000, 1)] == [
        (f"{month:%Y-%m}", gross, count) for month, gross, count in processor.months
    ]


def test_from_gross_amount_to_revenue(receipts: GrossReceipts, books: ShopBooks) -> None:
    """1,144.80 less tax 64.80 less refunds 120 are the revenue of 960; the payout of 989.80 empties the balance."""
    told = {step.name: step.amount for step in receipts.steps if step.amount}
    assert {"gross_receipts": 114480, "sales_tax": -6480, "returns": -12000} == told
    assert (96000, 0) == (receipts.revenue, receipts.difference)
    assert "Assets:Processor:CardProcessor" not in books.balances()


@pytest.mark.parametrize(
    ("gross", "transactions", "is_met"),
    [(2000001, 201, True), (2000001, 200, False), (2000000, 201, False)],
)
def test_network_rule(gross: int, transactions: int, is_met: bool, receipts: GrossReceipts) -> None:
    """A network reports over 20,000 and over 200 payments, both exceeded; a card settlement any amount."""
    (processor,) = receipts.receipts
    month = processor.months[0][0]
    held = replace(processor, months=((month, gross, transactions),))
    assert {"payment-card": True, "third-party-network": is_met} == {
        rule.kind: rule.is_met(held) for rule in receipts.rules
    }


def test_rules_have_a_date_and_a_source(receipts: GrossReceipts) -> None:
    """Each rule says when it was looked up and where it stands; years before those on file have none."""
    assert all(rule.as_of and rule.source for rule in receipts.rules)
    assert all(row["as_of"] and row["source"] and row["year"] for row in table_rows("schedule_c_lines.csv"))


def test_lines_of_the_form(books: ShopBooks) -> None:
    """Receipts on line 1, refunds on 2, fees on 10, and line 7 less expenses is the net income."""
    report = report_form_lines(books.connection, YEAR)
    assert {"1": 108000, "2": 12000, "3": 96000, "5": 96000, "7": 96000, "10": 3500} == {
        line.line: line.amount for line in report.lines if line.amount
    }
    assert (92500, 0) == (report.net_income, report.difference)


@pytest.mark.parametrize(
    ("line", "meaning"),
    [("2", "Returns and allowances"), ("8", "Advertising"), ("36", "Purchases"), ("42", "Cost of goods sold")],
)
def test_meanings(line: str, meaning: str) -> None:
    """Lines have the numbers of the form."""
    told = {row["line"]: row["meaning"] for row in table_rows("schedule_c_lines.csv")}
    assert told[line].startswith(meaning)


def test_clothing_shop(tmp_path: Path) -> None:
    """Total sales 397,742 less refunds 1,442 are 396,300 on line 3."""
    orders = [
        {
            "order_id": "S", "placed_at": "2001-06-01", "category": "Clothing", "quantity": "1",
            "unit_price": "397742.00", "total": "397742.00",
        },
    ]  # fmt: skip
    payments = [
        payment("p", "2001-06-02", "S", "397742.00"),
        payment("r", "2001-07-02", "S", "-1442.00", kind="refund"),
    ]
    with build_shop(tmp_path, {"shop": orders, "card-processor": payments}).connection as connection:
        report = report_form_lines(connection, parse_year("2001"))
    assert [39774200, 144200, 39630000] == [report.amount_of(line) for line in "123"]


def test_accounts_of_ones_own(tmp_path: Path) -> None:
    """An own account stands on the line that the settings name for it or above it; without one it is told and still ties."""
    hand = """
2031-01-01 open Expenses:Marketing:Flyers
2031-01-01 open Expenses:Parking
2031-02-01 * "Flyers and parking"
  Expenses:Marketing:Flyers    40.00 USD
  Expenses:Parking              5.00 USD
  Assets:Bank:Checking        -45.00 USD
"""
    lines = '\n[tax_lines]\n"Expenses:Marketing" = "8"\n'
    with build_shop(tmp_path, {"shop": ORDERS}, hand=hand, settings=lines).connection as connection:
        report = report_form_lines(connection, YEAR)
    assert 4000 == report.amount_of("8")
    assert (("Expenses:Parking", -500),) == report.unmapped
    assert 0 == report.difference


@pytest.mark.parametrize("line", ["3", "99", "27c"])
def test_line_that_no_account_can_stand_on(line: str, tmp_path: Path) -> None:
    """A computed or unknown line is refused with the key that names it."""
    settings = f'\n[tax_lines]\n"Expenses:Samples" = "{line}"\n'
    with build_shop(tmp_path, {"shop": ORDERS}, settings=settings).connection as connection:
        with pytest.raises(LedgerError) as caught:
            report_form_lines(connection, YEAR)
    assert f"shop.toml, tax_lines.Expenses:Samples: line '{line}' is not one that" in str(caught.value)
