"""What foreign amounts are worth in the base currency, so that every entry also sums to zero in it.

An order is valued at the rate that it settled at: what the processor credited in the base currency over what the
customer paid. Where the balance itself is foreign, the latest rate known on the day holds (the settings' own, a
conversion's, a charge's), else the first one after. Rates are fractions of minor units: value = amount × base / foreign,
cumulative sums rounded half up, so that the values of an entry always sum to zero. Without any rate the value stays
unknown (NULL) and reports say so.
"""

from __future__ import annotations

import duckdb

from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted


def value_postings(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Fill `posting.value` of all foreign postings of events that rules posted."""
    base = settings.currency
    row = connection.execute("SELECT count(*) FROM posting WHERE currency <> ?", [base]).fetchone()
    if row and row[0]:
        _value_foreign(connection, base)
        _check_foreign(connection, base)
    left = connection.execute("SELECT coalesce(sum(value), 0) FROM posting").fetchone()
    assert left is not None
    assert left[0] == 0, f"the rules leave {left[0]} in {base}"


def _value_foreign(connection: duckdb.DuckDBPyConnection, base: str) -> None:
    _list_event_rates(connection, base)
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE valued AS
        WITH running AS (
            SELECT leg.event_no, leg, leg.account_no, leg.currency, amount, base_units, foreign_units,
                   sum(amount) OVER (PARTITION BY leg.event_no, leg.currency ORDER BY leg, account_no, amount
                                     ROWS UNBOUNDED PRECEDING)::HUGEINT AS total
            FROM posting AS leg JOIN event_rate USING (event_no, currency) WHERE foreign_units <> 0
        ), rounded AS (
            SELECT *, CASE WHEN sign(total) * sign(base_units) * sign(foreign_units) < 0 THEN -1 ELSE 1 END
                       * ((2 * abs(total * base_units) + abs(foreign_units)) // (2 * abs(foreign_units))) AS total_value
            FROM running
        )
        SELECT event_no, leg, account_no, currency, amount,
               (total_value - coalesce(lag(total_value) OVER (
                   PARTITION BY event_no, currency ORDER BY leg, account_no, amount), 0))::BIGINT AS value
        FROM rounded;
        UPDATE posting SET value = valued.value FROM valued
        WHERE valued.event_no = posting.event_no AND valued.leg = posting.leg AND valued.account_no = posting.account_no
          AND valued.currency = posting.currency AND valued.amount = posting.amount AND posting.currency <> {quoted(base)};
        DROP TABLE valued; DROP TABLE event_rate
        """
    )


def _check_foreign(connection: duckdb.DuckDBPyConnection, base: str) -> None:
    """Entries with a foreign amount balance by value, each of them."""
    broken = connection.execute(
        """SELECT event_no, sum(value) FROM posting WHERE event_no IN (SELECT event_no FROM posting WHERE currency <> ?)
           GROUP BY event_no HAVING count(value) = count(*) AND sum(value) <> 0 LIMIT 1""",
        [base],
    ).fetchone()
    assert broken is None, f"event {broken[0]} leaves {broken[1]} in the base currency"


def _list_event_rates(connection: duckdb.DuckDBPyConnection, base_currency: str) -> None:
    """Make `event_rate`: base and foreign units for each event and foreign currency in it.

    Where all else of an event is in the base currency, the rest gives the rate. Else the order's settled rate holds for
    the order's currency, then the market's; the last currency of an event takes what is left.
    """
    base = quoted(base_currency)
    connection.execute(
        f"""
        CREATE OR REPLACE TABLE order_rate AS
        SELECT order_no, charged_currency AS currency, sum(gross)::HUGEINT AS base_units, sum(charged)::HUGEINT AS foreign_units
        FROM fact_processor JOIN fact_sale USING (order_no)
        WHERE kind = 'charge' AND fact_processor.currency = {base} AND charged_currency = fact_sale.currency
          AND charged_currency <> {base}
        GROUP BY ALL HAVING sum(charged) > 0;
        CREATE OR REPLACE TEMP TABLE foreign_part AS
        SELECT event_no, currency, any_value(posted_on) AS day, any_value(order_no) AS order_no, sum(amount)::HUGEINT AS units
        FROM posting WHERE currency <> {base} GROUP BY event_no, currency;
        CREATE OR REPLACE TEMP TABLE settled AS
        SELECT part.event_no, part.currency, part.units,
               coalesce(own.base_units, ordered.base_units, before.base_units, after.base_units) AS base_units,
               coalesce(own.foreign_units, ordered.foreign_units, before.foreign_units, after.foreign_units) AS foreign_units
        FROM (SELECT part.*, coalesce(sale.posted_on, part.day) AS rate_day
              FROM foreign_part AS part LEFT JOIN fact_sale AS sale
                  ON sale.order_no = part.order_no AND sale.currency = part.currency) AS part
        LEFT JOIN (
            SELECT event_no, -sum(amount)::HUGEINT AS base_units, any_value(units) AS foreign_units
            FROM posting JOIN foreign_part USING (event_no) WHERE posting.currency = {base}
              AND event_no IN (SELECT event_no FROM foreign_part GROUP BY event_no HAVING count(*) = 1)
            GROUP BY event_no HAVING any_value(units) <> 0
        ) AS own ON own.event_no = part.event_no
        LEFT JOIN order_rate AS ordered ON ordered.order_no = part.order_no AND ordered.currency = part.currency
        ASOF LEFT JOIN market_rate AS before ON before.currency = part.currency AND part.rate_day >= before.day
        ASOF LEFT JOIN market_rate AS after ON after.currency = part.currency AND part.rate_day <= after.day;
        CREATE OR REPLACE TEMP TABLE event_rate AS
        WITH placed AS (
            SELECT *, count(*) OVER (PARTITION BY event_no) AS members,
                   row_number() OVER (PARTITION BY event_no ORDER BY units < 0, currency) AS place,
                   bool_or(units = 0) OVER (PARTITION BY event_no) AS any_even
            FROM settled
        )
        SELECT part.event_no, part.currency,
               CASE WHEN part.members = 1 OR part.place = 1 OR part.any_even THEN part.base_units
                    ELSE -((2 * abs(first.units * first.base_units) + first.foreign_units) // (2 * first.foreign_units))
                         * sign(first.units)::HUGEINT
                         - coalesce((SELECT sum(amount) FROM posting WHERE posting.event_no = part.event_no
                                     AND posting.currency = {base}), 0) END AS base_units,
               CASE WHEN part.members = 1 OR part.place = 1 OR part.any_even THEN part.foreign_units
                    ELSE part.units END AS foreign_units
        FROM placed AS part LEFT JOIN placed AS first ON first.event_no = part.event_no AND first.place = 1;
        DROP TABLE foreign_part; DROP TABLE settled
        """
    )
