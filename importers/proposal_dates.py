"""The dates of a proposed mapping: formats, day before month or after it, a time of day in a column of its own, zone.

Day and month are never guessed: a format is proposed only if some date of the file has a day above 12, in the column
itself or in another one that is written alike.
"""

from __future__ import annotations

import zoneinfo
from collections.abc import Sequence

from importers.column_evidence import Choice, Column, name_score
from importers.proposal import Draft
from importers.value_patterns import DateReading, find_dates
from importers.vocabulary import TIME_OF_DAY, ZONE
from ledger_tools.records import DATED_BY, KINDS, MOMENT

#: Usual abbreviations (common practice); the ones that several countries use are left out.
_ZONE_ABBREVIATIONS = {
    **dict.fromkeys(("UTC", "GMT", "Z"), "UTC"),
    **dict.fromkeys(("EST", "EDT"), "America/New_York"),
    **dict.fromkeys(("MST", "MDT"), "America/Denver"),
    **dict.fromkeys(("PST", "PDT"), "America/Los_Angeles"),
    **dict.fromkeys(("CET", "CEST"), "Europe/Berlin"),
}
_ISO_FORMATS = ("%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M", "%Y-%m-%d")


def propose_dates(draft: Draft, columns: Sequence[Column], chosen: dict[str, Choice], shop_zone: str) -> None:
    """Map every column of a moment, and write the formats, the zone and the questions about them."""
    readings: dict[str, DateReading] = {}
    main = DATED_BY[draft.kind]
    if main not in chosen:
        draft.ask("columns", "", "no column holds the date", [(main, "…", "the column that dates the rows")])
    for field in KINDS[draft.kind]:
        if field.type != MOMENT or field.name not in chosen:
            continue
        choice = chosen.pop(field.name)
        names, reading = [choice.column.name], choice.column.dates
        reason = choice.reason
        if field.name == main and reading and not reading.has_time:
            time = _time_column(columns, choice.column, chosen)
            if time is not None:
                names, reading = [choice.column.name, time.name], _join_readings(choice.column, time)
                reason = "date and time of day stand in two columns"
        draft.map_column(field.name, names, reason)
        if reading is not None:
            readings[field.name] = reading
    _put_formats(draft, readings)
    _put_zone(draft, columns, readings.get(main), shop_zone)


def _time_column(columns: Sequence[Column], date: Column, chosen: dict[str, Choice]) -> Column | None:
    """The column with a time of day on every row, the best name first, then the nearest to the date."""
    taken = {choice.column.position for choice in chosen.values()}
    timed = [column for column in columns if column.is_time and column.position not in taken]
    timed = [column for column in timed if len(column.filled) == len(date.filled)]
    timed.sort(key=lambda column: (-name_score(column.words, TIME_OF_DAY), abs(column.position - date.position)))
    return timed[0] if timed else None


def _join_readings(date: Column, time: Column) -> DateReading | None:
    joined = [f"{day} {hour}" for day, hour in zip(date.cells, time.cells, strict=True) if day]
    return find_dates(joined)


def _put_formats(draft: Draft, readings: dict[str, DateReading]) -> None:
    """One list of formats for the whole file, tried in order; two columns that disagree about the day are asked."""
    formatted = {name: reading for name, reading in readings.items() if reading.formats}
    if not formatted:
        return
    settled = {_order(reading.formats[0]) for reading in formatted.values() if not reading.ambiguous} - {""}
    formats: list[str] = []
    asked: list[str] = []
    for name, reading in formatted.items():
        if not reading.ambiguous:
            formats.append(reading.formats[0])
            continue
        fitting = [entry for entry in reading.formats if _order(entry) in settled]
        if len(settled) == 1 and fitting:
            formats.append(fitting[0])
            draft.notes.append(f"Every date of {name} could be read both ways; its order is taken from another column.")
        else:
            asked.append(name)
    if len(settled) > 1:
        draft.refuse(
            f"dates {', '.join(formatted)}",
            "some columns have the day first and others the month; one list of formats can't read both",
            "leave the column that is not needed out of [columns]",
        )
    unique = list(dict.fromkeys(formats))
    if len(formatted) < len(readings):
        unique += [entry for entry in _ISO_FORMATS if entry not in unique]
    if asked:
        _ask_order(draft, asked, formatted, unique)
    elif unique:
        draft.put("file", "date_formats", unique)


def _ask_order(draft: Draft, asked: list[str], formatted: dict[str, DateReading], known: list[str]) -> None:
    first = formatted[asked[0]]
    answers = []
    for entry, meaning in ((first.formats[0], ""), (_other_order(first), "")):
        same = [other for name in asked for other in formatted[name].formats if _order(other) == _order(entry)]
        meaning = "day first" if _order(entry) == "day" else "month first"
        answers.append(("date_formats", list(dict.fromkeys([*same[: len(asked)], *known])), meaning))
    draft.ask(
        "file",
        f"dates {', '.join(asked)}",
        "no date has a day above 12, so day and month could be either way round",
        answers,
    )


def _order(format: str) -> str:
    """Which of day and month comes first, for the formats that can be mistaken for one another."""
    if format.startswith(("%d/%m", "%d-%m")):
        return "day"
    return "month" if format.startswith(("%m/%d", "%m-%d")) else ""


def _other_order(reading: DateReading) -> str:
    order = _order(reading.formats[0])
    return next(entry for entry in reading.formats if _order(entry) not in ("", order))


def _put_zone(draft: Draft, columns: Sequence[Column], main: DateReading | None, shop_zone: str) -> None:
    """The zone of times without an offset: named by the format, a column's name or a column of its own."""
    if main is None or not main.has_time or main.has_offset:
        return
    mapped = [column for column in columns if draft.uses.get(column.name, ([], ""))[0]]
    if main.zone or any({"utc", "gmt"} & set(column.words) for column in mapped):
        draft.put("file", "zone", "UTC", "the file says so")
        return
    for column in columns:
        if name_score(column.words, ZONE) < 70 or not column.filled or column.is_number:
            continue
        zones = {_zone_name(cell) for cell in column.filled}
        zone = zones.pop() if len(zones) == 1 else None
        if zone:
            draft.put("file", "zone", zone, f"{column.filled[0]!r} stands in {column.name!r}")
            draft.use(column.name, "zone", "says the zone of the times")
        else:
            what = "it names zones that can't be told, or several; times are read in one zone"
            draft.ask("file", f"column {column.name}", what, [("zone", shop_zone, "the shop's")])
        return
    draft.notes.append(
        f"Times carry no zone: they are read in the shop's, {shop_zone}. If they are in another, set zone."
    )


def _zone_name(cell: str) -> str | None:
    """The IANA zone that a cell names: by that name, or by a usual abbreviation; None where it can't be told."""
    if cell.upper() in _ZONE_ABBREVIATIONS:
        return _ZONE_ABBREVIATIONS[cell.upper()]
    try:
        return zoneinfo.ZoneInfo(cell).key
    except (zoneinfo.ZoneInfoNotFoundError, ValueError, OSError):
        return None
