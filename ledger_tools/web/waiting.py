"""Files that wait for a person in the browser: dropped exports until they are brought in, packets until downloaded.

They lie in a folder that is thrown away when the program ends. A file is found by a name that the program made, never by
what the browser sent; its own name is kept as the last part of its path because archives are named after it.
"""

from __future__ import annotations

import base64
import binascii
import re
import secrets
import shutil
from dataclasses import dataclass, field
from pathlib import Path

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.intake import FileResult

#: The most that one set of dropped files may be.
FILES_AT_MOST, BYTES_AT_MOST = 200, 2_000_000_000
_NAME_LETTERS = 150


@dataclass
class Dropped:
    """One set of dropped files.

    Attributes:
        files: where they lie, in the order in which they came.
        sources: the source that a person chose for a file, by its place.
        results: what became of each, once they were looked at.
        done: they were brought in; `results` says what came of it.
        drafts: the text of a mapping that a person tries, by file and source.
    """

    name: str
    files: list[Path] = field(default_factory=list)
    sources: dict[int, str] = field(default_factory=dict)
    results: list[FileResult] = field(default_factory=list)
    done: bool = False
    drafts: dict[tuple[int, str], str] = field(default_factory=dict)
    size: int = 0


def plain_name(name: str) -> str:
    """A file's own name without folders and signs that no file system takes; never empty."""
    own = re.sub(r"[\x00-\x1f\x7f<>:\"|?*]", "", re.split(r"[/\\]", name)[-1]).strip().lstrip(".~")
    stem, dot, ending = own.rpartition(".")
    if len(own) > _NAME_LETTERS:
        own = f"{stem[: _NAME_LETTERS - len(ending) - 1]}{dot}{ending}" if stem else own[:_NAME_LETTERS]
    return own or "export"


class Waiting:
    """What waits, in one folder."""

    def __init__(self, root: Path) -> None:
        self._root = root
        self._sets: dict[str, Dropped] = {}
        #: Finished packets by the name that their link has.
        self.packets: dict[str, Path] = {}

    def start(self) -> Dropped:
        """A new, empty set of files."""
        dropped = Dropped(secrets.token_hex(8))
        self._sets[dropped.name] = dropped
        return dropped

    def find(self, name: str) -> Dropped:
        """The set of a name.

        Raises:
            LedgerError: there is none, or none any more.
        """
        if name not in self._sets:
            raise LedgerError(Problem("the dropped files", "are not here any more", "drop them again"))
        return self._sets[name]

    def add_piece(self, dropped: Dropped, place: int, name: str, piece: str) -> None:
        """Add the next piece of a file, as base64 text; the first piece of a place begins it.

        Raises:
            LedgerError: it is no such text, or too much.
        """
        try:
            content = base64.b64decode(piece, validate=True)
        except (binascii.Error, ValueError):
            raise LedgerError(Problem(name, "did not arrive whole", "drop it again")) from None
        dropped.size += len(content)
        if place >= FILES_AT_MOST or dropped.size > BYTES_AT_MOST:
            most = f"more than {FILES_AT_MOST} files or {BYTES_AT_MOST // 1_000_000:,} MB at once"
            raise LedgerError(Problem(name, f"is too much: {most}", "drop fewer files, or use ledger-tools import"))
        if place == len(dropped.files):
            folder = self._root / dropped.name / str(place)
            folder.mkdir(parents=True)
            file = folder / plain_name(name)
            file.write_bytes(content)
            dropped.files.append(file)
        elif place == len(dropped.files) - 1:
            with dropped.files[place].open("ab") as stream:
                stream.write(content)
        else:
            raise LedgerError(Problem(name, "arrived out of order", "drop the files again"))

    def forget(self, dropped: Dropped) -> None:
        """Throw a set's files away; what became of them is still told."""
        shutil.rmtree(self._root / dropped.name, ignore_errors=True)

    def packet_folder(self) -> Path:
        """A new folder for a packet."""
        folder = self._root / "packets" / secrets.token_hex(8)
        folder.mkdir(parents=True)
        return folder
