"""The totals of an income statement beside those of the period that it is compared with, and what changed."""

from __future__ import annotations

from dataclasses import dataclass

from ledger_tools.reports.income_statement import IncomeStatement

#: The totals in their order, each with its words; those of the second kind are left out where there is nothing in them.
TOTALS = (
    ("revenue", "revenue", True),
    ("cost_of_goods_sold", "cost of goods sold", True),
    ("gross_profit", "gross profit", True),
    ("operating_expenses", "operating expenses", True),
    ("other_income", "other income", False),
    ("other_expenses", "other expenses", False),
    ("net_income", "net income", True),
)


@dataclass(frozen=True)
class ComparedTotal:
    """One total of two periods, in minor units of the base currency; `change` is this one less the other."""

    name: str
    words: str
    amount: int
    compared: int

    @property
    def change(self) -> int:
        """How much more there is than in the other period."""
        return self.amount - self.compared


def compare_totals(statement: IncomeStatement) -> tuple[ComparedTotal, ...]:
    """The totals of a statement beside those of the period that it is compared with."""
    assert statement.compared_totals is not None, "the statement is compared with another period"
    told = (
        (ComparedTotal(name, words, getattr(statement.totals, name), getattr(statement.compared_totals, name)), always)
        for name, words, always in TOTALS
    )
    return tuple(total for total, always in told if always or total.amount or total.compared)
