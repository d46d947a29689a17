"""The journal's text: inert whatever the exports hold, the same bytes for the same books, in order and in day detail."""

import hashlib
from pathlib import Path

import pytest
from kept_books import Books, bank, csv_text, order, parse_journal, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.journal import GENERATED, load_ledger, render_files

#: Texts that would be code, markup, formulas, syntax or a trick of the terminal somewhere.
HOSTILE = [
    "=1+1",
    "@SUM(A1)",
    "<script>alert(1)</script>",
    'a"b\\c',
    "Robert'); DROP TABLE posting;--",
    "x\n2031-01-01 open Assets:Evil",
    "\u202eevil\u200f",
    "🎁",
    "{x}",
    "a\x1b[31mred",
    "a\tb",
    "%s ${HOME} `id`",
    "é" * 100,
    "^order-1 #tag",
    "- -0",
]


@pytest.fixture(scope="module")
def hostile(tmp_path_factory: pytest.TempPathFactory) -> Books:
    """Books whose every text field holds a hostile text."""
    books = Books(tmp_path_factory.mktemp("hostile"))
    orders, payments, charges, lines = [], [], [], []
    for place, text in enumerate(HOSTILE):
        name = f"{place}{text}"
        texts = {"sku": text, "item": text, "category": name, "channel": text, "payment_ref": name, "ship_region": text}
        orders.append(order(name, "2031-04-02", "10.00", unit_price="9.00", tax="1.00", tax_jurisdiction=name, **texts))
        fields = {"memo": text, "payment_ref": name, "payout_id": text, "order_ref": name}
        payments.append(processor(f"{name} c", "charge", "2031-04-02", "10.00", "10.00", **fields))
        payments.append(processor(f"{name} a", "adjustment", "2031-04-02", "10.00", "10.00", memo=text))
        charges.append(
            wallet(f"{name} w", "charge", "2031-04-02", "10.00", reason=text, sku=text, memo=text, order_ref=name)
        )
        lines.append(bank("2031-04-02", f"{place + 1}.37", text, counterparty=text, event_id=text))
    books.put(orders=orders, processor=payments, wallet=charges, bank=lines)
    return books.build()


def test_hostile_texts_are_inert(hostile: Books) -> None:
    """Nothing of a text is markup, syntax or control: beancount reads one entry an event and opens no account of theirs."""
    text = hostile.journal_text()
    assert 5 * len(HOSTILE) == len(parse_journal(text))
    assert [] == [letter for letter in text if letter in "<>" or (not letter.isprintable() and letter != "\n")]
    assert "open Assets:Evil" not in [line[11:] for line in text.splitlines()]


def test_beancount_accepts_hostile_books(hostile: Books) -> None:
    """beancount's loader accepts the books as a whole."""
    entries, errors, _ = load_ledger(str(hostile.folder.main))
    assert [] == [error.message for error in errors]
    assert 5 * len(HOSTILE) <= len(entries)


def test_quotes_come_back_as_they_were(hostile: Books) -> None:
    """Quotes and backslashes of an id are escaped, not lost."""
    assert '3a"b\\c c' in [entry.event for entry in hostile.entries()]


def test_e_mails_are_masked(tmp_path: Path) -> None:
    """A customer's address in a bank line or an adjustment enters neither the journal nor the open items."""
    memo = "TRANSFER FROM jane.doe+shop@mail.example.org REF 5"
    books = Books(tmp_path).put(
        bank=[bank("2031-04-02", "10.00", memo, counterparty="jane.doe@example.org")],
        processor=[processor("a", "adjustment", "2031-04-02", "1.00", "1.00", memo=memo)],
    )
    text = books.journal_text() + " ".join(item.cause for item in books.open_items())
    assert "jane" not in text
    assert 3 == text.count("(e-mail)")
    assert "TRANSFER FROM (e-mail) REF 5" in text


def test_nothing_personal_of_an_order_enters(tmp_path: Path) -> None:
    """Columns that no field takes, such as names and addresses, stay in the archived export."""
    books = Books(tmp_path).put(
        orders=[order("1", "2031-04-02", "10.00", customer="Jane Doe", email="jane@example.org", street="1 Hill Road")]
    )
    everything = (
        books.journal_text()
        + str(books.query("SELECT * FROM order_head"))
        + str(books.query("SELECT * FROM order_line"))
    )
    assert [] == [word for word in ("Jane", "example.org", "Hill") if word in everything]


#: Two shops' worth of one day: entries that a day sums, one that is flagged, one in another currency.
def day_shop(place: Path, detail: str) -> Books:
    """Books of one day in a detail."""
    books = Books(place)
    text = books.folder.settings.read_text(encoding="utf-8")
    books.folder.settings.write_text(text.replace('detail = "order"', f'detail = "{detail}"'), encoding="utf-8")
    return books.put(
        orders=[
            order("1", "2031-04-02", "10.00"),
            order("2", "2031-04-02", "20.00", category="T-shirts", shipping_charged="5.00", unit_price="15.00"),
            order("3", "2031-04-02", "7.00", unit_price="8.00"),
            order("4", "2031-04-02", "50.00", currency="CAD"),
        ],
        processor=[
            processor("c1", "charge", "2031-04-02", "10.00", "9.50", fee="0.50", order_ref="1"),
            processor(
                "c4",
                "charge",
                "2031-04-02",
                "36.50",
                "36.50",
                order_ref="4",
                charged_currency="CAD",
                charged_amount="50.00",
            ),
        ],
    )


