"""From what customers paid to what is left: an order report's totals as steps, each with where it begins and ends.

Amounts are minor units of the base currency. Steps that are zero are left out. The tax that the shop collected is the
first step down: it is paid by customers and never revenue.
"""

from __future__ import annotations

from dataclasses import dataclass

from ledger_tools.reports.order_figures import Figures

#: The steps down, in their order: figure and words.
STEPS: tuple[tuple[str, str], ...] = (
    ("tax_collected", "sales tax collected"),
    ("returns", "returns"),
    ("production", "production"),
    ("shipping_cost", "shipping paid"),
    ("supplier_tax", "tax of the partner"),
    ("reprints", "reprints"),
    ("processing_fees", "processing fees"),
    ("dispute_fees", "dispute fees"),
    ("chargebacks", "lost in disputes"),
    ("other_costs", "other costs"),
)


@dataclass(frozen=True)
class Step:
    """One step; `change` is negative where it takes away, `start` and `end` are what is left before and after it."""

    name: str
    words: str
    change: int
    start: int
    end: int


def waterfall_steps(figures: Figures) -> tuple[Step, ...]:
    """What customers paid, each cost that is not zero, and the profit that is left."""
    paid = figures.items - figures.discounts + figures.shipping_charged + figures.tips + figures.tax_collected
    steps = [Step("paid", "customers paid", paid, 0, paid)]
    left = paid
    for name, words in STEPS:
        cost = getattr(figures, name)
        if cost:
            steps.append(Step(name, words, -cost, left, left - cost))
            left -= cost
    assert left == figures.profit, "the steps lead to the profit"
    return (*steps, Step("profit", "profit", figures.profit, 0, figures.profit))
