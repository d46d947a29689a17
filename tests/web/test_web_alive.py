"""Pages and commands at once: no page ever shows half of a build, and `view` starts, says where, and ends."""

import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

from served import Site
from shop_books import DemoBooks

from ledger_tools.folder import BooksFolder
from ledger_tools.intake import import_files


def silent(stage: str) -> None:
    """Progress that nobody watches."""
    del stage


def test_no_page_shows_half_a_build(new_site: Callable[..., Site], tmp_path: Path) -> None:
    """While exports come in, every page and the general ledger show the books as before or as after, never between."""
    site = new_site()
    shop = site.desk.folder.exports / "shop" / "orders-2031-04.csv"
    header, first, *_ = shop.read_text("utf-8").splitlines()
    rows = [first.replace("2031-04", "2031-06").replace("10316", f"2000{number}") for number in range(9)]
    (tmp_path / "orders-june.csv").write_text("\n".join([header, *rows, ""]), encoding="utf-8")
    before = site.read("Orders/").amount("found")
    ledger_path = site.path("").replace("/extension/", "/journal/")
    seen: set[tuple[str, str]] = set()
    failures: list[str] = []
    finished = threading.Event()

    def watch(page: str, name: str) -> None:
        while True:
            last_round = finished.is_set()
            answer = site.client().get(site.path(page), base_url="http://127.0.0.1")
            found = re.search(rf'data-field="{name}">([^<]*)<', answer.get_data(as_text=True))
            if answer.status_code != 200 or found is None:
                failures.append(f"{page}: {answer.status_code}")
            else:
                seen.add((name, found[1]))
            if site.client().get(ledger_path, base_url="http://127.0.0.1").status_code != 200:
                failures.append("journal")
            if last_round:
                return
            finished.wait(0.3)

    watchers = [threading.Thread(target=watch, args=args) for args in (("Orders/", "found"), ("OpenItems/", "total"))]
    for watcher in watchers:
        watcher.start()
    (result,) = import_files(site.desk.folder, [tmp_path / "orders-june.csv"], "shop", silent)
    finished.set()
    for watcher in watchers:
        watcher.join(60)
    assert ((), []) == (result.refused, failures)
    assert {f"{before}", f"{before + 9}"} == {text for name, text in seen if name == "found"}
    assert 2 >= len({text for name, text in seen if name == "total"})


def test_view_takes_the_next_free_port(demo_books: DemoBooks, tmp_path: Path) -> None:
    """Where the port is taken the next free one is used; the address is said, answers, and an interrupt ends it."""
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        command = [sys.executable, "-m", "ledger_tools", "--books", str(demo_books.folder.root), "view"]
        command += ["--port", str(port), "--no-browser", "--read-only"]
        environment = {**os.environ, "PYTHONPATH": str(Path(__file__).resolve().parents[2])}
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True, env=environment, cwd=tmp_path) as started:
            assert started.stderr is not None
            said = started.stderr.readline()
            found = re.search(r"http://127\.0\.0\.1:(\d+)/\S+/extension/Month/", said)
            assert found, said
            assert port < int(found[1]) < port + 50
            assert "Nothing can be changed from the browser." in started.stderr.readline()
            with socket.create_connection(("127.0.0.1", int(found[1])), 10) as asked:
                asked.sendall(b"GET / HTTP/1.0\r\nHost: 127.0.0.1\r\n\r\n")
                assert b"302" in asked.recv(100)
            started.send_signal(signal.SIGINT)
            assert 0 == started.wait(20)
    assert isinstance(demo_books.folder, BooksFolder)
