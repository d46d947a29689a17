"""A written demo shop, as the tests of the simulator read it."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

from ledger_tools.demo import Truth


@dataclass(frozen=True)
class Shop:
    """A written demo and the truth about it."""

    folder: Path
    truth: Truth

    def rows(self, source: str, month: str, delimiter: str) -> list[dict[str, str]]:
        """Rows of one month's export, as text."""
        (file,) = (self.folder / "exports" / source).glob(f"*{month}.*")
        with file.open(encoding="utf-8", newline="") as opened:
            return list(csv.DictReader(opened, delimiter=delimiter))

    def fault(self, kind: str, source: str) -> dict[str, str | int | None]:
        """The one planted fault of a kind in a source, as a dictionary."""
        (found,) = [fault for fault in self.truth.faults if fault.kind == kind and fault.source == source]
        return dict(vars(found))
