"""Ways in which the books were once wrong, each a small case that must stay right."""

import os

import pytest
from command_line import call
from kept_books import Books, bank, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.checks import run_checks

DAY = "2031-04-02"


def failed(books):
    """Checks of the books that do not hold."""
    with open_books(books.folder, silent) as connection:
        return [(x.check, x.detail) for x in run_checks(connection, books.folder, silent) if not x.passed]


def test_charged_amount_same_currency(tmp_path):
    """A charged amount in the balance's own currency can only be the gross: the entry balances."""
    b = Books(tmp_path).put(processor=[processor("c", "charge", DAY, "10.00", "10.00", charged_amount="12.00")])
    assert [] == failed(b)


def test_charged_amount_zero(tmp_path):
    """A charged amount of zero in another currency is no amount: the gross counts."""
    b = Books(tmp_path).put(
        processor=[processor("c", "charge", DAY, "10.00", "10.00", charged_currency="EUR", charged_amount="0")]
    )
    assert [] == failed(b)
    assert ("Assets:Processor:CardProcessor", "10.00", "USD", "") in b.entry("c").lines


def test_two_unbalanced_entries_cancel_in_the_sum(tmp_path):
    """Entries that would cancel each other's differences are balanced one by one."""
    b = Books(tmp_path).put(
        processor=[
            processor("c", "charge", DAY, "10.00", "10.00", charged_amount="12.00"),
            processor("d", "charge", DAY, "10.00", "10.00", charged_amount="8.00"),
        ]
    )
    assert [] == failed(b)


def test_bank_line_lost_by_currency(tmp_path):
    """Two bank lines that differ in currency only are two lines."""
    b = Books(tmp_path)
    (r,) = b.add(bank=[bank(DAY, "10.00", "x"), bank(DAY, "10.00", "y", currency="EUR")])
    assert r.refused or 2 == len(b.entries())


def test_prefix_on_both_sides(tmp_path):
    """A reference with another prefix than the order's is another order."""
    b = Books(tmp_path).put(
        orders=[order("A-17", DAY, "10.00")],
        processor=[processor("c", "charge", DAY, "10.00", "10.00", order_ref="B-17")],
    )
    assert [(None,)] == b.query("SELECT order_no FROM processor_row")


def test_suffix_on_both_sides(tmp_path):
    """A reference with another number after the mark is another order."""
    b = Books(tmp_path).put(
        orders=[order("2031-15", DAY, "10.00")],
        processor=[processor("c", "charge", DAY, "10.00", "10.00", order_ref="2031-16")],
    )
    assert [(None,)] == b.query("SELECT order_no FROM processor_row")


def test_words_as_prefix(tmp_path):
    """Two addresses with one ending are two references."""
    b = Books(tmp_path).put(
        orders=[order("joe@example.org", DAY, "10.00")],
        processor=[processor("c", "charge", DAY, "9.00", "9.00", order_ref="jane@example.org")],
    )
    assert [(None,)] == b.query("SELECT order_no FROM processor_row")


def test_gift_card_without_unit_price(tmp_path):
    """A gift card sold without a unit price is owed, not earned."""
    b = Books(tmp_path).put(orders=[order("1", DAY, "50.00", category="Gift card", unit_price="")])
    assert "Liabilities:GiftCards" in [line[0] for line in b.entry("1").lines]


def test_reprint_that_does_not_add_up(tmp_path):
    """A sample whose parts do not sum to its total is an open item."""
    b = Books(tmp_path).put(
        wallet=[wallet("w", "charge", DAY, "10.00", reason="sample", production="3.00", shipping="1.00")]
    )
    assert ["event-does-not-add-up"] == b.kinds()


def test_credit_that_does_not_add_up(tmp_path):
    """A credit whose parts do not sum to its total is an open item."""
    b = Books(tmp_path).put(
        orders=[order("1", DAY, "50.00")],
        wallet=[
            wallet("w", "charge", DAY, "10.00", order_ref="1", production="6.00", shipping="4.00"),
            wallet("c", "credit", DAY, "5.00", order_ref="1", production="3.00", shipping="1.00"),
        ],
    )
    assert "event-does-not-add-up" in b.kinds()


def test_unknown_refund_in_another_currency(tmp_path):
    """A payment and refund of an unknown order in another currency cancel each other."""
    more = {"charged_currency": "EUR", "order_ref": "X1"}
    b = Books(tmp_path).put(
        processor=[
            processor("c", "charge", DAY, "10.00", "10.00", charged_amount="9.00", **more),
            processor("r", "refund", "2031-04-03", "-10.00", "-10.00", charged_amount="-9.00", **more),
        ]
    )
    assert [] == failed(b)


def test_days_that_two_files_share(tmp_path):
    """Records of the day that two files share in part do not vanish."""
    b = Books(tmp_path).put(
        orders=[order("1", "2031-04-29", "1.00"), order("2", "2031-04-30", "1.00", placed_at="2031-04-30T09:00:00")]
    )
    b.put(orders=[order("3", "2031-04-30", "1.00", placed_at="2031-04-30T19:00:00"), order("4", "2031-05-05", "1.00")])
    assert "vanished" not in b.kinds()


def test_progress_counted_as_amended(tmp_path):
    """A shipping date that fills in is a repeated row, not an amended one."""
    b = Books(tmp_path)
    b.add(orders=[order("1", DAY, "10.00")])
    (r,) = b.add(orders=[order("1", DAY, "10.00", shipped_at="2031-04-05"), order("2", "2031-04-03", "1.00")])
    assert 0 == r.amended


