"""Generated shops with faults of known truth: no match is wrong, every planted fault is found, and nothing else is.

`tests/benchmarks/worlds.py` does the same for as many seeds as it is told to, and prints the shares. A failure here names
its seed; `python tests/benchmarks/worlds.py --first SEED --seeds 1 --orders 60` replays it.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from world_score import Score, books_of, failed_checks, made_links, make_world, score_items, score_matches
from world_truth import ABOUT, told_links, true_links

SEEDS, ORDERS = (1, 2), 60


@pytest.mark.parametrize("seed", SEEDS)
def test_planted_faults_are_found_and_nothing_else(tmp_path: Path, seed: int) -> None:
    """With the references that exports give, no match is wrong, the open items are the faults, every check holds."""
    world, score = make_world(seed, ORDERS), Score()
    with books_of(world, tmp_path) as books:
        made = made_links(books.connection)
        score_matches(world, made, references=True, score=score)
        score_items(world, made, books.connection, score)
        if seed == SEEDS[0]:
            score.deviations += failed_checks(world, books)
    assert world.expected
    assert [] == [text for text in score.deviations if not text.startswith(("match not made", "matches not made"))]


@pytest.mark.parametrize("seed", SEEDS[:1])
def test_no_match_is_wrong_without_references(tmp_path: Path, seed: int) -> None:
    """With every reference taken out, what is matched is true."""
    world, score = make_world(seed, ORDERS), Score()
    with books_of(world, tmp_path, references=False) as books:
        score_matches(world, made_links(books.connection), references=False, score=score)
    assert [] == [text for text in score.deviations if text.startswith("wrong match")]
    assert score.matches.right.total()


@pytest.mark.parametrize("seed", SEEDS)
def test_truth_tells_most_links_with_references(seed: int) -> None:
    """The scorer's own idea of what can be told is not empty, and is true wherever references are read."""
    world = make_world(seed, ORDERS)
    told, true = told_links(world, references=True), true_links(world)
    for about in ABOUT:
        assert len(told[about] & true[about]) > len(true[about]) * 0.8, about
