"""The packet on disk: the same bytes each time, no text that runs as a formula, nothing of a customer, nothing destroyed."""

import csv
import hashlib
import json
import shutil
import subprocess
import sys
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from filelock import FileLock
from kept_books import Books, bank, order, processor, silent, wallet
from openpyxl.utils.escape import unescape
from shop_books import DemoBooks

from ledger_tools.archive import open_books
from ledger_tools.calendar import parse_month, parse_year
from ledger_tools.cli.periods import period_name
from ledger_tools.errors import LedgerError
from ledger_tools.packet.contents import make_packet
from ledger_tools.packet.delivery import MANIFEST, write_archive, write_folder
from ledger_tools.packet.table import Packet

HOSTILE = [
    "=1+1", "+cmd|' /C calc'!A0", "-2+3", "@SUM(A1:A9)", "<b>bold</b>&amp;", "'; DROP TABLE posting; --",
    "x" * 400, "שלום עולם", "zero\u200bwidth", "right\u202eto left", "_x0041_", "name@example.org",
]  # fmt: skip

PERSON = {
    "customer_name": "Philippa Quill",
    "customer_email": "p.quill@example.org",
    "ship_address": "17 Moonbeam Crescent",
    "phone": "+1 555 0100",
}


def contents_of(folder: Path) -> dict[str, bytes]:
    """Every file below a folder, by its name."""
    return {
        file.relative_to(folder).as_posix(): file.read_bytes() for file in sorted(folder.rglob("*")) if file.is_file()
    }


def packet_of(books: Books, target: Path, *, archive: bool = False) -> Path:
    """The packet of March 2031 of a set of books."""
    with open_books(books.folder, silent) as connection:
        packet = make_packet(connection, parse_month("2031-03"), "2031-03", period_name, silent)
        write = write_archive if archive else write_folder
        return write(target, packet, connection, books.folder, silent)


@pytest.fixture
def hostile_books(tmp_path: Path) -> Books:
    """Books whose order ids, memos and shop name are what a spreadsheet, a page or a database might act on."""
    books = Books(tmp_path)
    settings = books.folder.settings
    settings.write_text(
        settings.read_text(encoding="utf-8").replace('"Test shop"', '"=cmd() & <i>Sons</i>"'), encoding="utf-8"
    )
    books.put(
        orders=[order(f"{name} {place}", "2031-03-05", "20.00") for place, name in enumerate(HOSTILE)],
        bank=[bank("2031-03-07", f"-{place + 1}.00", name) for place, name in enumerate(HOSTILE)],
    )
    return books


def test_hostile_texts_stay_texts(hostile_books: Books, tmp_path: Path) -> None:
    """No text of an export becomes a formula or markup: in the workbook it is a text, in CSV it has an apostrophe."""
    target = tmp_path / "packet"
    packet_of(hostile_books, target)
    book = openpyxl.load_workbook(target / "packet-2031-03.xlsx")
    ledger = [cell for row in book["General ledger"].iter_rows() for cell in row]
    assert {"s", "n", "d", "inlineStr"} >= {cell.data_type for cell in ledger}
    texts = {unescape(str(cell.value)) for cell in ledger}
    assert {"=1+1 0", "-2+3 2", "@SUM(A1:A9) 3", "<b>bold</b>&amp; 4", "_x0041_ 10", "=1+1"} <= texts
    assert "right to left 9" in texts
    assert "=cmd() & <i>Sons</i>, 2031-03, to the end of 2031-03-07" == book["Summary"]["A2"].value
    for file in (target / "csv").glob("*.csv"):
        with file.open(encoding="utf-8-sig", newline="") as stream:
            cells = [cell for row in csv.reader(stream) for cell in row]
        risky = [cell for cell in cells if cell.startswith(("=", "@", "+", "\t", "\r"))]
        assert [] == risky, file.name
        assert [] == [cell for cell in cells if cell.startswith("-") and not cell[1:].replace(".", "").isdigit()]


def test_amounts_of_other_currencies_keep_their_digits(tmp_path: Path) -> None:
    """Yen have no decimals and dinars three, in the workbook's formats and in CSV."""
    rate = '[[rate]]\ncurrency = "{}"\non = 2031-03-01\nrate = "{}"\n'
    books = Books(tmp_path, rate.format("JPY", "0.0068") + rate.format("KWD", "3.25"))
    books.put(
        orders=[
            order("1", "2031-03-05", "1250", currency="JPY"),
            order("2", "2031-03-05", "12.345", currency="KWD"),
        ]
    )
    target = tmp_path / "packet"
    packet_of(books, target)
    sheet = openpyxl.load_workbook(target / "packet-2031-03.xlsx")["General ledger"]
    shown = {
        (row[1].value, row[8].value, row[8].number_format) for row in sheet.iter_rows() if row[8].value is not None
    }
    assert {("JPY", 1250, "#,##0;-#,##0"), ("KWD", 12.345, "#,##0.000;-#,##0.000")} <= shown
    ledger = (target / "csv" / "general-ledger.csv").read_text(encoding="utf-8-sig")
    assert ",1250,," in ledger
    assert ",12.345,," in ledger


