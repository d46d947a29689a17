"""What the cells of an export look like: how numbers and dates are written in it, and the codes of countries.

Used by the mapping proposer only, on a sample. Units: `parse_number` gives integers of one ten-thousandth, so that
sums and differences of columns can be compared exactly; they never leave the proposer.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache

from ledger_tools.money import currencies_by_digits

SCALE_DIGITS = 4

_SYMBOLS = re.compile(r"[$€£¥₹₩₺₽₫฿₱₪]|\b[A-Z]{3}\b|[A-Z]{1,2}(?=\$)")
_SPACES = re.compile("[\\s\u00a0\u202f\u2009]+")
_NUMBER_SHAPE = re.compile(r"[+-]?[\d.,'’ \u00a0\u202f]*\d[.,]?")
_ISO_MOMENT = re.compile(
    r"\d{4}-\d{2}-\d{2}(?P<time>[ T]\d{2}:\d{2}(:\d{2}(\.\d{1,9})?)?(?P<offset>\s?(Z|UTC)|[+-]\d{2}:?\d{2})?)?"
)
_TIME = re.compile(r"\d{1,2}:\d{2}(:\d{2})?(\s?[AaPp]\.?[Mm]\.?)?")
_DATE_PARTS = (
    "%d/%m/%Y", "%m/%d/%Y", "%d.%m.%Y", "%d-%m-%Y", "%m-%d-%Y", "%Y/%m/%d", "%Y.%m.%d", "%Y%m%d", "%d/%m/%y",
    "%m/%d/%y", "%d.%m.%y", "%d-%m-%y", "%m-%d-%y", "%d %b %Y", "%d %B %Y", "%b %d, %Y", "%B %d, %Y", "%b %d %Y",
    "%B %d %Y", "%d-%b-%Y", "%d-%b-%y", "%d %b %y", "%d. %B %Y", "%Y-%m-%d", "%a %d %b %Y", "%a, %d %b %Y",
)  # fmt: skip
_DATE_SHAPES = {
    "%d": r"\d{1,2}", "%m": r"\d{1,2}", "%Y": r"\d{4}", "%y": r"\d{2}", "%a": "[A-Za-z]{3}", "%b": "[A-Za-z]{3}",
    "%B": "[A-Za-z]{3,9}",
}  # fmt: skip
_MOMENT = re.compile(
    r"(?P<date>.+?)((?P<joint>, | at |T| )\d{1,2}:\d{2}(?P<second>:\d{2}(?P<fraction>\.\d{1,6})?)?"
    r"(?P<half>(?P<gap> ?)[AaPp][Mm])?(?P<zone> UTC| GMT| ?[+-]\d{2}:?\d{2})?)?"
)
#: Two readings of the same cell that differ in which part is the day.
_SWAPS = {"%d/%m": "%m/%d", "%m/%d": "%d/%m", "%d-%m": "%m-%d", "%m-%d": "%d-%m"}

COUNTRIES = frozenset(
    re.findall(
        "[A-Z]{2}",
        "AD AE AF AG AI AL AM AO AQ AR AS AT AU AW AX AZ BA BB BD BE BF BG BH BI BJ BL BM BN BO BQ BR BS BT "
        "BV BW BY BZ CA CC CD CF CG CH CI CK CL CM CN CO CR CU CV CW CX CY CZ DE DJ DK DM DO DZ EC EE EG EH "
        "ER ES ET FI FJ FK FM FO FR GA GB GD GE GF GG GH GI GL GM GN GP GQ GR GS GT GU GW GY HK HM HN HR HT "
        "HU ID IE IL IM IN IO IQ IR IS IT JE JM JO JP KE KG KH KI KM KN KP KR KW KY KZ LA LB LC LI LK LR LS "
        "LT LU LV LY MA MC MD ME MF MG MH MK ML MM MN MO MP MQ MR MS MT MU MV MW MX MY MZ NA NC NE NF NG NI "
        "NL NO NP NR NU NZ OM PA PE PF PG PH PK PL PM PN PR PS PT PW PY QA RE RO RS RU RW SA SB SC SD SE SG "
        "SH SI SJ SK SL SM SN SO SR SS ST SV SX SY SZ TC TD TF TG TH TJ TK TL TM TN TO TR TT TV TW TZ UA UG "
        "UM US UY UZ VA VC VE VG VI VN VU WF WS YE YT ZA ZM ZW ",
    )
)


@dataclass(frozen=True)
class NumberStyle:
    """How a file writes amounts; empty thousands mark where none is seen.

    Attributes:
        doubt: why the marks can't be told, in words; empty where they can.
    """

    decimal_mark: str = "."
    thousands_mark: str = ""
    doubt: str = ""


@dataclass(frozen=True)
class DateReading:
    """How a column writes dates.

    Attributes:
        formats: strptime formats that read every cell, the likeliest first; empty for ISO 8601.
        ambiguous: day and month can be swapped in every cell.
        has_time: cells hold a time of day.
        has_offset: cells hold their own offset from UTC.
        zone: zone that the cells or their format name ("UTC"), else empty.
    """

    formats: tuple[str, ...] = ()
    ambiguous: bool = False
    has_time: bool = False
    has_offset: bool = False
    zone: str = ""


def strip_symbols(text: str) -> str:
    """An amount without currency symbols; brackets, a sign at the end and a long minus become a minus in front."""
    plain = _SPACES.sub(" ", _SYMBOLS.sub("", text.replace("\u2212", "-").replace("\u2013", "-"))).strip()
    if plain.startswith("(") and plain.endswith(")"):
        plain = "-" + plain[1:-1].strip()
    if plain.endswith(("-", "+")):
        plain = plain[-1] + plain[:-1].strip()
    if plain[:1] in "+-":
        plain = plain[:1] + plain[1:].strip()
    return plain


def parse_number(text: str, style: NumberStyle) -> int | None:
    """The number in ten-thousandths; None where the cell is no number in this style or finer than that."""
    plain = strip_symbols(text)
    if not _NUMBER_SHAPE.fullmatch(plain):
        return None
    whole, mark, fraction = plain.partition(style.decimal_mark)
    groups = re.split(r"[ '’]" if style.thousands_mark in ("", " ", "'") else re.escape(style.thousands_mark), whole)
    if len(groups) > 1 and any(len(group) != 3 for group in groups[1:]):
        return None
    digits = "".join(groups)
    unsigned = digits.lstrip("+-")
    if (unsigned and not unsigned.isdecimal()) or (fraction and not fraction.isdecimal()) or not (unsigned or fraction):
        return None
    if fraction[SCALE_DIGITS:].strip("0") or len(unsigned) > 15:
        return None
    value: int = int(unsigned or "0") * 10**SCALE_DIGITS + int(fraction[:SCALE_DIGITS].ljust(SCALE_DIGITS, "0"))
    return -value if plain.startswith("-") else value


def find_number_style(columns: Iterable[Sequence[str]], currency: str) -> NumberStyle:
    """Decimal and thousands mark by vote over all cells of all columns that look like numbers.

    A mark with three digits after it could be either; it is taken for a decimal mark only where the currency has
    three decimals, and for a thousands mark only where something else in the file agrees.
    """
    digits = currencies_by_digits().get(currency, 2)
    votes = {".": 0, ",": 0}
    grouped = {".": 0, ",": 0, " ": 0, "'": 0}
    unclear = {".": 0, ",": 0}
    for cells in columns:
        for cell in cells:
            _vote_marks(strip_symbols(cell), votes, grouped, unclear)
    decimal = "," if votes[","] > votes["."] else "."
    other = "." if decimal == "," else ","
    if votes[decimal] and min(votes.values()) > 0.05 * votes[decimal]:
        return NumberStyle(decimal, doubt="some amounts have a decimal point and others a decimal comma")
    if not any(votes.values()):
        for mark in (".", ","):
            opposite = "," if mark == "." else "."
            if grouped[mark] or (unclear[mark] and not unclear[opposite] and digits < 3):
                return NumberStyle(opposite, mark)
            if unclear[mark]:
                return NumberStyle(mark, doubt=f"{mark!r} before three digits may be a decimal or a thousands mark")
    thousands = next((mark for mark in (other, " ", "'") if grouped[mark]), "")
    if not thousands and unclear[other]:
        thousands = other
    return NumberStyle(decimal, thousands)


def _vote_marks(text: str, votes: dict[str, int], grouped: dict[str, int], unclear: dict[str, int]) -> None:
    body = text.lstrip("+-")
    if not body or not _NUMBER_SHAPE.fullmatch(body):
        return
    for mark, other in ((".", ","), (",", ".")):
        if re.fullmatch(rf"\d{{1,3}}(\{mark}\d{{3}})+\{other}\d+", body):
            votes[other] += 1
            grouped[mark] += 1
            return
        if re.fullmatch(rf"\d{{1,3}}(\{mark}\d{{3}}){{2,}}", body):
            grouped[mark] += 1
            return
        if re.fullmatch(rf"[1-9]\d{{0,2}}\{mark}\d{{3}}", body):
            unclear[mark] += 1
            return
        if re.fullmatch(rf"\d*\{mark}\d+", body):
            votes[mark] += 1
            return
    spaced = re.fullmatch(r"\d{1,3}(?P<mark>[ '’])\d{3}((?P=mark)\d{3})*(?P<rest>[.,]\d+)?", body)
    if spaced:
        grouped[" " if spaced["mark"] == " " else "'"] += 1
        if spaced["rest"]:
            votes[spaced["rest"][0]] += 1


def is_time(text: str) -> bool:
    return _TIME.fullmatch(text.strip()) is not None


def find_dates(cells: Sequence[str]) -> DateReading | None:
    """How a column's cells are to be read as dates; None where they aren't dates in one format."""
    values = list(dict.fromkeys(cells))
    if not values or len(values[0]) < 6 or len(values[0]) > 40 or not any(sign.isdigit() for sign in values[0]):
        return None
    matches = [_ISO_MOMENT.fullmatch(value) for value in values]
    if all(matches) and all(_is_day(value[:10]) for value in values):
        offsets = [match["offset"] is not None for match in matches if match]
        times = [match["time"] is not None for match in matches if match]
        return DateReading(has_time=any(times), has_offset=all(offsets))
    formats = _possible_formats(values[0])
    formats = [entry for entry in formats if all(_reads(value, entry) for value in values)]
    if not formats:
        return None
    best = formats[0]
    return DateReading(
        formats=tuple(formats),
        ambiguous=any(swapped(best) == entry for entry in formats[1:]),
        has_time="%H" in best or "%I" in best,
        has_offset="%z" in best,
        zone="UTC" if best.endswith(("UTC", "GMT")) else "",
    )


def _is_day(text: str) -> bool:
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def swapped(format: str) -> str:
    for part, other in _SWAPS.items():
        if format.startswith(part):
            return other + format[len(part) :]
    return format


@cache
def _date_patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Every format of a date with the pattern of the texts that it could read."""
    found = []
    for entry in _DATE_PARTS:
        pattern = re.escape(entry)
        for part, shape in _DATE_SHAPES.items():
            pattern = pattern.replace(re.escape(part), shape)
        found.append((entry, re.compile(pattern)))
    return tuple(found)


def _possible_formats(text: str) -> list[str]:
    """Formats that could read a cell, by its shape; trying them all would be slow."""
    match = _MOMENT.fullmatch(text)
    if match is None:
        return []
    time = ""
    if match["joint"]:
        time = match["joint"] + ("%I:%M" if match["half"] else "%H:%M") + (":%S" if match["second"] else "")
        time += (".%f" if match["fraction"] else "") + (f"{match['gap']}%p" if match["half"] else "")
        zone = match["zone"] or ""
        time += zone if zone in ("", " UTC", " GMT") else zone[: len(zone) - len(zone.lstrip())] + "%z"
    return [entry + time for entry, pattern in _date_patterns() if pattern.fullmatch(match["date"])]


def _reads(value: str, format: str) -> bool:
    try:
        moment = datetime.datetime.strptime(value, format)  # noqa: DTZ007 (the zone is the mapping's business)
    except ValueError:
        return False
    if not 1970 <= moment.year <= 2100:
        return False
    return "%Y%m%d" not in format or len(value.split("T")[0].split(" ")[0]) == 8
