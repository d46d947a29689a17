"""Month-end entries: what a close posts on a month's last day and reverses on the first of the next.

Deferral: orders placed and not shipped by then; their income and cost so far wait on the balance sheet. Accrual: pieces
shipped and not charged by then, at their own later charge where it is known, else at the latest charge of each SKU and
the latest shipping of a basket of that size to that region. Revaluation: foreign balances at the month-end rate. Sales
tax is never deferred. The entries name their orders but are no part of an order's profit, which is that of its whole
life. Tables made here are temporary: `month_end_leg` has one row a debit or credit, `unknown_cost` the shipped orders for
which no cost is known. Amounts are minor units, debit positive; `value` is in the base currency.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass

import duckdb

from ledger_tools.money import minor_digits
from ledger_tools.posting.order_progress import ANY_DAY, any_shipping_day, cancelled_on, shipping_days
from ledger_tools.posting.uncharged_costs import UNCHARGED_COSTS
from ledger_tools.store import quoted

SOURCE_NAME, SOURCE_NO = "month-end", -1


@dataclass(frozen=True)
class MonthEndRule:
    """One kind of month-end entry: its name in the books, its title in the journal, and what it posts in words."""

    name: str
    title: str
    words: str

    @property
    def reversal(self) -> str:
        """Name of the rule that takes the entry back on the first of the next month."""
        return f"{self.name}_reversed"


DEFERRAL = MonthEndRule(
    "deferral",
    "Month-end: paid, not shipped",
    "Dr the order's income accounts; Cr `Liabilities:UnearnedRevenue`; Dr `Assets:PrepaidFulfilment`; Cr its cost accounts",
)
ACCRUAL = MonthEndRule(
    "accrual",
    "Month-end: shipped, not yet charged",
    "Dr production, Dr shipping at the latest known cost; Cr `Liabilities:AccruedFulfilment`",
)
REVALUATION = MonthEndRule(
    "revaluation",
    "Month-end: foreign balance at the day's rate",
    "Dr/Cr the balance by what its value changed; the other side `Expenses:ExchangeDifferences`",
)
MONTH_END_RULES = (DEFERRAL, ACCRUAL, REVALUATION)

#: Title of every rule of this module, reversals included.
MONTH_END_TITLES = {
    name: title
    for rule in MONTH_END_RULES
    for name, title in ((rule.name, rule.title), (rule.reversal, rule.title.replace("Month-end", "Month-end reversed")))
}

#: SQL list of these rules' names.
MONTH_END_NAMES = "(" + ", ".join(f"'{name}'" for name in MONTH_END_TITLES) + ")"

_COST_ROLES = "('production', 'shipping_cost', 'supplier_tax', 'reprints')"


@dataclass(frozen=True)
class CutOff:
    """How a month was cut off.

    Attributes:
        recognise: "shipped" or "placed": when an order's income is earned.
        deferred, accrued: number of orders.
        unknown_costs: ids of shipped orders that no cost is known for, each with what is not known.
        unknown_rates: foreign currencies held that no rate is known for.
    """

    recognise: str
    deferred: int
    accrued: int
    unknown_costs: tuple[tuple[str, str], ...]
    unknown_rates: tuple[str, ...]


def list_month_end_entries(
    connection: duckdb.DuckDBPyConnection, last_day: datetime.date, base_currency: str, recognise: str | None
) -> CutOff:
    """Make `month_end_leg` for a month's last day; the build's tables must be complete and nothing of the day posted yet."""
    if recognise is None:
        dated = connection.execute(f"SELECT {any_shipping_day(ANY_DAY)}").fetchone()
        recognise = "shipped" if dated and dated[0] else "placed"

    def run(statements: str) -> None:
        # written in, not bound: values can only be bound in the last of several statements
        day, base = f"{quoted(last_day.isoformat())}::DATE", quoted(base_currency)
        connection.execute(statements.replace("$last", day).replace("$base", base))

    connection.execute(
        """CREATE OR REPLACE TEMP TABLE month_end_leg (
               rule VARCHAR, event_id VARCHAR, order_no INTEGER, leg SMALLINT, account_no SMALLINT, currency VARCHAR,
               amount BIGINT, value BIGINT, posted_on DATE)"""
    )
    _list_earned(connection, last_day, recognise)
    if recognise == "shipped":
        run(_DEFERRALS)
    for statements in UNCHARGED_COSTS:
        run(statements)
    run(_ACCRUALS)
    unknown_rates = _list_revaluations(connection, last_day, base_currency)
    counted = dict(
        connection.execute(
            "SELECT rule, count(DISTINCT event_id) FROM month_end_leg WHERE order_no IS NOT NULL GROUP BY rule"
        ).fetchall()
    )
    unknown = connection.execute("SELECT order_id, why FROM unknown_cost ORDER BY order_id").fetchall()
    return CutOff(
        recognise, counted.get(DEFERRAL.name, 0), counted.get(ACCRUAL.name, 0),
        tuple((str(order_id), str(why)) for order_id, why in unknown), unknown_rates,
    )  # fmt: skip


def _list_earned(connection: duckdb.DuckDBPyConnection, last_day: datetime.date, recognise: str) -> None:
    """Make `earned`: each order placed and not cancelled by the day, and the day on which it was shipped, if it was."""
    shipped = "placed_at::DATE" if recognise == "placed" else "sent.shipped_on"
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE earned AS
        SELECT head.order_no, head.order_id, {shipped} AS shipped_on
        FROM order_head AS head JOIN {shipping_days(ANY_DAY)} AS sent USING (order_no)
        WHERE placed_at::DATE <= $last AND {cancelled_on("$last")} IS NULL
        """,
        {"last": last_day},
    )


