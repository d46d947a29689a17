"""The packet's PDF: its text as a reader program finds it, its pages as a renderer draws them."""

import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import pytest
from pypdf import PdfReader

from ledger_tools.packet.document import write_document
from ledger_tools.packet.letters import amount_in_words
from ledger_tools.packet.table import Packet
from ledger_tools.packet.typeface import BOX, BOX_NOTE, printable


def pages_of(file: Path) -> list[str]:
    """Text of each page, blanks and line ends as one blank."""
    return [" ".join(page.extract_text().split()) for page in PdfReader(file).pages]


@pytest.fixture(scope="module")
def pages(packet_folder: Path) -> list[str]:
    """Text of each page of April's packet."""
    return pages_of(packet_folder / "packet-2031-04.pdf")


def test_every_page_says_what_it_is(pages: list[str]) -> None:
    """Each page bears shop, period, DRAFT with the reason, and its number of how many."""
    assert 5 <= len(pages) <= 12
    for number, text in enumerate(pages, start=1):
        assert f"Page {number} of {len(pages)}" in text
        assert "Lantern Hill Sky Club 2031-04" in text
        assert "DRAFT: 2031-04 is not closed, figures may change" in text


def test_a_closed_month_is_no_draft(april: Packet, tmp_path: Path) -> None:
    """Without an open month no page says DRAFT, and each says that the month is closed."""
    closed = replace(april, standing=replace(april.standing, open_months=()))
    write_document(tmp_path / "closed.pdf", closed)
    for text in pages_of(tmp_path / "closed.pdf"):
        assert "DRAFT" not in text
        assert "Closed" in text


def test_pages_hold_the_figures_of_the_tables(pages: list[str], april: Packet) -> None:
    """The story and every amount of the statements, taxes and reconciliations stand on the pages."""
    text = " ".join(pages)
    for sentence in april.story:
        assert sentence in text
    for name in ("summary", "income-statement", "balance-sheet", "cash-flow", "owners-equity", "two-sided"):
        table = april.table(name)
        for line in table.lines:
            for cell, column in zip(line.cells, table.columns, strict=True):
                if column.kind == "money" and isinstance(cell, int):
                    code = column.currency or str(line.cells[column.currency_in or 0])
                    assert amount_in_words(cell, code).partition(" ")[0] in text, (name, line)


def test_there_is_a_place_to_sign(pages: list[str]) -> None:
    """The last page tells how to trace a figure and has lines for preparer and reviewer with dates."""
    assert re.search(r"How to trace a figure .* Sign-off Prepared by Date Reviewed by Date", pages[-1])
    assert "checks of the workbook read zero" in pages[-1]


def test_fonts_are_in_the_file(packet_folder: Path) -> None:
    """Every font that a page uses is embedded, so that it prints the same everywhere."""
    reader = PdfReader(packet_folder / "packet-2031-04.pdf")
    fonts = {
        font["/BaseFont"]: font.get("/FontDescriptor", {})
        for page in reader.pages
        for font in (each.get_object() for each in page["/Resources"]["/Font"].values())
        if font["/BaseFont"] != "/Helvetica"  # the library names it on every page and prints nothing in it
    }
    assert fonts
    assert all("/FontFile2" in descriptor for descriptor in fonts.values()), fonts


def test_names_print_or_show_that_they_do_not(april: Packet, tmp_path: Path) -> None:
    """Letters of Latin, Greek and Cyrillic print; markup is text; what can't be printed is a box, and the page says so."""
    name = "Łódź Ωμέγα Заря <b>&amp; Sons"
    plain = replace(april, standing=replace(april.standing, shop=name))
    write_document(tmp_path / "plain.pdf", plain)
    text = " ".join(pages_of(tmp_path / "plain.pdf"))
    assert name in text
    assert BOX_NOTE not in text
    write_document(tmp_path / "boxes.pdf", replace(april, standing=replace(april.standing, shop="店 שלום")))
    text = " ".join(pages_of(tmp_path / "boxes.pdf"))
    assert f"{BOX} {BOX * 4} " in text
    assert BOX_NOTE in text


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("plain", "plain"),
        ("e\u0301", "é"),
        ("日本", BOX * 2),
        ("abאב", f"ab{BOX * 2}"),
        ("مرحبا", BOX * 5),
        ("🎨", BOX),
    ],
)
def test_printable(text: str, shown: str) -> None:
    """A letter without a glyph, or of a script that runs from right to left, is a box."""
    assert shown == printable(text)


@pytest.mark.skipif(
    shutil.which("pdftoppm") is None and not os.environ.get("CI"), reason="needs pdftoppm: poppler-utils"
)
def test_pages_are_drawn(packet_folder: Path, tmp_path: Path) -> None:
    """A renderer draws every page without a complaint, and charts put ink where the second page has little text."""
    command = ["pdftoppm", "-r", "20", "-gray", str(packet_folder / "packet-2031-04.pdf"), str(tmp_path / "page")]
    done = subprocess.run(command, check=True, capture_output=True, text=True, timeout=60)
    assert "" == done.stderr
    ink = []
    for file in sorted(tmp_path.glob("page*.pgm")):
        _, size, _, pixels = file.read_bytes().split(b"\n", 3)
        width, height = map(int, size.split())
        assert width * height == len(pixels)
        ink.append(sum(1 for pixel in pixels if pixel < 200) / len(pixels))
    assert len(ink) >= 5
    assert min(ink) > 0.02
    assert ink[1] > 0.05
