"""Documents that can't drift: what the program has stands in README.md, and its two commands stand first.

The tests ask the program for its commands and settings, so a new one without a word in the documents fails here.
"""

import re
import shlex
import tomllib
import types
import typing
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest
from pydantic import BaseModel

ROOT = Path(__file__).resolve().parents[2]
STARTING_COMMANDS = ("python3 run.py demo", "python3 run.py test")


def read(name: str) -> str:
    """A document of the project."""
    return (ROOT / name).read_text(encoding="utf-8")


@cache
def command_line() -> click.Group:
    """The program's command line: the one group of commands in its package."""
    from ledger_tools import cli

    (group,) = (value for value in vars(cli).values() if isinstance(value, click.Group))
    return group


def commands() -> Iterator[tuple[str, click.Command]]:
    """Every command with its name, those of groups within as "group command"."""

    def walk(group: click.Group, before: str) -> Iterator[tuple[str, click.Command]]:
        context = click.Context(group, info_name=before or "ledger-tools")
        for name in group.list_commands(context):
            command = group.get_command(context, name)
            assert command is not None, name
            yield f"{before}{name}", command
            if isinstance(command, click.Group):
                yield from walk(command, f"{before}{name} ")

    yield from walk(command_line(), "")


def help_of(name: str, command: click.Command) -> str:
    """What `--help` of a command prints."""
    parent = click.Context(command_line(), info_name="ledger-tools")
    return command.get_help(click.Context(command, info_name=name, parent=parent))


def models_within(annotation: object) -> Iterator[type[BaseModel]]:
    """The models that a field's type holds, alone or in a list, a table or a choice."""
    if isinstance(annotation, type) and not isinstance(annotation, types.GenericAlias):
        if issubclass(annotation, BaseModel):
            yield annotation
        return
    for part in typing.get_args(annotation):
        yield from models_within(part)


def keys_of(model: type[BaseModel], seen: tuple[type[BaseModel], ...] = ()) -> Iterator[str]:
    """Every key that the settings file may hold, as "table.key" where it is nested."""
    for name, field in model.model_fields.items():
        key = field.alias or name
        yield key
        for inner in models_within(field.annotation):
            if inner not in seen:
                yield from (f"{key}.{below}" for below in keys_of(inner, (*seen, model)))


def documents() -> str:
    """README.md and what stands under docs/, as one text."""
    texts = [read("README.md")]
    texts += [path.read_text(encoding="utf-8") for path in sorted((ROOT / "docs").rglob("*.md"))]
    return "\n".join(texts)


def is_named(word: str, text: str) -> bool:
    """Whether a key stands in a document as code: between backticks, or first on a line of a code block."""
    code = re.findall(r"`([^`\n]+)`", text)
    blocks = re.findall(r"^```.*?^```", text, re.DOTALL | re.MULTILINE)
    exact = re.compile(rf"(?<![\w-]){re.escape(word)}(?![\w-])")
    return any(exact.search(piece) for piece in [*code, *blocks])


def paths_within(table: dict[str, object], before: str = "") -> Iterator[str]:
    """Every key of a TOML table as "table.key", the tables in a list taken together."""
    for key, value in table.items():
        yield f"{before}{key}"
        for inner in value if isinstance(value, list) else [value]:
            if isinstance(inner, dict):
                yield from paths_within(inner, f"{before}{key}.")


def settings_shown(text: str) -> set[str]:
    """Keys that the TOML examples of a document set, as "table.key"."""
    examples = re.findall(r"^```toml\n(.*?)^```", text, re.DOTALL | re.MULTILINE)
    return {path for example in examples for path in paths_within(tomllib.loads(example))}


def test_readme_starts_with_the_two_commands() -> None:
    """A person who reads only the first section of README.md knows how to see the demo and how to run the tests."""
    sections = re.split(r"^#{1,6} ", read("README.md"), flags=re.MULTILINE)
    missing = [command for command in STARTING_COMMANDS if command not in "".join(sections[1:2])]
    assert [] == missing


