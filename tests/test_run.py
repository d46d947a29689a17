"""run.py: what it asks of a machine, what it installs and skips, and the one sentence that it says where it can't."""

import ast
import importlib.util
import os
import shutil
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

ROOT = Path(__file__).resolve().parents[1]
LOCK = """\
# preamble

# == runtime ==
first==1.0 \\
    --hash=sha256:aa

# == development ==
second==2.0 ; sys_platform == 'win32' \\
    --hash=sha256:bb \\
    --hash=sha256:cc
"""


@pytest.fixture
def run(tmp_path: Path) -> ModuleType:
    """run.py of a project in a folder of its own, with a lock of two invented packages."""
    shutil.copy(ROOT / "run.py", tmp_path)
    shutil.copy(ROOT / "pyproject.toml", tmp_path)
    (tmp_path / "lock.txt").write_text(LOCK)
    specification = importlib.util.spec_from_file_location("run_of_test", tmp_path / "run.py")
    assert specification
    assert specification.loader
    module = importlib.util.module_from_spec(specification)
    specification.loader.exec_module(module)
    return module


class Machine:
    """Stands for the programs that run.py starts: notes each command and does what making `.venv` would do."""

    def __init__(self, run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
        self.run = run
        self.commands: list[list[str]] = []
        self.failing = ""
        self.statuses: dict[str, int] = {}
        monkeypatch.setattr(run.subprocess, "run", self.start)
        monkeypatch.setattr(run.shutil, "which", lambda name, path=None: None)

    def start(self, command: list[str], **options: object) -> subprocess.CompletedProcess[bytes]:
        """Exit status of a command that is only noted."""
        self.commands.append(command)
        if self.failing and self.failing in command:
            self.run.LOG.write_text("ERROR: nothing there\n[notice] a new release\n\n")
            return subprocess.CompletedProcess(command, 1)
        if "venv" in command:
            self.run.SCRIPTS.mkdir(exist_ok=True)
            self.run.PYTHON.touch()
        status = next((status for word, status in self.statuses.items() if word in command), 0)
        return subprocess.CompletedProcess(command, status)

    def installed(self) -> list[str]:
        """What was installed, in order: the name of a list of pins, or the project."""
        parts = []
        for command in self.commands:
            if "install" in command:
                parts.append("project" if "--editable" in command else Path(command[-1]).stem)
        return parts


@pytest.fixture
def machine(run: ModuleType, monkeypatch: pytest.MonkeyPatch) -> Machine:
    """A machine without uv on which every program succeeds, unless the test says otherwise."""
    return Machine(run, monkeypatch)


def test_old_python_can_read_it() -> None:
    """The file parses on Python 3.7, so that an old Python says what is needed instead of failing on syntax."""
    source = (ROOT / "run.py").read_text(encoding="utf-8")
    ast.parse(source, feature_version=(3, 7))
    before_check = source.partition("if sys.version_info")[0]
    assert "tomllib" not in before_check
    assert "from __future__" not in source


def test_lock_parts(run: ModuleType) -> None:
    """Each part of the lock is what stands between its heading and the next."""
    assert "first==1.0 \\\n    --hash=sha256:aa\n\n" == run.read_lock("runtime")
    assert LOCK.partition("development ==\n")[2] == run.read_lock("development")


def test_lock_without_heading(run: ModuleType) -> None:
    """A lock that lacks a part is refused with how to mend it."""
    run.LOCK.write_text("first==1.0\n")
    with pytest.raises(run.SetUpError) as refused:
        run.read_lock("runtime")
    assert "lock.txt has no line '# == runtime ==': write it anew with python3 run.py lock" == str(refused.value)


def test_pins_are_kept_whole(run: ModuleType) -> None:
    """A compiled list is cut into pins, each with its digests and its condition."""
    assert [
        "first==1.0 \\\n    --hash=sha256:aa\n",
        "second==2.0 ; sys_platform == 'win32' \\\n    --hash=sha256:bb \\\n    --hash=sha256:cc\n",
    ] == run.split_pins(LOCK)


def test_demo_installs_the_runtime_part(machine: Machine) -> None:
    """The demo needs the program's own packages and the project, nothing of the tests."""
    machine.run.set_up("runtime")
    assert ["runtime", "project"] == machine.installed()
    assert all("--require-hashes" in command for command in machine.commands if "-r" in command)


def test_second_call_installs_nothing(machine: Machine) -> None:
    """What is installed is not installed again."""
    machine.run.set_up("runtime")
    machine.commands.clear()
    machine.run.set_up("runtime")
    assert [] == machine.commands


def test_tests_install_both_parts(machine: Machine) -> None:
    """The tests need both parts; the demo is content with that."""
    machine.run.set_up("development")
    assert ["runtime", "project", "development"] == machine.installed()
    machine.commands.clear()
    machine.run.set_up("runtime")
    assert [] == machine.commands


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [("lock.txt", "first==1.0", "first==1.1"), ("pyproject.toml", 'version = "0.1.0"', 'version = "0.2.0"')],
)
def test_change_installs_anew(name: str, old: str, new: str, machine: Machine) -> None:
    """A changed pin or a changed project makes a new `.venv`."""
    machine.run.set_up("runtime")
    stray = machine.run.VENV / "stray"
    stray.touch()
    changed = machine.run.ROOT / name
    text = changed.read_text(encoding="utf-8")
    assert old in text
    changed.write_text(text.replace(old, new), encoding="utf-8")
    machine.commands.clear()
    machine.run.set_up("runtime")
    assert ["runtime", "project"] == machine.installed()
    assert not stray.exists()


