"""Identity 9 for months drawn at random: whatever arrives late, a closed month stays, all months together say what the
exports say, and every late record surfaces."""

from __future__ import annotations

import datetime
import random
import shutil
from collections.abc import Mapping
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from random_month import SETTINGS, SOURCES, Row, draw_month, texts
from shop_books import ShopBooks, build_books, silent, write_export

from ledger_tools.archive import open_books
from ledger_tools.checks.closed_months import check_closed_months
from ledger_tools.close import Signature, close_months, reopen_month
from ledger_tools.close_steps import STEPS
from ledger_tools.closed import Reopening
from ledger_tools.journal import list_months, load_ledger
from ledger_tools.open_items import list_open_items

EXAMPLES = settings.get_profile(settings.get_current_profile_name()).max_examples
FEW = settings(max_examples=max(2, EXAMPLES // 50), suppress_health_check=list(HealthCheck))
SEEDS = st.integers(0, 2**32 - 1)
WAIVED = {step.name: "drawn at random" for step in STEPS if step.can_be_waived}
DAY = datetime.date(2032, 1, 1)


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the books of one example after the other."""
    return tmp_path_factory.mktemp("closed")


def divide(rows: Mapping[str, list[Row]], luck: random.Random) -> tuple[dict[str, list[Row]], dict[str, list[Row]]]:
    """Rows that are there at the close and rows that come late; an order's lines stay together."""
    early: dict[str, list[Row]] = {}
    late: dict[str, list[Row]] = {}
    for source, several in rows.items():
        marks: dict[object, bool] = {}
        for row in several:
            key = row.get("order_id") or row.get("event_id") or id(row)
            is_late = marks.setdefault(key, luck.random() < 0.25)
            (late if is_late else early).setdefault(source, []).append(row)
    return early, late


def all_balances(books: ShopBooks, last: datetime.date | None = None) -> dict[tuple[str, str], tuple[int, int | None]]:
    """Amount and value of every account and currency, up to a day."""
    rows = books.connection.execute(
        """SELECT account.name, currency, sum(amount)::BIGINT, sum(value)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE $last IS NULL OR posted_on <= $last GROUP BY ALL HAVING sum(amount) <> 0 OR sum(value) <> 0""",
        {"last": last},
    ).fetchall()
    return {(name, currency): (amount, value) for name, currency, amount, value in rows}


def in_canonical_words(rows: Mapping[str, list[Row]]) -> dict[str, list[dict[str, str]]]:
    """Rows as exports have them."""
    return {name: [texts(row, kind) for row in rows.get(name, [])] for name, kind in SOURCES.items()}


@FEW
@given(SEEDS, st.integers(4, 25))
def test_late_records_move_nothing(workshop: Path, seed: int, orders: int) -> None:
    """Late records leave the closed trial balance alone, are listed, and bring all months together to what the exports say."""
    month = draw_month(seed, orders)
    early, late = divide(month.rows, random.Random(seed))
    root = workshop / "kept"
    root.mkdir()
    try:
        books = build_books(root, SETTINGS, in_canonical_words(early))
        closed = list_months(books.connection)[:1]
        books.connection.close()
        if not closed:
            return
        (report,) = close_months(books.folder, {closed[0]: Signature("nobody", DAY, WAIVED)}, silent)
        assert report.closed, [(step.step, step.detail) for step in report.steps if step.state == "blocked"]
        books = ShopBooks(books.folder, open_books(books.folder, silent))
        last = books.connection.execute("SELECT last_day FROM closed_month").fetchall()[0][0]
        frozen = all_balances(books, last)
        books.connection.close()
        for source, rows in in_canonical_words(late).items():
            if rows:
                folder = books.folder.exports / source
                folder.mkdir(exist_ok=True)
                write_export(folder / f"{source}-late.csv", SOURCES[source], rows)
        books = ShopBooks(books.folder, open_books(books.folder, silent))
        plain_root = root / "plain"
        plain_root.mkdir()
        shutil.copytree(books.folder.root, plain_root / "books", ignore=shutil.ignore_patterns("closed", ".cache"))
        plain_folder = type(books.folder)(plain_root / "books")
        plain = ShopBooks(plain_folder, open_books(plain_folder, silent))
        with books.connection, plain.connection:
            assert frozen == all_balances(books, last)
            assert all_balances(plain) == all_balances(books)
            check = check_closed_months(books.connection, books.folder)
            assert check.passed, check.detail
            surfaced = {
                item.event_id
                for item in list_open_items(books.connection, None)
                if item.kind == "late-for-closed-month"
            }
            ids = [str(row.get("event_id") or row.get("order_id") or "") for rows in late.values() for row in rows]
            posted = plain.connection.execute(
                """SELECT DISTINCT event_id FROM event WHERE posted_on <= ? AND event_id IN (SELECT unnest(?::VARCHAR[]))
                   AND EXISTS (SELECT 1 FROM posting WHERE posting.event_no = event.event_no)""",
                [last, ids],
            ).fetchall()
            assert set() == {str(row[0]) for row in posted} - surfaced
        assert [] == load_ledger(str(books.folder.main))[1]
    finally:
        shutil.rmtree(root)


@FEW
@given(SEEDS, st.integers(1, 15))
def test_closed_opened_and_closed_again(workshop: Path, seed: int, orders: int) -> None:
    """Close, reopen and close again give the same bytes of every file of the month."""
    root = workshop / "again"
    root.mkdir()
    try:
        books = build_books(root, SETTINGS, in_canonical_words(draw_month(seed, orders).rows))
        month = list_months(books.connection)[0]
        books.connection.close()

        def close() -> dict[str, bytes]:
            (report,) = close_months(books.folder, {month: Signature("nobody", DAY, WAIVED)}, silent)
            assert report.closed
            return {file.name: file.read_bytes() for file in books.folder.closed.glob("*.*")} | {
                file.name: file.read_bytes() for file in books.folder.journal.iterdir()
            }

        first = close()
        reopen_month(books.folder, Reopening(month, DAY, "nobody", "again"), silent)
        assert first == close()
    finally:
        shutil.rmtree(root)
