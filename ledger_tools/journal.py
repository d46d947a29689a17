"""The journal as beancount text: rendered from the database, one file a month, byte-identical for the same books.

Text names source and event id, never the file or row that brought them. Amounts have their currency's own digits;
a foreign amount carries what it is worth in the base currency as its total price. Order: day, kind, source, event id.
Hand entries are not rendered: they stand in the person's own file.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterator, Mapping
from typing import Any

import duckdb

from ledger_tools.addresses import addresses_replaced
from ledger_tools.money import minor_digits
from ledger_tools.posting.month_end import MONTH_END_RULES, MONTH_END_TITLES
from ledger_tools.posting.rules import HAND, TITLES
from ledger_tools.store import amount_text, quoted

GENERATED = (
    ";; Made by ledger-tools from the exports, the settings and the decisions. Don't edit: a build writes it again.\n"
)

_ACCOUNT_WIDTH = 46
_NUMBER_WIDTH = 14


def _clean(column: str) -> str:
    """SQL expression: a text as it may stand between the quotes of a beancount string; markup and e-mails are taken out."""
    text = addresses_replaced(column)
    for old, new in (("<", ""), (">", ""), ("\\", "\\\\"), ('"', '\\"')):
        text = f"replace({text}, {quoted(old)}, {quoted(new)})"
    return text


def create_link_table(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `order_link`: the beancount link of each order, unique even where two ids differ in odd characters only."""
    connection.execute(
        f"""
        CREATE TABLE order_link AS
        WITH plain AS (
            SELECT order_no, source_no, order_id,
                   'order-' || regexp_replace({addresses_replaced("ltrim(order_id, '# ')", "e-mail")},
                                            '[^A-Za-z0-9/._-]+', '-', 'g') AS link
            FROM order_head
        ), named AS (
            SELECT order_no, link, md5(source.name || '/' || order_id) AS digest,
                   CASE WHEN count(*) OVER (PARTITION BY link) = 1 THEN link
                        WHEN count(*) OVER (PARTITION BY link, source_no) = 1 THEN link || '.' || source.name END AS short
            FROM plain JOIN source USING (source_no)
        )
        -- an id may read like another one with its source or digest behind it: such a one has its own digest, too
        SELECT order_no, CASE WHEN short IS NULL OR count(*) OVER (PARTITION BY short) > 1
                                   OR regexp_matches(short, '[.][0-9a-f]{{32}}$')
                              THEN link || '.' || digest ELSE short END AS link
        FROM named
        """
    )


#: What the title of an entry begins with that belongs to a closed month.
PRIOR_PERIOD = "Prior period: "

#: What the journal calls an entry of each rule, in the order of a day.
ENTRY_TITLES = {**TITLES, **MONTH_END_TITLES}
_TITLES = " ".join(f"WHEN {quoted(name)} THEN {quoted(title)}" for name, title in ENTRY_TITLES.items())
_RULE_ORDER = " ".join(f"WHEN {quoted(name)} THEN {place}" for place, name in enumerate(ENTRY_TITLES))


def _posting_text(base_currency: str, currencies: list[str]) -> str:
    value = amount_text("abs(value)", quoted(base_currency), [base_currency], digits_at_most=24)
    return f"""
        account.text || lpad({amount_text("amount", "leg.currency", currencies)}, {_NUMBER_WIDTH}, ' ') || ' ' || leg.currency
        || CASE WHEN leg.currency = {quoted(base_currency)} OR value IS NULL THEN ''
                ELSE ' @@ ' || {value} || ' {base_currency}' END || chr(10)
    """


#: Account names padded to one width, made once for each account rather than once for each posting.
_ACCOUNTS = f"""(
    SELECT account_no, '  ' || rpad(name, greatest({_ACCOUNT_WIDTH}, length(name))::INTEGER, ' ') AS text FROM account
)"""


