"""Fetch the accessibility checker that a browser test runs: `python tests/web/fetch_axe.py`, once, before the tests.

npm takes one package (MPL-2.0) from the registry that it is set up for; nothing of it is installed, run here or kept in
the project. Its archive's digest is checked, and one file is taken out into `.cache/axe/` of the checkout. Without npm
nothing is fetched and the test that needs it says so.
"""

from __future__ import annotations

import base64
import hashlib
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from pathlib import Path

FILE = Path(__file__).resolve().parents[2] / ".cache" / "axe" / "axe.min.js"
PACKAGE = "axe-core@4.14.1"
SHA512 = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ=="


def main() -> None:
    """Fetch what is not there yet.

    Raises:
        SystemExit: the download failed, or the digest differs.
    """
    npm = shutil.which("npm")
    if FILE.is_file() or npm is None:
        if npm is None and not FILE.is_file():
            sys.stderr.write("npm is not on this machine: the accessibility check will be skipped\n")
        return
    with tempfile.TemporaryDirectory() as folder:
        command = [npm, "pack", "--silent", "--pack-destination", folder, PACKAGE]
        if subprocess.run(command, cwd=folder, stdout=subprocess.DEVNULL, check=False).returncode:
            raise SystemExit(f"{PACKAGE}: npm could not download it")
        (archive,) = Path(folder).glob("*.tgz")
        found = base64.b64encode(hashlib.sha512(archive.read_bytes()).digest()).decode()
        if found != SHA512:
            raise SystemExit(f"{PACKAGE}: found SHA-512 {found}, expected {SHA512}")
        with tarfile.open(archive) as opened:
            member = opened.extractfile("package/axe.min.js")
            assert member is not None, "the package holds its script"
            FILE.parent.mkdir(parents=True, exist_ok=True)
            unfinished = FILE.with_suffix(".unfinished")
            unfinished.write_bytes(member.read())
            os.replace(unfinished, FILE)


if __name__ == "__main__":
    main()
