"""The demo shop: a seeded simulator whose exports hold known truth and planted faults.

`write_demo` writes what a shop's person would have: settings, mappings and the monthly exports of every source, in
layouts of their own. `Truth` says what the books made of them have to say, by plain sums of the simulator's own.
"""

from ledger_tools.demo.faults import PlantedFault
from ledger_tools.demo.truth import FIGURES, DemoFiles, Truth
from ledger_tools.demo.writing import DEFAULT_ORDERS, DEFAULT_SEED, write_demo


def planted_faults(truth: Truth) -> tuple[PlantedFault, ...]:
    """Every fault that stands in the demo's exports on purpose, by kind and date."""
    return tuple(truth.faults)


__all__ = [
    "DEFAULT_ORDERS",
    "DEFAULT_SEED",
    "FIGURES",
    "DemoFiles",
    "PlantedFault",
    "Truth",
    "planted_faults",
    "write_demo",
]
