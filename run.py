"""Sets ledger-tools up and starts it, with nothing on the machine but Python: `python3 run.py demo` or `test`.

Standard library only. The packages go into `.venv` beside this file, exactly as lock.txt names them, each checked
against its digest; nothing else on the machine is touched. A stamp in `.venv` tells what is installed, so a second call
starts at once. The file must still parse on an old Python, which then gets one sentence instead of a traceback.
"""

import hashlib
import importlib.util
import json
import os
import platform
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

OLDEST_PYTHON = (3, 11)

if sys.version_info < OLDEST_PYTHON:  # noqa: UP036 (an old Python is what this line is for)
    sys.exit(
        f"ledger-tools needs Python 3.11 or newer and this is {platform.python_version()}: "
        "install a newer Python and start run.py with it, for example: python3.12 run.py demo"
    )

import tomllib  # noqa: E402 (not there before Python 3.11)

ROOT = Path(__file__).resolve().parent
VENV = ROOT / ".venv"
LOCK = ROOT / "lock.txt"
LOG = VENV / "set-up.log"
SCRIPTS = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = SCRIPTS / ("python.exe" if os.name == "nt" else "python")

#: The parts of the lock, in the order in which they are installed; `demo` needs the first, `test` needs both.
PARTS = ("runtime", "development")
HEADINGS = {part: f"# == {part} ==" for part in PARTS}
LOCK_PREAMBLE = """\
# Every package that ledger-tools is installed with, for Python 3.11 and newer on Linux, macOS and Windows, each with
# the digests of its files. Written by `python3 run.py lock` (needs uv); with `--upgrade` it takes the newest releases.
"""

USAGE = """\
usage: python3 run.py demo [DIR] [--orders N] [--seed S]
           write a demo shop's books to DIR (else ./demo-books) and show the result
       python3 run.py test [PYTEST ARGUMENT …]
           run the whole test suite
       python3 run.py lock [--upgrade]
           write lock.txt anew, after a change of dependencies
"""

#: Settings of the caller's shell that would make Python or pip look or write outside `.venv`.
FOREIGN = ("PYTHONPATH", "PYTHONHOME", "VIRTUAL_ENV", "PIP_USER", "PIP_TARGET", "PIP_PREFIX", "PIP_REQUIRE_VIRTUALENV")


class SetUpError(Exception):
    """What keeps the program from being set up, as one sentence that says what to do."""


def say(text: str) -> None:
    """Talk goes to stderr; stdout is for the program that is started."""
    print(text, file=sys.stderr, flush=True)


def environment() -> dict[str, str]:
    """The caller's environment without what would lead Python or pip out of `.venv`."""
    return {name: value for name, value in os.environ.items() if name not in FOREIGN}


def call(command: list[str], folder: Path | None = None) -> int:
    """Exit status of a program that talks to the person directly."""
    return subprocess.run(command, cwd=folder, env=environment(), check=False).returncode


def read_lock(part: str) -> str:
    """The pins of one part of lock.txt."""
    _, found, rest = LOCK.read_text(encoding="utf-8").partition(HEADINGS[part] + "\n")
    if not found:
        raise SetUpError(f"lock.txt has no line '{HEADINGS[part]}': write it anew with python3 run.py lock")
    return rest.partition("# ==")[0]


def project_table() -> dict[str, object]:
    """What pyproject.toml says about installing the project; the rest of it configures tools."""
    table = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    return {
        "build-system": table["build-system"],
        "project": table["project"],
        "setuptools": table.get("tool", {}).get("setuptools"),
    }


def expected_stamp(part: str) -> str:
    """Digest of all that decides what `.venv` holds: this part's pins, the project, Python's version, the place."""
    parts = [read_lock(name) for name in PARTS[: PARTS.index(part) + 1]]
    known = [*parts, project_table(), platform.python_version(), str(ROOT)]
    return hashlib.sha256(json.dumps(known, sort_keys=True).encode()).hexdigest()


def stamp_file(part: str) -> Path:
    """Where `.venv` says that a part is installed."""
    return VENV / f"{part}.stamp"


