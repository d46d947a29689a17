"""Orders get numbers, and the references that other exports hold are resolved to them.

A reference is normalised by the source's `reference_pattern` (group 1 is what identifies the order); without one,
blanks around it and a leading `#` are dropped and case is ignored. What still finds no order is read without prefix or
suffix (`loose_references`). Last comes the payment reference.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import duckdb

from ledger_tools.matching.loose_references import loosen
from ledger_tools.matching.tied import tied_orders
from ledger_tools.records import ORDERS
from ledger_tools.store import quoted

_HEAD_FIELDS = tuple(field.name for field in ORDERS if field.order_level and field.name not in ("order_id", "currency"))
_LINE_FIELDS = tuple(field.name for field in ORDERS if not field.order_level)


def normal_key(column: str, patterns: Mapping[int, str]) -> str:
    """SQL expression: what of an order number or reference identifies the order."""
    plain = f"upper(ltrim(trim({column}), '# '))"
    if not patterns:
        return plain
    cases = " ".join(
        f"WHEN {number} THEN coalesce(nullif(upper(regexp_extract({column}, {quoted(pattern)}, 1)), ''), {plain})"
        for number, pattern in sorted(patterns.items())
    )
    return f"CASE source_no {cases} ELSE {plain} END"


def number_orders(
    connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str], gift_card_categories: Iterable[str]
) -> None:
    """Make `order_head` (one row an order) and `order_line` (one row a line, gift cards known) from the kept rows."""
    heads = ", ".join(_HEAD_FIELDS)
    connection.execute(
        f"""
        CREATE TABLE order_head AS
        SELECT row_number() OVER ()::INTEGER AS order_no, source_no, key AS order_id,
               {normal_key("key", patterns)} AS order_key, currency, {heads},
               coalesce(tax_jurisdiction, ship_country || '-' || ship_region, ship_country, 'Unknown') AS jurisdiction
        FROM (SELECT kept.* EXCLUDE (currency), coalesce(kept.currency, source.currency) AS currency
              FROM kept_orders AS kept JOIN source USING (source_no)
              JOIN (SELECT export_no, min(record) AS record FROM kept_orders GROUP BY export_no, source_no, key) AS first
                  ON first.export_no = kept.export_no AND first.record = kept.record)
        """
    )
    lines = ", ".join(f"line.{name}" for name in _LINE_FIELDS)
    gift_cards = ", ".join(quoted(name.strip().lower()) for name in gift_card_categories) or "''"
    connection.execute(
        f"""
        CREATE TABLE order_line AS
        SELECT head.order_no, line.record, {lines},
               coalesce(lower(trim(line.category)) IN ({gift_cards}), false) AS is_gift_card
        FROM kept_orders AS line JOIN order_head AS head ON head.order_id = line.key AND head.source_no = line.source_no;
        DROP TABLE kept_orders;
        CREATE TABLE order_key AS
        SELECT order_key, min(order_no) AS order_no FROM order_head GROUP BY order_key HAVING count(*) = 1
        """
    )


def resolve_references(connection: duckdb.DuckDBPyConnection, kind: str, patterns: Mapping[int, str]) -> None:
    """Make `<kind>_row`: the kept rows with `order_no` and `matched_by` (null where no order is found)."""
    normal = normal_key("order_ref", patterns)
    loosen(connection, kind, normal)
    _take_decisions(connection, kind)
    by_payment = ""
    payment_number = "NULL::INTEGER"
    if kind == "processor":
        _number_payments(connection, normal)
        by_payment = "LEFT JOIN payment ON payment.payment_ref = kept.payment_ref"
        payment_number = "payment.order_no"
    connection.execute(
        f"""
        CREATE TABLE {kind}_row AS
        SELECT kept.* EXCLUDE (order_key),
               CASE WHEN decided.event_id IS NOT NULL THEN decided.order_no
                    ELSE coalesce(exact.order_no, loose.order_no, {payment_number}) END AS order_no,
               CASE WHEN decided.event_id IS NOT NULL THEN CASE WHEN decided.order_no IS NOT NULL THEN 'decision' END
                    WHEN exact.order_no IS NOT NULL THEN 'reference'
                    WHEN loose.order_no IS NOT NULL THEN 'reference without prefix or suffix'
                    WHEN {payment_number} IS NOT NULL THEN 'payment reference' END AS matched_by
        FROM (SELECT *, {normal} AS order_key FROM kept_{kind}) AS kept
        LEFT JOIN order_key AS exact ON exact.order_key = kept.order_key
        LEFT JOIN loosened AS loose
            ON loose.source_no = kept.source_no AND loose.kind = kept.kind AND loose.order_key = kept.order_key
        LEFT JOIN decided ON decided.source_no = kept.source_no AND decided.event_id = kept.event_id
        {by_payment};
        DROP TABLE kept_{kind}; DROP TABLE loosened
        """
    )


def _take_decisions(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Make `decided`: events that a person tied to an order, and the other events of their payments.

    An event has the order that it was tied to itself. One that was tied to several has none here: a payment is split among
    them later.
    """
    payment = "coalesce(kept.payment_ref, kept.event_id)" if kind == "processor" else "kept.event_id"
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE decided AS
        WITH tied AS (
            SELECT kept.source_no, kept.event_id, {payment} AS payment, tie.order_no
            FROM ({tied_orders("decision")}) AS tie JOIN source ON source.name = tie.source_name
            JOIN kept_{kind} AS kept ON kept.source_no = source.source_no AND kept.event_id = tie.event_id
        ), own AS (
            SELECT source_no, event_id, CASE WHEN min(order_no) = max(order_no) THEN min(order_no) END AS order_no
            FROM tied GROUP BY source_no, event_id
        )
        SELECT * FROM own
        UNION ALL
        SELECT kept.source_no, kept.event_id, whole.order_no
        FROM (SELECT source_no, payment, min(order_no) AS order_no FROM tied GROUP BY ALL HAVING min(order_no) = max(order_no)) AS whole
        JOIN kept_{kind} AS kept ON kept.source_no = whole.source_no AND {payment} = whole.payment
        ANTI JOIN own ON own.source_no = kept.source_no AND own.event_id = kept.event_id
        """
    )


def _number_payments(connection: duckdb.DuckDBPyConnection, normal: str) -> None:
    """Make `payment`: payment references that belong to exactly one order, by the shop's or a processor's word."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE payment AS
        WITH referenced AS (
            SELECT source_no, kind, payment_ref, {normal} AS order_key FROM kept_processor WHERE payment_ref IS NOT NULL
        )
        SELECT payment_ref, min(order_no) AS order_no FROM (
            SELECT payment_ref, order_no FROM order_head WHERE payment_ref IS NOT NULL
            UNION ALL
            SELECT payment_ref, coalesce(exact.order_no, loose.order_no) FROM referenced
            LEFT JOIN order_key AS exact USING (order_key) LEFT JOIN loosened AS loose USING (source_no, kind, order_key)
            WHERE coalesce(exact.order_no, loose.order_no) IS NOT NULL
        ) GROUP BY payment_ref HAVING min(order_no) = max(order_no)
        """
    )
