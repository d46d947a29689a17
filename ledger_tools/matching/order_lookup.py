"""Finding the order that a person means: by its id, its number without `#` or prefix, as SOURCE/ORDER, or by its link in the journal."""

from __future__ import annotations

import duckdb

from ledger_tools.errors import LedgerError, Problem
from ledger_tools.matching.loose_references import without_prefix

_BARE = without_prefix("$key")

#: Ways to read what was typed, the strictest first; each is an SQL condition on `order_head AS head`.
_READINGS = (
    "head.order_id = $text",
    "source.name || '/' || head.order_id = $text",
    "head.order_no IN (SELECT order_no FROM order_link WHERE link = $link)",
    "head.order_key = $key",
    f"{without_prefix('head.order_key')} = {_BARE} AND {_BARE} <> ''",
)


def find_order(connection: duckdb.DuckDBPyConnection, text: str) -> int:
    """Number of the order that a text names: its id, "#1001", "1001", "SO-1001", "shop/1001", or its link in the journal.

    Raises:
        LedgerError: no order is called so, or several are.
    """
    key = text.strip().lstrip("# ").upper()
    values = {"text": text.strip(), "link": text.strip().lstrip("^"), "key": key}
    for reading in _READINGS:
        used = {name: value for name, value in values.items() if f"${name}" in reading}
        rows = connection.execute(
            f"""SELECT head.order_no, head.order_id, source.name, link FROM order_head AS head
                JOIN source USING (source_no) JOIN order_link USING (order_no)
                WHERE {reading} ORDER BY head.order_id, source.name LIMIT 6""",
            used,
        ).fetchall()
        if len(rows) == 1:
            return int(rows[0][0])
        if rows:
            found = ", ".join(f"{order_id} ({source}): {link}" for _, order_id, source, link in rows)
            raise LedgerError(
                Problem(f"order {text!r}", f"fits several orders: {found}", "name one by its link, or as SOURCE/ORDER")
            )
    nearest = connection.execute(
        "SELECT order_id FROM order_head ORDER BY levenshtein(order_key, ?), placed_at DESC, order_no LIMIT 3", [key]
    ).fetchall()
    if not nearest:
        raise LedgerError(
            Problem(f"order {text!r}", "is not there: the books hold no orders", "import a shop's export")
        )
    names = ", ".join(str(order_id) for (order_id,) in nearest)
    raise LedgerError(Problem(f"order {text!r}", "is not in any shop export", f"the nearest are {names}"))
