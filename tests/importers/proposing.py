"""What the tests of the mapping proposer share: a file is written, its mapping proposed, and all of it read so."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from importers.mapping import parse_mapping
from importers.preview import render_preview
from importers.propose import Proposal, propose_mapping

ZONE = "America/New_York"


@dataclass(frozen=True)
class Reading:
    """A proposal, and the rows as they read with it."""

    proposal: Proposal
    rows: list[dict[str, str]]

    def column(self, field: str) -> list[str]:
        return [row.get(field, "") for row in self.rows]


def propose_and_read(
    path: Path,
    content: str | bytes,
    *,
    kind: str | None = None,
    currency: str = "USD",
    answers: tuple[str, ...] = (),
    card: bool = False,
) -> Reading:
    """Writes a file, proposes its mapping, answers questions by taking the "#" from their lines, and reads it all."""
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    proposal = propose_mapping(path, source="somewhere", kind=kind, currency=currency, shop_zone=ZONE, card=card)
    text = proposal.toml
    for answer in answers:
        assert f"\n# {answer}" in text, text
        text = text.replace(f"\n# {answer}", f"\n{answer}")
    mapping = parse_mapping(text, "proposal")
    return Reading(proposal, render_preview(path, mapping, currency=currency, shop_zone=ZONE, rows=10_000))
