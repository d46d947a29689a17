"""Bank lines and movements by sum: several payouts in one deposit, one payout in several deposits, top-ups likewise.

Few records are open when this runs, so it walks them in Python; amounts are signed minor units as the bank shows them.
"""

from __future__ import annotations

import datetime
from collections.abc import Hashable
from dataclasses import dataclass

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.sums import Finding, Target, leave_to_singles, seek_sums


@dataclass(frozen=True)
class _Record:
    """A line or movement that is still open; `group` is who moved the money, empty for a line."""

    number: int
    day: datetime.date
    amount: int
    currency: str
    group: int


def match_bank_sums(connection: duckdb.DuckDBPyConnection) -> None:
    """Add to `found` the only combinations, and to `left_open` why others were not taken."""
    lines = _read(
        connection,
        """SELECT line_no, "at"::DATE, amount, currency, 0 FROM line
           WHERE by_amount AND amount <> 0 AND line_no NOT IN (SELECT line_no FROM found) ORDER BY line_no""",
    )
    movements = _read(
        connection,
        """SELECT movement_no, moved_on, amount, currency, source_no FROM movement
           WHERE amount <> 0 AND movement_no NOT IN (SELECT movement_no FROM found)
             AND movement_no NOT IN (SELECT movement_no FROM returned) ORDER BY movement_no""",
    )
    if not lines or not movements:
        return
    findings = seek_sums([*_several_movements(lines, movements), *_several_lines(lines, movements)])
    findings = leave_to_singles(findings, _singles(lines, movements))
    line_amounts = {record.number: record.amount for record in lines}
    movement_amounts = {record.number: record.amount for record in movements}
    rows: list[tuple[int, int, int, str, str]] = []
    for finding in findings:
        what, number = _parts(finding.key)
        for element in finding.combination:
            _, other = _parts(element)
            if what == "line":
                rows.append((number, other, movement_amounts[other], stages.SUM.name, finding.why))
            else:
                rows.append((other, number, line_amounts[other], stages.SUM.name, finding.why))
    if rows:
        connection.executemany("INSERT INTO found VALUES (?, ?, ?, ?, ?)", [list(row) for row in rows])
    _leave_open(connection, [finding for finding in findings if not finding.combination])


def _singles(lines: list[_Record], movements: list[_Record]) -> set[Hashable]:
    """Lines and movements that fit one of the other kind by amount and days."""
    window = stages.AMOUNT.days
    shown = {(line.amount, line.currency, line.day) for line in lines}
    moved = {(movement.amount, movement.currency, movement.day) for movement in movements}
    lags = [datetime.timedelta(days=lag) for lag in range(window.low, window.high + 1)]
    found: set[Hashable] = {
        ("line", line.number)
        for line in lines
        if any((line.amount, line.currency, line.day - lag) in moved for lag in lags)
    }
    return found | {
        ("movement", movement.number)
        for movement in movements
        if any((movement.amount, movement.currency, movement.day + lag) in shown for lag in lags)
    }


def _leave_open(connection: duckdb.DuckDBPyConnection, findings: list[Finding]) -> None:
    """Keep what fits but was not taken, combination by combination, or the one record alone where too many fit.

    `whole` numbers the combinations of a record that is made up of others; `made_up` says which of the two that is.
    """
    rows: list[list[object]] = []
    for finding in findings:
        what, _ = _parts(finding.key)
        numbers = {"line": None, "movement": None} | dict([_parts(finding.key)])
        if not finding.fitting:
            rows.append([numbers["line"], numbers["movement"], finding.why, None, what])
        for whole, combination in enumerate(finding.fitting, start=1):
            for element in sorted(_parts(key) for key in combination):
                both = numbers | dict([element])
                rows.append([both["line"], both["movement"], finding.why, whole, what])
    if rows:
        columns = [list(column) for column in zip(*rows, strict=True)]
        connection.execute(
            """INSERT INTO left_open SELECT unnest(?::INTEGER[]), unnest(?::INTEGER[]), unnest(?::VARCHAR[]), unnest(?::INTEGER[]),
                      unnest(?::VARCHAR[])""",
            columns,
        )


def _parts(key: object) -> tuple[str, int]:
    assert isinstance(key, tuple)
    return str(key[0]), int(key[-1])


def _read(connection: duckdb.DuckDBPyConnection, query: str) -> list[_Record]:
    return [_Record(*row) for row in connection.execute(query).fetchall()]


@dataclass(frozen=True)
class _ByDay:
    """Open records by who moved them, currency, direction and day."""

    records: dict[tuple[int, str, bool, datetime.date], list[_Record]]

    @classmethod
    def of(cls, records: list[_Record]) -> _ByDay:
        """The records, sorted into days."""
        by_day: dict[tuple[int, str, bool, datetime.date], list[_Record]] = {}
        for record in records:
            by_day.setdefault((record.group, record.currency, record.amount > 0, record.day), []).append(record)
        return cls(by_day)

    def around(self, record: _Record, group: int, low: int, high: int) -> list[_Record]:
        """Records of a group with the currency and direction of another, so many days before and after it."""
        found = []
        for lag in range(low, high + 1):
            key = (group, record.currency, record.amount > 0, record.day + datetime.timedelta(days=lag))
            found += self.records.get(key, [])
        return found


def _several_movements(lines: list[_Record], movements: list[_Record]) -> list[Target]:
    """Each line with the movements of one source that could make it up; a line that two sources fit has two targets."""
    window = stages.SUM.days
    targets = []
    by_day = _ByDay.of(movements)
    groups = sorted({movement.group for movement in movements})
    for line in lines:
        for group in groups:
            fitting = by_day.around(line, group, -window.high, -window.low)
            elements = tuple((("movement", one.number), abs(one.amount)) for one in fitting)
            targets.append(Target(("line", line.number), abs(line.amount), elements))
    return targets


def _several_lines(lines: list[_Record], movements: list[_Record]) -> list[Target]:
    window = stages.SUM.days
    by_day = _ByDay.of(lines)
    targets = []
    for movement in movements:
        fitting = by_day.around(movement, 0, window.low, window.high)
        elements = tuple((("line", one.number), abs(one.amount)) for one in fitting)
        targets.append(Target(("movement", movement.number), abs(movement.amount), elements))
    return targets
