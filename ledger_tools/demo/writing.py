"""The demo's folder: settings, mappings, exports, and the truth beside them where it is asked for."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

from ledger_tools.demo.bank_files import statements
from ledger_tools.demo.exports import write_exports
from ledger_tools.demo.scenario import BANK_SOURCE
from ledger_tools.demo.settings_text import mapping_texts, settings_text
from ledger_tools.demo.simulation import simulate
from ledger_tools.demo.truth import DemoFiles, Truth, tell_truth
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount

#: Fewer orders leave no room for the stories and an order a day; more need more memory than a demo should take.
FEWEST_ORDERS, MOST_ORDERS = 200, 5_000_000
DEFAULT_ORDERS, DEFAULT_SEED = 400, 20310101

_STATED = {
    "Assets:Processor:CardProcessor": "card-processor",
    "Assets:Processor:EuroProcessor": "euro-processor",
    "Assets:Wallet:FulfilmentWallet": "fulfilment-wallet",
}


def write_demo(
    folder: Path,
    *,
    orders: int = DEFAULT_ORDERS,
    seed: int = DEFAULT_SEED,
    progress: Callable[[str], None] | None = None,
    truth_file: Path | None = None,
) -> Truth:
    """Write a demo shop's settings, mappings and exports to an empty or new folder; return what is true of it.

    The same number of orders and seed give the same bytes. `truth_file` is written too where it is named.

    Raises:
        LedgerError: the folder holds something already, or the number of orders or the seed is out of range.
    """
    tell = progress or (lambda _: None)
    _check(folder, orders, seed)
    simulation = simulate(orders, seed, tell)
    tell("summing up the truth")
    truth = tell_truth(simulation, seed)
    folder.mkdir(parents=True, exist_ok=True)
    exports = write_exports(simulation, folder / "exports", tell)
    for name, text in statements(simulation.bank).items():
        file = folder / "exports" / BANK_SOURCE / name
        _write(file, text)
        exports.append((BANK_SOURCE, file))
    mappings = mapping_texts()
    for source, text in mappings.items():
        _write(folder / "mappings" / f"{source}.toml", text)
    settings = settings_text(orders, _stated_balances(truth))
    _write(folder / "shop.toml", settings)
    if truth_file is not None:
        _write(truth_file, truth.as_json())
    return replace(truth, files=DemoFiles(settings, mappings, tuple(exports)))


def _check(folder: Path, orders: int, seed: int) -> None:
    problems = []
    if not FEWEST_ORDERS <= orders <= MOST_ORDERS:
        problems.append(
            Problem("number of orders", f"found {orders}, expected {FEWEST_ORDERS} to {MOST_ORDERS}", "choose another")
        )
    if not 0 <= seed < 2**63:
        problems.append(Problem("seed", f"found {seed}, expected a whole number from 0 to 2^63 - 1", "choose another"))
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        problems.append(
            Problem(str(folder), "holds something already, expected a new or empty folder", "name another folder")
        )
    if problems:
        raise LedgerError(problems)


def _write(file: Path, text: str) -> None:
    file.parent.mkdir(parents=True, exist_ok=True)
    file.write_text(text, encoding="utf-8", newline="\n")


def _stated_balances(truth: Truth) -> list[tuple[str, str, str, str]]:
    return [
        (source, currency, day, format_amount(amount, currency))
        for day, accounts in truth.balances.items()
        for account, source in _STATED.items()
        for currency, amount in accounts[account].items()
    ]
