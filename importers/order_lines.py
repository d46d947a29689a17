"""Lines of one order: what stands once an order is carried to each of its lines, and totals that a file lacks.

Place in the flow: between staging and the final table, for exports of orders. Lines of one order need not be adjacent.
An order that says two different things about itself is refused.
"""

from __future__ import annotations

from dataclasses import replace

import duckdb

from importers.diagnosis import cell_texts, column_label
from importers.text_tables import PROBLEMS_LISTED, quote_name, quote_text
from importers.typed import CURRENCY_GIVEN, Typing
from ledger_tools.errors import Problem
from ledger_tools.money import currencies_by_digits

ORDER_TEXTS = "importers_order_texts"


def currencies_decide_digits(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> bool:
    """Whether a currency that some lines state has other digits than the one that the blank lines were read with."""
    rows = connection.execute(f"SELECT DISTINCT currency FROM {quote_name(stage)} WHERE {CURRENCY_GIVEN}").fetchall()
    digits = currencies_by_digits()
    usual = digits[typing.currency]
    return any(digits.get(str(code), usual) != usual for (code,) in rows)


def forget_assumed_currencies(connection: duckdb.DuckDBPyConnection, stage: str) -> None:
    """Blank the currency of lines that state none, so that their order's own is carried to them."""
    connection.execute(f"UPDATE {quote_name(stage)} SET currency = NULL WHERE NOT {CURRENCY_GIVEN}")


def assume_currencies(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> None:
    """Give orders that state no currency at all the source's."""
    connection.execute(
        f"UPDATE {quote_name(stage)} SET currency = {quote_text(typing.currency)} WHERE currency IS NULL"
    )


def complete_currencies(connection: duckdb.DuckDBPyConnection, typing: Typing) -> Typing:
    """The same file with each order's currency on all of its lines, where it stands only on some.

    The currency decides how the amounts of a line are read, so it is carried before anything is typed.
    """
    currency, order_id = typing.sources("currency"), typing.sources("order_id")
    if len(currency) != 1 or not order_id:
        return typing
    key = f"nullif(trim({typing.cell('order_id')}), '')"
    width = len(typing.table.header)
    texts = ORDER_TEXTS
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {texts} AS SELECT row_number() OVER () AS record, * FROM {typing.table.relation}"
    )
    connection.execute(
        f"UPDATE {texts} SET {currency[0]} = known.code FROM ("
        f"SELECT carried.record, first.code FROM (SELECT record, last_value({key} IGNORE NULLS) OVER (ORDER BY record) "
        f"AS order_key FROM {texts}) AS carried JOIN (SELECT {key} AS order_key, "
        f"arg_min({currency[0]}, record) AS code FROM {texts} WHERE trim({currency[0]}) <> '' GROUP BY 1) AS first "
        f"USING (order_key)) AS known WHERE {texts}.record = known.record "
        f"AND nullif(trim({texts}.{currency[0]}), '') IS NULL"
    )
    names = ", ".join(f"c{place}" for place in range(1, width + 1))
    relation = f"(SELECT {names} FROM {ORDER_TEXTS} ORDER BY record)"
    return replace(typing, table=replace(typing.table, relation=relation))


def fill_orders(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> list[Problem]:
    """Carries order-level fields to every line of the order; the problems are orders that contradict themselves."""
    table = quote_name(stage)
    if typing.mapping.file.order_fields == "first-line":
        connection.execute(
            f"UPDATE {table} SET order_id = carried.order_id FROM (SELECT record, last_value(order_id IGNORE NULLS) "
            f"OVER (ORDER BY record) AS order_id FROM {table}) AS carried "
            f"WHERE {table}.record = carried.record AND {table}.order_id IS NULL"
        )
    shared = [entry.name for entry in typing.fields if entry.order_level and entry.name != "order_id"]
    shared = [name for name in shared if typing.is_given(name) or name == "currency"]
    digest = f"hash({', '.join(map(quote_name, shared))})"
    uneven = (
        f"SELECT order_id FROM {table} WHERE order_id IS NOT NULL GROUP BY order_id "
        f"HAVING count(*) > 1 AND min({digest}) <> max({digest})"
    )
    sides = ", ".join(
        f"min({quote_name(name)}) AS {quote_name(name)}, max({quote_name(name)}) AS {quote_name('other ' + name)}"
        for name in shared
    )
    whole = quote_name(stage + "_orders")
    connection.execute(
        f"CREATE OR REPLACE TEMP TABLE {whole} AS SELECT order_id, {sides} FROM {table} "
        f"WHERE order_id IN ({uneven}) GROUP BY order_id"
    )
    differing = ", ".join(f"count(*) FILTER ({quote_name(name)} <> {quote_name('other ' + name)})" for name in shared)
    counts = connection.execute(f"SELECT {differing} FROM {whole}").fetchall()[0]
    problems = []
    for name, count in zip(shared, counts, strict=True):
        if count:
            problems += _contradictions(connection, typing, stage, name)
    if not problems:
        values = ", ".join(
            f"coalesce(w.{quote_name(name)}, s.{quote_name(name)}) AS {quote_name(name)}" for name in shared
        )
        filled = quote_name(stage + "_filled")
        connection.execute(
            f"CREATE TEMP TABLE {filled} AS SELECT s.* REPLACE ({values}) FROM {table} AS s "
            f"LEFT JOIN {whole} AS w ON s.order_id = w.order_id"
        )
        connection.execute(f"DROP TABLE {table}")
        connection.execute(f"ALTER TABLE {filled} RENAME TO {table}")
    connection.execute(f"DROP TABLE {whole}")
    return problems


def _contradictions(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str, name: str) -> list[Problem]:
    table, whole, field = quote_name(stage), quote_name(stage + "_orders"), quote_name(name)
    rows = connection.execute(
        f"SELECT order_id, first, min(record) FROM (SELECT s.order_id, s.record, s.{field} AS value, "
        f"first_value(s.{field} IGNORE NULLS) OVER same AS first_value, "
        f"min(s.record) FILTER (WHERE s.{field} IS NOT NULL) OVER (PARTITION BY s.order_id) AS first "
        f"FROM {table} AS s JOIN {whole} AS w ON s.order_id = w.order_id "
        f"WHERE w.{field} <> w.{quote_name('other ' + name)} WINDOW same AS (PARTITION BY s.order_id ORDER BY s.record "
        f"ROWS BETWEEN UNBOUNDED PRECEDING AND UNBOUNDED FOLLOWING)"
        f") WHERE value <> first_value GROUP BY order_id, first ORDER BY 3"
    ).fetchall()
    listed = [record for row in rows[: PROBLEMS_LISTED + 1] for record in row[1:]]
    texts = cell_texts(connection, typing, name, listed)
    return [
        Problem(
            f"{typing.table.file}, record {record}, {column_label(typing, name)}",
            f"found {texts.get(record, '')!r}, expected {texts.get(first, '')!r} as in record {first} "
            f"of the same order ({order_id})",
            "one order has one value: export the file again, or map another column",
        )
        for order_id, first, record in rows
    ]


def derive_totals(connection: duckdb.DuckDBPyConnection, stage: str) -> None:
    """Sets each order's total to the sum of what its lines state (the mapping's `total = "lines"`)."""
    table = quote_name(stage)
    connection.execute(
        f"UPDATE {table} SET total = sums.goods - coalesce({table}.order_discount, 0) "
        f"+ coalesce({table}.shipping_charged, 0) + coalesce({table}.tip, 0) "
        f"+ CASE WHEN coalesce({table}.prices_include_tax, false) THEN 0 ELSE coalesce({table}.tax, 0) END "
        f"FROM (SELECT order_id, sum(coalesce(quantity, 0) * coalesce(unit_price, 0) "
        f"- coalesce(line_discount, 0))::BIGINT AS goods "
        f"FROM {table} GROUP BY order_id) AS sums WHERE {table}.order_id = sums.order_id"
    )


def default_quantities(connection: duckdb.DuckDBPyConnection, stage: str) -> None:
    """A line with a price and no quantity is one piece."""
    connection.execute(f"UPDATE {quote_name(stage)} SET quantity = 1 WHERE quantity IS NULL AND unit_price IS NOT NULL")
