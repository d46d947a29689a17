"""Texts of exports are never markup: a shop with markup in every text field is inert in all pages, Fava's own as well."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from browsing import Browser
from served import Site
from shop_books import build_shop, payment

from ledger_tools.reports.order_story import event_title

MARKUP = "<img src=x onerror=window.broken=1><script>window.broken=1</script><b class=injected>'\"&lt;"
#: Fava's own pages that show texts of the journal.
FAVAS = (
    "journal/",
    "income_statement/",
    "trial_balance/",
    "account/Assets:Suspense/",
    "account/Assets:Clearing:Orders/",
)
OURS = (
    *(
        "Month/",
        "Orders/",
        "Orders/?show=groups&by=sku",
        "Orders/?show=groups&by=category",
        "Orders/?show=groups&by=channel",
    ),
    *("Orders/?show=charts", "OpenItems/", "Reconcile/", "SalesTax/", "Exports/", "Packet/"),
)


@pytest.fixture
def hostile_site(new_site: Callable[..., Site], tmp_path: Path) -> Site:
    """A shop whose exports hold markup wherever they hold a text."""
    order = {
        "order_id": f"1001{MARKUP}", "placed_at": "2031-03-01", "category": MARKUP, "sku": MARKUP, "item": MARKUP,
        "quantity": "1", "unit_price": "10.00", "total": "10.00", "payment_ref": MARKUP, "channel": MARKUP,
        "ship_country": "US", "ship_region": "CO",
    }  # fmt: skip
    payments = [
        payment(f"p1{MARKUP}", "2031-03-02", f"1002{MARKUP}", "10.00") | {"memo": MARKUP, "payout_id": MARKUP},
        payment(f"p2{MARKUP}", "2031-03-02", "", "1.00", kind="adjustment") | {"memo": MARKUP},
    ]
    made = {"event_id": f"w1{MARKUP}", "kind": "charge", "at": "2031-03-03", "total": "3.00", "currency": "USD"}
    charges = [made | {"order_ref": f"1003{MARKUP}", "reason": MARKUP, "memo": MARKUP, "sku": MARKUP}]
    lines = [{"at": "2031-03-04", "amount": "2.00", "currency": "USD", "memo": MARKUP, "counterparty": MARKUP}]
    exports = {"shop": [order], "card-processor": payments, "fulfilment-wallet": charges, "checking": lines}
    text = MARKUP.replace('"', "")
    hand = f'\n2031-03-05 * "{text}" "{text}"\n  Assets:Suspense  1.00 USD\n  Equity:OpeningBalances  -1.00 USD\n'
    books = build_shop(tmp_path, exports, hand=hand)
    books.connection.close()
    return new_site(books.folder)


def test_no_text_becomes_markup(hostile_site: Site) -> None:
    """On every page of ours, the order's as well, the markup stands as text and no tag of it is there."""
    pages = [*OURS, "Order/?id=1001"]
    for page in pages:
        read = hostile_site.read(page)
        assert not [values for _, values in read.tags if values.get("src") == "x" or values.get("class") == "injected"]
        assert not [tag for tag, values in read.tags if any(name.startswith("on") for name in values)]
        assert "window.broken=1</script>" not in read.source
    assert "<b class=injected>" in hostile_site.read("Orders/").text
    assert event_title("sale") in hostile_site.read("Order/?id=1001").text


def test_nothing_runs_in_the_browser(hostile_site: Site, browser: Browser) -> None:
    """No script of an export runs and no element of it is made, in our pages and in Fava's journal and reports."""
    root = hostile_site.home.removesuffix("extension/")
    for address in (*(hostile_site.home + page for page in OURS), *(root + page for page in FAVAS)):
        browser.open(address)
        if "journal" in address:
            browser.wait_for_text("injected", "article")
        assert not browser.script("return window.broken")
        assert [] == browser.all("img[src='x'], b.injected, article script:not([type])")
    assert [] == browser.complaints()
