"""What the books hold of sales tax: movements of the liability by kind, and sales by how their tax stood.

Two SQL relations that every report of sales tax reads, in minor units of the base currency. A movement of a liability
account is collected (a sale), refunded, remitted (money that left), or adjusted: entered by hand or decided, such as an
opening balance, or the tax of a sale that was never paid; or revalued at a month's end, where it is held in a foreign
currency. `credit` is positive where it adds to what is owed.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.accounts import SALES_TAX_ROLE
from ledger_tools.calendar import Period
from ledger_tools.posting.prior_periods import TAX_STANDING
from ledger_tools.reports.valued import VALUED_POSTINGS
from ledger_tools.store import quoted, read_fact
from ledger_tools.tax_settings import TaxSettings

#: Rules whose lines go to accounts that a person named, where the money moved with the entry.
_PAID_BY_RULE = "('bank_rule', 'adjustment', 'wallet_cost')"

#: Month-end entries that value a foreign balance anew, and take that back.
_REVALUED = "('revaluation', 'revaluation_reversed')"

#: Rules that post what customers bought and gave back; month-end entries, which only move revenue in time, are not among them.
SALES_RULES = "('sale', 'refund', 'refund_to_gift_card', 'hand', 'decision', 'bank_rule', 'adjustment', 'wallet_cost')"

#: Accounts of sales as a return counts them.
_SALES_ROLES = "('sales', 'shipping_income', 'discounts', 'returns')"

#: Place of the tip among the lines of a refund: it goes back through returns, and no tip is a sale.
_TIP_LEG = 3


def tax_settings(connection: duckdb.DuckDBPyConnection) -> TaxSettings:
    """What the settings that the books were built from say of sales tax."""
    text = read_fact(connection, "tax")
    assert text is not None, "a finished build keeps its tax settings"
    return TaxSettings.model_validate_json(text)


def accounts_of_jurisdictions(connection: duckdb.DuckDBPyConnection, settings: TaxSettings) -> dict[str, str]:
    """Liability account → jurisdiction: those with orders, registrations, and accounts that a person named."""
    template = settings.sales_tax_account
    rows = connection.execute(
        """SELECT account.name, used.parameter FROM account JOIN account_use AS used USING (account_no)
           WHERE used.role = ? ORDER BY 1""",
        [SALES_TAX_ROLE],
    ).fetchall()
    found = {str(name): str(parameter) for name, parameter in rows}
    for registration in settings.registration:
        found.setdefault(settings.account_of(registration.jurisdiction), registration.jurisdiction)
    before, _, after = template.partition("{}")
    for (name,) in connection.execute("SELECT name FROM account ORDER BY name").fetchall():
        if name not in found and name.startswith(before) and name.endswith(after) and len(name) > len(before + after):
            found[name] = name[len(before) : len(name) - len(after)]
    return found


def tax_movements(accounts: dict[str, str]) -> str:
    """SQL relation (jurisdiction, posted_on, order_no, event_no, rule, kind, credit): movements of the liability accounts."""
    named = ", ".join(f"({quoted(name)}, {quoted(place)})" for name, place in accounts.items()) or "(NULL, NULL)"
    return f"""
        (SELECT jurisdiction, leg.posted_on, leg.order_no, event_no, rule, -value AS credit, account.name AS account,
                CASE WHEN rule = 'sale' THEN 'collected'
                     WHEN rule IN ('refund', 'refund_to_gift_card') THEN 'refunded'
                     WHEN rule IN {_PAID_BY_RULE} THEN 'remitted'
                     WHEN rule IN {_REVALUED} THEN 'revalued'
                     WHEN rule = 'decision' AND event.event_id IN (
                         SELECT item FROM decision WHERE kind IN ('bank-line-without-rule', 'deposit-without-payout'))
                         THEN 'remitted'
                     WHEN rule = 'hand' AND leg.order_no IS NULL AND nature.with_assets AND NOT nature.with_equity THEN 'remitted'
                     ELSE 'adjusted' END AS kind
         FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
         JOIN (VALUES {named}) AS place (name, jurisdiction) ON place.name = account.name
         LEFT JOIN (
             SELECT event_no, bool_or(account.name LIKE 'Assets:%') AS with_assets,
                    bool_or(account.name LIKE 'Equity:%') AS with_equity
             FROM posting JOIN account USING (account_no) JOIN event USING (event_no) WHERE rule = 'hand' GROUP BY event_no
         ) AS nature USING (event_no))
    """


#: How the tax of an order can stand.
STANDINGS = ("taxable", "exempt", "marketplace")

#: SQL relation (jurisdiction, place, standing, posted_on, order_no, sales): items less discounts and returns, with shipping,
#: by how the tax of the order stood: taxable, exempt, or collected by a marketplace. `place` is where it was sent.
SALES_BY_STANDING = f"""
    (SELECT coalesce(regexp_extract(event.taxed, ' (.*)$', 1), head.jurisdiction) AS jurisdiction, {{place}} AS place,
            coalesce(split_part(event.taxed, ' ', 1), {TAX_STANDING}) AS standing,
            leg.posted_on, leg.order_no, rule, account.role, -value AS sales
     FROM {VALUED_POSTINGS} AS leg JOIN account USING (account_no) JOIN event USING (event_no)
     JOIN order_head AS head ON head.order_no = leg.order_no
     WHERE account.role IN {_SALES_ROLES} AND rule IN {SALES_RULES}
       AND NOT (rule IN ('refund', 'refund_to_gift_card') AND leg.leg = {_TIP_LEG}))
