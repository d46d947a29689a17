"""One version of each record: repeats, progress, amendments, what vanished, what no export covers."""

from pathlib import Path

import pytest
from camt_statements import EQUAL_LINES
from kept_books import Books, bank, csv_text, order, processor, wallet

APRIL = [order("1", "2031-04-02", "10.00"), order("2", "2031-04-10", "20.00")]

OFX = """OFXHEADER:100
DATA:OFXSGML
VERSION:102
SECURITY:NONE
ENCODING:USASCII
CHARSET:1252
COMPRESSION:NONE
OLDFILEUID:NONE
NEWFILEUID:NONE

<OFX><SIGNONMSGSRSV1><SONRS><STATUS><CODE>0<SEVERITY>INFO</STATUS><DTSERVER>20310411<LANGUAGE>ENG</SONRS></SIGNONMSGSRSV1>
<BANKMSGSRSV1><STMTTRNRS><TRNUID>1<STATUS><CODE>0<SEVERITY>INFO</STATUS><STMTRS><CURDEF>USD<BANKACCTFROM><BANKID>1
<ACCTID>77<ACCTTYPE>CHECKING</BANKACCTFROM><BANKTRANLIST><DTSTART>20310401<DTEND>20310410
<STMTTRN><TRNTYPE>DEBIT<DTPOSTED>20310404<TRNAMT>-12.50<FITID>F1<NAME>PARCEL OFFICE</STMTTRN>
<STMTTRN><TRNTYPE>DEBIT<DTPOSTED>20310404<TRNAMT>-12.50<FITID>F2<NAME>PARCEL OFFICE</STMTTRN>
<STMTTRN><TRNTYPE>CREDIT<DTPOSTED>20310405<TRNAMT>90.00<FITID>F3<NAME>REFUND</STMTTRN>
</BANKTRANLIST><LEDGERBAL><BALAMT>65.00<DTASOF>20310410</LEDGERBAL></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>
"""


def counts(books: Books, **rows: list[dict[str, object]]) -> tuple[int, int, int, int]:
    """Rows, new, repeated and amended of one import."""
    (result,) = books.add(**rows)
    return result.rows, result.new, result.repeated, result.amended


def changes(books: Books) -> list[tuple[str, str]]:
    """The records that are listed as changed or gone, with their kind of open item."""
    return [
        (item.kind, item.order_id or item.event_id or "")
        for item in books.open_items()
        if item.kind in ("amended", "vanished")
    ]


def test_overlapping_exports(tmp_path: Path) -> None:
    """A record that two exports hold is one record; the import says what was new, repeated and amended."""
    books = Books(tmp_path)
    assert (2, 2, 0, 0) == counts(books, orders=APRIL)
    assert (3, 1, 1, 1) == counts(
        books, orders=[order("1", "2031-04-02", "11.00"), APRIL[1], order("3", "2031-04-12", "5.00")]
    )
    assert ["1", "2", "3"] == [entry.event for entry in books.entries()]


def test_same_bytes_again_are_repeated(tmp_path: Path) -> None:
    """The same file again, by its own or another name, changes no byte of the journal."""
    books = Books(tmp_path)
    file = books.write("april.csv", APRIL)
    books.take(file, "orders")
    before = books.journal_text()
    for name in ("april.csv", "copy of april.csv"):
        (result,) = books.take(books.write(name, APRIL), "orders")
        assert (2, 0, 2, 0) == (result.rows, result.new, result.repeated, result.amended)
    assert before == books.journal_text()


def test_same_name_with_other_content(tmp_path: Path) -> None:
    """A file whose name is taken by other bytes is kept beside it; nothing in the archive is written over."""
    books = Books(tmp_path)
    books.take(books.write("orders.csv", APRIL), "orders")
    books.take(books.write("orders.csv", [order("3", "2031-04-12", "5.00")]), "orders")
    kept = sorted(file.name for file in (books.folder.exports / "shop").iterdir())
    assert (2, "orders.csv") == (len(kept), kept[0])
    assert kept[1].startswith("orders~")
    assert csv_text(APRIL) == (books.folder.exports / "shop" / "orders.csv").read_text(encoding="utf-8")
    assert ["1", "2", "3"] == [entry.event for entry in books.entries()]