def test_nothing_of_a_customer_is_in_the_archive(tmp_path: Path) -> None:
    """Names, addresses and telephone numbers in the exports are nowhere in the archive, whatever the file."""
    books = Books(tmp_path).put(
        orders=[order("1001", "2031-03-05", "20.00", **PERSON)],
        processor=[
            processor("c1", "charge", "2031-03-05", "20.00", "19.00", order_ref="1001", memo="p.quill@example.org")
        ],
        wallet=[wallet("w1", "charge", "2031-03-06", "8.00", order_ref="1001", memo="for p.quill@example.org")],
        bank=[bank("2031-03-07", "-5.00", "paid by p.quill@example.org")],
    )
    with books.folder.hand.open("a", encoding="utf-8") as stream:
        stream.write(
            '\n2031-03-08 * "Refund agreed with p.quill@example.org"\n'
            "  Expenses:BankFees  1.00 USD\n  Assets:Bank:Checking  -1.00 USD\n"
        )
    written = packet_of(books, tmp_path / "out", archive=True)
    with zipfile.ZipFile(written) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    for name in [name for name in files if name.endswith(".xlsx")]:
        inner = tmp_path / "inner.xlsx"
        inner.write_bytes(files[name])
        with zipfile.ZipFile(inner) as parts:
            files |= {f"{name}/{part}": parts.read(part) for part in parts.namelist()}
    assert len(files) > 30
    secrets = [text.encode() for text in PERSON.values()]
    assert [] == [name for name, content in files.items() if any(secret in content for secret in secrets)]


def test_the_same_books_give_the_same_bytes(
    demo_books: DemoBooks, april: Packet, packet_folder: Path, tmp_path: Path
) -> None:
    """A folder that is made again holds the same bytes."""
    write_folder(tmp_path / "april", april, demo_books.connection, demo_books.folder, silent)
    assert contents_of(packet_folder) == contents_of(tmp_path / "april")


def test_manifest_holds_every_file(packet_folder: Path, april: Packet) -> None:
    """The manifest names every file of the packet with its length and digest, and there is a CSV file for each sheet."""
    manifest: dict[str, Any] = json.loads((packet_folder / MANIFEST).read_text(encoding="utf-8"))
    files = contents_of(packet_folder)
    del files[MANIFEST]
    expected = [(name, len(content), hashlib.sha256(content).hexdigest()) for name, content in files.items()]
    assert sorted(expected) == sorted((row["file"], row["bytes"], row["sha256"]) for row in manifest["files"])
    assert {f"csv/{table.name}.csv" for table in april.tables} == {name for name in files if name.startswith("csv/")}
    assert ["2031-04"] == manifest["open_months"]


def test_journal_loads_as_it_stands(packet_folder: Path, tmp_path: Path) -> None:
    """beancount accepts the packet's journal, which ends with the period."""
    shutil.copytree(packet_folder / "journal", tmp_path / "journal")
    command = [
        sys.executable,
        "-m",
        "beancount.scripts.check",
        "--no-cache",
        str(tmp_path / "journal" / "main.beancount"),
    ]
    done = subprocess.run(command, check=False, capture_output=True, text=True)
    assert (0, "") == (done.returncode, done.stderr)


def test_a_folder_with_other_things_is_left_alone(
    demo_books: DemoBooks, april: Packet, packet_folder: Path, tmp_path: Path
) -> None:
    """A packet replaces a packet; a folder that holds anything else stays as it is."""
    target = tmp_path / "out"
    shutil.copytree(packet_folder, target)
    (target / "journal" / ".main.beancount.picklecache").write_bytes(b"left by beancount")
    write_folder(target, april, demo_books.connection, demo_books.folder, silent)
    assert contents_of(packet_folder) == contents_of(target)
    (target / "csv" / "my notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(LedgerError, match="holds what is not of a packet: csv/my notes.txt"):
        write_folder(target, april, demo_books.connection, demo_books.folder, silent)
    assert "mine" == (target / "csv" / "my notes.txt").read_text(encoding="utf-8")
    assert [target] == list(tmp_path.iterdir())


def test_what_a_killed_run_left_is_removed(
    demo_books: DemoBooks, april: Packet, packet_folder: Path, tmp_path: Path
) -> None:
    """A draft that nobody writes goes; one that is being written, one that holds an earlier packet, and strange folders stay."""
    left = {"dead": ("new",), "written": ("new",), "between": ("new", "old"), "strange": ("photos",)}
    for name, folders in left.items():
        for folder in folders:
            (tmp_path / f".packet-{name}" / folder).mkdir(parents=True)
        if name != "strange":
            (tmp_path / f".packet-{name}" / "lock").touch()
    with FileLock(tmp_path / ".packet-written" / "lock"):
        write_folder(tmp_path / "out", april, demo_books.connection, demo_books.folder, silent)
    assert [".packet-between", ".packet-strange", ".packet-written", "out"] == sorted(
        file.name for file in tmp_path.iterdir()
    )
    assert contents_of(packet_folder) == contents_of(tmp_path / "out")


def test_an_edited_journal_is_not_handed_on(hostile_books: Books, tmp_path: Path) -> None:
    """A journal file that somebody changed is refused, as its figures may be others than the packet's."""
    hostile_books.build()
    file = hostile_books.folder.journal / "2031-03.beancount"
    file.write_text(file.read_text(encoding="utf-8") + "\n", encoding="utf-8")
    with pytest.raises(LedgerError, match="is not as it was written"):
        packet_of(hostile_books, tmp_path / "packet")
    assert not (tmp_path / "packet").exists()


@pytest.mark.parametrize("text", ["2030", "2032"])
def test_a_period_outside_the_books_is_refused(text: str, demo_books: DemoBooks) -> None:
    """A packet of a time before or after the books says what they hold."""
    with pytest.raises(LedgerError, match="the books, which go from 2031-01-01 to 2031-04-30"):
        make_packet(demo_books.connection, parse_year(text), text, period_name, silent)
