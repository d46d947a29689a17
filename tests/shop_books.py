"""A shop's books for a test, from what a person has: settings, hand entries, and exports in the canonical field names.

The exports are laid into the folder's archive and the books are opened, so that one build serves a whole test. Rows
are dictionaries of our own field names; amounts in them are decimal texts. What is read back are decimals of the
account's currency, debit positive.
"""

from __future__ import annotations

import csv
import datetime
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path

import duckdb

from ledger_tools.archive import open_books
from ledger_tools.calendar import ALL_TIME, Period
from ledger_tools.demo import Truth, write_demo
from ledger_tools.folder import BooksFolder
from ledger_tools.intake import import_files
from ledger_tools.money import format_amount
from ledger_tools.new_books import complete_books, settings_text, write_books
from ledger_tools.records import KINDS
from ledger_tools.reports.order_profit import OrderProfit, report_orders
from ledger_tools.reports.statements import report_balance_sheet, report_income, report_trial_balance
from ledger_tools.settings import parse_settings

Row = Mapping[str, str]

CURRENCY, ZONE = "USD", "America/Denver"


def silent(stage: str) -> None:
    """Progress that nobody watches."""
    del stage


@dataclass(frozen=True)
class ShopBooks:
    """Built books and their open database."""

    folder: BooksFolder
    connection: duckdb.DuckDBPyConnection

    def balances(self, as_of: datetime.date | None = None) -> dict[str, Decimal]:
        """The trial balance in the base currency; foreign balances stand under "account currency"."""
        report = report_trial_balance(self.connection, as_of)
        return {
            row.account if row.currency == report.currency else f"{row.account} {row.currency}": Decimal(
                format_amount(row.balance, row.currency)
            )
            for row in report.rows
        }

    def income(self, period: Period = ALL_TIME) -> dict[str, Decimal]:
        """Totals and steps of the income statement of a period."""
        report = report_income(self.connection, period)
        told = {**report.totals.as_json(report.currency), **report.totals.steps_as_json(report.currency)}
        return {name: Decimal(text) for name, text in told.items()}

    def sheet(self, as_of: datetime.date | None = None) -> dict[str, Decimal]:
        """Totals of the balance sheet at the end of a day."""
        return {
            name: Decimal(text)
            for name, text in report_balance_sheet(self.connection, as_of).as_json()["totals"].items()
        }

    def orders(self) -> dict[str, OrderProfit]:
        """The order report by order id."""
        return {order.order_id: order for order in report_orders(self.connection).orders}

    def cleared(self, order_id: str) -> dict[str, Decimal]:
        """What the entries of one order sum to, account by account; accounts that come out even are left out."""
        rows = self.connection.execute(
            """SELECT account.name, currency, sum(amount)::BIGINT FROM posting JOIN account USING (account_no)
               JOIN order_head USING (order_no, currency) WHERE order_id = ? GROUP BY ALL HAVING sum(amount) <> 0""",
            [order_id],
        ).fetchall()
        return {str(name): Decimal(format_amount(int(amount), currency)) for name, currency, amount in rows}


def write_export(file: Path, kind: str, rows: Sequence[Row]) -> Path:
    """Write rows as a CSV with the canonical names of the fields that are required or that any row uses."""
    used = {name for row in rows for name in row}
    unknown = used - {field.name for field in KINDS[kind]}
    assert not unknown, f"no fields of {kind}: {sorted(unknown)}"
    names = [field.name for field in KINDS[kind] if field.name in used or field.required]
    with file.open("w", encoding="utf-8", newline="") as opened:
        writer = csv.DictWriter(opened, names)
        writer.writeheader()
        writer.writerows(rows)
    return file


def build_shop(
    root: Path, exports: Mapping[str, Sequence[Row]] | None = None, *, hand: str = "", settings: str = ""
) -> ShopBooks:
    """New books below `root` with the standard sources; `settings` and `hand` are added to what `init` writes."""
    return build_books(root, settings_text("Test shop", CURRENCY, ZONE) + settings, exports or {}, hand)


def build_books(root: Path, settings: str, exports: Mapping[str, Sequence[Row]], hand: str = "") -> ShopBooks:
    """New books below `root` with these settings and one canonical export for each source that has rows."""
    folder = write_books(root / "books", settings)
    folder.hand.write_text(folder.hand.read_text(encoding="utf-8") + hand, encoding="utf-8")
    kinds = {source.name: source.kind for source in parse_settings(settings).source}
    for source, rows in exports.items():
        if rows:
            (folder.exports / source).mkdir()
            write_export(folder.exports / source / f"{source}.csv", kinds[source], rows)
    return ShopBooks(folder, open_books(folder, silent))


def import_all(folder: BooksFolder, source: str, files: Sequence[Path]) -> None:
    """Import files of one source; none may be refused."""
    refused = [str(result) for result in import_files(folder, files, source, silent) if result.refused]
    assert not refused, refused


def payment(event_id: str, at: str, order: str, gross: str, fee: str = "0", *, kind: str = "charge") -> dict[str, str]:
    """A processor's row in the base currency."""
    net = str(Decimal(gross) - Decimal(fee))
    row = {"event_id": event_id, "kind": kind, "at": at, "order_ref": order, "currency": CURRENCY}
    return {**row, "gross": gross, "fee": fee, "net": net}


def hand_entries(entries: Sequence[tuple[str, Sequence[tuple[str, str]]]]) -> str:
    """Beancount text of entries given as date and lines of account and amount in the base currency, debit positive."""
    return "".join(
        f'\n{day} * "Entry"\n' + "".join(f"  {account}  {amount} {CURRENCY}\n" for account, amount in lines)
        for day, lines in entries
    )


def decimals(figures: Mapping[str, str]) -> dict[str, Decimal]:
    """Published figures as decimals."""
    return {name: Decimal(text) for name, text in figures.items()}


@dataclass(frozen=True)
class DemoBooks(ShopBooks):
    """The demo shop's books, and what is true of them."""

    truth: Truth


def build_demo(root: Path, orders: int, seed: int) -> DemoBooks:
    """Write a demo shop below `root`, build its books and open them."""
    truth = write_demo(root / "books", orders=orders, seed=seed)
    folder = complete_books(root / "books")
    return DemoBooks(folder, open_books(folder, silent), truth)
