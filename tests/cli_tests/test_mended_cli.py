"""What the system, the database or a killed start can do to a command: a sentence and status 1, never a traceback."""

import errno
import os
import subprocess
from pathlib import Path

import duckdb
import pytest
from command_line import call, command, environment, run
from kept_books import Books, fingerprint, order, processor
from test_command_line import without_power

from ledger_tools import new_books, status
from ledger_tools.archive import open_books
from ledger_tools.journal import load_ledger
from ledger_tools.trouble import database_problem, file_problem

DAY = "2031-04-02"


def test_long_books_folder() -> None:
    """A name that the system finds too long is told with what to do."""
    outcome = run("--books", "a" * 300, "status")
    assert (1, "") == (outcome.status, outcome.out)
    assert f"{'a' * 300}/shop.toml: file name too long\n    → use a shorter name\n" == outcome.err


def test_init_below_a_file(tmp_path: Path) -> None:
    """A folder can't be made below a file."""
    (tmp_path / "file").write_text("")
    outcome = call("init", tmp_path / "file" / "books", "--yes")
    assert 1 == outcome.status
    assert "→ name a folder that does not lie below a file" in outcome.err


def test_long_file_name(tmp_path: Path) -> None:
    """An export whose name is as long as a name may be is taken in, or refused in a sentence."""
    books = Books(tmp_path)
    file = books.write("n" * 251 + ".csv", [order("1", DAY, "1.00")])
    outcome = call("--books", books.folder.root, "import", file, "--source", "shop")
    assert outcome.status == 0 or "name too long" in outcome.err
    assert "Traceback" not in outcome.err


def test_debug_shows_what_the_system_said() -> None:
    """With --debug the system's refusal is shown as Python tells it."""
    assert "OSError: [Errno 36]" in run("--debug", "--books", "a" * 300, "status").err


@pytest.mark.parametrize("name", ["check", "import"])
def test_read_only_books(name: str, tmp_path: Path) -> None:
    """A command that has to write into books that can't be written says which file it could not write."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "1.00")]).build()
    arguments = [books.write("more.csv", [order("2", DAY, "1.00")]), "--source", "shop"] if name == "import" else []
    words = without_power(command("--books", books.folder.root, name, *arguments))
    if words is None:
        pytest.skip("nobody but root is here, and root can't be held back")
    folders = [books.folder.root, *(folder for folder in books.folder.root.rglob("*") if folder.is_dir())]
    for folder in folders:
        folder.chmod(0o555)
    try:
        done = subprocess.run(words, env=environment(), capture_output=True, text=True, check=False)
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert "Traceback" not in done.stderr
    if done.returncode:
        assert "→" in done.stderr


@pytest.mark.parametrize("name", ["shop.toml", "hand.beancount", "exports/shop/orders-1.csv", "mappings/shop.toml"])
def test_file_of_the_books_that_can_not_be_read(name: str, tmp_path: Path) -> None:
    """A file of the books that may not be read is named."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "1.00")])
    file = books.folder.root / name
    if not file.exists():
        file.write_text("")
    file.chmod(0)
    words = without_power(command("--books", books.folder.root, "status"))
    if words is None:
        pytest.skip("nobody but root is here, and root can't be held back")
    done = subprocess.run(words, env=environment(), capture_output=True, text=True, check=False)
    assert (1, "") == (done.returncode, done.stdout)
    assert file.name in done.stderr
    assert "permission denied" in done.stderr.lower()
    assert "Traceback" not in done.stderr


def test_sentence_about_a_file() -> None:
    """The sentence names the file or both files, and says nothing where there is nothing to advise."""
    assert "/a: no space left on device\n    → make room on the disk, then run the command again" == str(
        file_problem(OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), "/a"))
    )
    assert "/a and /b: invalid cross-device link" == str(
        file_problem(OSError(errno.EXDEV, os.strerror(errno.EXDEV), "/a", None, "/b"))
    )
    assert "the system: timeouterror" == str(file_problem(TimeoutError()))


