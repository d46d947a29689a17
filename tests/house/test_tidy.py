"""House rules that no linter knows: what stands where, how long it is, and what may not stand at all.

Every exception is named here with its reason, and fails as soon as it is no longer needed. Sizes are a ratchet: a
module or function over the limit has its present length here, and the figure must fall with it.
"""

import ast
import re
import subprocess
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
import source_rules as rules

ROOT = Path(__file__).resolve().parents[2]
PRODUCT = ("ledger_tools/", "importers/")

MODULE_LINES = 400
FUNCTION_LINES = 70
FILE_BYTES = 1_000_000

#: Modules over the limit and their present lengths.
LONG_MODULES: dict[str, int] = {}
#: Functions over the limit ("module.py:name") and their present lengths.
LONG_FUNCTIONS: dict[str, int] = {}

#: Where a rule does not hold: a module, or a folder with its slash, and the reason.
EXCEPTIONS: dict[str, dict[str, str]] = {
    "floats": {
        **{
            f"importers/{name}.py": "how sure a guess about a file is: shares of rows and weights, never an amount"
            for name in (
                *("arithmetic", "column_evidence", "proposal_amounts", "proposal_kind", "propose", "sample"),
                "value_patterns",
            )
        },
        "importers/spreadsheet.py": "a number in a spreadsheet is a float in the file; its shortest text is taken",
        "ledger_tools/reports/register.py": "how alike two names of accounts are",
    },
    "files_opened": {
        "importers/delimited.py": "reads exports, and writes the even copy that the database reads",
        "importers/formats.py": "looks at the first bytes of exports",
        "importers/spreadsheet.py": "writes a sheet as the rows that the database reads",
        "importers/statements.py": "writes a statement as the rows that the database reads",
        "importers/sample.py": "reads the beginnings of exports",
        "ledger_tools/archive.py": "makes each change of the books whole or not at all",
        "ledger_tools/intake.py": "copies exports aside before they are read",
        "ledger_tools/build.py": "swaps the built database and journal in",
        "ledger_tools/export_rows.py": "takes the digests of exports, and gives each reading a scratch folder",
        "ledger_tools/checks/journal_text.py": "builds the books a second time in a folder of its own",
        "ledger_tools/close.py": "freezes a month aside, to be swapped in with the books",
        "ledger_tools/cli/__init__.py": "points the output at nothing after its reader has left",
        "ledger_tools/decisions.py": "adds to and takes from the file of decisions",
        "ledger_tools/demo/": "writes the demo's exports",
        "ledger_tools/packet/": "writes the packet aside and moves it in whole",
        "ledger_tools/trial_reading.py": "takes a mapping back that the books can't be built with",
        "ledger_tools/web/waiting.py": "keeps dropped files and packets aside until a person is done with them",
        "ledger_tools/new_books.py": "writes a new set of books",
    },
    "clocks": {"ledger_tools/cli/": "the edge of the program, where as_of is made"},
    "prints": {"ledger_tools/cli/": "the command line is what talks"},
    "evaluations": {},
    "loader_imports": {
        "ledger_tools/journal.py": "takes beancount's verdict",
    },
}
#: Exceptions that are granted by the design and may stand before they are used.
GRANTED = {"ledger_tools/cli/", "ledger_tools/journal.py"}

VAGUE_NAMES = {"utils", "util", "helpers", "helper", "common", "misc", "manager", "tools", "stuff", "base"}

BAD_EXAMPLES = [
    ("floats", "x = float('1.5')"),
    ("floats", "def f(x: float) -> None: ..."),
    ("floats", "x = 0.1"),
    ("floats", "x = cents / 100"),
    ("floats", "x = f'CAST({a} AS DOUBLE)'"),
    ("files_opened", "open('a')"),
    ("files_opened", "path.open('w')"),
    ("files_opened", "path.write_text('a')"),
    ("files_opened", "os.replace(a, b)"),
    ("files_opened", "shutil.rmtree(a)"),
    ("clocks", "datetime.datetime.now()"),
    ("clocks", "date.today()"),
    ("clocks", "time.time()"),
    ("clocks", "x = 'SELECT current_date - at'"),
    ("prints", "print('a')"),
    ("prints", "sys.stdout.write('a')"),
    ("evaluations", "eval(text)"),
    ("evaluations", "pickle.loads(data)"),
    ("evaluations", "subprocess.run(text, shell=True)"),
    ("loader_imports", "from beancount import loader"),
    ("loader_imports", "import beancount.loader"),
    ("loader_imports", "from beancount.loader import load_file"),
    ("missing_module_docstring", "x = 1"),
    ("missing_test_docstrings", "def test_a() -> None: ..."),
    ("missing_test_docstrings", "def test_a() -> None:\n    'no sentence'"),
]
GOOD_EXAMPLES = [
    ("floats", "'''Never a float, never 0.5 or DOUBLE.'''\nx = 1 // 2\ny = folder / 'REALISED'"),
    ("files_opened", "text.replace('a', 'b')\npath.read_bytes()"),
    ("clocks", "datetime.date(2031, 4, 1)\nx = 'as_of'\ntimetable.time()"),
    ("prints", "footprint(1)"),
    ("evaluations", "re.compile('a')\nevaluate(text)"),
    ("loader_imports", "from beancount.core import data"),
    ("missing_test_docstrings", "def test_a() -> None:\n    'It holds.'\ndef helper() -> None: ..."),
]


@cache
def project_files() -> tuple[str, ...]:
    """Every file that is, or would be, under version control."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT,
        capture_output=True,
        check=True,
        text=True,
    )
    return tuple(sorted(name for name in listed.stdout.split("\0") if name and (ROOT / name).is_file()))


def modules(*folders: str) -> list[str]:
    """Python modules in these folders, or all of the project's."""
    return [name for name in project_files() if name.endswith(".py") and name.startswith(folders or "")]


