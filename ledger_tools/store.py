"""The database of a books folder: opening it safely, and the tables that every later stage reads.

Amounts are BIGINT minor units of their row's currency; `value` is the same in the base currency. Days are local
DATEs of the shop. `*_no` are integer codes that mean something inside one build only; ids that a person sees are
texts. The database is built in memory, written aside and swapped in whole, so whoever has it open reads a finished build.
"""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger_tools.money import minor_digits

# The database is loaded where it is opened: the help of a command names its columns without it.
if TYPE_CHECKING:
    import duckdb

#: Nothing is ever fetched: DuckDB may neither install nor load what is not built in.
_SAFE: dict[str, Any] = {
    "autoinstall_known_extensions": "false",
    "autoload_known_extensions": "false",
    "allow_community_extensions": "false",
}

SCHEMA = """
CREATE TABLE source (source_no SMALLINT, name VARCHAR, kind VARCHAR, currency VARCHAR);
CREATE TABLE payout_pattern (source_no SMALLINT, pattern VARCHAR);
CREATE TABLE export (
    export_no INTEGER, source_no SMALLINT, file VARCHAR, digest VARCHAR, first_day DATE, last_day DATE, time_stamp VARCHAR,
    whole_days BOOLEAN, rows_read BIGINT, records BIGINT, rank INTEGER,
    rows_new BIGINT, rows_repeated BIGINT, rows_amended BIGINT, overruled_by VARCHAR
);
CREATE TABLE export_days ( -- spans that an export covers without a gap
    export_no INTEGER, source_no SMALLINT, first_day DATE, last_day DATE
);
CREATE TABLE covered_span (source_no SMALLINT, first_day DATE, last_day DATE); -- by all exports of the source
CREATE TABLE skipped (export_no INTEGER, reason VARCHAR, rows BIGINT);
CREATE TABLE claimed_balance ( -- every balance that anything states, while the books are built
    source_no SMALLINT, stated_on DATE, currency VARCHAR, amount BIGINT, stated_by VARCHAR, export_no INTEGER
);
CREATE TABLE stated_balance (source_no SMALLINT, stated_on DATE, currency VARCHAR, amount BIGINT, stated_by VARCHAR);
CREATE TABLE differing_balance (source_no SMALLINT, stated_on DATE, currency VARCHAR, amount BIGINT, stated_by VARCHAR);
CREATE TABLE account (account_no SMALLINT, name VARCHAR, role VARCHAR);
CREATE TABLE account_use (role VARCHAR, parameter VARCHAR, account_no SMALLINT);
CREATE TABLE currency (currency VARCHAR, digits TINYINT);
CREATE TABLE amended (
    source_no SMALLINT, record_key VARCHAR, record_on DATE, field VARCHAR, old_text VARCHAR, new_text VARCHAR,
    export_no INTEGER
);
CREATE TABLE vanished (source_no SMALLINT, record_key VARCHAR, record_on DATE, export_no INTEGER);
CREATE TABLE event (
    event_no INTEGER, rule VARCHAR, source_no SMALLINT, event_id VARCHAR, posted_on DATE, order_no INTEGER,
    flagged BOOLEAN, note VARCHAR, memo VARCHAR,
    belongs_on DATE, -- of a prior-period entry: the day in a closed month that it belongs to
    taxed VARCHAR -- of an entry of a closed month that has changed: how its order's tax stood then, and where
);
CREATE TABLE posting (
    event_no INTEGER, leg SMALLINT, posted_on DATE, order_no INTEGER, account_no SMALLINT, currency VARCHAR,
    amount BIGINT, value BIGINT
);
CREATE TABLE decision (
    item VARCHAR, kind VARCHAR, action VARCHAR, reason VARCHAR, decided_by VARCHAR, decided_on DATE, item_date DATE, source VARCHAR,
    event_id VARCHAR, order_id VARCHAR, match_source VARCHAR, match_id VARCHAR, account VARCHAR, balance_account VARCHAR,
    amount BIGINT, currency VARCHAR
);
CREATE TABLE candidate (
    source_no SMALLINT, record_id VARCHAR, wanted VARCHAR, rank INTEGER, match_source VARCHAR, match_id VARCHAR, day DATE, amount BIGINT,
    currency VARCHAR, why VARCHAR,
    whole INTEGER -- records of one rank that are one candidate together
);
CREATE TABLE closed_month (month VARCHAR, last_day DATE, closed_on DATE, closed_by VARCHAR);
CREATE TABLE rate_card_production (sku VARCHAR, valid_from DATE, currency VARCHAR, price BIGINT);
CREATE TABLE rate_card_shipping (
    category VARCHAR, destination VARCHAR, valid_from DATE, currency VARCHAR, first_piece BIGINT, additional_piece BIGINT
);
CREATE TABLE fact (name VARCHAR, text VARCHAR);
"""


def quoted(text: str) -> str:
    """A text as an SQL literal; the only door by which data gets into SQL text where it can't be bound."""
    return "'" + text.replace("'", "''") + "'"


