"""Chance is fixed by the seed, on every machine and release."""

from __future__ import annotations

import numpy as np

from ledger_tools.demo.chance import Dice


def test_seed_fixes_every_value() -> None:
    """The first draws of the default seed are these; a change of them changes every demo."""
    dice = Dice(20310101)
    assert [624, 902, 65, 645, 989, 205] == dice.below(6, 1000).tolist()
    assert [2, 2, 1, 2, 2, 2] == dice.weighted(6, (1, 2, 7)).tolist()


def test_weights_are_kept() -> None:
    """Over many draws each position comes as often as its weight says, to a percent; a weight of zero never."""
    counts = np.bincount(Dice(1).weighted(100_000, (10, 0, 30, 60)), minlength=4)
    assert 0 == counts[1]
    assert [0.1, 0.3, 0.6] == [round(share, 2) for share in (counts[[0, 2, 3]] / 100_000).tolist()]
