"""`import` and `init` at the command line: what is told about each file, and files that nothing can be made of."""

from pathlib import Path

import pytest
from command_line import call, run
from kept_books import Books, bank, fingerprint, order, processor

FIELDS = ["file", "source", "kind", "from", "to", "rows", "new", "repeated", "amended", "refused"]


@pytest.fixture(scope="module")
def books(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """Books that hold two orders."""
    found = Books(tmp_path_factory.mktemp("import"))
    return found.put(orders=[order("1", "2031-04-02", "10.00"), order("2", "2031-04-05", "5.00")]).build()


def test_json_of_an_import(tmp_path: Path) -> None:
    """Each file has the fields of the contract; the files come in the order in which they were named."""
    books = Books(tmp_path)
    good = books.write("orders.csv", [order("1", "2031-04-02", "10.00"), order("2", "2031-04-05", "5.00")])
    bad = books.write(
        "payments.csv",
        [processor("c", "charge", "2031-04-02", "ten", "10.00"), processor("d", "sale", "soon", "1", "1")],
    )
    outcome = call("--books", books.folder.root, "import", bad, good, "--format", "json")
    first, second = outcome.json()["files"]
    assert 1 == outcome.status
    assert (FIELDS, FIELDS) == (list(first), list(second))
    assert {
        "file": str(good), "source": "shop", "kind": "orders", "from": "2031-04-02", "to": "2031-04-05",
        "rows": 2, "new": 2, "repeated": 0, "amended": 0, "refused": [],
    } == second  # fmt: skip
    assert ("card-processor", "processor", 0) == (first["source"], first["kind"], first["new"])
    assert [1, 2, 2] == [problem["record"] for problem in first["refused"]]
    assert all(problem["reason"].startswith("payments.csv, record ") for problem in first["refused"])
    assert "1 of 2 file(s) refused; the books hold nothing of them." in outcome.err


#: Files that nothing can be made of, and what is said about them.
USELESS = [
    ("empty.csv", b"", "empty.csv: is empty"),
    ("nul.csv", b"order_id,placed_at,total\n1\0,2031-04-01,5\n", "nul.csv: holds NUL bytes"),
    ("random.csv", bytes(range(256)) * 40, "random.csv: is in none of the encodings"),
    ("noise.csv", bytes(range(128, 256)) * 40, "noise.csv: is in none of the encodings"),
    ("columns.csv", b"a,b\n1,2\n", "columns.csv, column placed_at: is missing; the file has a, b"),
    ("short.csv", b"order_id,placed_at,total\n1,2031-04-01\n", "short.csv, record 1: found 2 columns, expected 3"),
    ("quote.csv", b'order_id,placed_at,total\n1,2031-04-01,"5\n', "a quote is opened and not closed"),
    ("page.csv", b"<html><body>Log in</body></html>", "page.csv: is XML of an unknown kind"),
    ("long.csv", b"order_id,placed_at,total\n" + b"x" * 300000 + b",2031-04-01,5\n", "found a text of more than 500"),
    ("date.csv", b"order_id,placed_at,total\n1,0000-00-00,5\n", "date.csv, record 1, column placed_at"),
    ("money1.csv", b"order_id,placed_at,total\n1,2031-04-01,NaN\n", "money1.csv, record 1, column total"),
    ("money2.csv", b"order_id,placed_at,total\n1,2031-04-01,1e5\n", "money2.csv, record 1, column total"),
    ("money3.csv", b"order_id,placed_at,total\n1,2031-04-01,1.005\n", "money3.csv, record 1, column total"),
    ("code.csv", b"order_id,placed_at,total,currency\n1,2031-04-01,5,US'D\n", "expected an ISO 4217 currency code"),
]


@pytest.fixture(scope="module")
def refused(books: Books) -> tuple[dict[str, str], str]:
    """What is printed, and what is told file by file, when all useless files are imported; the books stay as they were."""
    before = fingerprint(books.folder.root)
    files = [books.write(name, content) for name, content, _ in USELESS]
    outcome = call("--books", books.folder.root, "import", *files, "--source", "shop", "--format", "json")
    assert 1 == outcome.status
    assert before == fingerprint(books.folder.root)
    told = {
        Path(file["file"]).name: "\n".join(problem["reason"] for problem in file["refused"])
        for file in outcome.json()["files"]
    }
    return told, outcome.err


@pytest.mark.parametrize(("name", "content", "message"), USELESS, ids=[name for name, _, _ in USELESS])
def test_file_that_nothing_can_be_made_of(
    name: str, content: bytes, message: str, refused: tuple[dict[str, str], str]
) -> None:
    """A file that can't be read is refused in sentences that name it, and changes nothing."""
    assert content is not None
    assert message in refused[0][name]
    assert message in refused[1]


def test_files_that_are_none(books: Books) -> None:
    """A file that is not there and a folder are refused by name."""
    outcome = call("--books", books.folder.root, "import", books.place / "absent.csv", books.place, "--source", "shop")
    assert 1 == outcome.status
    assert f"{books.place / 'absent.csv'}: is not a file" in outcome.err
    assert f"{books.place}: is not a file" in outcome.err


def test_header_without_rows(tmp_path: Path) -> None:
    """An export of a time without orders is an export: it comes in and covers nothing."""
    books = Books(tmp_path)
    file = books.write("orders.csv", "order_id,placed_at,total\n")
    outcome = call("--books", books.folder.root, "import", file, "--source", "shop", "--format", "json")
    (told,) = outcome.json()["files"]
    assert (0, 0, None, []) == (outcome.status, told["rows"], told["from"], told["refused"])


def test_source_is_found_by_the_columns(books: Books) -> None:
    """Without --source a file goes to the source whose columns it has; one that fits none is told how to be mapped."""
    file = books.write("lines.csv", [bank("2031-04-30", "-3.00", "FEE")])
    outcome = call("--books", books.folder.root, "import", file, "--dry-run")
    assert (0, "lines.csv: checking (bank), 2031-04-30 to 2031-04-30; would bring 1 new, 0 repeated, 0 amended of 1 rows\n") == (
        outcome.status, outcome.out,
    )  # fmt: skip
    odd = books.write("odd.csv", "name,price\na,1\n")
    outcome = call("--books", books.folder.root, "import", odd)
    assert "no source claims this file with the columns name, price" in outcome.err


def test_unknown_source(books: Books) -> None:
    """A source that is not declared is told with those that are."""
    outcome = call("--books", books.folder.root, "import", books.place / "lines.csv", "--source", "savings")
    assert 1 == outcome.status
    assert (
        "source 'savings' is not declared; declared are shop, card-processor, fulfilment-wallet, checking"
        in outcome.err
    )


ODD_NAMES = [
    "it's.csv",
    'a"b.csv',
    "a*b?[c].csv",
    "ünï 🎁.csv",
    "; DROP TABLE x.csv",
    "-.csv",
    "~a.csv",
    ".hidden.csv",
    "{x}.csv",
]


def test_odd_file_names(tmp_path: Path) -> None:
    """A file may be called anything that the disk takes; it is archived and read again like any other."""
    books = Books(tmp_path)
    files = [
        books.write(f"odd/{name}", [order(str(place), "2031-04-30", "1.00")]) for place, name in enumerate(ODD_NAMES)
    ]
    outcome = call("--books", books.folder.root, "import", "--source", "shop", "--", *files)
    assert 0 == outcome.status, outcome.err
    assert len(ODD_NAMES) == len(list((books.folder.exports / "shop").iterdir()))
    assert [(len(ODD_NAMES),)] == books.query("SELECT count(*) FROM order_head")


APRIL = {"1": "2031-04-02", "2": "2031-04-08", "3": "2031-04-10", "4": "2031-04-14", "5": "2031-04-30"}


def orders_of(names: str, days: dict[str, str], total: str = "5.00") -> list[dict[str, object]]:
    """Orders by their one-letter names; the third has this total."""
    return [order(name, days[name], total if name == "3" else "5.00") for name in names]


@pytest.mark.parametrize(
    ("names", "total", "is_told"),
    [("234", "6.00", True), ("24", "5.00", True), ("2934", "5.00", True), ("234", "5.00", False)],
    ids=["another amount", "one less", "one more", "the same"],
)
def test_shorter_export_within_a_longer(names: str, total: str, is_told: bool, tmp_path: Path) -> None:
    """An export of fewer days that says something else does not count; `import` says which does and what to do."""
    books = Books(tmp_path)
    call("--books", books.folder.root, "import", books.write("april.csv", orders_of("12345", APRIL)))
    days = {**APRIL, "9": "2031-04-11"}
    outcome = call("--books", books.folder.root, "import", books.write("mended.csv", orders_of(names, days, total)))
    said = (
        "Where they differ, april.csv counts and not mended.csv: the former covers 2031-04-02 to 2031-04-30"
        in outcome.err
    )
    assert is_told == said
    assert is_told == ("export its days again through a day after 2031-04-30" in outcome.err)
    assert [(500,)] == books.query("SELECT total FROM order_head WHERE order_id = '3'")


def test_export_that_turns_it_round(tmp_path: Path) -> None:
    """What `import` tells a person to do works: exported through a later day, the mended order counts."""
    books = Books(tmp_path)
    call("--books", books.folder.root, "import", books.write("april.csv", orders_of("12345", APRIL)))
    rows = orders_of("23457", {**APRIL, "7": "2031-05-01"}, "6.00")
    outcome = call("--books", books.folder.root, "import", books.write("mended.csv", rows))
    assert "Where they differ" not in outcome.err
    assert [(600,)] == books.query("SELECT total FROM order_head WHERE order_id = '3'")


def test_init_asks_for_what_is_not_given(tmp_path: Path) -> None:
    """`init` asks on stderr, takes the usual for an empty answer, and writes books that check out."""
    outcome = run("init", tmp_path / "new", "--name", 'The "Night" \\ shop', text="eur\n\n")
    assert (0, "") == (outcome.status, outcome.out)
    assert "Base currency" in outcome.err
    text = (tmp_path / "new" / "shop.toml").read_text(encoding="utf-8")
    assert 'name = "The \\"Night\\" \\\\ shop"' in text
    assert 'currency = "EUR"' in text
    assert 'time_zone = "UTC"' in text
    assert 0 == call("--books", tmp_path / "new", "check").status


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (["--currency", "ZZZ"], "'ZZZ' is not an ISO 4217 currency code"),
        (["--time-zone", "Mars/Base"], "'Mars/Base' is not an IANA time zone"),
        (["--name", ""], "name"),
    ],
)
def test_init_refuses(options: list[str], message: str, tmp_path: Path) -> None:
    """`init` writes nothing where an answer is wrong."""
    outcome = call("init", tmp_path / "new", "--yes", *options)
    assert 1 == outcome.status
    assert message in outcome.err
    assert not (tmp_path / "new").exists()