def test_settings_of_tools_install_nothing(machine: Machine) -> None:
    """A changed setting of the linter leaves `.venv` as it is."""
    machine.run.set_up("runtime")
    project = machine.run.ROOT / "pyproject.toml"
    project.write_text(project.read_text(encoding="utf-8").replace("line-length = 120", "line-length = 99"))
    machine.commands.clear()
    machine.run.set_up("runtime")
    assert [] == machine.commands


def test_interrupted_set_up_is_done_again(machine: Machine) -> None:
    """A set-up that failed half-way leaves no stamp, so the next call starts over."""
    machine.failing = "--editable"
    with pytest.raises(machine.run.SetUpError):
        machine.run.set_up("runtime")
    machine.failing = ""
    machine.commands.clear()
    machine.run.set_up("runtime")
    assert ["runtime", "project"] == machine.installed()


def test_packages_out_of_reach(machine: Machine, capsys: pytest.CaptureFixture[str]) -> None:
    """Where packages can't be fetched the last word of the installer is told, with what to do, and no traceback."""
    machine.failing = "--require-hashes"
    assert 1 == machine.run.main(["demo"])
    told = capsys.readouterr().err.splitlines()
    assert (
        "The packages could not be installed (ERROR: nothing there): check that this machine is online and start "
        f"run.py again; the whole story is in {machine.run.LOG}"
    ) == told[-1]


