"""One version of each record: repeats dropped, amendments listed, vanished records and gaps found.

A record is known by its source and key (event id, order id; for bank lines date, amount and ordinal). Of two exports
that hold one key the later wins. Later is by what an export covers (last day, first day, time stamp, name), never by
when it was imported, so the books don't depend on the order of imports.
"""

from __future__ import annotations

from dataclasses import dataclass

import duckdb

from ledger_tools.money import currencies_by_digits
from ledger_tools.records import DATED_BY, KINDS, MONEY, SQL_TYPES, Field, column
from ledger_tools.store import amount_text

#: Fields that fill in as time passes: a value where there was none is progress, not an amendment.
_PROGRESS = frozenset(
    {"shipped_at", "cancelled_at", "available_on", "payout_id", "payment_ref", "order_ref"}
    | {"refunded_items", "refunded_shipping", "refunded_tip", "refunded_tax", "refunded_to_gift_card"}
)

#: Fields that say how a record is called or written, not what happened; a bank may word a line anew.
_NOT_COMPARED = {"bank": frozenset({"event_id", "at", "memo", "counterparty", "balance"})}


def create_raw_tables(connection: duckdb.DuckDBPyConnection) -> None:
    """Tables that hold every row of every export, kind by kind."""
    for kind, fields in KINDS.items():
        columns = ", ".join(f"{column(field.name)} {SQL_TYPES[field.type]}" for field in fields)
        connection.execute(
            f"CREATE TABLE raw_{kind} (export_no INTEGER, source_no SMALLINT, record INTEGER, {columns}, key VARCHAR)"
        )


def add_rows(connection: duckdb.DuckDBPyConnection, kind: str, table: str, export_no: int, source_no: int) -> None:
    """Copy one export's typed rows to the raw table of its kind, with the key of each record."""
    names = ", ".join(column(field.name) for field in KINDS[kind])
    if kind == "bank":
        key = (
            "strftime(\"at\", '%Y%m%d') || ':' || amount || ':' || row_number() OVER "
            '(PARTITION BY "at"::DATE, amount, currency ORDER BY memo, counterparty, record)'
            f" || CASE WHEN currency = (SELECT currency FROM source WHERE source_no = {source_no}) THEN ''"
            " ELSE ':' || currency END"
        )
    else:
        key = "order_id" if kind == "orders" else "event_id"
    connection.execute(f"INSERT INTO raw_{kind} SELECT {export_no}, {source_no}, record, {names}, {key} FROM {table}")


def rank_exports(connection: duckdb.DuckDBPyConnection) -> None:
    """Order the exports of each source from earlier to later; `orders (1).csv` comes after `orders.csv`."""
    connection.execute(
        """
        UPDATE export SET rank = ranked.rank FROM (
            SELECT export_no, row_number() OVER (
                PARTITION BY source_no ORDER BY last_day NULLS FIRST, first_day NULLS FIRST, time_stamp,
                    regexp_replace(regexp_replace(file, '~[0-9a-f]{12}', ''), '[.].*', ''),
                    regexp_replace(file, '~[0-9a-f]{12}', ''), digest
            ) AS rank FROM export
        ) AS ranked WHERE export.export_no = ranked.export_no
        """
    )


@dataclass(frozen=True)
class _Kind:
    name: str
    dated_by: str

    @property
    def content(self) -> str:
        """SQL expression: a number that differs where the content of a row differs."""
        left_out = _NOT_COMPARED.get(self.name, frozenset())
        return "hash(" + ", ".join(column(field.name) for field in KINDS[self.name] if field.name not in left_out) + ")"