def test_init_keeps_off_a_folder_with_files(books: Books) -> None:
    """`init` never writes into a folder that holds something."""
    before = fingerprint(books.place, ())
    outcome = call("init", books.folder.root, "--yes")
    assert (1, True) == (outcome.status, "holds books already" in outcome.err)
    assert before == fingerprint(books.place, ())


def test_check_as_json(books: Books) -> None:
    """A check says whether it passed and what was compared; all of new books hold."""
    outcome = call("--books", books.folder.root, "check", "--format", "json")
    checks = outcome.json()["checks"]
    assert 0 == outcome.status, outcome.out
    assert [["check", "passed", "detail"]] * len(checks) == [list(check) for check in checks]
    assert {True} == {check["passed"] for check in checks}


def test_check_finds_an_edited_journal(tmp_path: Path) -> None:
    """An amount that somebody edited in the journal fails the check, with file and line, until it is written again."""
    books = Books(tmp_path).put(orders=[order("1", "2031-04-02", "10.00")]).build()
    month = books.folder.journal / "2031-04.beancount"
    month.write_text(month.read_text(encoding="utf-8").replace("10.00", "11.00"), encoding="utf-8")
    outcome = call("--books", books.folder.root, "check")
    assert 1 == outcome.status
    assert "FAILED  the journal is what the exports say: journal/2031-04.beancount, line 6: found" in outcome.out
    assert 0 == call("--books", books.folder.root, "check", "--rewrite").status


def test_status_as_json(books: Books) -> None:
    """`status` has the fields of the contract."""
    found = call("--books", books.folder.root, "status", "--format", "json").json()
    assert ["sources", "open_items", "closed_through", "next_step"] == list(found)
    assert {
        "source": "shop", "kind": "orders", "covered": [{"from": "2031-04-02", "to": "2031-04-05"}],
        "last_event": "2031-04-05",
    } == found["sources"][0]  # fmt: skip
