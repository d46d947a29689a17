"""Exchange rates that the books know: one a foreign currency and day, made before anything is matched.

The settings' word comes first, then conversions, then what processors credited for charges in another currency. A rate
is a fraction of minor units: value in the base currency = amount × base_units / foreign_units.
"""

from __future__ import annotations

from decimal import Decimal

import duckdb

from ledger_tools.money import minor_digits
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted


def list_rates(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Make `market_rate` from the settings and `processor_row`."""
    base = quoted(settings.currency)
    base_digits = minor_digits(settings.currency)
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE any_rate (currency VARCHAR, day DATE, base_units HUGEINT, foreign_units HUGEINT, rank TINYINT)"
    )
    for rate in settings.rate:
        _, digits, exponent = Decimal(rate.rate).as_tuple()
        shift = int(exponent) + base_digits - minor_digits(rate.currency)
        base_units = int("".join(map(str, digits))) * 10 ** max(shift, 0)
        connection.execute(
            "INSERT INTO any_rate VALUES (?, ?, ?, ?, 1)",
            [rate.currency, rate.on.isoformat(), base_units, 10 ** max(-shift, 0)],
        )
    connection.execute(
        f"""
        INSERT INTO any_rate
        WITH pair AS (
            SELECT arg_max(currency, gross) AS bought, max(gross) AS bought_gross, arg_min(currency, gross) AS sold,
                   -min(gross) AS sold_gross, arg_min("at", gross)::DATE AS day
            FROM processor_row WHERE kind = 'conversion' AND payment_ref IS NOT NULL GROUP BY source_no, payment_ref
            HAVING count(*) = 2 AND count(*) FILTER (gross > 0) = 1 AND count(*) FILTER (gross < 0) = 1
        )
        SELECT sold, day, sum(bought_gross), sum(sold_gross), 2 FROM pair
        WHERE bought = {base} AND sold <> {base} GROUP BY ALL
        UNION ALL
        SELECT bought, day, sum(sold_gross), sum(bought_gross), 2 FROM pair
        WHERE sold = {base} AND bought <> {base} GROUP BY ALL
        UNION ALL
        SELECT charged_currency, "at"::DATE, sum(gross), sum(sign(gross) * abs(charged_amount)), 3 FROM processor_row
        WHERE kind = 'charge' AND currency = {base} AND charged_currency <> {base} AND charged_amount <> 0 AND gross <> 0
        GROUP BY ALL HAVING sum(sign(gross) * abs(charged_amount)) > 0;
        CREATE OR REPLACE TABLE market_rate AS
        SELECT currency, day, base_units, foreign_units FROM any_rate WHERE base_units > 0 AND foreign_units > 0
        QUALIFY row_number() OVER (PARTITION BY currency, day ORDER BY rank, base_units, foreign_units) = 1;
        DROP TABLE any_rate
        """
    )


def worth(amount: str, currency: str, day: str, base_currency: str) -> str:
    """SQL expression: an amount in the base currency at the latest rate known on a day, else the first one after.

    Rounded half up, away from zero; null where no rate of the currency is known.
    """
    rate = f"""coalesce(
        (SELECT arg_max([base_units, foreign_units], known.day) FROM market_rate AS known
         WHERE known.currency = {currency} AND known.day <= {day}),
        (SELECT arg_min([base_units, foreign_units], known.day) FROM market_rate AS known
         WHERE known.currency = {currency} AND known.day > {day}))"""
    rounded = f"(sign({amount})::HUGEINT * ((2 * abs({amount})::HUGEINT * {rate}[1] + {rate}[2]) // (2 * {rate}[2])))"
    return f"CASE WHEN {currency} = {quoted(base_currency)} THEN {amount} ELSE {rounded}::BIGINT END"
