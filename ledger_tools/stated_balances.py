"""Which stated balance counts: one for each source, day and currency, whatever order the exports were imported in.

Place in the flow: every row of every export → `claim_balances` → `versions` keeps one version of each record →
`choose_balances`. A balance is stated by a statement (`export_rows` notes it), by the running balance beside a bank line,
or by the settings. Amounts are minor units, debit positive. Whoever compares with the books reads `stated_balance` only.
"""

from __future__ import annotations

import duckdb

from ledger_tools.money import parse_amount
from ledger_tools.settings import ShopSettings

#: What a statement says of the end of its own days, and of the end of the day before them.
CLOSING, OPENING = "statement", "opening balance"

#: Who states a balance, the one that counts first. Common practice: what a statement says of itself is worth more than a
#: running balance beside a line, and that more than what a person typed.
_STATED_BY = (CLOSING, OPENING, "running balance", "settings")

#: The last running balance of each day of each export. A file may list the newest line first: what the balances say of
#: the amounts beside them tells which way it runs.
_RUNNING = """
    INSERT INTO claimed_balance
    WITH line AS (
        SELECT *, coalesce(sum(CASE WHEN balance = above + amount THEN 1 WHEN balance = below + amount THEN -1 END)
                           OVER (PARTITION BY export_no, currency), 0) AS rising
        FROM (SELECT *, lag(balance) OVER file AS above, lead(balance) OVER file AS below
              FROM raw_bank WHERE balance IS NOT NULL WINDOW file AS (PARTITION BY export_no, currency ORDER BY record))
    )
    SELECT source_no, "at"::DATE, currency,
           CASE WHEN any_value(rising) >= 0 THEN arg_max(balance, record) ELSE arg_min(balance, record) END,
           'running balance', export_no
    FROM line GROUP BY source_no, export_no, "at"::DATE, currency
"""

#: Days of which an export states a balance while a later one holds a line that it lacks, or lacks a line that it holds: what
#: it says of their end is what it knew within them. Its opening balance, of the day before its first, is none of its days.
_OUTDATED = """
    CREATE TEMP TABLE outdated AS
    WITH line AS (
        SELECT source_no, key, any_value(day) AS day, any_value(currency) AS currency, max(rank) AS rank
        FROM bank_holding JOIN export USING (export_no, source_no) GROUP BY source_no, key
    )
    SELECT DISTINCT export.export_no, line.day, line.currency
    FROM claimed_balance AS claimed JOIN export USING (export_no)
    JOIN line ON line.source_no = claimed.source_no AND line.day = claimed.stated_on AND line.currency = claimed.currency
    ANTI JOIN bank_holding AS held ON held.export_no = export.export_no AND held.key = line.key
    WHERE line.day >= export.first_day AND line.rank > export.rank
    UNION
    SELECT held.export_no, held.day, held.currency
    FROM vanished JOIN bank_holding AS held ON held.source_no = vanished.source_no AND held.key = vanished.record_key
"""


def claim_balances(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Add what running balances and the settings state, and keep who holds which bank line for `choose_balances`."""
    numbers = {source.name: number for number, source in enumerate(settings.source, start=1)}
    for stated in settings.stated_balance:
        source = settings.source_named(stated.source)
        currency = stated.currency or source.currency
        amount = parse_amount(str(stated.amount), currency)
        connection.execute(
            "INSERT INTO claimed_balance VALUES (?, ?, ?, ?, 'settings', NULL)",
            [numbers[stated.source], stated.on, currency, -amount if source.card else amount],
        )
    connection.execute(_RUNNING)
    connection.execute(
        """CREATE TEMP TABLE bank_holding AS SELECT export_no, source_no, key, "at"::DATE AS day, currency FROM raw_bank
           WHERE source_no IN (SELECT source_no FROM export GROUP BY source_no HAVING count(*) > 1)"""
    )


def choose_balances(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `stated_balance`, the one that counts of each source, day and currency, and `differing_balance`, what else is said.

    A balance of a day that a later export knows more of does not count. Of the others the kind decides (`_STATED_BY`), then
    the later export.
    """
    rank = " ".join(f"WHEN '{name}' THEN {place}" for place, name in enumerate(_STATED_BY))
    connection.execute(
        f"""
        {_OUTDATED};
        CREATE TEMP TABLE claim AS
        SELECT claimed.*, row_number() OVER (
                   PARTITION BY claimed.source_no, stated_on, currency
                   ORDER BY CASE stated_by {rank} END, export.rank DESC NULLS LAST, amount) AS place
        FROM claimed_balance AS claimed LEFT JOIN export USING (export_no)
        ANTI JOIN outdated ON outdated.export_no = claimed.export_no AND outdated.day = claimed.stated_on
                          AND outdated.currency = claimed.currency;
        INSERT INTO stated_balance SELECT source_no, stated_on, currency, amount, stated_by FROM claim WHERE place = 1
        ORDER BY source_no, stated_on, currency;
        INSERT INTO differing_balance
        SELECT other.source_no, other.stated_on, other.currency, other.amount, arg_min(other.stated_by, other.place)
        FROM claim AS other JOIN stated_balance AS stated USING (source_no, stated_on, currency)
        WHERE other.amount <> stated.amount GROUP BY ALL ORDER BY ALL;
        DROP TABLE claim; DROP TABLE outdated; DROP TABLE bank_holding; DROP TABLE claimed_balance
        """
    )
