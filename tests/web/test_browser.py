"""The pages in a real browser, through the real server: each page in both themes and two widths, and a month's work."""

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from browsing import Browser, find_program
from click.testing import CliRunner
from fetch_axe import FILE as AXE
from served import Site

from ledger_tools.cli import group
from ledger_tools.decisions import read_decisions

PAGES = {
    "Month/": "Month",
    "Orders/": "Orders",
    "Orders/?show=groups&by=category": "Orders",
    "Orders/?show=charts": "Orders",
    "Order/?id=10191": "Order",
    "OpenItems/": "Open items",
    "Reconcile/": "Reconciliation",
    "SalesTax/": "Sales tax",
    "Exports/": "Bring in exports",
    "Packet/": "Accountant's packet",
}
LOOKS = [("light", 1280), ("dark", 1280), ("light", 390), ("dark", 390)]

#: Each theme and each width once: what the checker finds depends on either, not on both together.
CHECKED_LOOKS = [("light", 1280), ("dark", 390)]

_AXE = """
const done = arguments[arguments.length - 1];
axe.run(document, {resultTypes: ["violations"]}).then((found) => done(found.violations.map(
    (one) => [one.impact, one.id, one.nodes.map((node) => node.target.join(" ")).slice(0, 3)])));
"""


@pytest.mark.parametrize("page", PAGES)
def test_every_page_in_every_look(page: str, demo_site: Site, browser: Browser) -> None:
    """Each page opens without complaint, fits its width, and has no serious finding of accessibility in any look."""
    browser.open(demo_site.home + page)
    assert PAGES[page] == browser.one(".books h1").text
    if not AXE.is_file():
        find_program("npm")
        pytest.fail("the accessibility checker is missing: run `python tests/web/fetch_axe.py` once, it downloads it")
    browser.script(AXE.read_text(encoding="utf-8"))
    browser.script("document.querySelectorAll('.books details').forEach((one) => { one.open = true; })")
    for theme, width in LOOKS:
        browser.look(theme=theme, width=width)
        if (theme, width) in CHECKED_LOOKS:
            found = browser.driver.execute_async_script(_AXE)
            assert [] == [one for one in found if one[0] in ("serious", "critical")], (page, theme, width)
        wide = browser.script("return document.documentElement.scrollWidth - window.innerWidth")
        assert wide <= 0, (page, theme, width)
    assert [] == browser.complaints()


@pytest.mark.parametrize(("page", "field"), [("Reconcile/", "state"), ("SalesTax/", "limit")])
def test_what_matters_fits_a_phone(page: str, field: str, demo_site: Site, browser: Browser) -> None:
    """On a phone the state of a balance and the threshold of a place stand in view, and no date is broken in two."""
    browser.look(width=390)
    browser.open(demo_site.home + page)
    beyond = "one.getBoundingClientRect().right - one.closest('.scroll').getBoundingClientRect().right"
    edges = browser.script(f"return [...document.querySelectorAll('[data-field={field}]')].map((one) => {beyond})")
    assert len(edges) > 10
    assert max(edges) <= 0
    lines = browser.script(
        "return [...document.querySelectorAll('.books time')].map((one) => one.getClientRects().length)"
    )
    assert {1} == set(lines)


def test_filter_sort_and_search(demo_site: Site, browser: Browser) -> None:
    """Orders are sorted by a click on a heading, chosen by flag and text, and turned page by page."""
    browser.open(demo_site.home + "Orders/")
    browser.one("th a[href*='sort=profit']").click()
    browser.one("th[aria-sort='descending'] a[href*='sort=profit']")
    profits = [float(cell.text.replace(",", "")) for cell in browser.all("tbody td[data-field='profit']")]
    assert 100 == len(profits)
    assert sorted(profits, reverse=True) == profits
    browser.one("a[rel='next']").click()
    browser.wait_for_text("page 2 of 4", ".pages")
    browser.script("document.querySelector('#flag-choice').value = 'reprinted'")
    browser.one("#search-text").send_keys("polaris\n")
    browser.wait(lambda: "search=polaris" in browser.driver.current_url, "the search in the address")
    report = CliRunner().invoke(
        group, ["--books", str(demo_site.desk.folder.root), "orders", "--flag", "reprinted", "--format", "json"]
    )
    reprinted = {order["order_id"] for order in json.loads(report.stdout)["orders"]}
    browser.wait(lambda: int(browser.text("[data-field='found']")) <= len(reprinted), "fewer orders")
    assert {row.get_attribute("data-order") for row in browser.all("tr[data-order]")} <= reprinted
    assert [] == browser.complaints()


def test_keyboard_reaches_the_work(demo_site: Site, browser: Browser) -> None:
    """Without a mouse the forms, the headings that sort and the tables that scroll can be reached and used."""
    browser.open(demo_site.home + "Orders/")
    reached = browser.script(
        """return [...document.querySelectorAll('.books a[href], .books button, .books input:not([type=hidden]),'
           + '.books select, .books summary, .books [tabindex]')].filter((one) => one.tabIndex < 0).length"""
    )
    assert 0 == reached
    heading = browser.one("th a[href*='sort=margin']")
    browser.script("arguments[0].focus()", heading)
    heading.send_keys("\n")
    browser.one("th[aria-sort] a[href*='sort=margin']")