""".format(place="coalesce(ship_country || '-' || ship_region, ship_country, head.jurisdiction)")


@dataclass(frozen=True)
class DayOfTax:
    """What one jurisdiction's sales and liability did on one day.

    Attributes:
        amounts: taxable, exempt and marketplace sales, then collected, refunded, remitted, adjusted and revalued.
        adjusted_orders: the part of what was adjusted that belongs to orders, such as tax on a sale never paid.
    """

    jurisdiction: str
    day: datetime.date
    amounts: tuple[int, ...]
    adjusted_orders: int

    @property
    def change(self) -> int:
        """Change of what is owed."""
        *_, collected, refunded, remitted, adjusted, revalued = self.amounts
        return collected - refunded - remitted + adjusted + revalued


def list_days(connection: duckdb.DuckDBPyConnection, last: datetime.date | None) -> list[DayOfTax]:
    """Every jurisdiction and day with sales or movements up to a day, by jurisdiction and day."""
    accounts = accounts_of_jurisdictions(connection, tax_settings(connection))
    rows = connection.execute(
        f"""
        WITH sold AS (
            SELECT jurisdiction, posted_on, {
            ", ".join(f"coalesce(sum(sales) FILTER (standing = '{name}'), 0) AS {name}" for name in STANDINGS)
        }
            FROM {SALES_BY_STANDING} WHERE ($last IS NULL OR posted_on <= $last) GROUP BY jurisdiction, posted_on
        ), moved AS (
            SELECT jurisdiction, posted_on, coalesce(sum(credit) FILTER (kind = 'collected'), 0) AS collected,
                   coalesce(-sum(credit) FILTER (kind = 'refunded'), 0) AS refunded,
                   coalesce(-sum(credit) FILTER (kind = 'remitted'), 0) AS remitted,
                   coalesce(sum(credit) FILTER (kind = 'adjusted'), 0) AS adjusted,
                   coalesce(sum(credit) FILTER (kind = 'revalued'), 0) AS revalued,
                   coalesce(sum(credit) FILTER (kind = 'adjusted' AND order_no IS NOT NULL), 0) AS adjusted_orders
            FROM {tax_movements(accounts)} WHERE ($last IS NULL OR posted_on <= $last) GROUP BY jurisdiction, posted_on
        )
        SELECT coalesce(sold.jurisdiction, moved.jurisdiction), coalesce(sold.posted_on, moved.posted_on),
               coalesce(taxable, 0)::BIGINT, coalesce(exempt, 0)::BIGINT, coalesce(marketplace, 0)::BIGINT,
               coalesce(collected, 0)::BIGINT, coalesce(refunded, 0)::BIGINT, coalesce(remitted, 0)::BIGINT,
               coalesce(adjusted, 0)::BIGINT, coalesce(revalued, 0)::BIGINT, coalesce(adjusted_orders, 0)::BIGINT
        FROM sold FULL JOIN moved ON sold.jurisdiction = moved.jurisdiction AND sold.posted_on = moved.posted_on
        ORDER BY 1, 2
        """,
        {"last": last},
    ).fetchall()
    return [DayOfTax(row[0], row[1], tuple(row[2:10]), row[10]) for row in rows]


def last_day(period: Period, as_of: datetime.date | None) -> datetime.date | None:
    """The last day that counts: that of a period, seen as of a day."""
    return min((day for day in (period.last, as_of) if day is not None), default=None)