def test_error_of_the_database(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """An error of the database that nobody foresaw asks to be reported, and shows no value and no statement."""
    books = Books(tmp_path).build()

    def fail(connection: duckdb.DuckDBPyConnection) -> None:
        connection.execute("SELECT 'jane@example.org'::INTEGER")

    monkeypatch.setattr(status, "read_status", fail)
    outcome = call("--books", books.folder.root, "status")
    assert (1, "") == (outcome.status, outcome.out)
    assert outcome.err.startswith("the database: a step ended in the error Conversion")
    assert "please report it" in outcome.err
    assert "jane" not in outcome.err
    assert "SELECT" not in outcome.err
    with pytest.raises(duckdb.ConversionException):
        call("--debug", "--books", books.folder.root, "status")


@pytest.mark.parametrize(
    ("kind", "what"),
    [
        (duckdb.OutOfMemoryException, "there is not enough memory"),
        (duckdb.IOException, "its file can't be read or written"),
    ],
)
def test_sentence_about_the_database(kind: type[duckdb.Error], what: str) -> None:
    """Where the machine is at fault, nobody is asked to report anything."""
    text = str(database_problem(kind("x")))
    assert f"the database: {what}" == text.splitlines()[0]
    assert "report" not in text


def test_header_of_an_empty_list(tmp_path: Path) -> None:
    """The header of open items as CSV is the same with items and without."""
    books = Books(tmp_path).put(
        orders=[order("1", DAY, "1.00")], processor=[processor("c", "fee", "2031-05-02", "-1", "-1")]
    )
    books.build()
    listed = call("--books", books.folder.root, "open-items", "--format", "csv")
    empty = call("--books", books.folder.root, "open-items", "--as-of", DAY, "--format", "csv")
    assert (1, 0) == (listed.status, empty.status)
    assert [listed.out.splitlines()[0]] == empty.out.splitlines()


@pytest.mark.parametrize("name", ["status", "reconcile"])
@pytest.mark.parametrize("shape", ["table", "json"])
def test_open_items_are_told(name: str, shape: str, tmp_path: Path) -> None:
    """How many items stand open is said on stderr, in every shape; where there are none, nothing."""
    books = Books(tmp_path).build()
    assert "" == call("--books", books.folder.root, name, "--format", shape).err
    books.put(orders=[order("1", DAY, "10.00"), order("2", "2031-05-02", "10.00")]).build()
    count = len(books.open_items())
    assert count
    assert (
        f"{count} open item(s): ledger-tools --books {books.folder.root} open-items\n"
        == call("--books", books.folder.root, name, "--format", shape).err
    )


class CutError(BaseException):
    """Stands for a kill."""


def cut_after(monkeypatch: pytest.MonkeyPatch, owner: object, name: str, calls: int) -> None:
    """Let a function run so many times, then fall as if killed."""
    real = getattr(owner, name)
    made: list[int] = []

    def once_less(*arguments: object, **named: object) -> object:
        made.append(1)
        if len(made) > calls:
            raise CutError
        return real(*arguments, **named)

    monkeypatch.setattr(owner, name, once_less)


@pytest.mark.parametrize("calls", range(4))
@pytest.mark.parametrize("is_there", [False, True], ids=["new", "empty"])
def test_init_killed_while_writing(calls: int, is_there: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A start that is killed while files are written leaves no books, and is completed by the next start."""
    root = tmp_path / "books"
    if is_there:
        root.mkdir()
    with monkeypatch.context() as patch:
        cut_after(patch, Path, "write_text", calls)
        with pytest.raises(CutError):
            new_books.write_books(root, new_books.settings_text("x", "USD", "UTC"))
    assert not (root / "shop.toml").exists()
    complete_anew(root)


@pytest.mark.parametrize("calls", range(7))
def test_init_killed_while_moving(calls: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """In a folder that was there, the settings come last: killed before, the next start completes the books."""
    root = tmp_path / "books"
    root.mkdir()
    with monkeypatch.context() as patch:
        cut_after(patch, new_books.os, "replace", calls)
        try:
            new_books.write_books(root, new_books.settings_text("x", "USD", "UTC"))
        except CutError:
            assert not (root / "shop.toml").exists()
        else:
            pytest.fail("nothing was cut: the last move is not covered any more")
    complete_anew(root)


def complete_anew(root: Path) -> None:
    """Start the books again, which has to make them whole and leave nothing beside them."""
    lost = call("--books", root, "status")
    assert (1, True) == (lost.status, f"ledger-tools init {root}" in lost.err)
    assert 0 == call("init", root, "--yes").status
    assert 0 == call("--books", root, "trial-balance").status
    assert [] == load_ledger(str(root / "main.beancount"))[1]
    assert [root] == list(root.parent.iterdir())
    assert not (root / new_books.UNFINISHED).exists()


def test_init_keeps_off_what_is_not_its_own(tmp_path: Path) -> None:
    """A folder with somebody's files is refused and stays as it is; so is a file."""
    (tmp_path / "notes.txt").write_text("mine")
    before = fingerprint(tmp_path, ())
    for place, what in ((tmp_path, "is not an empty folder"), (tmp_path / "notes.txt", "is a file")):
        outcome = call("init", place, "--yes")
        assert (1, True) == (outcome.status, what in outcome.err)
    assert before == fingerprint(tmp_path, ())


def test_init_here(tmp_path: Path) -> None:
    """`init .` fills the folder that one stands in, without replacing it."""
    place = tmp_path.stat().st_ino
    assert 0 == run("init", ".", "--yes", cwd=tmp_path).status
    assert 0 == run("status", cwd=tmp_path).status
    assert place == tmp_path.stat().st_ino


@pytest.mark.parametrize(
    ("content", "what"),
    [
        (b"", "is empty"),
        (b"\x81\x8d" * 40, "is in none of the encodings"),
        (bytes(400), "is not a text file"),
        (b"PK\x03\x04junk", "can't be read as a spreadsheet"),
    ],
)
def test_map_of_what_is_no_table(content: bytes, what: str, tmp_path: Path) -> None:
    """`map` says what is wrong with a file that holds no table, in a sentence that names it."""
    books = Books(tmp_path)
    outcome = call("--books", books.folder.root, "map", books.write("export.csv", content), "--source", "shop")
    assert (1, "") == (outcome.status, outcome.out)
    assert outcome.err.startswith("export.csv: ")
    assert what in outcome.err


def test_map_of_a_folder(tmp_path: Path) -> None:
    """A folder instead of a file is a wrong command line."""
    books = Books(tmp_path)
    outcome = call("--books", books.folder.root, "map", tmp_path, "--source", "shop")
    assert (2, True) == (outcome.status, "is a directory" in outcome.err)


def test_text_of_many_bytes_and_few_characters(tmp_path: Path) -> None:
    """The 500 that an id may have are characters: 300 letters of two bytes each are fine, 501 of any are not."""
    books = Books(tmp_path)
    assert [] == books.refusals(books.write("a.csv", [order("é" * 500, DAY, "1.00")]), "orders")
    (problem,) = books.refusals(books.write("b.csv", [order("é" * 501, DAY, "1.00")]), "orders")
    assert "found a text of more than 500 characters" in problem


def test_link_that_no_order_has(tmp_path: Path) -> None:
    """A hand entry with a mistyped order link is in the books, and every report still comes."""
    books = Books(tmp_path).put(orders=[order("1001", DAY, "10.00")])
    books.folder.hand.write_text(f'{DAY} * "Card" ^order-1OO1\n  Expenses:Cards  7.00 USD\n  Assets:Bank:Checking\n')
    open_books(books.folder, lambda stage: None).close()
    for name in ("status", "orders", "trial-balance", "income-statement", "balance-sheet", "reconcile"):
        assert 0 == call("--books", books.folder.root, name).status
    rows = call("--books", books.folder.root, "trial-balance", "--format", "json").json()["rows"]
    assert {"account": "Expenses:Cards", "currency": "USD", "balance": "7.00"} in rows