_DEFERRALS = f"""
    INSERT INTO month_end_leg
    WITH held AS (
        SELECT order_no, account_no, posting.currency, amount, value, account.name LIKE 'Income:%' AS is_income,
               event_no, leg
        FROM posting JOIN account USING (account_no) JOIN earned USING (order_no)
        WHERE posted_on <= $last AND value IS NOT NULL AND (shipped_on IS NULL OR shipped_on > $last)
          AND (account.name LIKE 'Income:%' OR account.role IN {_COST_ROLES})
    ), taken_back AS (
        SELECT order_no, account_no, currency, -sum(amount)::BIGINT AS amount, -sum(value)::BIGINT AS value FROM held
        WHERE currency = $base GROUP BY order_no, account_no, currency HAVING sum(amount) <> 0
        UNION ALL -- amounts in a foreign currency one by one: each has a value of its own
        SELECT order_no, account_no, currency, -amount, -value FROM held WHERE currency <> $base
        UNION ALL
        SELECT order_no, (SELECT account_no FROM account_use WHERE role = 'unearned_revenue'), $base,
               sum(value)::BIGINT, sum(value)::BIGINT FROM held WHERE is_income GROUP BY order_no HAVING sum(value) <> 0
        UNION ALL
        SELECT order_no, (SELECT account_no FROM account_use WHERE role = 'prepaid_fulfilment'), $base,
               sum(value)::BIGINT, sum(value)::BIGINT FROM held WHERE NOT is_income GROUP BY order_no HAVING sum(value) <> 0
    )
    SELECT '{DEFERRAL.name}', strftime($last, '%Y-%m') || '/{DEFERRAL.name}/' || source.name || '/' || head.order_id,
           order_no, row_number() OVER (PARTITION BY order_no ORDER BY account_no, taken_back.currency, amount, value),
           account_no, taken_back.currency, amount, value, $last
    FROM taken_back JOIN order_head AS head USING (order_no) JOIN source USING (source_no)
"""

_ACCRUALS = f"""
    INSERT INTO month_end_leg
    WITH part AS (
        SELECT order_no, currency, unnest([
                   {{'role': 'production', 'amount': production}}, {{'role': 'shipping_cost', 'amount': shipping}},
                   {{'role': 'supplier_tax', 'amount': tax}}, {{'role': 'accrued_fulfilment', 'amount': -(production + shipping + tax)}}
               ], recursive := true) FROM order_cost
    ), rated AS (
        SELECT part.*, CASE WHEN part.currency = $base THEN amount
                            ELSE sign(amount)::BIGINT * ((2 * abs(amount)::HUGEINT * rate.base_units + rate.foreign_units)
                                                 // (2 * rate.foreign_units))::BIGINT END AS value
        FROM (SELECT *, $last AS day FROM part WHERE amount <> 0) AS part
        ASOF LEFT JOIN market_rate AS rate ON rate.currency = part.currency AND part.day >= rate.day
    )
    SELECT '{ACCRUAL.name}', strftime($last, '%Y-%m') || '/{ACCRUAL.name}/' || source.name || '/' || head.order_id,
           order_no, row_number() OVER (PARTITION BY order_no ORDER BY rated.currency <> $base, rated.currency,
                                                                     used.account_no),
           used.account_no, rated.currency, amount,
           CASE WHEN rated.role = 'accrued_fulfilment' AND rated.currency <> $base
                THEN -sum(CASE WHEN rated.role <> 'accrued_fulfilment' THEN value ELSE 0 END) OVER (PARTITION BY order_no, rated.currency)
                ELSE value END, $last
    FROM rated JOIN account_use AS used ON used.role = rated.role AND used.parameter = ''
    JOIN order_head AS head USING (order_no) JOIN source USING (source_no)
    WHERE order_no NOT IN (SELECT order_no FROM rated WHERE value IS NULL);
    CREATE OR REPLACE TEMP TABLE unknown_cost AS
    SELECT order_id, CASE
        WHEN order_no IN (SELECT order_no FROM order_cost) THEN 'no rate of its cost''s currency is known'
        WHEN order_no IN (SELECT order_no FROM unpriced) THEN 'no cost of its SKU is known'
        WHEN basket.country IS NULL THEN 'its order export tells no country, so no shipping cost is known'
        ELSE 'no shipping cost of ' || basket.pieces || CASE WHEN basket.pieces = 1 THEN ' piece to ' ELSE ' pieces to ' END
             || basket.country || ' is known' END AS why
    FROM uncharged LEFT JOIN basket USING (order_no)
    WHERE order_no NOT IN (SELECT order_no FROM month_end_leg WHERE rule = '{ACCRUAL.name}')
      AND order_no NOT IN (SELECT order_no FROM order_cost GROUP BY order_no HAVING bool_and(production + shipping + tax = 0))
"""


