"""The journal's text read by a few lines of our own: what is on disk is compared, not what was meant to be there."""

from __future__ import annotations

import re
from collections import defaultdict
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path

_POSTING = re.compile(r"  ([A-Z]\S+) +(-?[0-9.]+) ([A-Z]{3})(?: @@ ([0-9.]+) ([A-Z]{3}))?")


@dataclass
class Entry:
    """One entry: its day, its order's link, and its postings as account, amount, currency, weight and its currency."""

    day: str
    link: str
    postings: list[tuple[str, Decimal, str, Decimal, str]] = field(default_factory=list)

    def left_over(self) -> dict[str, Decimal]:
        """What the weights don't come out even by, currency by currency."""
        sums: dict[str, Decimal] = defaultdict(Decimal)
        for *_, weight, currency in self.postings:
            sums[currency] += weight
        return {currency: amount for currency, amount in sums.items() if amount}


def read_journal(folder: Path) -> list[Entry]:
    """Entries of every month file; a line that is neither header, metadata nor posting is an error."""
    entries: list[Entry] = []
    for file in sorted(folder.glob("2*.beancount")):
        for line in file.read_text(encoding="utf-8").splitlines():
            if line[:1].isdigit():
                link = re.search(r" \^(\S+)$", line)
                entries.append(Entry(line[:10], link[1] if link else ""))
            elif line.startswith("  ") and line[2].isupper():
                found = _POSTING.fullmatch(line)
                assert found, f"{file.name}: {line}"
                account, number, currency, price, priced_in = found.groups()
                amount = Decimal(number)
                weight = Decimal(price).copy_sign(amount) if price else amount
                entries[-1].postings.append((account, amount, currency, weight, priced_in or currency))
            else:
                assert not line or line.startswith((";;", '  source: "', '  event: "', '  note: "')), (
                    f"{file.name}: {line}"
                )
    return entries


def read_texts(root: Path) -> dict[str, bytes]:
    """Every generated file of a books folder with its bytes."""
    return {
        file.name: file.read_bytes() for file in [*sorted((root / "journal").iterdir()), root / "accounts.beancount"]
    }
