"""Others are kept out: foreign names, foreign sites, writes that are no JSON, and writes to a read-only view."""

import json
from collections.abc import Callable

import pytest
from served import Site

SETTLE = "OpenItems/settle"
DECISION = {"item": "e9a8a4a7", "action": "accept", "reason": "known", "by": "Robin"}


@pytest.mark.parametrize("page", ["Month/", "Pages/now", "OpenItems/settle"])
@pytest.mark.parametrize("host", ["books.example", "127.0.0.1.books.example", "0.0.0.0", "[::1]"])
def test_foreign_host_is_refused(page: str, host: str, demo_site: Site) -> None:
    """A name that merely points at this machine gets nothing, so no other site can read through it."""
    answer = demo_site.client().get(demo_site.path(page), base_url=f"http://{host}")
    assert 400 == answer.status_code
    assert b"10191" not in answer.data


def test_foreign_host_reads_no_source(demo_site: Site) -> None:
    """The ledger view's own addresses are behind the same door."""
    path = demo_site.path("").replace("/extension/", "/api/ledger_data")
    assert 400 == demo_site.client().get(path, base_url="http://books.example").status_code
    assert 200 == demo_site.client().get(path, base_url="http://127.0.0.1").status_code


def texts(site: Site) -> dict[str, bytes]:
    """The person's own files of the served books."""
    return {file.name: file.read_bytes() for file in site.desk.folder.root.glob("*.*") if file.is_file()}


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://books.example"},
        {"Origin": "null"},
        {"Origin": "https://127.0.0.1"},
        {"Origin": "http://127.0.0.1:1"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "cross-site"},
        {},
    ],
)
@pytest.mark.parametrize(
    ("method", "path"),
    [("POST", SETTLE), ("PUT", "../api/source"), ("DELETE", "../api/document"), ("PUT", "../api/add_entries")],
)
def test_foreign_write_is_refused(headers: dict[str, str], method: str, path: str, demo_site: Site) -> None:
    """A write that does not come from a page of these books changes nothing, in Fava's own addresses as well."""
    before = texts(demo_site)
    answer = demo_site.client().open(
        demo_site.path(path).replace("extension/../", ""),
        method=method,
        base_url="http://127.0.0.1",
        data=json.dumps(DECISION),
        headers={"Content-Type": "application/json", **headers},
    )
    assert 403 == answer.status_code
    assert before == texts(demo_site)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"])
def test_post_has_to_be_json(kind: str, demo_site: Site) -> None:
    """What a form of another site can send is refused even with the right origin."""
    answer = demo_site.client().post(
        demo_site.path(SETTLE),
        base_url="http://127.0.0.1",
        data=json.dumps(DECISION),
        headers={"Content-Type": kind, "Origin": "http://127.0.0.1"},
    )
    assert 403 == answer.status_code
    assert "JSON" in answer.get_data(as_text=True)


@pytest.mark.parametrize("page", ["Month/", "Pages/now", "Orders/?page=0", "Nothing/"])
def test_every_answer_is_guarded(page: str, demo_site: Site) -> None:
    """Each answer, errors as well, tells the browser to run nothing that is not the server's own."""
    headers = demo_site.client().get(demo_site.path(page), base_url="http://127.0.0.1").headers
    policy = headers["Content-Security-Policy"]
    assert "default-src 'self'" in policy
    assert "'unsafe-inline'" not in policy.split("style-src")[0]
    assert "frame-ancestors 'none'" in policy
    assert "nosniff" == headers["X-Content-Type-Options"]


def test_read_only_refuses_writes(new_site: Callable[..., Site]) -> None:
    """A read-only view shows no form and takes no write, and the books stay as they are."""
    site = new_site(read_only=True)
    assert "e9a8a4a7" in site.read("OpenItems/").text
    assert "<form data-write" not in site.read("OpenItems/").source
    assert 401 == site.post(SETTLE, DECISION).status_code
    assert not site.desk.folder.decisions.exists()


@pytest.mark.parametrize(
    ("status", "mode", "kind"),
    [(403, "no-cors", "image"), (403, "cors", "empty"), (403, "navigate", "iframe"), (200, "navigate", "document")],
)
def test_other_sites_may_only_link(status: int, mode: str, kind: str, demo_site: Site) -> None:
    """A page of another site can't make the program work behind the person's back; a link to the books is followed."""
    headers = {"Sec-Fetch-Site": "cross-site", "Sec-Fetch-Mode": mode, "Sec-Fetch-Dest": kind}
    answer = demo_site.client().get(demo_site.path("Order/"), base_url="http://127.0.0.1", headers=headers)
    assert status == answer.status_code
