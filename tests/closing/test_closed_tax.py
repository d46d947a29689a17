"""Sales and tax of a closed month stay where they were reported, and what changes is shown in the open month."""

from __future__ import annotations

from april_shop import WAIVABLE, close
from kept_books import Books, order, processor, silent

from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_month
from ledger_tools.checks import run_checks
from ledger_tools.reports.sales_tax import report_sales_tax
from ledger_tools.reports.sales_tax_tie_out import tie_out


def figures(books: Books, month: str) -> dict[str, tuple[int, int, int]]:
    """Gross sales, taxable sales and tax collected by jurisdiction; rows of zeros are left out."""
    with open_books(books.folder, silent) as connection:
        report = report_sales_tax(connection, parse_month(month))
        assert tie_out(connection, parse_month(month)).holds
    rows = {
        row.jurisdiction: (row.figures.gross_sales, row.figures.taxable_sales, row.figures.collected)
        for row in report.rows
    }
    return {name: row for name, row in rows.items() if any(row)}


def test_moved_order(books: Books) -> None:
    """An order that turns out to have gone to another state: April stays as filed, May takes it from one to the other."""
    close(books, "2031-04")
    april = figures(books, "2031-04")
    assert {"US-CO": (3200, 3200, 180)} == april
    usual = {"unit_price": "10.00", "ship_country": "US", "shipped_at": "2031-04-12T09:00:00", "tax": "0.80"}
    books.put(
        orders=[
            order("1", "2031-04-10", "10.80", ship_region="WA", **usual),
            order("7", "2031-05-10", "10.80", ship_region="CO", **{**usual, "shipped_at": "2031-05-12T09:00:00"}),
        ]
    )
    assert april == figures(books, "2031-04")
    # May: its own order in Colorado and the move out of it come to nothing there
    assert {"US-WA": (1000, 1000, 80)} == figures(books, "2031-05")
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_late_record_in_day_detail(books: Books) -> None:
    """With one entry a day and kind a late record stands alone in the journal, and all checks hold."""
    settings = books.folder.settings
    settings.write_text(
        settings.read_text(encoding="utf-8").replace('detail = "order"', 'detail = "day"'), encoding="utf-8"
    )
    close(books, "2031-04")
    april = figures(books, "2031-04")
    books.put(processor=[processor("c9", "fee", "2031-04-20", "-1.00", "-1.00")])
    assert april == figures(books, "2031-04")
    assert "Prior period: Processor's fee" in books.journal_text()
    with open_books(books.folder, silent) as connection:
        assert [] == [check for check in run_checks(connection, books.folder, silent) if not check.passed]


def test_gift_cards_are_not_made(books: Books) -> None:
    """An order of nothing but a gift card is never charged by the partner, and keeps no cut-off waiting for its cost."""
    books.put(
        orders=[
            order("g", "2031-04-15", "25.00", category="gift card", sku="GIFT", unit_price="25.00",
                  shipped_at="2031-04-15T12:00:00")
        ],
        processor=[processor("cg", "charge", "2031-04-15", "25.00", "25.00", order_ref="g")],
    )  # fmt: skip
    report = close(books, "2031-04", *(step for step in WAIVABLE if step != "cut-off"))
    assert "done" == next(step.state for step in report.steps if step.step == "cut-off")