PROGRESS: dict[str, dict[str, object]] = {
    "11": {"shipped_at": "2031-04-05T09:00:00"},
    "12": {"cancelled_at": "2031-04-05T09:00:00"},
    "13": {"refunded_items": "4.00", "refunded_tax": "0.10"},
    "14": {"refunded_to_gift_card": "2.00"},
}


def test_progress_is_not_listed(tmp_path: Path) -> None:
    """A field that fills in as time passes is no amendment; what the later export says counts."""
    books = Books(tmp_path).put(orders=[order(name, "2031-04-02", "10.00") for name in PROGRESS])
    later = [order(name, "2031-04-02", "10.00", **fields) for name, fields in PROGRESS.items()]
    books.put(orders=[*later, order("15", "2031-04-12", "5.00")])
    assert [] == changes(books)
    names = [next(iter(fields)) for fields in PROGRESS.values()]
    filled = " || ".join(f"(count({name}) - 1)" for name in names)
    assert [("0000",)] == books.query(f"SELECT {filled} FROM order_head")


def test_later_export_wins(tmp_path: Path) -> None:
    """Of two versions that of the export that reaches further counts, whatever it is called, and the change is listed."""
    books = Books(tmp_path)
    target = books.folder.exports / "shop"
    target.mkdir()
    (target / "z-old.csv").write_text(csv_text(APRIL))
    (target / "a-new.csv").write_text(
        csv_text([order("1", "2031-04-02", "11.00"), APRIL[1], order("3", "2031-04-12", "5.00")])
    )
    assert "11.00" == books.entry("1").lines[0][1]
    assert [("amended", "1")] == changes(books)
    (item,) = [item for item in books.open_items() if item.kind == "amended"]
    assert "changed by a-new.csv: total 10.00 → 11.00, unit_price 10.00 → 11.00" == item.cause
    assert (100, "USD", None) == (item.amount, item.currency, item.held)


@pytest.mark.parametrize(
    ("kind", "old", "new", "amount"),
    [
        ("orders", order("1", "2031-04-02", "10.00", tax="1.00"), order("1", "2031-04-02", "10.00", tax="0.80"), -20),
        ("orders", order("1", "2031-04-02", "10.00"), order("1", "2031-04-02", "10.00", category="Caps"), 1000),
        ("orders", order("1", "2031-04-02", "10.00"), order("1", "2031-04-02", "1200", currency="JPY"), 1200),
        (
            "processor",
            processor("c", "charge", "2031-04-02", "10.00", "9.50", fee="0.50"),
            processor("c", "charge", "2031-04-02", "10.00", "9.40", fee="0.60"),
            -10,
        ),
        (
            "processor",
            processor("c", "charge", "2031-04-02", "1000", "1000", currency="JPY"),
            processor("c", "charge", "2031-04-02", "1300", "1290", currency="JPY", fee="10"),
            300,
        ),
        ("wallet", wallet("w", "charge", "2031-04-02", "6.00"), wallet("w", "charge", "2031-04-02", "5.50"), -50),
    ],
)
def test_amended_says_what_changed_in_money(
    kind: str, old: dict[str, object], new: dict[str, object], amount: int, tmp_path: Path
) -> None:
    """The amount of an amended record is new less old: of the whole, else of a part; of other changes what it holds."""
    later = {"orders": order("9", "2031-05-02", "1.00"), "processor": processor("f", "fee", "2031-05-02", "-1.00", "-1.00"),
             "wallet": wallet("t", "top_up", "2031-05-02", "1.00")}[kind]  # fmt: skip
    books = Books(tmp_path).put(**{kind: [old]}).put(**{kind: [new, later]})
    (item,) = [item for item in books.open_items() if item.kind == "amended"]
    assert (amount, new.get("currency", "USD"), None) == (item.amount, item.currency, item.held)


