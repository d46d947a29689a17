"""Closed months in a build: what was frozen stays, and what has become different since is posted in the open month.

The build first posts everything as the exports say today. Here each entry of a closed month is compared with the frozen
one. Where they agree nothing happens. Where they don't, the frozen entry takes the place of today's, and the difference
becomes a prior-period entry on the first day of the earliest open month, which keeps its rule, record and order and
names the day that it belongs to. So frozen months never change, and all months together say what the exports say.
"""

from __future__ import annotations

import datetime
from collections.abc import Sequence

import duckdb

from ledger_tools.closed import ClosedMonth
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.money import format_amount
from ledger_tools.posting.month_end import MONTH_END_NAMES, MONTH_END_RULES, post_month_end_entries
from ledger_tools.posting.rules import HAND
from ledger_tools.store import quoted

_COLUMNS = {
    "source": "VARCHAR", "event": "VARCHAR", "rule": "VARCHAR", "posted_on": "DATE", "belongs_on": "DATE",
    "order_source": "VARCHAR", "order_id": "VARCHAR", "taxed": "VARCHAR", "flagged": "BOOLEAN", "leg": "SMALLINT", "account": "VARCHAR",
    "currency": "VARCHAR", "amount": "BIGINT", "value": "BIGINT",
}  # fmt: skip


def _key(column: str) -> str:
    """SQL expression: a record's id as it may stand in a file that is kept; one that looks like an e-mail as its digest."""
    return f"CASE WHEN contains({column}, '@') THEN 'digest-' || sha256({column}) ELSE {column} END"


#: SQL expression over `order_head AS head`: how the tax of an order stands.
TAX_STANDING = """CASE WHEN head.tax_collected_by = 'marketplace' THEN 'marketplace'
                 WHEN coalesce(head.tax, 0) <> 0 THEN 'taxable' ELSE 'exempt' END"""

#: Rules whose entries count as sales of a tax return, by how and where the order is taxed.
_TAXED_RULES = "('sale', 'refund', 'refund_to_gift_card')"

#: SQL relation: every posting with the columns of the frozen file, and its numbers in this build.
_LEGS = f"""(
    SELECT event.event_no, coalesce(source.name, '') AS source, {_key("coalesce(event.event_id, '')")} AS event, event.rule,
           posting.posted_on, event.belongs_on, coalesce(owner.name, '') AS order_source,
           coalesce({_key("head.order_id")}, '') AS order_id,
           CASE WHEN event.rule IN {_TAXED_RULES} AND head.order_no IS NOT NULL
                THEN coalesce(event.taxed, {TAX_STANDING} || ' ' || head.jurisdiction) ELSE '' END AS taxed,
           event.flagged, posting.leg, account.name AS account,
           posting.currency, posting.amount, posting.value
    FROM posting JOIN event USING (event_no) JOIN account USING (account_no)
    LEFT JOIN source ON source.source_no = event.source_no
    LEFT JOIN order_head AS head ON head.order_no = event.order_no
    LEFT JOIN source AS owner ON owner.source_no = head.source_no
)"""


#: SQL: every order by its source and the id that frozen files have for it.
_ORDERS = f"SELECT order_no, source.name, {_key('order_id')} AS order_id FROM order_head JOIN source USING (source_no)"


def write_frozen_postings(
    connection: duckdb.DuckDBPyConnection, period: tuple[datetime.date | None, datetime.date], file: str
) -> None:
    """Write the postings of a period (its start open for the first closed month) as CSV, in a stable order."""
    first, last = period
    names = ", ".join(_COLUMNS)
    since = f"posted_on >= {quoted(first.isoformat())}::DATE AND" if first else ""
    connection.execute(
        f"""COPY (
            SELECT {names} FROM {_LEGS} WHERE {since} posted_on <= {quoted(last.isoformat())}::DATE
            ORDER BY posted_on, source, event, rule, leg, account, currency, amount, value, order_id
        ) TO {quoted(file)} (FORMAT csv, HEADER true)"""
    )