def _order_entries(base_currency: str, currencies: list[str], where: str) -> str:
    """SQL: day, sort keys and text of one entry an event."""
    return f"""
        SELECT event.posted_on AS day, CASE rule {_RULE_ORDER} END AS place, source.name AS source_name, event_id, event_no AS turn,
               event.posted_on || CASE WHEN flagged THEN ' ! "' ELSE ' * "' END
               || CASE WHEN belongs_on IS NULL THEN '' ELSE {quoted(PRIOR_PERIOD)} END || CASE rule {_TITLES} END
               || CASE WHEN memo IS NULL THEN '' ELSE ': ' || {_clean("memo")} END || '"'
               || coalesce(' ^' || link.link, '') || chr(10)
               || '  source: "' || source.name || '"' || chr(10)
               || '  event: "' || {_clean("event_id")} || '"' || chr(10)
               || CASE WHEN note IS NULL THEN '' ELSE '  note: "' || {_clean("note")} || '"' || chr(10) END
               || legs.text AS text
        FROM event JOIN source USING (source_no)
        JOIN (
            SELECT event_no, string_agg({_posting_text(base_currency, currencies)}, '' ORDER BY leg, account_no) AS text
            FROM posting AS leg JOIN {_ACCOUNTS} AS account USING (account_no) WHERE {where} GROUP BY event_no
        ) AS legs USING (event_no)
        LEFT JOIN order_link AS link ON link.order_no = event.order_no
        WHERE rule <> '{HAND}'
    """


def _day_entries(base_currency: str, currencies: list[str], where: str) -> str:
    """SQL: one entry a day, kind and source; entries in the temporary table `alone` keep standing by themselves."""
    single = _order_entries(base_currency, currencies, f"event_no IN (SELECT event_no FROM alone) AND {where}")
    return f"""
        {single}
        UNION ALL
        SELECT day, place, source.name, 'of the day', 0,
               day || ' * "' || title || ', ' || any_value(events)
               || CASE WHEN any_value(events) = 1 THEN ' event"' ELSE ' events"' END || chr(10)
               || '  source: "' || source.name || '"' || chr(10) || string_agg(text, '' ORDER BY first_leg, account_no)
        FROM (
            SELECT day, CASE rule {_RULE_ORDER} END AS place, CASE rule {_TITLES} END AS title, source_no, first_leg,
                   account_no, events, {_posting_text(base_currency, currencies)} AS text
            FROM (
                SELECT event.posted_on AS day, rule, source_no, min(leg) AS first_leg, account_no, currency,
                       sum(amount)::BIGINT AS amount, sum(value)::BIGINT AS value
                FROM posting JOIN (
                    SELECT event_no, posted_on, rule, source_no FROM event
                    ANTI JOIN alone USING (event_no) WHERE rule <> '{HAND}' AND {where}
                ) AS event USING (event_no)
                GROUP BY event.posted_on, rule, source_no, account_no, currency
            ) AS leg
            JOIN (
                SELECT posted_on AS day, rule, source_no, count(*) AS events FROM event ANTI JOIN alone USING (event_no)
                WHERE {where} GROUP BY ALL
            ) AS counted USING (day, rule, source_no)
            JOIN {_ACCOUNTS} AS account USING (account_no) WHERE amount <> 0
        ) JOIN source USING (source_no) GROUP BY day, place, title, source.name
    """


def _entries(
    connection: duckdb.DuckDBPyConnection, detail: str, base_currency: str, where: str
) -> Iterator[tuple[str, str]]:
    """Month and text of every entry, in the journal's order."""
    if detail == "day":
        connection.execute(
            f"""CREATE OR REPLACE TEMP TABLE alone AS
                SELECT event_no FROM event WHERE (flagged OR belongs_on IS NOT NULL) AND {where}
                UNION SELECT event_no FROM posting WHERE currency <> {quoted(base_currency)} AND {where}"""
        )
    query = (_order_entries if detail == "order" else _day_entries)(base_currency, _currencies(connection), where)
    order = "day, place, source_name, event_id, turn"
    connection.execute(f"SELECT strftime(day, '%Y-%m'), text FROM ({query}) ORDER BY {order}")
    while rows := connection.fetchmany(100_000):
        yield from rows


def list_months(connection: duckdb.DuckDBPyConnection) -> list[str]:
    """Months that have events of rules, such as "2031-04", earliest first."""
    rows = connection.execute(
        "SELECT DISTINCT strftime(posted_on, '%Y-%m') FROM event WHERE rule <> ? ORDER BY 1", [HAND]
    ).fetchall()
    return [str(row[0]) for row in rows]


def _currencies(connection: duckdb.DuckDBPyConnection) -> list[str]:
    return [str(row[0]) for row in connection.execute("SELECT currency FROM currency ORDER BY 1").fetchall()]