def test_every_command_is_documented() -> None:
    """README.md names each command of the program as code."""
    text = read("README.md")
    names = [name for name, _ in commands()]
    assert len(names) > 5
    assert [] == [name for name in names if not is_named(name, text)]


def test_every_help_has_an_example() -> None:
    """The help of each command shows an example that names the command."""
    without = []
    for name, command in commands():
        _, found, example = help_of(name, command).partition("Example")
        if not found or f"ledger-tools {name}" not in re.sub(r"--books \S+ ", "", " ".join(example.split())):
            without.append(name)
    assert [] == without


def test_every_command_and_option_says_what_it_does() -> None:
    """No command and no option is without help, and the list of commands has a line about each."""
    listed = command_line().get_help(click.Context(command_line(), info_name="ledger-tools"))
    silent = []
    for name, command in commands():
        if not command.get_short_help_str() or not re.search(rf"^ +{re.escape(name)}  +\S", listed, re.MULTILINE):
            silent.append(name)
        for parameter in command.params:
            if isinstance(parameter, click.Option) and not parameter.hidden and not parameter.help:
                silent.append(f"{name} {parameter.opts[0]}")
    assert [] == silent


def test_documented_commands_exist() -> None:
    """Each `ledger-tools …` line in a code block of README.md names a command and options that exist."""
    known = dict(commands())
    wrong = []
    for block in re.findall(r"^```.*?^```", read("README.md"), re.DOTALL | re.MULTILINE):
        for line in re.findall(r"^\s*\$?\s*ledger-tools (.+)$", block, re.MULTILINE):
            words = shlex.split(re.sub(r"^--books \S+ ", "", line), comments=True)
            command = known.get(words[0])
            options = (
                {opt for param in command.params for opt in param.opts + param.secondary_opts} if command else set()
            )
            stray = [word for word in words[1:] if word.startswith("--") and word.partition("=")[0] not in options]
            if command is None or stray:
                wrong.append(line)
    assert [] == wrong


def test_every_setting_is_described() -> None:
    """README.md or a document under docs/ has each key of the settings file: as `table.key` or in a TOML example."""
    from ledger_tools.settings import ShopSettings

    text = documents()
    keys = list(dict.fromkeys(keys_of(ShopSettings)))
    assert len(keys) > 5
    shown = settings_shown(text)
    assert [] == [key for key in keys if key not in shown and not is_named(key, text)]


def test_keys_of_an_example() -> None:
    """The keys that a TOML example sets are known with the tables that they stand in."""
    text = 'So:\n```toml\ndetail = "day"\n[[source]]\nname = "shop"\n[grace]\npayment = 2\n```\n'
    assert {"detail", "source", "source.name", "grace", "grace.payment"} == settings_shown(text)


def test_changelog_has_a_place_for_the_next_change() -> None:
    """CHANGELOG.md begins with what is not released yet, and every heading is one that a reader expects."""
    headings = re.findall(r"^##+ (.+)$", read("CHANGELOG.md"), re.MULTILINE)
    assert "[Unreleased]" == headings[0]
    kinds = {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}
    odd = [
        heading
        for heading in headings
        if heading not in kinds and not re.match(r"\[(Unreleased|\d+\.\d+\.\d+)\]", heading)
    ]
    assert [] == odd


@pytest.mark.parametrize(
    ("named", "word", "text"),
    [
        (True, "detail", "The key `detail` says"),
        (True, "detail", 'so:\n```toml\ndetail = "day"\n```\n'),
        (False, "detail", "in detail"),
        (False, "detail", "`detailed`"),
        (True, "open-items", "`ledger-tools open-items`"),
        (False, "items", "`open-items`"),
    ],
)
def test_naming_as_code(named: bool, word: str, text: str) -> None:
    """Only a whole word in code counts as naming a command or key."""
    assert named == is_named(word, text)
