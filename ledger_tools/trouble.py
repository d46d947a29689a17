"""What the system or the database refuses, in sentences: where, what, and what to do next.

Called where a command or a page ends in such an error. A sentence about the database shows neither values nor
statements: they may hold what stands in an export. `--debug` shows all of it.
"""

from __future__ import annotations

import errno
import os

import duckdb

from ledger_tools.errors import Problem

#: What to do about a refusal of the system; others are told without advice.
_ADVICE = {
    errno.EACCES: "give yourself the right to it; reports need to read the books, and to write them where an input changed",
    errno.EPERM: "give yourself the right to it",
    errno.EROFS: "copy the books to a place that can be written",
    errno.ENOSPC: "make room on the disk, then run the command again",
    errno.EDQUOT: "make room in your share of the disk, then run the command again",
    errno.ENAMETOOLONG: "use a shorter name",
    errno.ENOENT: "look whether the folder is still there and the name is right",
    errno.ENOTDIR: "name a folder that does not lie below a file",
    errno.EISDIR: "name a file",
    errno.EEXIST: "name another place",
    errno.ENOTEMPTY: "name an empty folder",
    errno.EMFILE: "let the program open more files (ulimit -n)",
    errno.EIO: "check the disk, or use a copy of the file",
}

#: What the database can run out of or be refused, which no fault of the program is.
_SURROUNDINGS: tuple[tuple[type[duckdb.Error], str, str], ...] = (
    (duckdb.OutOfMemoryException, "there is not enough memory", "close other programs, or make room on the disk"),
    (
        duckdb.IOException,
        "its file can't be read or written",
        "look at the rights, the room on the disk and other programs",
    ),
)


def file_problem(trouble: OSError) -> Problem:
    """The sentence about a file or folder that the system refuses."""
    where = " and ".join(
        os.fsdecode(name) for name in (trouble.filename, trouble.filename2) if isinstance(name, (str, bytes))
    )
    what = (trouble.strerror or type(trouble).__name__).lower()
    return Problem(where or "the system", what, _ADVICE.get(trouble.errno or 0, ""))


def database_problem(trouble: Exception) -> Problem:
    """The sentence about an error that the database ends a command with."""
    for kind, what, next_step in _SURROUNDINGS:
        if isinstance(trouble, kind):
            return Problem("the database", what, next_step)
    kind_of_error = type(trouble).__name__.removesuffix("Exception")
    return Problem(
        "the database",
        f"a step ended in the error {kind_of_error}, which the program should have seen coming; the books are as before",
        "please report it, with the command and what it prints after `ledger-tools --debug`, without customers' data",
    )
