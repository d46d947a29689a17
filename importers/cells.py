"""SQL expressions that turn the text of one cell into a value: cheap for the usual shape, exact for every other.

Place in the flow: `typed` builds its statement from these. Each expression gives the value, NULL for a blank cell, or a
mark that no real value can have (`UNREADABLE_*`), so that one pass over the file both types it and finds what is wrong.
Units: money in minor units of the row's currency, moments as local time of the shop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from importers.layout import FileShape
from importers.text_tables import quote_text
from ledger_tools.money import currencies_by_digits, minor_digits

UNREADABLE_NUMBER = -9223372036854775807
UNREADABLE_MOMENT = "TIMESTAMP '0001-01-01'"
#: An amount has at most this many digits in minor units, so that sums over a whole shop stay within 64 bits.
AMOUNT_DIGITS = 15
TEXT_LENGTH = 500

_BLANKS = r"[\s\x{a0}\x{1680}\x{2000}-\x{200f}\x{2028}-\x{202f}\x{205f}-\x{206f}\x{3000}\x{feff}]"
_CONTROL_OR_BLANK = r"[\x00-\x1f\x7f-\x{a0}\x{1680}\x{2000}-\x{200f}\x{2028}-\x{202f}\x{205f}-\x{206f}\x{3000}\x{feff}]"
_MINUS = r"[-\x{2212}\x{2013}]"
_SYMBOL = r"(?:[A-Z]{0,2}\p{Sc}|[A-Z]{3})"
_PARTS = ("bracket", "sign1", "symbol1", "sign2", "whole", "fraction", "symbol2", "sign3", "closing")
_ISO_DATE = "[0-9]{4}-[0-9]{2}-[0-9]{2}"
_ISO_TIME = _ISO_DATE + "[T ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:[.][0-9]{1,9})?)?"
_OFFSET = "(?:Z|z|UTC|[-+][0-9]{2}(?::?[0-9]{2})?)"
_TRUE_WORDS = ("true", "yes", "y", "1", "t")
_FALSE_WORDS = ("false", "no", "n", "0", "f")


def text(cell: str, plain: bool, quoted: bool, free: bool) -> str:
    """A text without blanks around it and with each run of control characters or line breaks as one blank.

    Args:
        plain, quoted: what the file can hold, see `TextTable`; they only spare work.
        free: cut at `TEXT_LENGTH` characters; other texts are refused by `typed` where they are longer.
    """
    odd = quote_text(_CONTROL_OR_BLANK)
    folded = f"nullif(trim(regexp_replace({cell}, {quote_text(_CONTROL_OR_BLANK + '+')}, ' ', 'g')), '')"
    value = (
        f"CASE WHEN {cell} LIKE ' %' OR {cell} LIKE '% ' OR {cell} = '' THEN nullif(trim({cell}), '') ELSE {cell} END"
    )
    if not plain:
        value = f"CASE WHEN regexp_matches({cell}, {odd}) THEN {folded} ELSE {value} END"
    elif quoted:
        value = f"CASE WHEN contains({cell}, chr(10)) OR contains({cell}, chr(13)) THEN {folded} ELSE {value} END"
    if free:
        return f"CASE WHEN strlen({cell}) > {TEXT_LENGTH} THEN left({value}, {TEXT_LENGTH}) ELSE {value} END"
    return value


def code(cell: str) -> str:
    """A code in capitals, NULL where it is blank."""
    return f"CASE WHEN strlen({cell}) = 3 THEN upper({cell}) ELSE nullif(upper(trim({cell})), '') END"


def digits(currency: str, usual: str) -> str:
    """Decimals of a currency given as an SQL expression, `usual` being the code that most rows have.

    Unknown codes count as two decimals here and are refused elsewhere. Lists, not IN: DuckDB turns a long IN into a
    join, which loses the order of the file.
    """
    by_count: dict[int, list[str]] = {}
    for iso_code, count in currencies_by_digits().items():
        by_count.setdefault(count, []).append(iso_code)
    cases = " ".join(
        f"WHEN list_contains([{', '.join(map(quote_text, sorted(codes)))}], {currency}) THEN {count}"
        for count, codes in sorted(by_count.items())
        if count != 2
    )
    return f"CASE WHEN {currency} = {quote_text(usual)} THEN {minor_digits(usual)} {cases} ELSE 2 END"


def amount(
    cell: str, shape: FileShape, decimals: str, usual: int, currency: str, sign: str | None, *, careful: bool
) -> str:
    """Minor units of an amount.

    Args:
        decimals: SQL expression of the row's number of decimals.
        usual: the number of decimals for which the cheap way is built.
        currency: SQL expression of the row's currency, for a code that stands beside the amount.
        sign: "flip", "absolute" or None.
        careful: understand every dress of an amount; else all but the plain one is unreadable.
    """
    if shape.amounts_in == "minor":
        decimals, usual = "0", 0
    plain = cell
    if shape.decimal_mark == ",":
        plain = f"CASE WHEN NOT contains({cell}, '.') THEN replace({cell}, ',', '.') END"
    number = f"TRY_CAST({plain} AS DECIMAL({AMOUNT_DIGITS}, {usual}))"
    units = f"({number} * {10**usual}::DECIMAL({usual + 1}, 0))::BIGINT" if usual else f"{number}::BIGINT"
    usual_shape = f"{number}::VARCHAR = {plain}"
    if decimals != str(usual):
        usual_shape = f"{decimals} = {usual} AND {usual_shape}"
    if not careful:
        return (
            f"CASE WHEN {usual_shape} THEN {_signed(units, sign)} WHEN {cell} IS NULL OR {cell} = '' THEN NULL "
            f"ELSE {UNREADABLE_NUMBER} END"
        )
    dressed = _careful_amount(cell, shape, decimals, currency)
    blank = f"regexp_full_match({cell}, {quote_text(_BLANKS + '*')})"
    return (
        f"CASE WHEN {usual_shape} THEN {_signed(units, sign)} WHEN {cell} IS NULL OR {blank} THEN NULL "
        f"ELSE coalesce({_signed(dressed, sign)}, {UNREADABLE_NUMBER}) END"
    )


def whole_number(cell: str, shape: FileShape, sign: str | None, *, careful: bool) -> str:
    """A count; decimals are accepted where they are zeros."""
    minor_units = FileShape(decimal_mark=shape.decimal_mark, thousands_mark=shape.thousands_mark, amounts_in="minor")
    return amount(cell, minor_units, "0", 0, "''", sign, careful=careful)


def _signed(value: str, sign: str | None) -> str:
    if sign == "flip":
        return f"-({value})"
    return f"abs({value})" if sign == "absolute" else value


def amount_pattern(shape: FileShape) -> str:
    """RE2 pattern of an amount in every dress that is understood; its groups are `_PARTS`."""
    marks = [r"\x{a0}", r"\x{202f}", r"\x{2009}", "'", r"\x{2019}"]
    if shape.thousands_mark and shape.thousands_mark != "'":
        marks.append("[" + shape.thousands_mark + "]")
    grouped = "|".join(f"(?:{mark}[0-9]{{3}})+" for mark in marks)
    any_sign, blanks = r"([-+\x{2212}\x{2013}])?", _BLANKS + "*"
    parts = [
        r"(\()?", any_sign, f"({_SYMBOL})?", any_sign,
        f"([0-9]{{1,3}}(?:{grouped})|[0-9]+)?(?:[{shape.decimal_mark}]([0-9]*))?",
        f"({_SYMBOL})?", any_sign, r"(\))?",
    ]  # fmt: skip
    return "^" + blanks + blanks.join(parts) + blanks + "$"


def _careful_amount(cell: str, shape: FileShape, decimals: str, currency: str) -> str:
    parts = f"regexp_extract({cell}, {quote_text(amount_pattern(shape))}, {list(_PARTS)!r})"
    return f"{CAREFUL_AMOUNT}({parts}, {decimals}, {currency})"


CAREFUL_AMOUNT = "importers_careful_amount"


def macro_statements() -> Iterable[str]:
    """The macros that the expressions call; to be run once on a connection.

    The parts are taken through a one-element list, so that the pattern runs once and not at each mention.
    """
    minus = quote_text("^" + _MINUS + "$")
    negations = " + ".join(f"regexp_matches(part.{name}, {minus})::INTEGER" for name in ("sign1", "sign2", "sign3"))
    signs = " + ".join(f"(part.{name} <> '')::INTEGER" for name in ("bracket", "sign1", "sign2", "sign3"))
    yield f"""
        CREATE OR REPLACE TEMP MACRO {CAREFUL_AMOUNT}(parts, decimals, currency) AS
            list_transform([parts], lambda part: CASE
            WHEN part.whole = '' AND part.fraction = '' THEN NULL
            WHEN {signs} > 1 OR (part.bracket = '') <> (part.closing = '') THEN NULL
            WHEN part.symbol1 <> '' AND part.symbol2 <> '' THEN NULL
            WHEN regexp_full_match(part.symbol1 || part.symbol2, '[A-Z]{{3}}')
                AND part.symbol1 || part.symbol2 <> currency THEN NULL
            WHEN strlen(rtrim(part.fraction, '0')) > decimals THEN NULL
            WHEN strlen(ltrim(regexp_replace(part.whole, '[^0-9]', '', 'g'), '0')) + decimals > {AMOUNT_DIGITS}
                THEN NULL
            ELSE TRY_CAST('0' || regexp_replace(part.whole, '[^0-9]', '', 'g')
                    || rpad(left(part.fraction, decimals), decimals, '0') AS BIGINT)
                * CASE WHEN part.bracket <> '' OR {negations} > 0 THEN -1 ELSE 1 END
            END)[1]"""


def moment(cell: str, shape: FileShape, shop_zone: str, *, careful: bool) -> str:
    """Local time of the shop; a date alone is that day's midnight, whatever the file's zone.

    Each cast is mentioned once: DuckDB computes what it finds twice in a statement for all rows, needed or not. The
    length is asked before a pattern, which costs many times more.

    Args:
        careful: understand every way of writing; else what is not in the usual ones is unreadable.
    """
    zone = quote_text(shop_zone)
    stamp, zoned = f"TRY_CAST({cell} AS TIMESTAMP)", f"timezone({zone}, TRY_CAST({cell} AS TIMESTAMPTZ))"
    date_test = f"(strlen({cell}) = 10 AND {cell} LIKE '____-__-__')"
    local_test = (
        f"((strlen({cell}) = 19 AND {cell} LIKE '____-__-_____:__:__')"
        f" OR (strlen({cell}) = 16 AND {cell} LIKE '____-__-_____:__'))"
    )
    also_time = f" OR {_matches(cell, _ISO_TIME)}" if careful else ""
    if shape.zone and shape.zone != shop_zone:
        elsewhere = f"timezone({zone}, timezone({quote_text(shape.zone)}, TRY_CAST(trim({cell}) AS TIMESTAMP)))"
        cases = [f"WHEN {date_test} THEN {stamp}", f"WHEN {local_test}{also_time} THEN {elsewhere}"]
    else:
        cases = [f"WHEN {date_test} OR {local_test} THEN {stamp}"]
    zoned_test = (
        f"(strlen({cell}) = 20 AND {cell} LIKE '____-__-_____:__:__Z') "
        f"OR (strlen({cell}) = 25 AND {cell} LIKE '____-__-_____:__:_____:__') "
    )
    also_zoned = f"OR {_matches(cell, _ISO_TIME + ' ?' + _OFFSET)}" if careful else ""
    cases.append(f"WHEN {zoned_test} {also_zoned} THEN {zoned}")
    cases += [f"WHEN {test} THEN {value}" for test, value in _formatted(cell, shape, shop_zone)]
    if not careful:
        return (
            f"coalesce(CASE {' '.join(cases)} END, CASE WHEN {cell} IS NOT NULL AND {cell} <> '' "
            f"THEN {UNREADABLE_MOMENT} END)"
        )
    cases.append(f"WHEN {_matches(cell, f'{_ISO_DATE}|{_ISO_TIME}')} THEN TRY_CAST(ltrim(rtrim({cell})) AS TIMESTAMP)")
    blank = f"regexp_full_match({cell}, {quote_text(_BLANKS + '*')})"
    unreadable = f"CASE WHEN {cell} IS NOT NULL AND NOT {blank} THEN {UNREADABLE_MOMENT} END"
    return f"coalesce(CASE {' '.join(cases)} END, {unreadable})"


def _matches(cell: str, pattern: str) -> str:
    """Whether a cell is of a pattern but for blanks around it."""
    return f"regexp_full_match({cell}, {quote_text(f' *(?:{pattern}) *')})"


def _formatted(cell: str, shape: FileShape, shop_zone: str) -> Iterable[tuple[str, str]]:
    """For each of the mapping's formats: the test whether a cell has it, and the local time that it gives."""
    zone = quote_text(shop_zone)
    for entry in shape.date_formats:
        value = f"try_strptime(trim({cell}), {quote_text(entry)})"
        local = value
        if "%z" in entry or "%Z" in entry:
            local = f"timezone({zone}, {value})"
        elif shape.zone and shape.zone != shop_zone and any(f"%{part}" in entry for part in "HIcXsSM"):
            local = f"timezone({zone}, timezone({quote_text(shape.zone)}, {value}))"
        yield f"{value} IS NOT NULL", local


