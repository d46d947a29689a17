"""The command line as a whole: exit status, where what is said, where the books are looked for, help and completion."""

import csv
import io
import os
import subprocess
import sys
from pathlib import Path

import pytest
from command_line import ROOT, call, command, environment, run
from kept_books import Books, bank, order, processor

from ledger_tools.cli import COMMANDS

READING = ["status", "open-items", "orders", "trial-balance", "income-statement", "balance-sheet", "reconcile"]


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Books with an order that nobody paid and a statement that ties out."""
    books = Books(tmp_path_factory.mktemp("command-line"))
    books.put(
        orders=[order("1", "2031-04-02", "10.00"), order("2", "2031-04-02", "5.00", ship_country="US")],
        processor=[processor("c", "charge", "2031-04-03", "10.00", "9.50", fee="0.50", order_ref="1")],
        bank=[bank("2031-04-30", "-3.00", "FEE")],
    )
    return books.build().folder.root


@pytest.mark.parametrize("name", READING)
def test_report_as_table(name: str, root: Path) -> None:
    """Each report prints its table and exits 0, the list of open items 1; what is open is said on stderr as well."""
    outcome = call("--books", root, name)
    assert (1 if name == "open-items" else 0) == outcome.status, outcome.err
    assert outcome.out.strip()


@pytest.mark.parametrize("name", READING)
def test_json_is_nothing_but_json(name: str, root: Path) -> None:
    """What a script reads from stdout is one JSON value; all talk goes to stderr."""
    assert isinstance(call("--books", root, name, "--format", "json").json(), dict)


@pytest.mark.parametrize("name", [name for name in READING if name != "open-items"])
def test_open_items_are_told_on_stderr(name: str, root: Path) -> None:
    """A plain report exits 0 while items stand open, and says so on stderr."""
    outcome = call("--books", root, name, "--format", "json")
    assert 0 == outcome.status, outcome.err
    assert "open item" in outcome.err


def test_open_items_as_json(root: Path) -> None:
    """An open item has the fields of the contract, in their order; amounts are decimal texts, days ISO 8601."""
    outcome = call("--books", root, "open-items", "--as-of", "2031-04-30", "--format", "json")
    found = outcome.json()
    assert (1, "2031-04-30", "USD") == (outcome.status, found["as_of"], found["currency"])
    fields = [
        "id",
        "kind",
        "date",
        "age_days",
        "amount",
        "currency",
        "order_id",
        "event_id",
        "source",
        "cause",
        "next_step",
    ]
    assert [fields] * len(found["items"]) == [list(item) for item in found["items"]]
    first = dict(found["items"][0])
    assert ("order-without-payment", "2031-04-02", 28, "5.00", "USD", "2", None, "shop") == tuple(
        first[name] for name in fields[1:9]
    )


def test_open_items_as_csv(root: Path) -> None:
    """As CSV an item is one row under the same names."""
    rows = list(csv.DictReader(io.StringIO(call("--books", root, "open-items", "--format", "csv").out)))
    found = call("--books", root, "open-items", "--format", "json").json()["items"]
    assert [list(item) for item in found] == [list(row) for row in rows]
    assert [item["id"] for item in found] == [row["id"] for row in rows]
    assert 4 == len(rows)


def test_nothing_open_is_status_0(root: Path) -> None:
    """Seen as of a day before anything was late, nothing is open."""
    outcome = call("--books", root, "open-items", "--as-of", "2031-04-02", "--format", "json")
    assert (0, []) == (outcome.status, outcome.json()["items"])


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["nothing"], "No such command 'nothing'"),
        (["import"], "Missing argument"),
        (["status", "--formt", "json"], "No such option"),
        (["status", "--format", "xml"], "'xml' is not one of"),
        (["orders", "--month", "2031-13"], "is not a month"),
        (["orders", "--month", "2031-04", "--year", "2031"], "contradict each other"),
        (["orders", "--from", "2031-05-01", "--to", "2031-04-01"], "is after"),
        (["trial-balance", "--as-of", "2031-02-30"], "is not a date"),
        (["income-statement", "--quarter", "2031-Q5"], "is not a quarter"),
    ],
)
def test_wrong_command_line(arguments: list[str], message: str, root: Path) -> None:
    """A wrong command line is status 2, told on stderr, with nothing on stdout."""
    outcome = call("--books", root, *arguments)
    assert (2, "") == (outcome.status, outcome.out)
    assert message in outcome.err


def test_books_are_looked_for(root: Path, tmp_path: Path) -> None:
    """`--books` comes before `$LEDGER_BOOKS`, that before `./books`, that before this folder; an empty one is told apart."""
    (tmp_path / "empty").mkdir()
    named = run("--books", root, "status", cwd=tmp_path, LEDGER_BOOKS="/nowhere")
    assert 0 == named.status
    told = named.out.replace(f" --books {root}", "")
    assert told == run("status", cwd=tmp_path, LEDGER_BOOKS=str(root)).out
    assert told == run("status", cwd=root).out
    assert told == run("status", cwd=root.parent).out
    lost = run("status", cwd=tmp_path)
    assert (1, "") == (lost.status, lost.out)
    assert "neither ./books nor this folder holds a shop.toml" in lost.err
    assert "ledger-tools init books" in lost.err
    assert "Traceback" not in lost.err


@pytest.mark.parametrize("text", ["x = [", 'currency = "USD"\ntime_zone = "Mars"\n', "\udcff"])
def test_wrong_settings(text: str, tmp_path: Path) -> None:
    """Settings that can't be read are told in sentences by every command, with status 1."""
    (tmp_path / "shop.toml").write_bytes(text.encode("utf-8", "surrogateescape"))
    for name in ("status", "check"):
        outcome = call("--books", tmp_path, name)
        assert (1, "") == (outcome.status, outcome.out)
        assert "shop.toml" in outcome.err