def render_month(connection: duckdb.DuckDBPyConnection, month: str, detail: str, base_currency: str) -> str:
    """Text of one month's journal file, in order or day detail."""
    where = f"posted_on BETWEEN {quoted(month + '-01')}::DATE AND last_day({quoted(month + '-01')}::DATE)"
    entries = _entries(connection, detail, base_currency, where)
    return GENERATED + "".join("\n" + text for _, text in entries)


def render_events(connection: duckdb.DuckDBPyConnection, base_currency: str, source: str, keys: list[str]) -> str:
    """Text of the entries of some of a source's records, by their keys, in order detail."""
    connection.execute(
        """CREATE OR REPLACE TEMP TABLE wanted AS
           SELECT event_no FROM event JOIN source USING (source_no)
           WHERE source.name = ? AND regexp_replace(event_id, '/gift-card-refund$', '') IN (SELECT unnest(?::VARCHAR[]))""",
        [source, keys],
    )
    entries = _entries(connection, "order", base_currency, "event_no IN (SELECT event_no FROM wanted)")
    return "".join("\n" + text for _, text in entries)


def render_month_end(connection: duckdb.DuckDBPyConnection, base_currency: str, month: str) -> str:
    """Text of a month's month-end entries, in order detail."""
    day = f"last_day({quoted(month + '-01')}::DATE)"
    rules = ", ".join(quoted(rule.name) for rule in MONTH_END_RULES)
    where = f"posted_on = {day} AND event_no IN (SELECT event_no FROM event WHERE rule IN ({rules}))"
    entries = _entries(connection, "order", base_currency, where)
    return "\n".join(text for _, text in entries)


def render_files(
    connection: duckdb.DuckDBPyConnection,
    detail: str,
    base_currency: str,
    progress: Callable[[str], None],
    frozen: Mapping[str, str],
) -> Iterator[tuple[str, str]]:
    """Every generated file of the journal as (name below journal/, text); closed months are taken as they were frozen."""
    months = sorted({*list_months(connection), *frozen})
    for month, text in sorted(frozen.items()):
        yield f"{month}.beancount", text
    if detail == "order":
        for month in months:
            if month not in frozen:
                progress(f"journal {month}")
                yield f"{month}.beancount", render_month(connection, month, detail, base_currency)
    else:
        progress("journal")
        still_open = (
            f"posted_on > {quoted(max(frozen) + '-01')}::DATE + INTERVAL 1 MONTH - INTERVAL 1 DAY" if frozen else "true"
        )
        for month, entries in itertools.groupby(
            _entries(connection, detail, base_currency, still_open), lambda row: row[0]
        ):
            yield f"{month}.beancount", GENERATED + "".join("\n" + text for _, text in entries)
    yield "index.beancount", GENERATED + "".join(f'include "{month}.beancount"\n' for month in months)


def render_accounts(connection: duckdb.DuckDBPyConnection, opened_by_hand: frozenset[str]) -> str:
    """Text of accounts.beancount: commodities and every account that is not opened by hand."""
    first = connection.execute("SELECT min(posted_on)::VARCHAR FROM event").fetchone()
    year = str(first[0])[:4] if first and first[0] else "2000"
    day = f"{year}-01-01"
    parts = [GENERATED, "\n"]
    for currency in _currencies(connection):
        parts.append(f"{day} commodity {currency}\n  precision: {minor_digits(currency)}\n")
    rows = connection.execute("SELECT name FROM account ORDER BY account_no").fetchall()
    for top, names in itertools.groupby((str(row[0]) for row in rows), key=lambda name: name.partition(":")[0]):
        del top
        parts.append("\n")
        parts += [f"{day} open {name}\n" for name in names if name not in opened_by_hand]
    return "".join(parts)


def load_ledger(main_file: str) -> tuple[list[Any], list[Any], Any]:
    """The books as beancount's loader reads them: entries, errors, options. Errors are the loader's verdict."""
    import gc

    from beancount import loader

    loader.initialize(use_cache=False)
    gc.disable()  # a load makes millions of objects that all live on; collecting meanwhile costs a third of the time
    try:
        entries, errors, options = loader.load_file(main_file)
    finally:
        gc.enable()
    return entries, errors, options