def _list_revaluations(
    connection: duckdb.DuckDBPyConnection, last_day: datetime.date, base_currency: str
) -> tuple[str, ...]:
    """Add the revaluation of each foreign balance; gives the currencies that no rate is known for.

    The balance goes out at the value that the books have and comes in at the day's, so that its amount stays. Where it
    is nil, or its value has the other sign, one unit of the currency carries the difference.
    """
    rows = connection.execute(
        """
        WITH held AS (
            SELECT account_no, account.name, posting.currency, sum(amount)::BIGINT AS amount, sum(value)::BIGINT AS value,
                   $last::DATE AS day
            FROM posting JOIN account USING (account_no)
            WHERE posted_on <= $last AND posting.currency <> $base AND value IS NOT NULL
              AND regexp_matches(account.name, '^(Assets|Liabilities):')
              AND account.role NOT IN ('unearned_revenue', 'prepaid_fulfilment')
            GROUP BY account_no, account.name, posting.currency HAVING sum(amount) <> 0 OR sum(value) <> 0
        )
        SELECT account_no, held.name, held.currency, amount, held.value,
               coalesce(before.base_units, after.base_units), coalesce(before.foreign_units, after.foreign_units)
        FROM held ASOF LEFT JOIN market_rate AS before ON before.currency = held.currency AND held.day >= before.day
        ASOF LEFT JOIN market_rate AS after ON after.currency = held.currency AND held.day <= after.day
        ORDER BY account_no, held.currency
        """,
        {"last": last_day, "base": base_currency},
    ).fetchall()
    exchange = connection.execute("SELECT account_no FROM account_use WHERE role = 'exchange_differences'").fetchone()
    assert exchange is not None
    unknown: set[str] = set()
    for account_no, name, currency, amount, value, base_units, foreign_units in rows:
        if amount and base_units is None:
            unknown.add(currency)
            continue
        size = (2 * abs(amount) * base_units + foreign_units) // (2 * foreign_units) if amount else 0
        worth = size if amount > 0 else -size
        change = worth - value
        if not change:
            continue
        event_id = f"{last_day:%Y-%m}/{REVALUATION.name}/{name}/{currency}"
        if amount and worth * value > 0 and amount * worth > 0:
            turn = [(amount, worth), (-amount, -value)]
        else:
            unit = abs(amount) or 10 ** minor_digits(currency)
            stays = max(1, 1 + change)
            turn = [(unit, stays), (-unit, change - stays)]
        legs = [(account_no, currency, *pair) for pair in turn] + [(exchange[0], base_currency, -change, -change)]
        for leg, (number, code, units, worth_of_leg) in enumerate(legs, start=1):
            connection.execute(
                "INSERT INTO month_end_leg VALUES (?, ?, NULL, ?, ?, ?, ?, ?, ?)",
                [REVALUATION.name, event_id, leg, number, code, units, worth_of_leg, last_day.isoformat()],
            )
    return tuple(sorted(unknown))


def post_month_end_entries(connection: duckdb.DuckDBPyConnection) -> None:
    """Add the entries of `month_end_leg` to the books, and their reversals on the first of the next month."""
    titles = " ".join(f"WHEN '{rule.name}' THEN '{rule.reversal}'" for rule in MONTH_END_RULES)
    connection.execute(
        f"""
        INSERT INTO source SELECT {SOURCE_NO}, '{SOURCE_NAME}', 'month_end', NULL
        WHERE NOT EXISTS (SELECT 1 FROM source WHERE source_no = {SOURCE_NO});
        CREATE OR REPLACE TEMP TABLE month_end_event AS
        SELECT (SELECT coalesce(max(event_no), 0) FROM event) + row_number() OVER (ORDER BY posted_on, rule, event_id)::INTEGER
                   AS event_no, *
        FROM (
            SELECT rule, event_id, posted_on, any_value(order_no) AS order_no, false AS reverses FROM month_end_leg GROUP BY ALL
            UNION ALL
            SELECT CASE rule {titles} END, event_id, (last_day(posted_on) + 1)::DATE, any_value(order_no), true
            FROM month_end_leg GROUP BY rule, event_id, posted_on
        );
        INSERT INTO event
        SELECT event_no, rule, {SOURCE_NO}, event_id, posted_on, order_no, false, NULL, NULL, NULL, NULL FROM month_end_event;
        INSERT INTO posting
        SELECT made.event_no, leg.leg, made.posted_on, NULL, leg.account_no, leg.currency,
               CASE WHEN reverses THEN -amount ELSE amount END, CASE WHEN reverses THEN -value ELSE value END
        FROM month_end_leg AS leg JOIN month_end_event AS made
            ON made.event_id = leg.event_id AND leg.posted_on = CASE WHEN reverses THEN made.posted_on - 1 ELSE made.posted_on END;
        DROP TABLE month_end_event
        """
    )