def word(cell: str, meanings: Mapping[str, tuple[str, str]], amount_value: str) -> str:
    """Our word for a file's word, by the sign of an amount where the two meanings differ; NULL for an unknown one."""
    words = f"[{', '.join(map(quote_text, meanings))}]"
    positive = f"[{', '.join(quote_text(pair[0]) for pair in meanings.values())}]"
    negative = f"[{', '.join(quote_text(pair[1]) for pair in meanings.values())}]"
    folded = f"lower(trim(regexp_replace({cell}, {quote_text(_BLANKS + '+')}, ' ', 'g')))"
    place = f"coalesce(list_position({words}, lower({cell})), list_position({words}, {folded}))"
    if positive == negative:
        return f"{positive}[{place}]"
    return f"CASE WHEN {amount_value} < 0 THEN {negative}[{place}] ELSE {positive}[{place}] END"


def flag_meanings(extra: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """The words of a yes-or-no field, with the mapping's own."""
    meanings = dict.fromkeys(_TRUE_WORDS, ("true", "true")) | dict.fromkeys(_FALSE_WORDS, ("false", "false"))
    return meanings | dict(extra)


def is_blank(cell: str) -> str:
    """Whether a cell holds nothing but blanks."""
    return f"({cell} IS NULL OR regexp_full_match({cell}, {quote_text(_BLANKS + '*')}))"
