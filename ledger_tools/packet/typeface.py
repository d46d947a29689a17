"""The letters that the PDF can print: one typeface of Latin, Greek, Cyrillic and more, which lies beside this module.

A letter that the typeface lacks, or that needs joining or runs from right to left, becomes a box: a text is never printed
wrong without a sign of it.
"""

from __future__ import annotations

import unicodedata
from functools import cache
from pathlib import Path

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

PLAIN, BOLD = "PacketSans", "PacketSans-Bold"
_FILES = {PLAIN: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}

#: Stands for a letter that can't be printed.
BOX = "\N{WHITE VERTICAL RECTANGLE}"
BOX_NOTE = f"A box {BOX} stands for a letter that this document can't print; the workbook and the CSV files have it."

#: Directions of writing that need more than letters side by side.
_RIGHT_TO_LEFT = frozenset({"R", "AL", "AN"})


@cache
def _letters() -> frozenset[int]:
    """Code points that both weights have; both are made known to the PDF library."""
    fonts = [TTFont(name, str(Path(__file__).parent / "fonts" / file)) for name, file in _FILES.items()]
    for font in fonts:
        pdfmetrics.registerFont(font)
    return frozenset(fonts[0].face.charToGlyph) & frozenset(fonts[1].face.charToGlyph)


def printable(text: str) -> str:
    """A text in letters that can be printed; the typeface is ready to be used afterwards."""
    letters = _letters()
    if text.isascii():
        return text
    return "".join(
        letter if ord(letter) in letters and unicodedata.bidirectional(letter) not in _RIGHT_TO_LEFT else BOX
        for letter in unicodedata.normalize("NFC", text)
    )
