"""The house rules for source text, each a function from one module's syntax tree to what breaks the rule in it.

A finding is the line number and what was found, with what to use instead. test_tidy.py says which rule holds where and
proves on a bad example that each rule can fail.
"""

import ast
import io
import re
import tokenize
from collections.abc import Callable, Iterator

Finding = tuple[int, str]
Rule = Callable[[ast.Module], Iterator[Finding]]

#: Calls that read a clock, as the last two names of what is called.
CLOCKS = {
    *(f"datetime.{name}" for name in ("now", "utcnow", "today")),
    *("date.today", "Timestamp.now", "Timestamp.today"),
    *(f"time.{name}" for name in ("time", "time_ns", "localtime", "gmtime", "ctime", "monotonic", "perf_counter")),
}
CLOCKS_OF_SQL = re.compile(r"\b(current_date|current_timestamp|localtimestamp|now\(\)|today\(\))", re.IGNORECASE)
FLOATS_OF_SQL = re.compile(r"\b(DOUBLE|FLOAT|FLOAT4|FLOAT8|REAL)\b")
#: Methods that change files whatever they are called on, and functions of modules that do.
CHANGES = {"write_text", "write_bytes", "unlink", "mkdir", "touch", "symlink_to", "rmdir"}
WRITERS = {"os", "shutil"}
WRITES = {
    "replace",
    "rename",
    "remove",
    "makedirs",
    "rmtree",
    "move",
    "copy",
    "copy2",
    "copyfile",
    "copytree",
    "truncate",
}


def dotted_name(node: ast.expr) -> str:
    """The name that is called, as written: "datetime.date.today"; empty where it is no plain name."""
    if isinstance(node, ast.Name):
        return node.id
    if isinstance(node, ast.Attribute):
        before = dotted_name(node.value)
        return f"{before}.{node.attr}" if before else f".{node.attr}"
    return ""


def calls(tree: ast.Module) -> Iterator[tuple[ast.Call, str]]:
    """Every call with the name that is called."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            yield node, dotted_name(node.func)


def _docstrings(tree: ast.Module) -> set[int]:
    """Identities of the constants that are docstrings."""
    found = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Module | ast.ClassDef | ast.FunctionDef | ast.AsyncFunctionDef) and node.body:
            first = node.body[0]
            if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
                found.add(id(first.value))
    return found


def _texts(tree: ast.Module) -> Iterator[tuple[int, str]]:
    """Every string that is not a docstring, with its line."""
    skip = _docstrings(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in skip:
            yield node.lineno, node.value


def floats(tree: ast.Module) -> Iterator[Finding]:
    """Floating-point numbers: calls, literals, divisions by a number, and SQL types."""
    instead = "money is an int of minor units, a rate is a fraction of two"
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, float):
            yield node.lineno, f"float literal {node.value}: {instead}"
        elif isinstance(node, ast.Name) and node.id == "float":
            yield node.lineno, f"float: {instead}"
        elif isinstance(node, ast.BinOp) and isinstance(node.op, ast.Div):
            numbers = [side for side in (node.left, node.right) if isinstance(side, ast.Constant)]
            if any(isinstance(side.value, int) for side in numbers):
                yield node.lineno, "a division with / makes a float: use // or money.round_half_up"
    for line, text in _texts(tree):
        for found in FLOATS_OF_SQL.finditer(text):
            yield line, f"SQL type {found[0]}: {instead}"


def files_opened(tree: ast.Module) -> Iterator[Finding]:
    """Files that are opened, written, moved or removed."""
    for node, name in calls(tree):
        first, _, last = name.rpartition(".")
        if last == "open" and name != "os.open" and first != "webbrowser":
            yield node.lineno, f"{name}(…) opens a file: leave it to a module whose business it is"
        elif name in ("os.open", "os.fdopen") or (first in WRITERS and last in WRITES) or (first and last in CHANGES):
            yield node.lineno, f"{name}(…) changes files: leave it to a module whose business it is"


def clocks(tree: ast.Module) -> Iterator[Finding]:
    """Readings of the clock, in Python and in SQL."""
    for node, name in calls(tree):
        if ".".join(name.split(".")[-2:]) in CLOCKS:
            yield node.lineno, f"{name}() reads the clock: take as_of from the caller"
    for line, text in _texts(tree):
        for found in CLOCKS_OF_SQL.finditer(text):
            yield line, f"SQL {found[0]} reads the clock: bind as_of"


def prints(tree: ast.Module) -> Iterator[Finding]:
    """Talk that does not go through the command line."""
    for node, name in calls(tree):
        if name in ("print", "pprint", "pprint.pprint", "sys.stdout.write", "sys.stderr.write"):
            yield node.lineno, f"{name}(…) talks to the person: return a value, the command line prints it"


def evaluations(tree: ast.Module) -> Iterator[Finding]:
    """Text or bytes that would run as code."""
    for node, name in calls(tree):
        if name in ("eval", "exec", "compile", "__import__") or name.startswith(("pickle.", "marshal.", "shelve.")):
            yield node.lineno, f"{name}(…) runs data as code: parse it"
        for keyword in node.keywords:
            if keyword.arg == "shell":
                yield node.lineno, f"{name}(shell=…) hands text to a shell: pass a list"


def loader_imports(tree: ast.Module) -> Iterator[Finding]:
    """Imports of beancount's loader, whose list of errors is easily ignored."""
    for node in ast.walk(tree):
        names: list[str] = []
        if isinstance(node, ast.Import):
            names = [alias.name for alias in node.names]
        elif isinstance(node, ast.ImportFrom):
            names = [f"{node.module}.{alias.name}" for alias in node.names]
        if any(name == "beancount.loader" or name.startswith("beancount.loader.") for name in names):
            yield node.lineno, "beancount.loader: call the journal, which looks at the loader's errors"


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    """Every function and method."""
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            yield node


def missing_module_docstring(tree: ast.Module) -> Iterator[Finding]:
    """A module that does not begin by saying what it is for."""
    if tree.body and not (ast.get_docstring(tree) or "").strip():
        yield 1, "no docstring: begin the module with its purpose and its place"


def missing_test_docstrings(tree: ast.Module) -> Iterator[Finding]:
    """Tests that don't say in one sentence what holds."""
    for function in functions(tree):
        if function.name.startswith("test_") and not (ast.get_docstring(function) or "").strip().endswith((".", "?")):
            yield function.lineno, f"{function.name} has no docstring that is a sentence"


def left_over(source: str) -> Iterator[Finding]:
    """Notes to oneself in comments of Python source."""
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT and LEFT_OVER.search(token.string):
            yield token.start[0], f"left over: {token.string.strip()}"


LEFT_OVER = re.compile(r"\b(FIX" + r"ME|TO" + r"DO|X" + r"XX)\b")
SWALLOWED = re.compile(r"\|\|\s*(true|:)(\s|;|$)")


def swallowed_failures(script: str) -> Iterator[Finding]:
    """Lines of a shell script that hide a failure."""
    for number, line in enumerate(script.splitlines(), 1):
        if SWALLOWED.search(line) and not line.lstrip().startswith("#"):
            yield number, f"a failure is hidden: {line.strip()}"
