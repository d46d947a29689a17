"""The one way that bad input reaches a person: every problem found, each with where, what and what to do next.

Three kinds of trouble, three means: the state of the books is a list of open items; bad input or settings is a
`LedgerError` that carries all its problems at once; an impossible state is an `assert`.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True)
class Problem:
    """One thing that is wrong.

    Attributes:
        where: file, record number, column or key, as far as they are known ("orders.csv, record 3, column total").
        what: what was found and what was expected.
        next_step: what the person can do about it; empty where nothing is to be said.
    """

    where: str
    what: str
    next_step: str = ""

    def __str__(self) -> str:
        text = f"{self.where}: {self.what}"
        return f"{text}\n    → {self.next_step}" if self.next_step else text


class LedgerError(Exception):
    """Input or settings that the books can't be built from; holds every problem that was found."""

    def __init__(self, problems: Iterable[Problem] | Problem) -> None:
        self.problems: tuple[Problem, ...] = (problems,) if isinstance(problems, Problem) else tuple(problems)
        assert self.problems, "an error without a problem tells nobody anything"
        super().__init__("\n".join(str(problem) for problem in self.problems))