@pytest.mark.parametrize("missing", ["venv", "ensurepip"])
def test_python_without_venv(missing: str, machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    """A Python that came without venv or pip is told by name of what to install, and nothing is touched."""
    monkeypatch.setattr(machine.run.importlib.util, "find_spec", lambda name: None if name == missing else object())
    with pytest.raises(machine.run.SetUpError) as refused:
        machine.run.set_up("runtime")
    assert (
        "This Python came without its venv module: install it (on Debian and Ubuntu: apt-get install python3-venv) "
        "or install uv, and start run.py again"
    ) == str(refused.value)
    assert [] == machine.commands


def test_uv_is_preferred(machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where uv is on the path it makes `.venv` and installs."""
    monkeypatch.setattr(machine.run.shutil, "which", lambda name, path=None: "/bin/uv")
    machine.run.set_up("runtime")
    assert {"/bin/uv"} == {command[0] for command in machine.commands}
    assert ["runtime", "project"] == machine.installed()


def test_pip_steps_in_for_uv(machine: Machine, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where uv fails the set-up starts over with venv and pip."""
    monkeypatch.setattr(machine.run.shutil, "which", lambda name, path=None: "/bin/uv")
    machine.failing = "/bin/uv"
    machine.run.set_up("runtime")
    assert ["runtime", "project"] == machine.installed()
    assert machine.run.is_installed("runtime")


@pytest.mark.parametrize(
    ("started", "arguments"),
    [
        (["demo", "demo-books"], []),
        (["demo", "mine"], ["mine"]),
        (["demo", "mine", "--orders", "9"], ["mine", "--orders", "9"]),
        (["demo", "demo-books", "--seed", "7"], ["--seed", "7"]),
    ],
)
def test_demo_command(
    started: list[str], arguments: list[str], machine: Machine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The demo is written to the folder that is named, else to demo-books, options passed on."""
    monkeypatch.chdir(tmp_path)
    assert 0 == machine.run.main(["demo", *arguments])
    assert started == machine.commands[-1][1:]


def test_demo_that_is_there(machine: Machine, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Books that are there already are shown, not written over; open items among them are no failure."""
    books = tmp_path / "mine"
    books.mkdir()
    (books / "shop.toml").touch()
    machine.run.set_up("runtime")
    machine.commands.clear()
    machine.statuses = {"open-items": 1}
    assert 0 == machine.run.main(["demo", str(books)])
    shown = [command[1:] for command in machine.commands]
    assert [["--books", str(books), name] for name in ("orders", "income-statement", "open-items")] == shown
    assert f"{books} holds books already" in capsys.readouterr().err


def test_demo_that_can_not_be_read(machine: Machine, tmp_path: Path) -> None:
    """Where the books that are there can't be built the first report's status is the answer."""
    (tmp_path / "shop.toml").touch()
    machine.statuses = {"orders": 1}
    assert 1 == machine.run.main(["demo", str(tmp_path)])
    assert "orders" == machine.commands[-1][-1]


def test_tests_command(machine: Machine) -> None:
    """The suite runs after what it reads is there, two at a time, further arguments passed on, its status returned."""
    machine.statuses = {"pytest": 5}
    assert 5 == machine.run.main(["test", "-k", "money"])
    *fetched, tested = machine.commands[-3:]
    scripts = [str(machine.run.ROOT / "tests" / name) for name in ("open_data/fetch.py", "web/fetch_axe.py")]
    assert scripts == [command[-1] for command in fetched]
    assert ["-m", "pytest", "-n", "2", "-k", "money"] == tested[1:]


@pytest.mark.parametrize("name", ["open_data/fetch.py", "web/fetch_axe.py"])
def test_registry_out_of_reach(name: str, machine: Machine, capsys: pytest.CaptureFixture[str]) -> None:
    """Without what it reads from registries the suite does not run as if it were complete."""
    machine.statuses = {str(machine.run.ROOT / "tests" / name): 1}
    assert 1 == machine.run.main(["test"])
    assert "What the tests read could not be fetched" in capsys.readouterr().err
    assert not any("pytest" in command for command in machine.commands)


@pytest.mark.parametrize(("status", "arguments"), [(2, []), (2, ["dmeo"]), (0, ["--help"])])
def test_usage(status: int, arguments: list[str], run: ModuleType, capsys: pytest.CaptureFixture[str]) -> None:
    """No command or an unknown one is answered with the usage and status 2; asking for it is no mistake."""
    assert status == run.main(arguments)
    printed = capsys.readouterr()
    assert run.USAGE == (printed.err if status else printed.out)


def test_lock_without_uv(machine: Machine, capsys: pytest.CaptureFixture[str]) -> None:
    """Writing the lock asks for uv where there is none."""
    assert 1 == machine.run.main(["lock"])
    assert "lock.txt is written with uv: install uv and start run.py again\n" == capsys.readouterr().err


def test_project_without_lock(machine: Machine, capsys: pytest.CaptureFixture[str]) -> None:
    """Trouble with files is one sentence too, said before anything is touched."""
    machine.run.LOCK.unlink()
    assert 1 == machine.run.main(["demo"])
    assert capsys.readouterr().err.startswith("run.py could not go on: [Errno 2]")


def test_real_failure_without_packages(run: ModuleType, tmp_path: Path) -> None:
    """Started for real where no package can be had, run.py makes `.venv`, says one sentence and shows no traceback."""
    offline = {"PATH": os.defpath, "PIP_NO_INDEX": "1", "PIP_CONFIG_FILE": os.devnull, "HOME": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, str(run.ROOT / "run.py"), "demo"],
        cwd=tmp_path,
        env=offline,
        capture_output=True,
        text=True,
        check=False,
    )
    assert (1, "") == (done.returncode, done.stdout)
    assert "No matching distribution found for first==1.0" in done.stderr
    assert "Traceback" not in done.stderr
    assert 2 == len(done.stderr.splitlines())
