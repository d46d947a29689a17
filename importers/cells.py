"""SQL expressions that turn the text of one cell into a value: cheap for the usual shape, exact for every other.

Place in the flow: `typed` builds its statement from these. Each expression gives the value, NULL for a blank cell, or a
mark that no real value can have (`UNREADABLE_*`), so that one pass over the file both types it and finds what is wrong.
Units: money in minor units of the row's currency, moments as local time of the shop.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from importers.mapping import FileShape
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


def amount(cell: str, shape: FileShape, decimals: str, usual: int, currency: str, sign: str | None) -> str:
    """Minor units of an amount.

    Args:
        decimals: SQL expression of the row's number of decimals.
        usual: the number of decimals for which the cheap way is built.
        currency: SQL expression of the row's currency, for a code that stands beside the amount.
        sign: "flip", "absolute" or None.
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
    careful = _careful_amount(cell, shape, decimals, currency)
    blank = f"regexp_full_match({cell}, {quote_text(_BLANKS + '*')})"
    return (
        f"CASE WHEN {usual_shape} THEN {_signed(units, sign)} WHEN {cell} IS NULL OR {blank} THEN NULL "
        f"ELSE coalesce({_signed(careful, sign)}, {UNREADABLE_NUMBER}) END"
    )


def whole_number(cell: str, shape: FileShape, sign: str | None) -> str:
    """A count; decimals are accepted where they are zeros."""
    minor_units = FileShape(decimal_mark=shape.decimal_mark, thousands_mark=shape.thousands_mark, amounts_in="minor")
    return amount(cell, minor_units, "0", 0, "''", sign)


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
        CREATE OR REPLACE TEMP MACRO {CAREFUL_AMOUNT}(parts, decimals, currency) AS list_transform([parts], lambda part: CASE
            WHEN part.whole = '' AND part.fraction = '' THEN NULL
            WHEN {signs} > 1 OR (part.bracket = '') <> (part.closing = '') THEN NULL
            WHEN part.symbol1 <> '' AND part.symbol2 <> '' THEN NULL
            WHEN regexp_full_match(part.symbol1 || part.symbol2, '[A-Z]{{3}}')
                AND part.symbol1 || part.symbol2 <> currency THEN NULL
            WHEN strlen(rtrim(part.fraction, '0')) > decimals THEN NULL
            WHEN strlen(ltrim(regexp_replace(part.whole, '[^0-9]', '', 'g'), '0')) + decimals > {AMOUNT_DIGITS} THEN NULL
            ELSE TRY_CAST('0' || regexp_replace(part.whole, '[^0-9]', '', 'g')
                    || rpad(left(part.fraction, decimals), decimals, '0') AS BIGINT)
                * CASE WHEN part.bracket <> '' OR {negations} > 0 THEN -1 ELSE 1 END
            END)[1]"""


def moment(cell: str, shape: FileShape, shop_zone: str) -> str:
    """Local time of the shop; a date alone is that day's midnight, whatever the file's zone."""
    zone = quote_text(shop_zone)
    stamp, zoned = f"TRY_CAST({cell} AS TIMESTAMP)", f"timezone({zone}, TRY_CAST({cell} AS TIMESTAMPTZ))"
    local = stamp
    if shape.zone and shape.zone != shop_zone:
        local = f"timezone({zone}, timezone({quote_text(shape.zone)}, {stamp}))"
    # The length is asked first: it is many times cheaper than a pattern.
    cases = [
        f"WHEN strlen({cell}) = 20 AND {cell} LIKE '____-__-_____:__:__Z' THEN {zoned}",
        f"WHEN strlen({cell}) = 10 AND {cell} LIKE '____-__-__' THEN {stamp}",
        f"WHEN strlen({cell}) = 19 AND {cell} LIKE '____-__-_____:__:__' THEN {local}",
        f"WHEN strlen({cell}) = 25 AND ({cell} LIKE '____-__-_____:__:__+__:__'"
        f" OR {cell} LIKE '____-__-_____:__:__-__:__') THEN {zoned}",
    ]
    cases += [f"WHEN {test} THEN {value}" for test, value in _formatted(cell, shape, shop_zone)]
    iso = r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2}([.][0-9]{1,9})?)?"
    trimmed = f"trim({cell})"
    cases += [
        f"WHEN regexp_full_match({trimmed}, '[0-9]{{4}}-[0-9]{{2}}-[0-9]{{2}}') THEN {stamp}",
        f"WHEN regexp_full_match({trimmed}, {quote_text(iso)}) THEN {local}",
        f"WHEN regexp_full_match({trimmed}, {quote_text(iso + ' ?(Z|z|UTC|[-+][0-9]{2}(:?[0-9]{2})?)')}) THEN {zoned}",
    ]
    blank = f"regexp_full_match({cell}, {quote_text(_BLANKS + '*')})"
    unreadable = f"CASE WHEN {cell} IS NOT NULL AND NOT {blank} THEN {UNREADABLE_MOMENT} END"
    return f"coalesce(CASE {' '.join(cases)} END, {unreadable})"


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


def word(cell: str, key: str, meanings: Mapping[str, tuple[str, str]], amount_value: str) -> str:
    """Our word for a file's word, by the sign of an amount where the two meanings differ; NULL for an unknown one.

    Args:
        key: a column that holds the cell in lower case; computed once a row and compared many times.
    """

    def lookup(key: str) -> str:
        cases = []
        for word, (positive, negative) in meanings.items():
            meaning = quote_text(positive)
            if positive != negative:
                meaning = f"CASE WHEN {amount_value} < 0 THEN {quote_text(negative)} ELSE {meaning} END"
            cases.append(f"WHEN {quote_text(word)} THEN {meaning}")
        return f"CASE {key} {' '.join(cases)} END"

    folded = f"lower(trim(regexp_replace({cell}, {quote_text(_BLANKS + '+')}, ' ', 'g')))"
    return f"coalesce({lookup(key)}, {lookup(folded)})"


def flag_meanings(extra: Mapping[str, tuple[str, str]]) -> dict[str, tuple[str, str]]:
    """The words of a yes-or-no field, with the mapping's own."""
    meanings = dict.fromkeys(_TRUE_WORDS, ("true", "true")) | dict.fromkeys(_FALSE_WORDS, ("false", "false"))
    return meanings | dict(extra)


def is_blank(cell: str) -> str:
    """Whether a cell holds nothing but blanks."""
    return f"({cell} IS NULL OR regexp_full_match({cell}, {quote_text(_BLANKS + '*')}))"