def test_bank_time_of_day(tmp_path):
    """A bank line with and without its time of day is one unchanged line."""
    b = Books(tmp_path).put(bank=[bank(DAY, "10.00", "x")])
    b.put(bank=[bank(f"{DAY}T10:00:00", "10.00", "x"), bank("2031-04-03", "1.00", "x")])
    assert "amended" not in b.kinds()


def test_email_in_amended_cause(tmp_path):
    """An amended memo is told without e-mail addresses."""
    b = Books(tmp_path).put(
        processor=[processor("a", "adjustment", DAY, "1.00", "1.00", memo="paid by jane@example.org")]
    )
    b.put(
        processor=[
            processor("a", "adjustment", DAY, "1.00", "1.00", memo="paid by bob@example.org"),
            processor("f", "fee", "2031-04-03", "-1", "-1"),
        ]
    )
    assert "@" not in " ".join(i.cause for i in b.open_items())


def test_email_in_reference_cause(tmp_path):
    """An unknown reference is told without e-mail addresses."""
    b = Books(tmp_path).put(processor=[processor("a", "charge", DAY, "1.00", "1.00", order_ref="jane@example.org")])
    assert "@" not in " ".join(i.cause for i in b.open_items())


def test_email_in_link(tmp_path):
    """An order id that is an e-mail address stays out of the journal."""
    b = Books(tmp_path).put(orders=[order("jane@example.org", DAY, "1.00")])
    assert "jane" not in b.journal_text()


def test_weekly_top_ups(tmp_path):
    """Weekly top-ups of one amount find their own bank lines."""
    b = Books(tmp_path).put(
        wallet=[wallet(f"tu{d}", "top_up", f"2031-04-{d:02d}", "100.00") for d in (1, 8, 15, 22)],
        bank=[bank(f"2031-04-{d:02d}", "-100.00", "PARTNER") for d in (2, 9, 16, 23)],
    )
    assert [] == b.kinds("2031-04-30")


def test_number_in_a_memo(tmp_path):
    """A number in a bank line's text alone ties it to no movement of another amount."""
    b = Books(tmp_path).put(
        wallet=[wallet("1042", "top_up", "2031-04-01", "200.00")],
        bank=[bank(DAY, "-200.00", "PARTNER"), bank("2031-06-02", "-75.00", "INVOICE 1042 OF THE CARPENTER")],
    )
    assert [(-20000,)] == b.query("SELECT amount FROM bank_row WHERE movement_no IS NOT NULL")


def test_check_after_settings_changed(tmp_path):
    """After a change of the settings check holds without more ado."""
    b = Books(tmp_path).put(orders=[order("1", DAY, "10.00")]).build()
    with b.folder.settings.open("a") as f:
        f.write('[names]\nMugs = "Cups"\n')
    assert 0 == call("--books", b.folder.root, "check").status


def test_settings_changed_during_build(tmp_path):
    """A setting that is changed while a build runs is in the books when it ends."""
    b = Books(tmp_path).put(orders=[order("1", DAY, "10.00")])
    done = []

    def progress(stage):
        if stage == "postings" and not done:
            done.append(1)
            with b.folder.settings.open("a") as f:
                f.write('[names]\nMugs = "Cups"\n')

    open_books(b.folder, progress).close()
    assert "Income:Sales:Cups" in b.journal_text()


def test_same_file_twice_in_one_call(tmp_path):
    """One file named twice in one import is archived once."""
    b = Books(tmp_path)
    f = b.write("o.csv", [order("1", DAY, "1.00")])
    call("--books", b.folder.root, "import", f, f, "--source", "shop")
    assert 1 == len(list((b.folder.exports / "shop").iterdir()))


def test_parcels_without_sku(tmp_path):
    """Two parcels of an order of two pieces, told without SKUs, are not one charge twice."""
    b = Books(tmp_path).put(
        orders=[
            order("1", DAY, "20.00", sku="A", unit_price="10.00"),
            order("1", DAY, "20.00", sku="B", unit_price="10.00"),
        ],
        wallet=[wallet(f"w{n}", "charge", DAY, "5.00", order_ref="1") for n in (1, 2)],
    )
    assert "charged-twice" not in b.kinds()


def test_two_processes_and_a_kill(tmp_path, monkeypatch):
    """A reader that waited for an import that was killed finishes it."""
    from ledger_tools import archive, intake

    b = Books(tmp_path)
    b.add(orders=[order("1", DAY, "1.00")])
    files = [b.write("a.csv", [order("2", DAY, "1.00")]), b.write("b.csv", [order("3", DAY, "1.00")])]

    class Cut(BaseException):
        pass

    calls = []
    real = os.replace

    def cut(x, y):
        calls.append(1)
        if len(calls) == 3:
            raise Cut
        return real(x, y)

    with monkeypatch.context() as m:
        m.setattr(archive.os, "replace", cut)
        with pytest.raises(Cut):
            intake.import_files(b.folder, files, "shop", silent)
    with monkeypatch.context() as m:  # the intent came to be just after the reader had looked for it
        m.setattr(archive, "finish_pending", lambda folder: None)
        open_books(b.folder, silent).close()
    assert [("1",), ("2",), ("3",)] == b.query("SELECT order_id FROM order_head ORDER BY 1")


def test_tax_rate_basis(tmp_path):
    """The unusual tax is measured on the basis on which the usual rate is known."""
    p = {"ship_country": "US", "ship_region": "CO", "unit_price": "20.00", "shipping_charged": "5.00"}
    b = Books(tmp_path).put(
        orders=[
            *(order(str(n), DAY, "26.60", tax="1.60", **p) for n in range(20)),
            order("off", DAY, "28.00", tax="3.00", **p),
        ]
    )
    assert [140] == [i.amount for i in b.open_items() if i.kind == "tax-rate-unusual"]