def keep_closed_months(
    connection: duckdb.DuckDBPyConnection, closed: Sequence[ClosedMonth], base_currency: str
) -> None:
    """Put the closed months back as they were frozen; add their month-end entries, reversals and prior-period entries.

    Raises:
        LedgerError: a hand entry of a closed month was added, changed or taken away.
    """
    if not closed:
        return
    through = closed[-1].last_day
    connection.executemany(
        "INSERT INTO closed_month VALUES (?, ?, ?, ?)",
        [[month.month, month.last_day.isoformat(), month.closed_on.isoformat(), month.closed_by] for month in closed],
    )
    _read_frozen(connection, closed)
    _list_month_end_legs(connection)
    post_month_end_entries(connection)
    _check_hand_entries(connection, through, [month.last_day for month in closed])
    _find_differences(connection, through)
    _post_prior_periods(connection, through, base_currency)
    connection.execute("DROP TABLE frozen_leg; DROP TABLE differing; DROP TABLE today_leg; DROP TABLE month_end_leg")


def _read_frozen(connection: duckdb.DuckDBPyConnection, closed: Sequence[ClosedMonth]) -> None:
    columns = ", ".join(f"'{name}': '{kind}'" for name, kind in _COLUMNS.items())
    connection.execute("CREATE OR REPLACE TEMP TABLE frozen_leg AS SELECT * FROM " + _LEGS + " LIMIT 0")
    connection.execute("ALTER TABLE frozen_leg DROP event_no")
    for month in closed:
        try:
            connection.execute(
                f"""INSERT INTO frozen_leg SELECT * REPLACE (coalesce(source, '') AS source, coalesce(event, '') AS event,
                        coalesce(order_source, '') AS order_source, coalesce(order_id, '') AS order_id,
                        coalesce(taxed, '') AS taxed)
                    FROM read_csv({quoted(str(month.postings))}, header = true, columns = {{{columns}}}, delim = ',', quote = '"')"""
            )
        except duckdb.Error as trouble:
            del trouble  # the database's words name a path of this machine
            raise LedgerError(
                Problem(
                    f"closed/{month.postings.name}",
                    "is not the postings of a closed month any more",
                    "put the file back as it was, from a copy of the books, or open the month again: "
                    f"ledger-tools reopen {month.month} --reason TEXT",
                )
            ) from None
    connection.execute(
        """INSERT INTO account
           SELECT (SELECT max(account_no) FROM account) + row_number() OVER (ORDER BY name), name,
                  CASE WHEN regexp_matches(name, '^(Income|Expenses):') THEN 'own_result' ELSE 'hand' END
           FROM (SELECT DISTINCT account AS name FROM frozen_leg ANTI JOIN account ON account.name = frozen_leg.account)"""
    )


def _list_month_end_legs(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `month_end_leg` from the frozen months; reversals follow from them."""
    names = ", ".join(quoted(rule.name) for rule in MONTH_END_RULES)
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE month_end_leg AS
            SELECT rule, event AS event_id, head.order_no, leg, account.account_no, frozen.currency, amount, value, posted_on
            FROM frozen_leg AS frozen JOIN account ON account.name = frozen.account
            LEFT JOIN (SELECT order_no, source.name, {_key("order_id")} AS order_id FROM order_head JOIN source USING (source_no))
                AS head ON head.name = frozen.order_source AND head.order_id = frozen.order_id
            WHERE rule IN ({names}) AND belongs_on IS NULL"""
    )


def _check_hand_entries(
    connection: duckdb.DuckDBPyConnection, through: datetime.date, month_ends: Sequence[datetime.date]
) -> None:
    broken = connection.execute(
        f"""
        SELECT posted_on, account, currency, sum(today)::BIGINT, sum(frozen)::BIGINT FROM (
            SELECT posted_on, account, currency, amount AS today, 0 AS frozen FROM {_LEGS}
            WHERE rule = '{HAND}' AND posted_on <= $through
            UNION ALL SELECT posted_on, account, currency, 0, amount FROM frozen_leg WHERE rule = '{HAND}'
        ) GROUP BY posted_on, account, currency HAVING sum(today) <> sum(frozen) ORDER BY ALL LIMIT 20
        """,
        {"through": through},
    ).fetchall()
    if broken:
        open_day = through + datetime.timedelta(days=1)
        problems = []
        for day, account, currency, today, frozen in broken:
            month = next(end for end in month_ends if day <= end)
            problems.append(
                Problem(
                    f"hand.beancount, {day}, {account}",
                    f"{month:%Y-%m} is closed, and the entries by hand of this day and account, which came to "
                    f"{format_amount(frozen, currency)} {currency}, now come to {format_amount(today, currency)}",
                    f"put the entry back and correct it with one dated {open_day} or later, or open the month again: "
                    f"ledger-tools reopen {month:%Y-%m} --reason TEXT",
                )
            )
        raise LedgerError(problems)


