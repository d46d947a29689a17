"""Ids of records that have none of their own, and ids that one file uses for two different things.

Place in the flow: last step before the final table. An id from content is a short SHA-256 of the canonical values of a
row, with the ordinal among equal rows of the file, so that equal rows stay apart and a repeated export gives equal ids.
"""

from __future__ import annotations

import duckdb

from importers.diagnosis import column_label
from importers.text_tables import quote_name, quote_text
from importers.typed import Typing
from ledger_tools.errors import Problem

_DIGEST_LENGTH = 16


def id_field(kind: str) -> str:
    """The field that identifies a record of a kind of export."""
    return "order_id" if kind == "orders" else "event_id"


def derive_ids(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> None:
    """Gives every row an id made of its content and its ordinal among equal rows."""
    table, name = quote_name(stage), id_field(typing.mapping.kind)
    parts = ", ".join(
        f"{quote_text(entry.name)} || '=' || {quote_name(entry.name)}::VARCHAR"
        for entry in typing.fields
        if entry.name != name
    )
    # A missing value leaves no trace, so that a field that records get later doesn't change the ids of old ones.
    content = f"left(sha256(concat_ws(chr(31), {parts})), {_DIGEST_LENGTH})"
    connection.execute(
        f"UPDATE {table} SET {name} = made.digest || '-' || made.ordinal FROM ("
        f"SELECT record, digest, row_number() OVER (PARTITION BY digest ORDER BY record) AS ordinal "
        f"FROM (SELECT record, {content} AS digest FROM {table})) AS made "
        f"WHERE {table}.record = made.record"
    )


def find_contradictions(connection: duckdb.DuckDBPyConnection, typing: Typing, stage: str) -> list[Problem]:
    """Events of the file that share an id and differ in content; equal ones are left for the store to drop."""
    table = quote_name(stage)
    values = ", ".join(f"e.{quote_name(entry.name)}" for entry in typing.fields)
    rows = connection.execute(
        f"WITH repeated AS (SELECT event_id FROM {table} GROUP BY event_id HAVING count(*) > 1) "
        f"SELECT event_id, min(record), arg_min(record, record) FILTER (WHERE digest <> first_digest) FROM ("
        f"SELECT e.event_id, e.record, hash({values}) AS digest, "
        f"first_value(hash({values})) OVER (PARTITION BY e.event_id ORDER BY e.record) AS first_digest "
        f"FROM {table} AS e JOIN repeated USING (event_id)) GROUP BY event_id "
        "HAVING count(*) FILTER (WHERE digest <> first_digest) > 0 ORDER BY 3"
    ).fetchall()
    return [
        Problem(
            f"{typing.table.file}, record {other}, {column_label(typing, 'event_id')}",
            f"found the id {event_id[:60]!r} of record {first} again, with other content; expected one event an id",
            'map a column that tells the two apart, or join two columns: event_id = ["…", "…"]',
        )
        for event_id, first, other in rows
    ]
