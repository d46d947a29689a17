"""`packet` from end to end: what is printed, how it ends, and that two runs write the same bytes."""

from pathlib import Path

import pytest
from command_line import run
from shop_books import DemoBooks


def test_archive_is_the_same_from_run_to_run(demo_books: DemoBooks, tmp_path: Path) -> None:
    """Two processes write the same archive, say where it is, and that it is a draft."""
    written = []
    for name, period in (("a", ["--month", "2031-04"]), ("b", ["2031-04"])):
        done = run("--books", demo_books.folder.root, "packet", *period, "--out", tmp_path / name, "--archive")
        assert 0 == done.status, done.err
        assert f"{tmp_path / name / 'packet-2031-04.zip'}\n" == done.out
        assert "DRAFT: 2031-04 is not closed, figures may change\n" == done.err
        written.append((tmp_path / name / "packet-2031-04.zip").read_bytes())
    assert written[0] == written[1]


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--out", "x"], "Name a month, quarter or year"),
        (["2031-13", "--out", "x"], "is no month, quarter or year"),
        (["2031", "--month", "2031-04", "--out", "x"], "both name a period"),
    ],
)
def test_a_wrong_command_line_is_told(arguments: list[str], told: str, demo_books: DemoBooks) -> None:
    """What is wrong with the command line is said, with exit status 2."""
    done = run("--books", demo_books.folder.root, "packet", *arguments)
    assert 2 == done.status
    assert told in done.err