def test_settle_in_place(new_site: Callable[..., Site], browser: Browser) -> None:
    """An item is settled on the page and leaves it; the decision stands in the file, and the side bar still works."""
    site = new_site()
    browser.open(site.home + "OpenItems/")
    browser.one("#item-e9a8a4a7 summary").click()
    browser.one("#settle-e9a8a4a7 input[value='accept']").click()
    browser.one("#settle-e9a8a4a7 input[name='reason']").send_keys("paid in cash at the market")
    browser.one("#settle-e9a8a4a7 button[type='submit']").click()
    browser.wait_for_text("Settled: order-without-payment e9a8a4a7", "#books-notice")
    browser.wait(lambda: not browser.all("#item-e9a8a4a7"), "the item to leave the list")
    (decision,) = read_decisions(site.desk.folder.decisions)
    assert ("accept", "paid in cash at the market", "Robin") == (decision.action, decision.reason, decision.by)
    browser.one("aside a[href*='/Month/']").click()
    browser.wait_for_text("Where the money is", ".books")
    assert [] == browser.complaints()


def test_bring_in_a_months_exports(new_site: Callable[..., Site], browser: Browser, tmp_path: Path) -> None:
    """Exports are dropped, looked at, read as their mapping says, and brought in; another tab shows them by itself."""
    site = new_site()
    kept = {}
    for source, ending in (("shop", "csv"), ("card-processor", "csv"), ("checking", "csv")):
        (file,) = (site.desk.folder.exports / source).glob(f"*2031-04.{ending}")
        kept[file.name] = file.read_bytes()
        file.rename(tmp_path / file.name)
    bad = tmp_path / "stray.csv"
    bad.write_text("colour,size\nblue,9\n", encoding="utf-8")
    browser.open(site.home + "Exports/")
    watching = browser.driver.current_window_handle
    browser.driver.switch_to.new_window("tab")
    browser.open(site.home + "Exports/")
    names = "\n".join(str(tmp_path / name) for name in (*kept, bad.name))
    browser.one("#files").send_keys(names)
    browser.wait_for_text("What these files would add", ".books")
    browser.wait_for_text("stray.csv is refused", ".books")
    assert 4 == len(browser.all("tr[data-group]"))
    assert not (site.desk.folder.exports / "shop" / "orders-2031-04.csv").exists()
    browser.one("tr[data-group='orders-2031-04.csv'] a").click()
    browser.wait_for_text("The first rows would read", ".books")
    assert "10316" in browser.text("[data-record='1']")
    browser.driver.back()
    browser.one("button[formaction*='import']").click()
    browser.wait_for_text("Brought in", ".books")
    assert kept == {file.name: file.read_bytes() for file in site.desk.folder.exports.glob("*/*") if file.name in kept}
    browser.driver.close()
    browser.driver.switch_to.window(watching)
    browser.wait(lambda: browser.text("table").count("2031-04-30") >= 4, "the page to show the new books by itself")
    assert [] == browser.complaints()


def test_correct_a_mapping(new_site: Callable[..., Site], browser: Browser) -> None:
    """A mapping is edited on the page, tried on the first rows, and kept only if the books can be built with it."""
    site = new_site()
    (file,) = (site.desk.folder.exports / "card-processor").glob("*2031-04.csv")
    mapping = site.desk.folder.mappings / "card-processor.toml"
    before = mapping.read_text(encoding="utf-8")
    browser.open(site.home + "Exports/")
    browser.one("#files").send_keys(str(file))
    browser.wait_for_text("adds nothing", ".books")
    browser.one("tr[data-group] a").click()
    area = browser.one("textarea[name='text']")
    browser.script("arguments[0].value = arguments[1]", area, before.replace("[columns]", "[colums]"))
    browser.one("button[formaction*='keep']").click()
    browser.wait_for_text("colums", "#books-notice")
    assert before == mapping.read_text(encoding="utf-8")
    browser.script("arguments[0].value = arguments[1]", browser.one("textarea[name='text']"), f"# looked at\n{before}")
    browser.one("button[formaction*='keep']").click()
    browser.wait_for_text("The mapping of card-processor is kept.", "#books-notice")
    assert f"# looked at\n{before}" == mapping.read_text(encoding="utf-8")


def test_build_and_download_the_packet(demo_site: Site, browser: Browser, tmp_path: Path) -> None:
    """The packet is built and downloaded, and it is, byte for byte, the one that the command writes."""
    browser.open(demo_site.home + "Packet/?time=2031-03")
    browser.one("form[data-work] button").click()
    browser.one("a[download='packet-2031-03.zip']").click()
    target = browser.downloads / "packet-2031-03.zip"
    browser.wait(target.is_file, "the download")
    books = str(demo_site.desk.folder.root)
    CliRunner().invoke(group, ["--books", books, "packet", "2031-03", "--out", str(tmp_path), "--archive"])
    assert (tmp_path / target.name).read_bytes() == target.read_bytes()
    assert "packet-2031-03/manifest.json" in zipfile.ZipFile(target).namelist()
    assert [] == browser.complaints()