def is_installed(part: str) -> bool:
    """Whether `.venv` holds this part as lock.txt and pyproject.toml have it now."""
    expected, stamp = expected_stamp(part), stamp_file(part)
    return PYTHON.exists() and stamp.exists() and stamp.read_text(encoding="utf-8") == expected


def run_logged(command: list[str]) -> None:
    """Run one step of the set-up; what it prints goes to the log.

    Raises:
        SetUpError: the step failed; carries the last line that it printed.
    """
    with LOG.open("ab") as log:
        log.write(f"\n$ {' '.join(command)}\n".encode())
        log.flush()
        done = subprocess.run(
            command, cwd=ROOT, env=environment(), stdin=subprocess.DEVNULL, stdout=log, stderr=log, check=False
        )
    if done.returncode:
        lines = [line.strip() for line in LOG.read_text(encoding="utf-8", errors="replace").splitlines()]
        told = [line for line in lines if line and not line.startswith("[notice]")]
        raise SetUpError(
            f"The packages could not be installed ({told[-1][:200]}): check that this machine is online and start "
            f"run.py again; the whole story is in {LOG}"
        )


def empty_venv() -> None:
    """Make `.venv` an empty folder, whatever it was."""
    if VENV.is_symlink() or VENV.is_file():
        VENV.unlink()
    elif VENV.exists():
        shutil.rmtree(VENV)
    VENV.mkdir()


def base_python() -> str:
    """The Python that `.venv` is made from; never `.venv`'s own, which is about to be replaced."""
    return getattr(sys, "_base_executable", None) or sys.executable


def installer_of_uv(uv: str) -> list[str]:
    """Make `.venv` with uv; the command that installs into it."""
    empty_venv()
    run_logged([uv, "venv", "--quiet", "--allow-existing", "--python", base_python(), str(VENV)])
    return [uv, "pip", "install", "--python", str(PYTHON)]


def installer_of_pip() -> list[str]:
    """Make `.venv` with Python's own venv; the command that installs into it.

    Raises:
        SetUpError: this Python came without venv or without the pip that venv brings along.
    """
    if not (importlib.util.find_spec("venv") and importlib.util.find_spec("ensurepip")):
        raise SetUpError(
            "This Python came without its venv module: install it (on Debian and Ubuntu: apt-get install python3-venv) "
            "or install uv, and start run.py again"
        )
    empty_venv()
    run_logged([base_python(), "-m", "venv", str(VENV)])
    return [str(PYTHON), "-m", "pip", "install", "--disable-pip-version-check", "--progress-bar", "off"]


def install(installer: list[str], parts: list[str]) -> None:
    """Install parts of the lock, in order, and the project itself after the first; a stamp ends each part.

    Only wheels are taken for the runtime part, so that nothing is built there. What the development part has to build
    is built with the setuptools that the lock names, as is the project: no build fetches anything of its own.
    """
    for part in parts:
        pins = VENV / f"{part}.txt"
        pins.write_text(read_lock(part), encoding="utf-8")
        building = ["--only-binary", ":all:"] if part == "runtime" else ["--no-build-isolation"]
        run_logged([*installer, *building, "--no-deps", "--require-hashes", "-r", str(pins)])
        if part == "runtime":
            run_logged([*installer, "--no-build-isolation", "--no-deps", "--editable", str(ROOT)])
        stamp_file(part).write_text(expected_stamp(part), encoding="utf-8")


def set_up(part: str) -> None:
    """Make sure that `.venv` holds everything up to this part.

    Raises:
        SetUpError: something on this machine is missing, or the packages can't be had.
    """
    wanted = list(PARTS[: PARTS.index(part) + 1])
    if all(is_installed(name) for name in wanted):
        return
    uv = shutil.which("uv")
    say(f"Setting up ledger-tools in {VENV} (only this once; a minute or two) …")
    if uv:
        try:
            install(installer_of_uv(uv), wanted)
        except SetUpError:
            say("uv could not install the packages; trying pip instead …")
        else:
            return
    install(installer_of_pip(), wanted)