def test_any_order_of_imports_gives_the_same_bytes(tmp_path: Path) -> None:
    """Three overlapping exports with amendments give one journal, in whatever order they come."""
    exports = {
        "one.csv": APRIL,
        "two.csv": [order("2", "2031-04-10", "21.00"), order("3", "2031-04-12", "5.00")],
        "three.csv": [
            order("2", "2031-04-10", "22.00"),
            order("3", "2031-04-12", "6.00"),
            order("4", "2031-04-15", "7.00"),
        ],
    }
    journals = set()
    for place, names in enumerate([list(exports), list(reversed(exports))]):
        books = Books(tmp_path / str(place))
        for name in names:
            books.take(books.write(name, exports[name]), "orders")
        journals.add(books.journal_text())
    assert 1 == len(journals)
    assert "22.00" in next(iter(journals))


def test_vanished_record_stays(tmp_path: Path) -> None:
    """A record that a later export of its day no longer holds is listed once and stays in the books."""
    books = Books(tmp_path).put(orders=[*APRIL, order("3", "2031-04-11", "5.00")])
    books.put(orders=[APRIL[0], order("3", "2031-04-11", "5.00"), order("4", "2031-04-15", "7.00")])
    assert [("vanished", "2")] == changes(books)
    (item,) = [item for item in books.open_items() if item.kind == "vanished"]
    assert (2000, "USD", None) == (item.amount, item.currency, item.held)
    assert ["1", "2", "3", "4"] == [entry.event for entry in books.entries()]


def test_record_outside_the_later_span_did_not_vanish(tmp_path: Path) -> None:
    """A later export that does not cover a record's day says nothing about it."""
    books = Books(tmp_path).put(orders=APRIL)
    books.put(orders=[APRIL[1], order("4", "2031-04-15", "7.00")])
    assert [] == changes(books)


def test_gap_between_two_exports(tmp_path: Path) -> None:
    """Days that no export covers are listed between exports, by source, and not after the last one."""
    books = Books(tmp_path).put(orders=APRIL, processor=[processor("f", "fee", "2031-05-20", "-1.00", "-1.00")])
    books.put(orders=[order("5", "2031-04-15", "7.00"), order("6", "2031-04-20", "7.00")])
    gaps = [
        (item.source, item.date.isoformat(), item.cause) for item in books.open_items() if item.kind == "coverage-gap"
    ]
    assert [("shop", "2031-04-11", "no export covers 2031-04-11 to 2031-04-14 (4 days)")] == gaps
    books.put(orders=[order("7", "2031-04-11", "7.00"), order("8", "2031-04-14", "7.00")])
    assert "coverage-gap" not in books.kinds()


def test_same_lines_in_ofx_and_camt(tmp_path: Path) -> None:
    """Days that two formats of statement hold are one set of lines, equal lines included, though the bank words them anew."""
    books = Books(tmp_path)
    (first,) = books.take(books.write("a.ofx", OFX), "bank")
    assert (3, 3, 0) == (first.rows, first.new, first.repeated)
    (second,) = books.take(books.write("b.xml", EQUAL_LINES), "bank")
    assert (3, 0, 3, 0) == (second.rows, second.new, second.repeated, second.amended)
    assert ["-12.50", "-12.50", "90.00"] == sorted(entry.lines[0][1] for entry in books.entries())
    assert [] == [kind for kind in books.kinds() if kind != "bank-line-without-rule"]


def test_equal_bank_lines_of_one_day_stay_apart(tmp_path: Path) -> None:
    """Two equal lines of a day are two lines, and in the next export still two."""
    twice = [bank("2031-04-04", "-5.00", "COFFEE"), bank("2031-04-04", "-5.00", "COFFEE")]
    books = Books(tmp_path).put(bank=twice)
    books.put(bank=[*twice, bank("2031-04-05", "-5.00", "COFFEE")])
    assert ["20310404:-500:1", "20310404:-500:2", "20310405:-500:1"] == [entry.event for entry in books.entries()]


def test_an_event_twice_in_one_file_is_one(tmp_path: Path) -> None:
    """The same event twice in one export is posted once; with other content the file is refused."""
    fee = processor("f1", "fee", "2031-04-04", "-5.00", "-5.00")
    books = Books(tmp_path).put(processor=[fee, fee])
    assert 1 == len(books.entries())
    file = books.write("twice.csv", [fee, processor("f1", "fee", "2031-04-04", "-6.00", "-6.00")])
    (message,) = books.refusals(file, "processor")
    assert "found the id 'f1' of record 1 again, with other content; expected one event an id" in message