def test_day_detail(tmp_path: Path) -> None:
    """Day detail holds one entry a day and kind; what is flagged or in another currency stands alone, with its event."""
    entries = day_shop(tmp_path, "day").entries()
    assert [("Sale", "3"), ("Sale", "4"), ("Sale, 2 events", ""), ("Payment", "c4"), ("Payment, 1 event", "")] == [
        (entry.narration, entry.event) for entry in entries
    ]
    (summed,) = [entry for entry in entries if entry.narration == "Sale, 2 events"]
    assert [
        ("Assets:Clearing:Orders", "30.00"),
        ("Income:Sales:Mugs", "-10.00"),
        ("Income:Sales:TShirts", "-15.00"),
        ("Income:Shipping", "-5.00"),
    ] == [line[:2] for line in summed.lines]


def test_detail_changes_no_balance(tmp_path: Path) -> None:
    """Order and day detail give every account the same balance, as beancount's loader sums them."""
    balances = []
    for detail in ("order", "day"):
        entries = day_shop(tmp_path / detail, detail).entries()
        sums: dict[tuple[str, str], int] = {}
        for entry in entries:
            for account, amount, currency, _ in entry.lines:
                key = (account, currency)
                sums[key] = sums.get(key, 0) + int(amount.replace(".", ""))
        balances.append(sums)
    assert balances[0] == balances[1]
    assert 1000 + 2000 + 700 - 1000 == balances[0]["Assets:Clearing:Orders", "USD"]


def test_text_of_a_month(tmp_path: Path) -> None:
    """Month files say that they are made; entries come by day, kind, source and event; the index names the months."""
    books = Books(tmp_path).put(
        orders=[
            order("9", "2031-05-02", "10.00"),
            order("10", "2031-04-30", "10.00"),
            order("1", "2031-04-30", "12.00"),
        ],
        processor=[processor("c", "charge", "2031-04-29", "10.00", "10.00", order_ref="1")],
    )
    books.build()
    with open_books(books.folder, silent) as connection:
        files = dict(render_files(connection, "order", "USD", silent, {}))
    assert ["2031-04.beancount", "2031-05.beancount", "index.beancount"] == list(files)
    assert ["c", "1", "10"] == [entry.event for entry in parse_journal(files["2031-04.beancount"])]
    assert all(text.startswith(GENERATED) for text in files.values())
    assert 'include "2031-04.beancount"\ninclude "2031-05.beancount"\n' in files["index.beancount"]
    for name, text in files.items():
        assert text == (books.folder.journal / name).read_text(encoding="utf-8")


def test_order_links_stay_apart(tmp_path: Path) -> None:
    """Two orders whose ids differ in odd characters only have links of their own; a plain one keeps its plain link."""
    rows = [order(name, "2031-04-02", "10.00") for name in ("#1001", "A B", "A_B", "A?B", "A!B")]
    links = {entry.event: entry.links[0] for entry in Books(tmp_path).put(orders=rows).entries()}
    assert 5 == len(set(links.values()))
    assert ("order-1001", "order-A_B") == (links["#1001"], links["A_B"])


def test_order_links_of_two_sources_stay_apart(tmp_path: Path) -> None:
    """An id that reads like another order's with its source, or with its digest, behind it has a link of its own."""
    digest = hashlib.md5(b"stall/7", usedforsecurity=False).hexdigest()
    books = Books(tmp_path, '[[source]]\nname = "stall"\nkind = "orders"\ncurrency = "USD"\n')
    books.put(orders=[order(name, "2031-04-01", "10.00") for name in ("7", "7.stall", f"7.{digest}", "8")])
    stall = books.folder.exports / "stall"
    stall.mkdir(parents=True)
    (stall / "orders.csv").write_text(csv_text([order("7", "2031-04-01", "10.00")]), encoding="utf-8")
    links = [str(link) for (link,) in books.query("SELECT link FROM order_link ORDER BY link")]
    assert (5, 5) == (len(links), len(set(links)))
    assert {"order-8", "order-7.shop"} <= set(links)


def test_new_books_load(tmp_path: Path) -> None:
    """Books without any data load in beancount without an error, with the chart of accounts."""
    books = Books(tmp_path).build()
    entries, errors, options = load_ledger(str(books.folder.main))
    assert ([], "Test shop") == (errors, options["title"])
    assert 30 < len(entries)


def test_amounts_have_their_currency_s_digits(tmp_path: Path) -> None:
    """Yen have no decimals, dinars three, and what is small keeps its zeros."""
    rows = [
        order("1", "2031-04-02", "5", currency="JPY"),
        order("2", "2031-04-02", "0.005", currency="KWD"),
        order("3", "2031-04-02", "0.05"),
    ]
    found = {entry.event: entry.lines[0][1:3] for entry in Books(tmp_path).put(orders=rows).entries()}
    assert {"1": ("5", "JPY"), "2": ("0.005", "KWD"), "3": ("0.05", "USD")} == found
