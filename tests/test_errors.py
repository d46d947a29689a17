"""Problems and the error that carries them: the text that a person reads."""

import pytest

from ledger_tools.errors import LedgerError, Problem

TOTAL = Problem("orders.csv, record 3, column total", "is 12.00, its lines sum to 13.00", "correct the export")
HEADER = Problem("orders.csv", "has no column order_id")


def test_problem_with_next_step() -> None:
    """A problem says where and what on one line and what to do on the next."""
    expected = "orders.csv, record 3, column total: is 12.00, its lines sum to 13.00\n    → correct the export"
    assert expected == str(TOTAL)


def test_problem_without_next_step() -> None:
    """A problem that leaves nothing to be said about the next step is one line."""
    assert "orders.csv: has no column order_id" == str(HEADER)


def test_error_lists_all_problems() -> None:
    """One error holds every problem in the order in which they were found, as values and as text."""
    error = LedgerError(problem for problem in (TOTAL, HEADER))
    assert (TOTAL, HEADER) == error.problems
    assert f"{TOTAL}\n{HEADER}" == str(error)


def test_error_of_one_problem() -> None:
    """A single problem needs no list around it."""
    assert (HEADER,) == LedgerError(HEADER).problems


def test_error_without_problem() -> None:
    """An error that holds no problem is a mistake of the program."""
    with pytest.raises(AssertionError, match="tells nobody anything"):
        LedgerError([])
