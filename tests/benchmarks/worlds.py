"""How well the books match and what they find open, on generated shops: `python tests/benchmarks/worlds.py [--seeds 50]`.

Not a test: it prints what is reached. Each seed gives a shop of `--orders` orders with faults in life and in its exports
(`tests/shop_world.py`, `tests/world_faults.py`). Matches are scored twice, with the references that the exports give and
with every reference taken out; what the data tells is worked out independently (`tests/world_truth.py`). Every deviation
is printed with its seed: `--first SEED --seeds 1` replays it, `--keep FOLDER` keeps the books for a look.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]

from world_score import Score, Tally, books_of, failed_checks, made_links, make_world, score_items, score_matches  # noqa: E402
from world_truth import ABOUT  # noqa: E402

from ledger_tools.open_items import KINDS  # noqa: E402

#: Beancount's verdict takes as long as all else, so the checks run in one world of so many.
CHECKED = 5


def ratio(part: int, whole: int) -> str:
    """A share with three digits, rounded down so that 1.000 means all."""
    return "-" if not whole else f"{1000 * part // whole / 1000:.3f}"


def _print_matches(title: str, score: Score) -> None:
    print(f"\nMatches, {title}")
    print(f"{'':24}{'right':>7}{'wrong':>7}{'misled':>8}{'precision':>11}{'told':>7}{'found':>7}{'recall':>8}")
    for about in ABOUT:
        right, wrong, misled = (getattr(score.matches, name)[about] for name in ("right", "wrong", "misled"))
        told, found = score.told[about], score.found[about]
        print(
            f"{about:24}{right:7}{wrong:7}{misled:8}{ratio(right, right + wrong):>11}{told:7}{found:7}{ratio(found, told):>8}"
        )


def _print_items(tally: Tally) -> None:
    print(f"\nOpen items, with references\n{'':26}{'right':>7}{'wrong':>7}{'missing':>9}{'precision':>11}{'recall':>8}")
    names = [kind.name for kind in KINDS]
    for name in [*names, "all"]:
        right, wrong, missing = (
            sum(counts[each] for each in ([name] if name != "all" else names))
            for counts in (tally.right, tally.wrong, tally.missing)
        )
        if right + wrong + missing:
            precision, recall = ratio(right, right + wrong), ratio(right, right + missing)
            print(f"{name:26}{right:7}{wrong:7}{missing:9}{precision:>11}{recall:>8}")


def main() -> None:
    """Score the worlds that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--seeds", type=int, default=50, help="how many worlds")
    parser.add_argument("--first", type=int, default=1, help="seed of the first one")
    parser.add_argument("--orders", type=int, default=150, help="orders of each")
    parser.add_argument("--keep", type=Path, help="folder in which to keep the books")
    chosen = parser.parse_args()
    start, totals, faults, checked = time.perf_counter(), (Score(), Score()), Counter[str](), 0
    with tempfile.TemporaryDirectory() as scratch:
        for seed in range(chosen.first, chosen.first + chosen.seeds):
            world = make_world(seed, chosen.orders)
            faults.update(world.faults)
            for total, references in zip(totals, (True, False), strict=True):
                score = Score()
                root = (chosen.keep or Path(scratch)) / f"{seed}-{'named' if references else 'bare'}"
                root.mkdir(parents=True)
                with books_of(world, root, references=references) as books:
                    made = made_links(books.connection)
                    score_matches(world, made, references=references, score=score)
                    if references:
                        score_items(world, made, books.connection, score)
                    if seed % CHECKED == 0:
                        checked += 1
                        score.deviations += failed_checks(world, books)
                for text in score.deviations:
                    print(f"seed {seed}, {'with' if references else 'without'} references: {text}")
                total.matches.add(score.matches)
                total.items.add(score.items)
                total.told.update(score.told)
                total.found.update(score.found)
    seconds = time.perf_counter() - start
    print(
        f"\n{chosen.seeds} worlds of {chosen.orders} orders, seeds {chosen.first} to {chosen.first + chosen.seeds - 1}"
    )
    print(
        f"{faults.total()} faults of {len(faults)} kinds; checks ran on {checked} books; {seconds / chosen.seeds:.1f} s a world"
    )
    _print_matches("with references", totals[0])
    _print_matches("without any reference", totals[1])
    _print_items(totals[0].items)


if __name__ == "__main__":
    main()
