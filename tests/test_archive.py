"""Imports are all or nothing: whatever fails or kills one, the books are as before or as after, and the next one completes."""

import json
import os
import random
import shutil
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import duckdb
import pytest
from kept_books import Books, fingerprint, order, processor, silent

from ledger_tools import archive, build, intake
from ledger_tools.archive import open_books, rewrite_journal
from ledger_tools.errors import LedgerError
from ledger_tools.intake import import_files

ROOT = Path(__file__).resolve().parents[1]
FIRST = [order("1", "2031-04-02", "10.00")]
SECOND = [order("2", "2031-05-03", "20.00"), order("3", "2031-06-03", "30.00")]


class CutShort(BaseException):
    """Stands for a kill: nothing in the product may catch it."""


@pytest.fixture(scope="module")
def model(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict[str, str], dict[str, str]]:
    """Books that hold the first export, with their files before and after an import of the second."""
    books = Books(tmp_path_factory.mktemp("model"))
    books.add(orders=FIRST)
    before = books.place / "before"
    shutil.copytree(books.folder.root, before, copy_function=shutil.copy2)
    file = books.write("second.csv", SECOND)
    books.take(file, "orders")
    return books.place, fingerprint(before), fingerprint(books.folder.root)


@pytest.fixture
def books(model: tuple[Path, dict[str, str], dict[str, str]], tmp_path: Path) -> Books:
    """A copy of the books that hold the first export only."""
    found = Books(tmp_path)
    shutil.rmtree(found.folder.root)
    shutil.copytree(model[0] / "before", found.folder.root, copy_function=shutil.copy2)
    found.write("second.csv", SECOND)
    return found


def failing(call: Callable[..., Any], times: int) -> Callable[..., Any]:
    """A call that is cut short when it is made for the given time, counted from 1."""
    made = 0

    def called(*arguments: Any, **named: Any) -> Any:
        nonlocal made
        made += 1
        if made == times:
            raise CutShort
        return call(*arguments, **named)

    return called


#: Where an import is cut short, at which call, and whether the change was decided by then. Renames: the intent, the export,
#: two months, the index, the chart of accounts (unchanged, so not renamed), the database.
CUTS = [
    (intake.shutil, "copyfile", 1, False),
    (archive.json, "dump", 1, False),
    (archive.os, "fsync", 1, False),
    (archive.os, "replace", 1, False),
    (archive.os, "replace", 2, True),
    (archive.os, "replace", 3, True),
    (archive.os, "replace", 6, True),
    (archive.Path, "unlink", 1, True),
]


