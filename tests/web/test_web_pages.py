"""The pages without a browser: what they choose, refuse and change, and what they say where there is nothing."""

from collections.abc import Callable
from pathlib import Path

import pytest
from served import Site

from ledger_tools.archive import open_books
from ledger_tools.decisions import read_decisions
from ledger_tools.intake import import_files
from ledger_tools.new_books import settings_text, write_books


def silent(stage: str) -> None:
    """Progress that nobody watches."""
    del stage


@pytest.mark.parametrize(
    ("page", "said"),
    [
        ("Orders/?time=nonsense", "time filter 'nonsense': is no period"),
        ("Orders/?sort=colour", "sort 'colour': is not known"),
        ("Orders/?flag=blue", "flag 'blue': is not known"),
        ("Orders/?page=x", "page 'x': is no number of a page"),
        ("Orders/?only=colour:blue", "group 'colour': is not known"),
        ("Order/?id=nothing-like-it", "order 'nothing-like-it': is not in any shop export"),
        ("OpenItems/?kind=blue", "kind 'blue': is not known"),
        ("Month/?time=31", "time filter '31': is no period"),
    ],
)
def test_trouble_is_told(page: str, said: str, demo_site: Site) -> None:
    """What can't be shown is told with where, what and what to do, and is no fault of the program."""
    read = demo_site.read(page)
    assert said in " ".join(read.text.split())
    assert "What to do:" in read.text


def test_broken_settings_are_told(new_site: Callable[..., Site]) -> None:
    """Books that can't be built any more are told on the page, with the key that is wrong."""
    site = new_site()
    site.desk.folder.settings.write_text('colour = "blue"\n', encoding="utf-8")
    read = site.read("Month/")
    assert "colour" in read.text
    assert "This page can't be shown" in read.text


def test_empty_books(new_site: Callable[..., Site], tmp_path: Path) -> None:
    """The first run says what to do first, on every page."""
    folder = write_books(tmp_path / "empty", settings_text("Empty shop", "USD", "America/Denver"))
    open_books(folder, silent).close()
    site = new_site(folder)
    assert "The books are empty" in site.read("Month/").text
    assert "No order fits" in site.read("Orders/").text
    assert "Type the number of an order" in site.read("Order/").text
    assert "Nothing is open" in site.read("OpenItems/").text


def test_settling_is_the_same_decision(new_site: Callable[..., Site]) -> None:
    """An item settled on the page leaves the list and stands among the decisions, with who, why and when."""
    site = new_site()
    before = site.read("OpenItems/")
    answer = site.post("OpenItems/settle", {"item": "e9a8a4a7", "action": "accept", "reason": "paid in cash", "by": ""})
    assert (200, "Settled: order-without-payment e9a8a4a7, accept.") == (answer.status_code, answer.json["message"])
    (decision,) = read_decisions(site.desk.folder.decisions)
    assert ("e9a8a4a7", "accept", "paid in cash", "Robin", "2031-05-06") == (
        decision.item,
        decision.action,
        decision.reason,
        decision.by,
        str(decision.decided_on),
    )
    after = site.read("OpenItems/")
    assert before.amount("total") - 1 == after.amount("total")
    items = [[values["data-item"] for _, values in page.tags if "data-item" in values] for page in (before, after)]
    assert ["e9a8a4a7"] == [item for item in items[0] if item not in items[1]]
    assert "paid in cash" in after.text
    taken_back = site.post("OpenItems/withdraw", {"item": "e9a8a4a7"})
    assert "The decision about e9a8a4a7 is taken back." == taken_back.json["message"]
    assert () == read_decisions(site.desk.folder.decisions)


@pytest.mark.parametrize(
    ("sent", "said"),
    [
        ({"item": "e9a8a4a7", "action": "accept", "reason": " "}, "reason: is empty"),
        ({"item": "e9a8a4a7", "action": "burn", "reason": "x"}, "action 'burn': is not known"),
        ({"item": "e9a8a4a7", "action": "account", "reason": "x"}, "is not named"),
        ({"item": "e9a8a4a7", "action": "account", "target": "nonsense", "reason": "x"}, "is not an account name"),
        ({"item": "00000000", "action": "accept", "reason": "x"}, "is the id of no open item"),
        ({"item": ["e9a8a4a7"], "action": "accept", "reason": "x"}, "item: is not a text"),
        (["e9a8a4a7"], "the request: holds no JSON object"),
    ],
)
def test_wrong_decisions_are_told(sent: object, said: str, demo_site: Site) -> None:
    """A decision that can't be made is told in sentences, and nothing is kept."""
    answer = demo_site.post("OpenItems/settle", sent)
    assert 422 == answer.status_code
    problems = [f"{problem['where']}: {problem['what']}" for problem in answer.json["problems"]]
    assert any(said in problem for problem in problems), problems
    assert not demo_site.desk.folder.decisions.exists()


def test_an_import_elsewhere_shows(new_site: Callable[..., Site], tmp_path: Path) -> None:
    """What the command line brings in stands on the next page that is asked for, and in the general ledger."""
    site = new_site()
    build = site.client().get(site.path("Pages/now"), base_url="http://127.0.0.1").json["build"]
    assert "20001" not in site.read("Orders/?time=2031-06").text
    export = tmp_path / "orders-june.csv"
    header, first, *_ = (site.desk.folder.exports / "shop" / "orders-2031-04.csv").read_text("utf-8").splitlines()
    row = first.replace("2031-04", "2031-06").replace("10316", "20001").replace("#10316", "#20001")
    export.write_text(f"{header}\n{row}\n", encoding="utf-8")
    (result,) = import_files(site.desk.folder, [export], "shop", silent)
    assert () == result.refused
    assert build != site.client().get(site.path("Pages/now"), base_url="http://127.0.0.1").json["build"]
    assert "2031-06" in site.read("Month/?time=2031-06").text
    assert site.read("Orders/?time=2031-06").amount("found") == 1


def test_close_step_by_step(new_site: Callable[..., Site]) -> None:
    """The steps of the next close are looked through and shown, a blocked one keeps the month open, waived it is closed."""
    site = new_site()
    assert "Look through the steps" in site.read("Month/?time=2031-01").text
    looked = site.client().get(site.path("Month/steps?month=2031-01"), base_url="http://127.0.0.1")
    assert looked.json["ok"], looked.json
    page = site.read("Month/?time=2031-01")
    blocked = {values["data-group"] for _, values in page.tags if values.get("data-group")}
    assert {"sources", "open-items", "balances", "frozen"} <= blocked
    refused = site.post("Month/close", {"month": "2031-01", "by": "Robin"})
    assert 422 == refused.status_code
    assert any("2031-01, open-items" == problem["where"] for problem in refused.json["problems"])
    waived = {"waive-open-items": "yes", "waive-changes": "yes", "reason": "looked into"}
    closed = site.post("Month/close", {"month": "2031-01", "by": "Robin", **waived})
    assert closed.json == {"ok": True, "message": closed.json["message"], "go": closed.json["go"]}, closed.json
    page = site.read("Month/?time=2031-01")
    assert "Closed on 2031-05-06 by Robin." in page.text
    assert "waived" in page.text


def test_only_the_next_month_closes(new_site: Callable[..., Site]) -> None:
    """A later month is told to wait, with the month that comes first."""
    told = new_site().client
    answer = told().get("/lantern-hill-sky-club/extension/Month/steps?month=2031-03", base_url="http://127.0.0.1")
    assert 422 == answer.status_code
    assert "is not the next to close: that is 2031-01" == answer.json["problems"][0]["what"]
