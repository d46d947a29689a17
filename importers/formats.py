"""What kind of file an export is, by its first bytes and never by its name.

Place in the flow: first question that `readers` and `identify` ask.
"""

from __future__ import annotations

import codecs
import re
from pathlib import Path

from ledger_tools.errors import LedgerError, Problem

DELIMITED, SPREADSHEET, OFX, CAMT053, MT940 = "delimited text", "spreadsheet", "OFX", "camt.053", "MT940"
STATEMENTS = frozenset({OFX, CAMT053, MT940})
_START = 1 << 16


def detect_format(path: Path) -> str:
    """One of the words of this module.

    Raises:
        LedgerError: the file can't be opened, is empty, or is XML of another kind.
    """
    try:
        with path.open("rb") as file:
            start = file.read(_START)
    except OSError as error:
        raise LedgerError(Problem(path.name, f"can't be opened: {error.strerror}")) from None
    if not start:
        raise LedgerError(Problem(path.name, "is empty", "export the file again"))
    if start.startswith((b"PK\x03\x04", b"\xd0\xcf\x11\xe0")):
        return SPREADSHEET
    wide = start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    text = start.decode("utf-16" if wide else "latin-1", errors="ignore").lstrip("\ufeff\xef\xbb\xbf \t\r\n")
    if re.search(r"<OFX>", text, re.IGNORECASE) or text.startswith("OFXHEADER"):
        return OFX
    if text.startswith("<"):
        if re.search(r"BkToCstmrStmt|camt\.053", text):
            return CAMT053
        what = "is XML of an unknown kind, expected OFX or a camt.053 statement"
        raise LedgerError(Problem(path.name, what, "export it as CSV, OFX or camt.053"))
    if re.search(r"^(\{[^\n]*\{4:)?:20:", text, re.MULTILINE) and re.search(r"^:25P?:", text, re.MULTILINE):
        return MT940
    return DELIMITED
