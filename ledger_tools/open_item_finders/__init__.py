"""The SQL that finds open items; one statement for each way in which something can fail to tie out.

Modules by subject; `kinds` says what each kind means and what settles it, `lags` how long a thing may take. "Common
practice" where no source is named: what counts as late or double has no standard.
"""

from __future__ import annotations

from ledger_tools.open_item_finders import bank, exports, fulfilment, given_back, orders, rate_card, tax_rates, withheld
from ledger_tools.open_item_finders.finder import Finder
from ledger_tools.open_item_finders.fulfilment import EXTRA_CHARGES

FINDERS: tuple[Finder, ...] = (
    *orders.FINDERS,
    *given_back.FINDERS,
    *tax_rates.FINDERS,
    *fulfilment.FINDERS,
    *rate_card.FINDERS,
    *bank.FINDERS,
    *exports.FINDERS,
    *withheld.FINDERS,
)

__all__ = ["EXTRA_CHARGES", "FINDERS", "Finder"]