@pytest.mark.parametrize(
    ("module", "name", "times", "decided"), CUTS, ids=[f"{name} {times}" for _, name, times, _ in CUTS]
)
def test_import_cut_short(
    module: Any,
    name: str,
    times: int,
    decided: bool,
    books: Books,
    model: tuple[Path, dict[str, str], dict[str, str]],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An import that is cut short at any step leaves the books as before, or once decided as after, for whoever comes next."""
    with monkeypatch.context() as patched:
        patched.setattr(module, name, failing(getattr(module, name), times))
        with pytest.raises(CutShort):
            books.take(books.place / "second.csv", "orders")
    expected = ["1", "2", "3"] if decided else ["1"]
    assert [(name,) for name in expected] == books.query("SELECT order_id FROM order_head ORDER BY 1")
    assert model[2 if decided else 1] == fingerprint(books.folder.root)


def test_next_import_completes(
    books: Books, model: tuple[Path, dict[str, str], dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """After an import that was cut short before it was decided, the same import goes through as if nothing had been."""
    with monkeypatch.context() as patched:
        patched.setattr(build, "write_journal", failing(build.write_journal, 1))
        with pytest.raises(CutShort):
            books.take(books.place / "second.csv", "orders")
    assert model[1] == fingerprint(books.folder.root)
    (result,) = books.take(books.place / "second.csv", "orders")
    assert (2, 0) == (result.new, result.repeated)
    assert model[2] == fingerprint(books.folder.root)
    assert not (books.folder.cache / "staging").exists()


def test_journal_fails_while_tables_are_kept(
    books: Books, model: tuple[Path, dict[str, str], dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What goes wrong with the journal is what is told, though the database is still being written beside it."""
    begun = threading.Event()

    def keep_slowly(connection: duckdb.DuckDBPyConnection, file: Path) -> None:
        begun.set()
        connection.execute("SELECT count(*) FROM range(100000000) AS number(n) WHERE n % 7 = 3").fetchall()

    def cut_short(*_: Any) -> None:
        begun.wait()
        time.sleep(0.05)
        raise CutShort

    with monkeypatch.context() as patched:
        patched.setattr(archive, "keep_tables", keep_slowly)
        patched.setattr(build, "write_journal", cut_short)
        with pytest.raises(CutShort):
            books.take(books.place / "second.csv", "orders")
    assert model[1] == fingerprint(books.folder.root)
    books.take(books.place / "second.csv", "orders")
    assert model[2] == fingerprint(books.folder.root)


def test_import_after_a_decided_one(
    books: Books, model: tuple[Path, dict[str, str], dict[str, str]], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same import again after one that was killed halfway through its renames finds all of it there already."""
    with monkeypatch.context() as patched:
        patched.setattr(archive.os, "replace", failing(os.replace, 3))
        with pytest.raises(CutShort):
            books.take(books.place / "second.csv", "orders")
    (result,) = books.take(books.place / "second.csv", "orders")
    assert (0, 2) == (result.new, result.repeated)
    assert model[2] == fingerprint(books.folder.root)


def test_killed_process(books: Books, model: tuple[Path, dict[str, str], dict[str, str]]) -> None:
    """A process that is killed at a random moment leaves the books as before or as after; so a few times over."""
    chance = random.Random(4)
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    words = ["--books", str(books.folder.root), "import", str(books.place / "second.csv"), "--source", "shop"]
    for _ in range(5):
        process = subprocess.Popen(
            [sys.executable, "-m", "ledger_tools", *words],
            env=environment,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        time.sleep(chance.uniform(0.4, 1.6))
        process.send_signal(signal.SIGKILL)
        process.wait()
        orders = [name for (name,) in books.query("SELECT order_id FROM order_head ORDER BY 1")]
        assert orders in (["1"], ["1", "2", "3"])
        assert model[1 if orders == ["1"] else 2] == fingerprint(books.folder.root)
    books.take(books.place / "second.csv", "orders")
    assert model[2] == fingerprint(books.folder.root)


def test_two_imports_at_once(books: Books, model: tuple[Path, dict[str, str], dict[str, str]]) -> None:
    """Two imports that start together come one after the other; both exports are in the books."""
    environment = {**os.environ, "PYTHONPATH": str(ROOT)}
    other = books.write("payments.csv", [processor("c", "charge", "2031-04-02", "10.00", "10.00", order_ref="1")])
    calls = [
        subprocess.Popen(
            [sys.executable, "-m", "ledger_tools", "--books", str(books.folder.root), "import", str(file)], env=environment,
            stdout=subprocess.DEVNULL,
        )
        for file in (books.place / "second.csv", other)
    ]  # fmt: skip
    assert [0, 0] == [call.wait(timeout=60) for call in calls]
    assert ["1", "c", "2", "3"] == [entry.event for entry in books.entries()]


def test_dry_run_changes_nothing(books: Books) -> None:
    """A dry run says what would come in and changes no file of the books."""
    before = fingerprint(books.folder.root)
    (result,) = books.take(books.place / "second.csv", "orders", dry_run=True)
    assert (2, 2, "2031-05-03", "2031-06-03") == (result.rows, result.new, result.first_day, result.last_day)
    assert before == fingerprint(books.folder.root)
    assert [("1",)] == books.query("SELECT order_id FROM order_head")


def test_refused_file_changes_nothing(books: Books) -> None:
    """A file with one bad row is refused whole, and all is as it was; the message names the file as the person does."""
    before = fingerprint(books.folder.root)
    file = books.write("bad.csv", [order("8", "2031-05-03", "20.00"), order("9", "2031-05-03", "twenty")])
    messages = books.refusals(file, "orders")
    assert messages
    assert all(message.startswith("bad.csv, record 2, column ") for message in messages)
    assert before == fingerprint(books.folder.root)


def test_refused_file_beside_a_good_one(books: Books) -> None:
    """Of two files the good one comes in and the bad one is refused; results come in the order of the files."""
    bad = books.write("bad.csv", "order_id,placed_at,total\n9,soon,1.00\n")
    refused, good = import_files(books.folder, [bad, books.place / "second.csv"], "shop", silent)
    assert ([True, False], [0, 2]) == ([bool(refused.refused), bool(good.refused)], [refused.new, good.new])
    assert ["1", "2", "3"] == [entry.event for entry in books.entries()]


def test_archived_export_that_turned_bad(books: Books) -> None:
    """Where an archived export can't be read any more, the last build stays and the message names the file."""
    (books.folder.exports / "shop" / "junk.csv").write_bytes(b"\0\1\2")
    with pytest.raises(LedgerError) as caught:
        open_books(books.folder, silent)
    assert "junk.csv: holds NUL bytes" in str(caught.value)
    with pytest.raises(LedgerError):
        books.take(books.place / "second.csv", "orders")
    (books.folder.exports / "shop" / "junk.csv").unlink()
    assert [("1",)] == books.query("SELECT order_id FROM order_head")


def test_undeclared_source(books: Books) -> None:
    """A source that the settings don't declare is an error before anything is touched."""
    before = fingerprint(books.folder.root)
    with pytest.raises(LedgerError) as caught:
        import_files(books.folder, [books.place / "second.csv"], "savings", silent)
    assert "source 'savings' is not declared" in str(caught.value)
    assert before == fingerprint(books.folder.root)


def test_damaged_database_is_built_anew(books: Books) -> None:
    """What is derived can be lost or damaged at any time: the next call builds it again, with the same journal."""
    before = fingerprint(books.folder.root)
    books.folder.database.write_bytes(b"no database")
    assert [("1",)] == books.query("SELECT order_id FROM order_head")
    shutil.rmtree(books.folder.cache)
    shutil.rmtree(books.folder.journal)
    assert [("1",)] == books.query("SELECT order_id FROM order_head")
    assert before == fingerprint(books.folder.root)


def test_settings_that_changed_are_seen(books: Books) -> None:
    """A change of an input is seen by its content: touching a file builds nothing, changing it does."""
    stages: list[str] = []
    books.build()
    os.utime(books.folder.settings)
    open_books(books.folder, stages.append).close()
    assert [] == stages
    with books.folder.settings.open("a", encoding="utf-8") as stream:
        stream.write('[names]\nMugs = "Cups"\n')
    open_books(books.folder, stages.append).close()
    assert "postings" in stages
    assert "Income:Sales:Cups" in books.journal_text()


def test_month_that_is_gone_leaves_the_journal(books: Books) -> None:
    """When its export is taken out of the archive, a month's file goes and the index no longer names it."""
    books.take(books.place / "second.csv", "orders")
    (books.folder.exports / "shop" / "second.csv").unlink()
    books.build()
    assert ["2031-04.beancount", "index.beancount"] == sorted(file.name for file in books.folder.journal.iterdir())
    assert "2031-05" not in (books.folder.journal / "index.beancount").read_text(encoding="utf-8")


def test_edited_journal_is_written_again(books: Books) -> None:
    """A journal that somebody edited is made whole by a rewrite."""
    before = fingerprint(books.folder.root)
    (books.folder.journal / "2031-04.beancount").write_text("edited\n")
    rewrite_journal(books.folder, silent)
    assert before == fingerprint(books.folder.root)


def test_hidden_files_are_no_exports(books: Books) -> None:
    """What a file manager leaves behind in the archive is not read."""
    (books.folder.exports / "shop" / ".DS_Store").write_bytes(b"\0\1")
    (books.folder.exports / "notes.txt").write_text("not an export")
    assert [("1",)] == books.query("SELECT order_id FROM order_head")


def test_intent_is_plain_and_stays_inside(books: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    """The intent names files of the books only, relative to them, so that books can be moved."""
    with monkeypatch.context() as patched:
        patched.setattr(archive.os, "replace", failing(os.replace, 2))
        with pytest.raises(CutShort):
            books.take(books.place / "second.csv", "orders")
    plan = json.loads((books.folder.cache / "intent.json").read_text(encoding="utf-8"))
    assert "exports/shop/second.csv" in [final for _, final in plan["renames"]]
    assert [] == [path for pair in plan["renames"] for path in pair if Path(path).is_absolute() or ".." in path]