def _find_differences(connection: duckdb.DuckDBPyConnection, through: datetime.date) -> None:
    """Make `differing` (records whose closed entries are not what they are today) and `today_leg` (today's, of these)."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE differing AS
        SELECT DISTINCT source, event, rule FROM (
            SELECT source, event, rule, sum(frozen) AS balance FROM (
                SELECT source, event, rule, posted_on, account, currency, order_source, order_id, taxed, sum(amount) AS amount,
                       sum(coalesce(value, 0)) AS value, 1 AS frozen
                FROM frozen_leg WHERE rule <> '{HAND}' GROUP BY ALL
                UNION ALL
                SELECT source, event, rule, posted_on, account, currency, order_source, order_id, taxed, sum(amount),
                       sum(coalesce(value, 0)), -1
                FROM {_LEGS} WHERE rule <> '{HAND}' AND posted_on <= $through GROUP BY ALL
            ) GROUP BY source, event, rule, posted_on, account, currency, order_source, order_id, taxed, amount, value
            HAVING sum(frozen) <> 0
        );
        """,
        {"through": through},
    )
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE today_leg AS
            SELECT * FROM {_LEGS} AS leg SEMI JOIN differing USING (source, event, rule) WHERE posted_on <= $through""",
        {"through": through},
    )


def _post_prior_periods(connection: duckdb.DuckDBPyConnection, through: datetime.date, base_currency: str) -> None:
    """Put frozen entries in the place of today's, and post what differs on the first open day."""
    open_day = quoted((through + datetime.timedelta(days=1)).isoformat()) + "::DATE"
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE kept_text AS
        SELECT source, today_leg.event, today_leg.rule, any_value(event.memo) AS memo, any_value(event.note) AS note
        FROM today_leg JOIN event USING (event_no) GROUP BY ALL;
        CREATE OR REPLACE TEMP TABLE known_event AS
        SELECT DISTINCT {_key("event_id")} AS event, event_id FROM event SEMI JOIN today_leg USING (event_no);
        DELETE FROM posting WHERE event_no IN (SELECT event_no FROM today_leg);
        DELETE FROM event WHERE event_no IN (SELECT event_no FROM today_leg);
        CREATE OR REPLACE TEMP TABLE changed_leg AS
        SELECT source, event, rule, posted_on, belongs_on, order_source, order_id, taxed, flagged, leg, account, currency, amount,
               value, value IS NULL AS is_unvalued, false AS is_prior FROM frozen_leg SEMI JOIN differing USING (source, event, rule)
        UNION ALL
        SELECT * REPLACE ({open_day} AS posted_on), value IS NULL, true FROM ({_prior_legs(quoted(base_currency))});
        CREATE OR REPLACE TEMP TABLE changed_event AS
        SELECT (SELECT coalesce(max(event_no), 0) FROM event)
                   + row_number() OVER (
                       ORDER BY is_prior, posted_on, source, event, rule, belongs_on, order_source, order_id, taxed,
                                is_unvalued DESC)::INTEGER
                   AS event_no, *
        FROM (SELECT source, event, rule, posted_on, belongs_on, order_source, order_id, taxed, is_prior, is_unvalued,
                     bool_or(flagged) AS flagged,
                     count(*) AS legs
              FROM changed_leg GROUP BY source, event, rule, posted_on, belongs_on, order_source, order_id, taxed, is_prior,
                       is_unvalued);
        INSERT INTO event
        SELECT made.event_no, made.rule, source.source_no, coalesce(known.event_id, made.event), made.posted_on, head.order_no,
               coalesce(flagged, false),
               CASE WHEN belongs_on IS NOT NULL THEN 'belongs to ' || belongs_on || ', in a closed month' ELSE text.note END,
               text.memo, belongs_on, nullif(made.taxed, '')
        FROM changed_event AS made LEFT JOIN source ON source.name = made.source
        LEFT JOIN kept_text AS text ON text.source = made.source AND text.event = made.event AND text.rule = made.rule
        LEFT JOIN known_event AS known ON known.event = made.event
        LEFT JOIN ({_ORDERS}) AS head ON head.name = made.order_source AND head.order_id = made.order_id;
        INSERT INTO posting
        SELECT made.event_no, leg.leg, leg.posted_on,
               CASE WHEN made.rule NOT IN {MONTH_END_NAMES} THEN head.order_no END, account.account_no, leg.currency, leg.amount, leg.value
        FROM changed_leg AS leg JOIN changed_event AS made
            ON made.source = leg.source AND made.event = leg.event AND made.rule = leg.rule AND made.posted_on = leg.posted_on
           AND made.belongs_on IS NOT DISTINCT FROM leg.belongs_on AND made.order_source = leg.order_source
           AND made.order_id = leg.order_id AND made.taxed = leg.taxed AND made.is_prior = leg.is_prior
           AND made.is_unvalued = leg.is_unvalued
        JOIN account ON account.name = leg.account
        LEFT JOIN ({_ORDERS}) AS head ON head.name = leg.order_source AND head.order_id = leg.order_id;
        DROP TABLE changed_leg; DROP TABLE changed_event; DROP TABLE kept_text; DROP TABLE known_event
        """
    )


def _prior_legs(base: str) -> str:
    """SQL: the legs of prior-period entries, `base` being the base currency as a literal.

    In the base currency: today's less the frozen ones. A foreign amount that changed goes out as it was frozen and comes
    in as it is today, leg by leg, so that each keeps its own value. What was frozen without a value goes out without one,
    in an entry of its own: reports left it out then, and count what comes in.
    """
    return f"""
        WITH both_sides AS (
            SELECT source, event, rule, posted_on, order_source, order_id, taxed, flagged, leg, account, currency, amount, value, 1 AS side
            FROM today_leg
            UNION ALL
            SELECT source, event, rule, coalesce(belongs_on, posted_on), order_source, order_id, taxed, flagged, leg, account, currency,
                   -amount, -value, -1
            FROM frozen_leg SEMI JOIN differing USING (source, event, rule)
        ), moved AS (
            SELECT source, event, rule, account, currency, order_source, order_id, taxed, value IS NULL AS is_unvalued,
                   sum(amount)::BIGINT AS amount,
                   sum(value)::BIGINT AS value, min(leg) AS leg, bool_or(flagged) AS flagged,
                   coalesce(min(posted_on) FILTER (side = 1), min(posted_on)) AS belongs_on
            FROM both_sides
            GROUP BY source, event, rule, account, currency, order_source, order_id, taxed, value IS NULL
            HAVING sum(amount) <> 0 OR coalesce(sum(value), 0) <> 0
        ), dated AS (
            SELECT *, min(belongs_on) OVER (PARTITION BY source, event, rule, order_source, order_id, taxed) AS day,
                   currency = {base} OR is_unvalued AS is_net
            FROM moved
        )
        SELECT source, event, rule, day AS posted_on, day AS belongs_on, order_source, order_id, taxed, flagged, leg, account, currency,
               amount, value
        FROM dated WHERE is_net
        UNION ALL
        SELECT side.source, side.event, side.rule, dated.day, dated.day, side.order_source, side.order_id, side.taxed,
               side.flagged, side.leg,
               side.account, side.currency, side.amount, side.value
        FROM both_sides AS side JOIN dated
            ON dated.source = side.source AND dated.event = side.event AND dated.rule = side.rule
           AND dated.account = side.account AND dated.currency = side.currency
           AND dated.order_source = side.order_source AND dated.order_id = side.order_id
           AND dated.taxed = side.taxed AND dated.is_unvalued = (side.value IS NULL)
        WHERE NOT is_net
    """