def keep_latest(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Make `kept_<kind>`: the rows of the latest version of each record; list amendments and vanished records."""
    facts = _Kind(kind, column(DATED_BY[kind]))
    _find_repeated(connection, facts)
    _list_amendments(connection, facts)
    _list_vanished(connection, facts)
    _count_rows(connection, kind)
    _find_overruled(connection, facts)
    once = ""
    if kind != "orders":
        once = f"""
            DELETE FROM raw_{kind} WHERE rowid IN (
                SELECT raw.rowid FROM raw_{kind} AS raw JOIN repeated USING (source_no, key)
                QUALIFY row_number() OVER (PARTITION BY source_no, key ORDER BY record) > 1);
        """
    connection.execute(
        f"""
        DELETE FROM raw_{kind} USING repeated
        WHERE raw_{kind}.source_no = repeated.source_no AND raw_{kind}.key = repeated.key
          AND raw_{kind}.export_no <> repeated.export_no;
        {once}
        ALTER TABLE raw_{kind} RENAME TO kept_{kind};
        DROP TABLE repeated; DROP TABLE holder
        """
    )


def take_out(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Leave out of `kept_<kind>` what vanished and a person took out; what a later export holds again is back."""
    connection.execute(
        f"""
        DELETE FROM kept_{kind} WHERE (source_no, key) IN (
            SELECT (vanished.source_no, record_key) FROM vanished JOIN source USING (source_no)
            JOIN decision ON decision.source = source.name AND coalesce(decision.event_id, decision.order_id) = record_key
            WHERE action = 'take-out' AND source.kind = '{kind}')
        """
    )


def _find_repeated(connection: duckdb.DuckDBPyConnection, facts: _Kind) -> None:
    """Make `repeated` (records that stand more than once, with the export that counts) and `holder` (who holds them)."""
    kind = facts.name
    doubled = "min(export_no) <> max(export_no)" + ("" if kind == "orders" else " OR count(*) > 1")
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE holder AS
        SELECT raw.source_no, raw.key, raw.export_no, any_value(export.rank) AS rank, min({facts.dated_by})::DATE AS day,
               count(*) AS rows, sum({facts.content}::HUGEINT) AS content
        FROM raw_{kind} AS raw JOIN export USING (export_no)
        SEMI JOIN (SELECT source_no, key FROM raw_{kind} GROUP BY source_no, key HAVING {doubled}) AS twice
            ON twice.source_no = raw.source_no AND twice.key = raw.key
        GROUP BY raw.source_no, raw.key, raw.export_no;
        CREATE OR REPLACE TEMP TABLE repeated AS
        SELECT source_no, key, arg_max(export_no, rank) AS export_no, count(DISTINCT content) AS versions
        FROM holder GROUP BY source_no, key
        """
    )


def _text_of(field: Field) -> str:
    """SQL expression: a field as a person would write it."""
    if field.type == MONEY:
        return amount_text(f"raw.{column(field.name)}", "raw.currency", currencies_by_digits())
    return f"CAST(raw.{column(field.name)} AS VARCHAR)"


def _list_amendments(connection: duckdb.DuckDBPyConnection, facts: _Kind) -> None:
    left_out = _NOT_COMPARED.get(facts.name, frozenset())
    fields = [field for field in KINDS[facts.name] if field.name not in left_out]
    names = ", ".join(f"'{field.name}'" for field in fields)
    texts = ", ".join(_text_of(field) for field in fields)
    order_level = ", ".join(f"'{field.name}'" for field in fields if field.order_level) or "''"
    progress = ", ".join(f"'{name}'" for name in sorted(_PROGRESS))
    connection.execute(
        f"""
        INSERT INTO amended
        WITH cell AS (
            SELECT raw.source_no, raw.key, raw.export_no, raw.record, {facts.dated_by}::DATE AS day,
                   unnest([{names}]) AS field, unnest([{texts}]) AS text
            FROM raw_{facts.name} AS raw JOIN repeated USING (source_no, key) WHERE repeated.versions > 1
        ), version AS (
            SELECT cell.source_no, cell.key, cell.export_no, any_value(export.rank) AS rank, min(day) AS day, field,
                   CASE WHEN field IN ({order_level}) THEN coalesce(arg_min(text, record), '')
                        ELSE string_agg(coalesce(text, ''), ' | ' ORDER BY record) END AS text
            FROM cell JOIN export USING (export_no) GROUP BY cell.source_no, cell.key, cell.export_no, field
        ), step AS (
            SELECT *, lag(text) OVER (PARTITION BY source_no, key, field ORDER BY rank) AS old_text FROM version
        )
        SELECT source_no, key, day, field, old_text, text, export_no FROM step
        WHERE old_text IS NOT NULL AND old_text <> text
          AND NOT (field IN ({progress}) AND (old_text = ''
                   OR (field LIKE 'refunded%' AND try_cast(text AS DECIMAL(18, 4)) > try_cast(old_text AS DECIMAL(18, 4)))))
        """
    )


def _list_vanished(connection: duckdb.DuckDBPyConnection, facts: _Kind) -> None:
    """List records whose day a later export of the source covers without holding them.

    The first and last day of a file that only its events date may be covered in part: they count where the later file
    spans all of the earlier one, or says that it covers whole days.
    """
    kind = facts.name
    connection.execute(
        f"""
        INSERT INTO vanished
        WITH pair AS (
            SELECT export_no, later_no, later_rank, first_day + CASE WHEN whole THEN 0 ELSE 1 END AS first_day,
                   last_day - CASE WHEN whole THEN 0 ELSE 1 END AS last_day
            FROM (
                SELECT earlier.export_no, later.export_no AS later_no, later.rank AS later_rank, days.first_day, days.last_day,
                       later.whole_days
                           OR (later.first_day <= earlier.first_day AND later.last_day >= earlier.last_day) AS whole
                FROM export AS earlier JOIN export AS later USING (source_no) JOIN source USING (source_no)
                JOIN export_days AS days ON days.export_no = later.export_no
                WHERE source.kind = '{kind}' AND later.rank > earlier.rank AND days.first_day <= earlier.last_day
                  AND days.last_day >= earlier.first_day
            )
        )
        SELECT raw.source_no, raw.key, min({facts.dated_by})::DATE, min_by(pair.later_no, pair.later_rank)
        FROM raw_{kind} AS raw JOIN pair USING (export_no)
        LEFT JOIN (SELECT source_no, key, max(rank) AS rank FROM holder GROUP BY ALL) AS held
            ON held.source_no = raw.source_no AND held.key = raw.key
        WHERE {facts.dated_by}::DATE BETWEEN pair.first_day AND pair.last_day
          AND (held.rank IS NULL OR pair.later_rank > held.rank)
        GROUP BY raw.source_no, raw.key
        """
    )


def _count_rows(connection: duckdb.DuckDBPyConnection, kind: str) -> None:
    """Count each export's rows as new, repeated or amended against the exports that were read before it."""
    connection.execute(
        f"""
        UPDATE export SET rows_new = records, rows_repeated = 0, rows_amended = 0
        FROM source WHERE source.source_no = export.source_no AND source.kind = '{kind}';
        UPDATE export SET rows_new = records - counted.repeated - counted.amended, rows_repeated = counted.repeated,
               rows_amended = counted.amended
        FROM (
            SELECT export_no, coalesce(sum(rows) FILTER (same OR NOT changed), 0) AS repeated,
                   coalesce(sum(rows) FILTER (changed AND NOT same), 0) AS amended
            FROM (
                SELECT export_no, rows, (source_no, key) IN (SELECT (source_no, record_key) FROM amended) AS changed,
                       count(*) OVER before AS earlier,
                       coalesce(list_contains(list(content) OVER before, content), false) AS same
                FROM holder
                WINDOW before AS (PARTITION BY source_no, key ORDER BY export_no
                                  ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING)
            ) WHERE earlier > 0 GROUP BY export_no
        ) AS counted WHERE export.export_no = counted.export_no
        """
    )


def _find_overruled(connection: duckdb.DuckDBPyConnection, facts: _Kind) -> None:
    """Name, for an export that was read after one that counts before it, that one, where the two say different things.

    Either a record of both differs; or the days of the export lie within the other's and one of them lacks a record of the
    other's. On its first and last day an export may lack records because it begins or ends within the day.
    """
    kind = facts.name
    connection.execute(
        f"""
        UPDATE export SET overruled_by = counting.file
        FROM (
            SELECT holder.export_no, min(later.file) AS file
            FROM holder JOIN repeated USING (source_no, key) JOIN export AS later ON later.export_no = repeated.export_no
            WHERE holder.export_no > repeated.export_no AND repeated.versions > 1
              AND (source_no, key) IN (SELECT (source_no, record_key) FROM amended)
            GROUP BY holder.export_no
        ) AS counting WHERE counting.export_no = export.export_no;
        CREATE OR REPLACE TEMP TABLE within AS
        SELECT short.export_no, long.export_no AS long_no, long.rank AS long_rank, long.file,
               short.first_day + CASE WHEN short.whole_days OR short.first_day = long.first_day THEN 0 ELSE 1 END AS first_day,
               short.last_day - CASE WHEN short.whole_days OR short.last_day = long.last_day THEN 0 ELSE 1 END AS last_day
        FROM export AS short JOIN export AS long USING (source_no) JOIN source USING (source_no)
        WHERE source.kind = '{kind}' AND short.overruled_by IS NULL AND short.export_no > long.export_no
          AND short.rank < long.rank AND short.first_day >= long.first_day AND short.last_day <= long.last_day
        """
    )
    (pairs,) = connection.execute("SELECT count(*) FROM within").fetchall()[0]
    if pairs:
        connection.execute(
            f"""
            UPDATE export SET overruled_by = counting.file
            FROM (
                SELECT export_no, arg_max(file, long_rank) AS file
                FROM (
                    SELECT within.export_no, file, long_rank FROM within JOIN raw_{kind} AS raw ON raw.export_no = long_no
                    LEFT JOIN holder AS held ON held.export_no = within.export_no AND held.key = raw.key
                    WHERE held.key IS NULL AND raw.{facts.dated_by}::DATE BETWEEN first_day AND last_day
                    UNION ALL
                    SELECT within.export_no, file, long_rank FROM within JOIN raw_{kind} AS raw USING (export_no)
                    LEFT JOIN holder AS held ON held.export_no = long_no AND held.key = raw.key
                    WHERE held.key IS NULL
                ) GROUP BY export_no
            ) AS counting WHERE counting.export_no = export.export_no
            """
        )
    connection.execute("DROP TABLE within")
