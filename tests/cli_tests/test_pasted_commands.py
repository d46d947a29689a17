"""Every command that the program prints can be pasted: where the person named the books, it names them too."""

import ast
import re
import shlex
from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, bank, order, processor

from ledger_tools.cli import COMMANDS

ROOT = Path(__file__).resolve().parents[2]

#: A printed command; `demo` and `init` name the folder themselves. A line may end where a blank stands.
COMMAND = re.compile(rf"ledger-tools\s+(?:--books\s+('[^']*'|\S+)\s+)?(?:{'|'.join({*COMMANDS} - {'demo', 'init'})})\b")

#: Command lines that print commands, what `{item}` and `{decided}` stand for put in.
LINES = [
    "status",
    "status --format json",
    "open-items",
    "open-items --format json",
    "open-items --settled",
    "income-statement --month 2031-04",
    "reconcile",
    "close 2031-04",
    "settle {item} --account Assets:InTransit:Payouts --reason x",
    "settle {decided} --accept --reason x",
    "settle {item}0 --withdraw",
    "packet --out packet",
    "map {file} --source checking --write --replace",
]


@pytest.fixture(scope="module")
def lines(tmp_path_factory: pytest.TempPathFactory) -> list[tuple[str, str]]:
    """Each command line and what it prints on both streams, for books in a folder with a blank in its name."""
    books = Books(
        tmp_path_factory.mktemp("my shop"), '[[stated_balance]]\nsource="checking"\non=2031-04-30\namount="9"'
    )
    books.put(
        orders=[order("1", "2031-04-02", "10.00")],
        processor=[processor("PO-1", "payout", "2031-04-05", "-50.00", "-50.00")],
        bank=[bank("2031-04-12", "-4.00", "CORNER SHOP"), bank("2031-05-31", "9.00", "GIFT")],
    )
    root = str(books.folder.root)
    items = {item.kind: item.id for item in books.open_items()}
    decided = items["order-without-payment"]
    call("--books", root, "settle", decided, "--accept", "--reason", "paid in cash", "--by", "Ada")
    books.folder.hand.write_text(
        '2031-04-02 * "Cash" ^order-1\n  Assets:Cash  10.00 USD\n  Assets:Clearing:Orders  -10.00 USD\n'
    )
    file = books.write("May 31.csv", "Date,Amount,Description\n2031-05-30,-3.00,Tea\n2031-05-31,9.00,Gift\n")
    told = {"item": items["bank-line-without-rule"], "decided": decided, "file": shlex.quote(str(file))}
    found = []
    for line in LINES:
        outcome = call("--books", root, *shlex.split(line.format(**told)))
        helped = re.sub(r"^(Usage|Try ').*", "", outcome.out + outcome.err, flags=re.MULTILINE)
        found.append((line, helped))
    return found


def test_printed_commands_name_the_books(lines: list[tuple[str, str]]) -> None:
    """What is printed about books that were named names them in each command, quoted for a shell."""
    wrong = [
        (line, found[0])
        for line, text in lines
        for found in COMMAND.finditer(text.replace("\\'", "'"))
        if found[1] is None or not shlex.split(found[1])[0].endswith("/books")
    ]
    assert [] == wrong


def test_each_line_prints_a_command(lines: list[tuple[str, str]]) -> None:
    """Each of these lines prints one, so the test above looks at what it should."""
    assert [] == [line for line, text in lines if not COMMAND.search(text)]


def test_all_is_printed_in_one_way() -> None:
    """No module of the command line calls the library's own `echo`, which would print commands as they are."""
    direct = [
        file.name
        for file in sorted((ROOT / "ledger_tools" / "cli").glob("*.py"))
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Attribute) and node.attr in {"echo", "secho"}
    ]
    assert {"output.py"} == set(direct)