def sku_key(column: str) -> str:
    """SQL expression: what two spellings of a SKU have in common, wherever SKUs are compared; NULL where there is none.

    Partners and shops write one SKU in capitals or not. Books and reports show it as it is written.
    """
    return f"nullif(upper(trim({column})), '')"


def within_period(day: str) -> str:
    """SQL condition: a day is one of those from `$first` to `$last`, each of which may be NULL, for no end."""
    return f"($first IS NULL OR {day} >= $first) AND ($last IS NULL OR {day} <= $last)"


def amount_text(amount: str, currency: str, currencies: Iterable[str], *, digits_at_most: int = 15) -> str:
    """SQL expression: minor units as decimal text in the digits of their currency, one of `currencies`."""
    by_digits: dict[int, list[str]] = {}
    for code in currencies:
        by_digits.setdefault(minor_digits(code), []).append(code)
    cases = []
    for digits, codes in sorted(by_digits.items(), key=lambda pair: (pair[0] == 2, pair[0])):
        unit = f"0.{'0' * (digits - 1)}1::DECIMAL({digits + 1},{digits})"
        scaled = f"({amount}::DECIMAL({digits_at_most},0) * {unit})::VARCHAR" if digits else f"{amount}::VARCHAR"
        cases.append((codes, scaled))
    if not cases:
        return f"{amount}::VARCHAR"
    *others, (_, usual) = cases
    whens = " ".join(f"WHEN {currency} IN ({', '.join(map(quoted, codes))}) THEN {text}" for codes, text in others)
    return f"CASE {whens} ELSE {usual} END" if whens else usual


def connect_for_build(scratch: Path) -> duckdb.DuckDBPyConnection:
    """A new database that a build fills, in memory (and in `scratch` where memory runs short) until it is kept."""
    import duckdb

    connection = duckdb.connect(
        ":memory:",
        config={**_SAFE, "memory_limit": "3GB", "temp_directory": str(scratch), "preserve_insertion_order": True},
    )
    connection.execute("SET TimeZone = 'UTC'")
    connection.execute(SCHEMA)
    return connection


def connect_again(connection: duckdb.DuckDBPyConnection) -> duckdb.DuckDBPyConnection:
    """One more connection to a database that is being built, for work beside it in another thread."""
    another = connection.cursor()
    another.execute("SET TimeZone = 'UTC'")
    return another


#: Tables that only the posting needs, and columns that no report reads: they are not kept.
_WORKING_TABLES = frozenset(
    {"order_key", "fact_gift_refund", "fact_credit", "fact_conversion", "fact_sale_category", "fact_decision"}
)
_WORKING_COLUMNS = {
    "processor_row": ("export_no", "record", "key", "available_on", "payment_ref", "fee", "net", "memo"),
    "wallet_row": (*("export_no", "record", "key", "production", "shipping", "discount", "tax", "memo"),),
    "fact_wallet": ("memo", "tax_cost", "tax_recoverable", "recoverable_jurisdiction"),
    "fact_processor": ("memo", "split"),
    "bank_row": ("export_no", "record", "rule_no", "balance"),
}


def keep_tables(connection: duckdb.DuckDBPyConnection, file: Path) -> None:
    """Write what reports read of a built database to a new file, which stays attached for `keep_facts`."""
    tables = connection.execute(
        "SELECT table_name FROM duckdb_tables() WHERE database_name = 'memory' AND NOT temporary ORDER BY table_name"
    ).fetchall()
    connection.execute(f"ATTACH {quoted(str(file))} AS kept")
    for (name,) in tables:
        if name not in _WORKING_TABLES and name != "fact":
            left_out = f" EXCLUDE ({', '.join(_WORKING_COLUMNS[name])})" if name in _WORKING_COLUMNS else ""
            connection.execute(f"CREATE TABLE kept.{name} AS SELECT *{left_out} FROM memory.{name}")


def keep_facts(connection: duckdb.DuckDBPyConnection) -> None:
    """Write the named texts to the file that `keep_tables` has filled, and finish it."""
    connection.execute("CREATE TABLE kept.fact AS SELECT * FROM memory.fact")
    connection.execute("DETACH kept")


def connect_for_reading(file: Path) -> duckdb.DuckDBPyConnection:
    """A finished database, read only."""
    import duckdb

    # attached, not opened: within one process an opened path is shared, and a database swapped in meanwhile not seen
    connection = duckdb.connect(":memory:", config=_SAFE)
    connection.execute("SET TimeZone = 'UTC'")
    connection.execute(f"ATTACH {quoted(str(file))} AS books (READ_ONLY)")
    connection.execute("USE books")
    return connection


def read_fact(connection: duckdb.DuckDBPyConnection, name: str) -> str | None:
    """A named text that the build kept (its stamp, the base currency …)."""
    row = connection.execute("SELECT text FROM fact WHERE name = ?", [name]).fetchone()
    return None if row is None else str(row[0])


def write_facts(connection: duckdb.DuckDBPyConnection, facts: Iterable[tuple[str, str]]) -> None:
    """Keep named texts with the build."""
    connection.executemany("INSERT INTO fact VALUES (?, ?)", [list(pair) for pair in facts])
