"""The demo's folder: same seed, same bytes; nothing is overwritten; what is wrong is said."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from demo_shop import Shop

from ledger_tools.demo import write_demo
from ledger_tools.errors import LedgerError


def _bytes(folder: Path) -> dict[str, bytes]:
    return {str(file.relative_to(folder)): file.read_bytes() for file in folder.rglob("*") if file.is_file()}


def test_same_seed_gives_the_same_bytes(shop: Shop, tmp_path: Path) -> None:
    """A second run with the same seed writes the same files, byte for byte."""
    write_demo(tmp_path / "again")
    assert _bytes(shop.folder) == _bytes(tmp_path / "again")


def test_another_seed_gives_other_orders(shop: Shop, tmp_path: Path) -> None:
    """Another seed changes the orders and keeps every planted fault."""
    truth = write_demo(tmp_path / "other", seed=7)
    assert shop.truth.totals != truth.totals
    assert [fault.kind for fault in shop.truth.faults] == [fault.kind for fault in truth.faults]


def test_files_are_listed_in_import_order(shop: Shop) -> None:
    """Every export is listed with its source, and nothing else lies under exports/."""
    assert shop.truth.files is not None
    listed = {file for _, file in shop.truth.files.exports}
    assert {file for file in (shop.folder / "exports").rglob("*") if file.is_file()} == listed
    assert all(file.parent.name == source for source, file in shop.truth.files.exports)
    assert 20 == len(listed)


def test_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    """A folder that holds a file is refused and stays as it was."""
    (tmp_path / "note.txt").write_text("mine")
    with pytest.raises(LedgerError) as caught:
        write_demo(tmp_path)
    expected = f"{tmp_path}: holds something already, expected a new or empty folder\n    → name another folder"
    assert expected == str(caught.value)
    assert {"note.txt": b"mine"} == _bytes(tmp_path)


@pytest.mark.parametrize(
    ("orders", "seed", "expected"),
    [
        (199, 1, "number of orders: found 199, expected 200 to 5000000\n    → choose another"),
        (5_000_001, 1, "number of orders: found 5000001, expected 200 to 5000000\n    → choose another"),
        (400, -1, "seed: found -1, expected a whole number from 0 to 2^63 - 1\n    → choose another"),
    ],
)
def test_numbers_out_of_range_are_refused(orders: int, seed: int, expected: str, tmp_path: Path) -> None:
    """Too few or too many orders and a negative seed are refused with the range."""
    with pytest.raises(LedgerError) as caught:
        write_demo(tmp_path / "new", orders=orders, seed=seed)
    assert expected == str(caught.value)
    assert not (tmp_path / "new").exists()


def test_fewest_orders_can_be_written(tmp_path: Path) -> None:
    """The smallest demo still has an order each day and every planted fault."""
    truth = write_demo(tmp_path / "small", orders=200)
    assert 120 == len(set(truth.placed_on))
    assert 200 == len(truth.order_ids)


def test_truth_file_holds_the_truth(tmp_path: Path) -> None:
    """The truth file is JSON with the figures as columns, and its totals are their sums."""
    truth = write_demo(tmp_path / "shop", truth_file=tmp_path / "truth.json")
    told = json.loads((tmp_path / "truth.json").read_text())
    assert truth.totals == told["totals"]
    assert truth.order_ids == told["orders"]["order_id"]
    assert {name: sum(told["orders"][name]) for name in truth.totals} == told["totals"]


def test_many_orders_are_the_same_on_every_run(tmp_path: Path) -> None:
    """Files that are long enough to be written by several threads still have the same bytes."""
    for name in ("one", "two"):
        write_demo(tmp_path / name, orders=130_000)
    assert _bytes(tmp_path / "one") == _bytes(tmp_path / "two")