def texts() -> Iterator[tuple[str, str]]:
    """Every file of the project that is text, with it."""
    for name in project_files():
        content = (ROOT / name).read_bytes()
        if b"\0" not in content:
            yield name, content.decode("utf-8", errors="replace")


def parsed(name: str) -> ast.Module:
    """Syntax tree of a module of the project."""
    return ast.parse((ROOT / name).read_text(encoding="utf-8"), name)


def found_by(rule: rules.Rule, names: list[str]) -> list[str]:
    """What breaks a rule in these modules, as file:line and what."""
    return [f"{name}:{line}: {what}" for name in names for line, what in rule(parsed(name))]


def covers(place: str, name: str) -> bool:
    """Whether an exception's place, a module or a folder with its slash, holds a module."""
    return name == place or (place.endswith("/") and name.startswith(place))


@pytest.mark.parametrize(("rule", "source"), BAD_EXAMPLES)
def test_rule_finds(rule: str, source: str) -> None:
    """Each rule finds what it is there to find."""
    assert list(getattr(rules, rule)(ast.parse(source)))


@pytest.mark.parametrize(("rule", "source"), GOOD_EXAMPLES)
def test_rule_lets_pass(rule: str, source: str) -> None:
    """Each rule lets pass what only looks like a breach."""
    assert [] == list(getattr(rules, rule)(ast.parse(source)))


def test_there_is_something_to_look_at() -> None:
    """The rules see the product and its tests, so that silence means something."""
    assert {"ledger_tools/money.py", "run.py", "tests/house/test_tidy.py"} <= set(modules())


@pytest.mark.parametrize("rule", EXCEPTIONS)
def test_product_keeps(rule: str) -> None:
    """Outside the named exceptions the product breaks none of the rules."""
    names = [name for name in modules(*PRODUCT) if not any(covers(place, name) for place in EXCEPTIONS[rule])]
    assert [] == found_by(getattr(rules, rule), names)


@pytest.mark.parametrize("rule", EXCEPTIONS)
def test_exceptions_are_needed(rule: str) -> None:
    """An exception to a rule stands only as long as something there breaks the rule."""
    unneeded = [
        place
        for place in set(EXCEPTIONS[rule]) - GRANTED
        if not found_by(getattr(rules, rule), [name for name in modules(*PRODUCT) if covers(place, name)])
    ]
    assert [] == unneeded


def test_modules_say_what_they_are_for() -> None:
    """Every module, of the product and of the tests, begins with a docstring."""
    assert [] == found_by(rules.missing_module_docstring, modules())


def test_tests_say_what_holds() -> None:
    """Every test has a docstring that is a sentence."""
    assert [] == found_by(rules.missing_test_docstrings, modules("tests/"))


def test_modules_are_short() -> None:
    """No module is longer than the limit, or than the figure that the ratchet holds for it."""
    lengths = {name: len((ROOT / name).read_text(encoding="utf-8").splitlines()) for name in modules()}
    assert LONG_MODULES == {name: lines for name, lines in lengths.items() if lines > MODULE_LINES}


def test_functions_are_short() -> None:
    """No function is longer than the limit, or than the figure that the ratchet holds for it."""
    lengths = {
        f"{name}:{function.name}": (function.end_lineno or 0) - function.lineno + 1
        for name in modules()
        for function in rules.functions(parsed(name))
    }
    assert LONG_FUNCTIONS == {name: lines for name, lines in lengths.items() if lines > FUNCTION_LINES}


def test_names_say_something() -> None:
    """No module or folder has a name that would fit anything."""
    vague = [name for name in modules() if VAGUE_NAMES & set(Path(name).with_suffix("").parts)]
    assert [] == vague


def test_nothing_is_left_over() -> None:
    """No note to oneself stands in a comment, a document or a script."""
    found = []
    for name, text in texts():
        if name.endswith(".py"):
            found += [f"{name}:{line}: {what}" for line, what in rules.left_over(text)]
        elif name.endswith((".md", ".toml", ".js", ".html", ".ini", ".cfg")) or text.startswith("#!"):
            lines = enumerate(text.splitlines(), 1)
            found += [f"{name}:{number}: {line.strip()}" for number, line in lines if rules.LEFT_OVER.search(line)]
    assert [] == found
    assert list(rules.left_over("x = 1  # TO" + "DO: mend\n"))


def test_scripts_hide_no_failure() -> None:
    """No script goes on after a failure as if nothing had happened."""
    scripts = [(name, text) for name, text in texts() if text.startswith("#!") or name.endswith(".sh")]
    assert ".ci/run" in [name for name, _ in scripts]
    found = [f"{name}:{line}: {what}" for name, text in scripts for line, what in rules.swallowed_failures(text)]
    assert [] == found
    assert list(rules.swallowed_failures("rm a || " + "true\n"))


def test_files_are_small() -> None:
    """No file is over a megabyte: large data is made or fetched, not kept."""
    sizes = {name: (ROOT / name).stat().st_size for name in project_files()}
    assert {} == {name: size for name, size in sizes.items() if size > FILE_BYTES}


def test_lock_names_no_place() -> None:
    """The lock holds exact versions and digests only: no address, no path, no index."""
    lines = (ROOT / "lock.txt").read_text(encoding="utf-8").splitlines()
    pin = re.compile(r"[a-z0-9][a-z0-9.-]*==[\w.!+]+( ; [^/\\]+)? \\|    --hash=sha256:[0-9a-f]{64}( \\)?|#[^/]*|")
    assert [] == [line for line in lines if not pin.fullmatch(line)]
    assert len(lines) > 100