def run_demo(arguments: list[str]) -> int:
    """Write a demo shop's books and show what they say; books that are there already are shown, not touched."""
    named = bool(arguments) and not arguments[0].startswith("-")
    folder, options = (arguments[0], arguments[1:]) if named else ("demo-books", arguments)
    set_up("runtime")
    program = str(SCRIPTS / "ledger-tools")
    if not (Path(folder) / "shop.toml").exists():
        return call([program, "demo", folder, *options])
    say(f"{folder} holds books already, and this is what they say; remove the folder to have the demo written anew.")
    for report in ("orders", "income-statement"):
        status = call([program, "--books", folder, report])
        if status:
            return status
    standing = call([program, "--books", folder, "open-items"])
    return 0 if standing == 1 else standing  # 1 says that items stand open, which is part of the demo


def run_tests(arguments: list[str]) -> int:
    """Install what the tests need, fetch what they read from registries, and run them all, two at a time."""
    set_up("development")
    for fetching in ("open_data/fetch.py", "web/fetch_axe.py"):
        if call([str(PYTHON), str(ROOT / "tests" / fetching)], ROOT):
            raise SetUpError("What the tests read could not be fetched: see above, and start run.py again")
    return call([str(PYTHON), "-m", "pytest", "-n", "2", *arguments], ROOT)


def split_pins(text: str) -> list[str]:
    """The pins of a compiled list, each with its digests."""
    pins: list[str] = []
    for line in text.splitlines(keepends=True):
        if line.startswith((" ", "\t")):
            pins[-1] += line
        elif line.strip() and not line.startswith("#"):
            pins.append(line)
    return pins


def write_lock(arguments: list[str]) -> int:
    """Resolve the dependencies of pyproject.toml and write lock.txt; pins that still fit stay, unless `--upgrade`."""
    uv = shutil.which("uv") or shutil.which("uv", path=str(SCRIPTS))
    if not uv:
        raise SetUpError("lock.txt is written with uv: install uv and start run.py again")
    with tempfile.TemporaryDirectory() as scratch:
        build = Path(scratch, "build.in")
        build.write_text("\n".join(tomllib.loads((ROOT / "pyproject.toml").read_text())["build-system"]["requires"]))
        everything, runtime = Path(scratch, "everything.txt"), Path(scratch, "runtime.txt")
        if LOCK.exists():
            everything.write_text("".join(split_pins(LOCK.read_text(encoding="utf-8"))))
        compiler = [uv, "pip", "compile", "--quiet", "--universal", "--generate-hashes", "--python-version", "3.11"]
        compiler += ["--no-header", "--no-annotate", "pyproject.toml", str(build)]
        if call([*compiler, "--all-extras", *arguments, "--output-file", str(everything)], ROOT):
            raise SetUpError("uv could not resolve the dependencies of pyproject.toml: see above")
        if call([*compiler, "--constraint", str(everything), "--output-file", str(runtime)], ROOT):
            raise SetUpError("uv could not resolve the dependencies of pyproject.toml: see above")
        first = split_pins(runtime.read_text())
        second = [pin for pin in split_pins(everything.read_text()) if pin not in first]
    text = LOCK_PREAMBLE
    for part, pins in zip(PARTS, (first, second), strict=True):
        text += f"\n{HEADINGS[part]}\n{''.join(pins)}"
    LOCK.write_text(text, encoding="utf-8", newline="\n")
    say(f"lock.txt: {len(first)} pins of the program and {len(second)} of its tests")
    return 0


def main(arguments: list[str]) -> int:
    """Exit status of one command line; 2 where it names no command."""
    commands = {"demo": run_demo, "test": run_tests, "lock": write_lock}
    if not arguments or arguments[0] not in commands:
        asked = arguments[:1] in (["--help"], ["-h"])
        print(USAGE, end="", file=sys.stdout if asked else sys.stderr)
        return 0 if asked else 2
    try:
        return commands[arguments[0]](arguments[1:])
    except SetUpError as error:
        say(str(error))
    except OSError as error:
        say(f"run.py could not go on: {error}")
    except KeyboardInterrupt:
        say("Interrupted; start run.py again to go on.")
        return 130
    return 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
