"""A new set of books: commented settings, a main ledger and a chart of accounts that load as they stand.

A new folder is written aside and renamed once. One that is there already can't be replaced (somebody may stand in it),
so it gets the files one by one, the settings last: without them it is no set of books, and `init` begins anew.
"""

from __future__ import annotations

import os
import shlex
import shutil
from pathlib import Path

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import SETTINGS_FILE, BooksFolder
from ledger_tools.settings import parse_settings, read_settings

DEFAULT_SOURCES = """\
[[source]]
name = "shop"                # the shop's order export
kind = "orders"
currency = "{currency}"

[[source]]
name = "card-processor"      # the payment processor's balance export
kind = "processor"
currency = "{currency}"

[[source]]
name = "fulfilment-wallet"   # the fulfilment partner's wallet export
kind = "wallet"
currency = "{currency}"

[[source]]
name = "checking"            # bank statements
kind = "bank"
currency = "{currency}"
"""

SETTINGS = """\
# What this shop is. Every key is explained in the README; what is wrong here is reported with its key.
detail = "order"             # journal entries: "order" = one an event, "day" = one a day and kind
name = {name}
currency = "{currency}"             # base currency of the books
time_zone = "{time_zone}"    # whose calendar days the books use
# gift_card_categories = ["gift card"]
# When an order's income is earned: "shipped" (else, where any export gives shipping dates) or "placed".
# recognise = "shipped"

# Where exports come from: kind is orders, processor, wallet or bank. Add as many as there are.
{sources}
# What bank lines are that no payout or top-up explains: a regular expression on the line's text.
# [[bank_rule]]
# pattern = "monthly fee"
# account = "Expenses:BankFees"

# A credit card that pays for the shop: its statements are imported like a bank's. A rule to one of your own accounts
# is a transfer: its other side comes from the other account's statement and is not counted twice.
# [[source]]
# name = "business-card"
# kind = "bank"
# card = true
# currency = "{currency}"
# [[bank_rule]]
# pattern = "card payment"
# account = "Liabilities:Card:BusinessCard"

# Where sales tax is filed.
# [[registration]]
# jurisdiction = "US-CO"
# filing = "monthly"
# since = 2031-01-01

# A balance that a processor or the fulfilment partner shows at the end of a day.
# [[stated_balance]]
# source = "card-processor"
# on = 2031-04-30
# amount = "1204.50"

# An exchange rate, where no export states one: base currency for one foreign unit.
# [[rate]]
# currency = "EUR"
# on = 2031-04-01
# rate = "1.0842"

# Accounts that you post to by hand every month (rent, depreciation); the month-end close looks for them.
# [[recurring]]
# account = "Expenses:Depreciation"

# The fulfilment partner's price list: charges above it become open items.
# [rate_card]
# [[rate_card.production]]
# sku = "MUG-11"
# price = "5.95"
# [[rate_card.shipping]]
# category = "Mugs"
# destination = "US"
# first = "5.79"
# additional = "2.65"

# Days that a thing may take before it is an open item. Without a line here they are learnt from the shop's history.
# [grace]
# payment = 2
# fulfilment = 5
# payout = 7
# top_up = 5
"""

MAIN = """\
;; The books of {title}. This file is yours; accounts.beancount and journal/ are made by ledger-tools.
option "title" {title}
option "operating_currency" "{currency}"
;; Amounts must balance to the last digit. The small default only forgives the division that a total price (@@) is
;; turned into on loading; it is far below any currency's minor unit.
option "tolerance_multiplier" "0"
option "inferred_tolerance_default" "{currency}:0.00001"
plugin "beancount.plugins.leafonly"

include "accounts.beancount"
include "hand.beancount"
include "journal/index.beancount"
"""

HAND = """\
;; Entries that you write yourself: opening balances, depreciation, owner's draws. Accounts that only stand here
;; are opened for you. Books that start in the middle need the balances of the day before, such as
;;
;;   2031-03-31 * "Opening balances"
;;     Assets:Bank:Checking                1204.50 USD
;;     Assets:Wallet:FulfilmentWallet       310.00 USD
;;     Equity:OpeningBalances             -1514.50 USD
;;
;; An entry with an order's link counts in that order's profit:
;;
;;   2031-04-30 * "Postage for a lost parcel" ^order-1001
;;     Expenses:COGS:Shipping     4.20 USD
;;     Assets:Bank:Checking      -4.20 USD
"""

#: Where a new set of books is put together inside a folder that is there already.
UNFINISHED = ".unfinished"

IGNORED = ".cache/\n.*.picklecache\n"


def beancount_text(text: str) -> str:
    """A text as a beancount or TOML string literal."""
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"').replace("\n", " ") + '"'


def settings_text(name: str, currency: str, time_zone: str) -> str:
    """Commented settings of a new shop.

    Raises:
        LedgerError: the currency or the zone is unknown.
    """
    sources = DEFAULT_SOURCES.format(currency=currency)
    text = SETTINGS.format(name=beancount_text(name), currency=currency, time_zone=time_zone, sources=sources)
    parse_settings(text)
    return text


def write_books(root: Path, settings: str, opening: str = "") -> BooksFolder:
    """Write a new set of books into a folder that is empty or new, all of it or nothing that counts as books.

    `opening` is beancount text that the hand file begins with, such as the balances taken over.

    Raises:
        LedgerError: the folder holds something, or the settings are wrong.
    """
    is_new = not root.exists()
    if not is_new:
        _check_free(root)
    parse_settings(settings)
    aside = root.parent / f".{root.name}.unfinished" if is_new else root / UNFINISHED
    shutil.rmtree(aside, ignore_errors=True)
    aside.mkdir(parents=True)
    (aside / SETTINGS_FILE).write_text(settings, encoding="utf-8")
    complete_books(aside, opening)
    if is_new:
        os.rename(aside, root)
    else:
        for entry in sorted(aside.iterdir(), key=lambda entry: (entry.name == SETTINGS_FILE, entry.name)):
            os.replace(entry, root / entry.name)
        aside.rmdir()
    return BooksFolder(root.resolve())


def _check_free(root: Path) -> None:
    """Refuse a folder that holds something; what an earlier start left that was cut short doesn't count."""
    if not root.is_dir():
        raise LedgerError(Problem(str(root), "is a file", "name a new folder"))
    names = {entry.name for entry in root.iterdir()}
    if SETTINGS_FILE in names:
        raise LedgerError(
            Problem(
                str(root),
                "holds books already",
                f"use them: ledger-tools --books {shlex.quote(str(root))} status, or name a new folder",
            )
        )
    if names and UNFINISHED not in names:
        raise LedgerError(Problem(str(root), "is not an empty folder", "name a new one, or empty it first"))


def complete_books(root: Path, opening: str = "") -> BooksFolder:
    """Add what a folder with settings still needs to be a set of books: the main ledger, the hand file, the folders.

    Raises:
        LedgerError: the settings are wrong.
    """
    checked = read_settings(root)
    folder = BooksFolder(root.resolve())
    for part in (folder.root, folder.mappings, folder.exports, folder.journal):
        part.mkdir(parents=True, exist_ok=True)
    folder.main.write_text(MAIN.format(title=beancount_text(checked.name), currency=checked.currency), encoding="utf-8")
    folder.hand.write_text(HAND + opening, encoding="utf-8")
    (folder.root / ".gitignore").write_text(IGNORED, encoding="utf-8")
    return folder
