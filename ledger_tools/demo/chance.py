"""Seeded chance that gives the same values on every machine and release.

Only the raw 64-bit stream of the generator is used, which numpy keeps stable; the methods of numpy's own
distributions may change between releases.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ledger_tools.demo.clock import Whole


class Dice:
    """A stream of chance; every call draws the next values of it."""

    def __init__(self, seed: int) -> None:
        self._bits = np.random.PCG64(seed)

    def below(self, count: int, bound: int) -> Whole:
        """Whole numbers from 0 up to, not including, the bound."""
        raw = np.asarray(self._bits.random_raw(count), dtype=np.uint64)
        return (raw >> np.uint64(11)).astype(np.int64) % bound

    def weighted(self, count: int, weights: Sequence[int]) -> Whole:
        """Positions in a list of weights, each as likely as its weight."""
        ends = np.cumsum(np.asarray(weights, dtype=np.int64))
        return np.searchsorted(ends, self.below(count, int(ends[-1])), side="right").astype(np.int64)

    def percent(self, count: int, percent: int) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        """True in so many of a hundred cases."""
        return self.below(count, 100) < percent
