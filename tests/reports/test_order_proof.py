"""Identity 6: the orders and what is tied to none are the income statement."""

import dataclasses
import datetime

import duckdb
import pytest

from ledger_tools.calendar import ALL_TIME, Period, parse_month, parse_year
from ledger_tools.reports.order_profit import report_orders
from ledger_tools.reports.order_proof import ProfitProof, prove_orders


def test_all_time(books: duckdb.DuckDBPyConnection) -> None:
    """Over all time nothing is dated differently: orders and the rest are the net income."""
    assert ProfitProof(-1218, 0, 0, -9800, -11018, ()) == prove_orders(books, report_orders(books))


def test_month(books: duckdb.DuckDBPyConnection) -> None:
    """In May are posted April's refund and the costs, reprint and payment of the order of 30 April: -26.90."""
    april = prove_orders(books, report_orders(books, parse_month("2031-04")))
    may = prove_orders(books, report_orders(books, parse_month("2031-05")))
    assert ProfitProof(1685, -2690, 0, -5800, -1425, ()) == april
    assert ProfitProof(-2903, 0, -2690, 0, -5593, ()) == may
    assert april.holds
    assert may.holds


@pytest.mark.parametrize("as_of", [None, datetime.date(2031, 4, 15), datetime.date(2031, 5, 5)])
@pytest.mark.parametrize(
    "period",
    [ALL_TIME, parse_month("2031-04"), parse_month("2031-05"), parse_year("2030"), parse_year("2031")]
    + [Period(datetime.date(2031, 4, 5), datetime.date(2031, 4, 20))],
)
def test_any_period(period: Period, as_of: datetime.date | None, books: duckdb.DuckDBPyConnection) -> None:
    """Whatever period is seen as of whatever day, nothing is left unexplained."""
    assert prove_orders(books, report_orders(books, period, as_of)).holds


def test_a_difference_is_found(books: duckdb.DuckDBPyConnection) -> None:
    """A cent too much in one column of the report is found, with the column; one moved to another column as well."""
    report = report_orders(books)
    totals = report.totals
    more = dataclasses.replace(report, totals=totals._replace(production=totals.production + 1))
    assert (-1, ("production",)) == (prove_orders(books, more).difference, prove_orders(books, more).differing_columns)
    moved = totals._replace(production=totals.production + 1, reprints=totals.reprints - 1)
    proof = prove_orders(books, dataclasses.replace(report, totals=moved))
    assert (0, ("production", "reprints"), False) == (proof.difference, proof.differing_columns, proof.holds)
