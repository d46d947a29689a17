"""What the books cover, what is open, and the next step that follows from it."""

from pathlib import Path

from kept_books import Books, bank, order, processor, silent, wallet

from ledger_tools.archive import open_books
from ledger_tools.status import Status, read_status


def status(books: Books) -> Status:
    """Where the books stand."""
    with open_books(books.folder, silent) as connection:
        return read_status(connection)


def test_way_of_new_books(tmp_path: Path) -> None:
    """The next step leads from the first export over the missing sources and open items to books that tie out."""
    books = Books(tmp_path)
    assert "bring in an export: ledger-tools import FILE --source shop" == status(books).next_step
    books.put(orders=[order("1", "2031-04-02", "10.00")])
    assert (
        "nothing of card-processor, fulfilment-wallet, checking is there yet: "
        "ledger-tools import FILE --source card-processor"
    ) == status(books).next_step
    books.put(
        processor=[processor("c", "charge", "2031-04-02", "10.00", "10.00", order_ref="1")],
        wallet=[wallet("w", "charge", "2031-04-03", "4.00", order_ref="1")],
        bank=[bank("2031-04-20", "3.00", "MYSTERY")],
    )
    found = status(books)
    assert (1, "look through what does not tie out: ledger-tools open-items") == (found.open_items, found.next_step)
    with books.folder.settings.open("a", encoding="utf-8") as stream:
        stream.write('[[bank_rule]]\npattern = "mystery"\naccount = "Equity:OwnerContributions"\n')
    found = status(books)
    assert (0, "everything ties out: ledger-tools orders shows what each order earned") == (
        found.open_items,
        found.next_step,
    )


def test_books_without_sources(tmp_path: Path) -> None:
    """Where no source is declared the next step is to declare one."""
    books = Books(tmp_path)
    books.folder.settings.write_text('currency = "USD"\ntime_zone = "UTC"\n')
    found = status(books)
    assert ((), "declare where exports come from: [[source]] in shop.toml") == (found.sources, found.next_step)


def test_spans(tmp_path: Path) -> None:
    """Exports that touch are one span, a gap makes two; the last event is the last that was posted."""
    books = Books(tmp_path)
    for first, last in (("2031-04-01", "2031-04-05"), ("2031-04-06", "2031-04-09"), ("2031-04-20", "2031-04-22")):
        books.put(orders=[order(first, first, "1.00"), order(last, last, "1.00")])
    (shop, processors, *_) = status(books).sources
    assert (("2031-04-01", "2031-04-09"), ("2031-04-20", "2031-04-22")) == shop.covered
    assert ("2031-04-22", (), None) == (shop.last_event, processors.covered, processors.last_event)