def test_folder_in_place_of_settings(tmp_path: Path) -> None:
    """A folder that is called like the settings is none."""
    (tmp_path / "shop.toml").mkdir()
    assert 1 == call("--books", tmp_path, "status").status


def test_debug_shows_the_traceback(tmp_path: Path) -> None:
    """With --debug what failed is shown as Python tells it, without it in sentences."""
    assert "Traceback" not in run("--books", tmp_path, "status").err
    assert "Traceback" in run("--debug", "--books", tmp_path, "status").err


@pytest.mark.parametrize("name", COMMANDS)
def test_help(name: str) -> None:
    """The help of each command has an example that begins with the program's name."""
    outcome = call(name, "--help")
    assert 0 == outcome.status
    assert f"Example:\n    ledger-tools {name}" in outcome.out.replace("  ledger-tools --books books", "  ledger-tools")


def test_help_lists_every_command() -> None:
    """The program's own help names each command with one line about it."""
    text = call("--help").out
    assert [] == [name for name in COMMANDS if f"\n  {name} " not in text]


LOOKS = """
import sys
from ledger_tools.cli import group
try:
    group(sys.argv[1:], prog_name="ledger-tools")
except SystemExit:
    pass
heavy = {"pandas", "beancount", "beanquery", "duckdb", "fava", "pydantic", "numpy", "babel", "rich"} & set(sys.modules)
print("heavy:", *sorted(heavy))
"""


@pytest.mark.parametrize("name", ["", "import", "status", "orders", "check", "open-items"])
def test_help_loads_nothing_heavy(name: str) -> None:
    """Help is shown without loading the database, beancount or anything else that takes its time."""
    words = [name, "--help"] if name else ["--help"]
    done = subprocess.run(
        [sys.executable, "-c", LOOKS, *words], env=environment(), capture_output=True, text=True, check=True
    )
    assert "heavy:" == done.stdout.splitlines()[-1]


def test_completion() -> None:
    """The shell learns the commands and their options."""
    script = run(_LEDGER_TOOLS_COMPLETE="bash_source")
    assert "_ledger_tools_completion" in script.out
    words = {"COMP_WORDS": "ledger-tools st", "COMP_CWORD": "1", "_LEDGER_TOOLS_COMPLETE": "bash_complete"}
    assert "plain,status" in run(**words).out.splitlines()


def test_reader_that_leaves(root: Path) -> None:
    """A pipe that is closed early is no fault: nothing is told."""
    for name in ("trial-balance", "open-items"):
        writer = subprocess.Popen(
            command("--books", root, name), env=environment(), stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
        )
        assert writer.stdout is not None
        assert writer.stderr is not None
        writer.stdout.close()
        error = writer.stderr.read()
        writer.stderr.close()
        writer.wait(timeout=60)
        assert "Traceback" not in error
        assert "BrokenPipe" not in error


def test_no_colour_in_a_pipe(root: Path) -> None:
    """What goes to a pipe holds no escape sequence, with or without NO_COLOR, and progress says nothing."""
    for more in ({}, {"NO_COLOR": "1"}):
        outcome = run("--books", root, "orders", **more)
        assert (0, True) == (outcome.status, bool(outcome.out))
        assert "\x1b" not in outcome.out + outcome.err


@pytest.mark.parametrize("name", ["orders", "trial-balance", "income-statement", "balance-sheet"])
def test_narrow_terminal(name: str, root: Path) -> None:
    """A table keeps to the columns of the terminal."""
    lines = call("--books", root, name, COLUMNS="40").out.splitlines()
    table = [line for line in lines if "─" in line or "Assets" in line or "Income" in line]
    assert table
    assert [] == [line for line in table if len(line) > 40]


def test_program_is_a_module_and_says_its_version() -> None:
    """`python -m ledger_tools` is the program, by its own name."""
    outcome = run("--version")
    assert (0, True) == (outcome.status, outcome.out.startswith("ledger-tools, version "))
    assert (ROOT / "ledger_tools" / "__main__.py").is_file()


def without_power(words: list[str]) -> list[str] | None:
    """The same call without root's right to read and write everything; None where that can't be had."""
    if os.geteuid() != 0:
        return words
    dropper = ["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    try:
        works = subprocess.run([*dropper, "true"], check=False, capture_output=True).returncode == 0
    except FileNotFoundError:
        return None
    return [*dropper, *words] if works else None


def test_reports_of_books_that_can_not_be_written(root: Path) -> None:
    """Books that are up to date can be read where nothing can be written."""
    words = without_power(command("--books", root, "status"))
    if words is None:
        pytest.skip("nobody but root is here, and root can't be held back")
    folders = [root, *(folder for folder in root.rglob("*") if folder.is_dir())]
    for folder in folders:
        folder.chmod(0o555)
    try:
        done = subprocess.run(words, env=environment(), capture_output=True, text=True, check=False)
    finally:
        for folder in folders:
            folder.chmod(0o755)
    assert (0, f"4 open item(s): ledger-tools --books {root} open-items\n") == (done.returncode, done.stderr)
