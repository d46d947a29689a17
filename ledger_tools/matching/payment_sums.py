"""Payments for several orders: which orders' dues make up a payment, sought only where few enough are around.

How many orders compete for a payment is counted set-based, by day, so that a crowded day costs no look at its orders. A
payment with more around it than can be told apart stays open, and so do the orders that it could be for. A payment for
several orders becomes a row for each of them, `EVENT/ORDER`, with its share of the amount and, by largest remainder, of
the fee. Money is in minor units.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, replace

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.sums import TOO_MANY, Finding, Target, leave_to_singles, seek_sums
from ledger_tools.money import allocate
from ledger_tools.store import quoted


@dataclass(frozen=True)
class Share:
    """What one order owes of a payment, in minor units of the order's currency."""

    order_no: int
    order_id: str
    due: int


def match_sums(connection: duckdb.DuckDBPyConnection) -> None:
    """Take, of `loose` and `unpaid`, payments whose amount exactly one combination of orders owes.

    Makes `untaken`: orders of combinations that were not taken, or why none was sought.
    """
    _count_orders_around(connection)
    named, shares, targets, crowded_to = _read_targets(connection)
    untaken: list[Finding] = []
    findings = seek_sums(targets)
    for found in leave_to_singles(findings, _singles(connection, findings)):
        finding = found
        order_nos = [int(str(key)) for key in finding.combination]
        if any(shares[order_no].due < crowded_to[order_no] for order_no in order_nos):
            finding = replace(finding, combination=(), why="its records could be part of a payment that was not tried")
        if not finding.combination:
            untaken.append(finding)
            continue
        payment_no = _payment_no(finding)
        parts = sorted((shares[order_no] for order_no in order_nos), key=lambda share: share.order_id)
        split_payment(connection, *named[payment_no], parts, stages.PAYMENT_SUM.name, finding.why)
        connection.execute("UPDATE loose SET order_no = 0 WHERE payment_no = ?", [payment_no])
        connection.execute("DELETE FROM unpaid WHERE order_no IN (SELECT unnest(?::INTEGER[]))", [order_nos])
    _keep_why(connection, untaken)


def _singles(connection: duckdb.DuckDBPyConnection, findings: Sequence[Finding]) -> set[Hashable]:
    """Payments and orders of the combinations that fit a single order or payment by amount and days as well."""
    window = stages.PAYMENT_AMOUNT.days
    payments = [_payment_no(finding) for finding in findings if finding.combination]
    orders = [key for finding in findings for key in finding.combination]
    fits = f"due = paid AND currency = paid_in AND loose.day - unpaid.day BETWEEN {window.low} AND {window.high}"
    rows = connection.execute(
        f"""SELECT 'payment', payment_no FROM (SELECT * FROM loose WHERE order_no IS NULL) AS loose SEMI JOIN unpaid ON {fits}
            WHERE list_contains(?::INTEGER[], payment_no)
            UNION ALL
            SELECT 'order', order_no FROM unpaid SEMI JOIN (SELECT * FROM loose WHERE order_no IS NULL) AS loose ON {fits}
            WHERE list_contains(?::INTEGER[], order_no)""",
        [payments, orders],
    ).fetchall()
    return {("payment", number) if what == "payment" else number for what, number in rows}


def _payment_no(finding: Finding) -> int:
    assert isinstance(finding.key, tuple)
    return int(finding.key[1])


def _count_orders_around(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `around` (payment_no, orders, crowded): unpaid orders that could be part of a payment; and `crowded_day`.

    A payment is crowded by more orders than can be told apart that owe enough together. `crowded_day` says, for each day
    and currency, up to what amount a crowded payment could take orders in.
    """
    window = stages.PAYMENT_SUM.days
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE payment_day AS
        SELECT payment_no, paid, paid_in, day - lag AS day
        FROM loose, (SELECT unnest(range({window.low}, {window.high} + 1))::INTEGER AS lag) WHERE order_no IS NULL;
        CREATE OR REPLACE TEMP TABLE around AS
        SELECT payment_no, sum(orders)::BIGINT AS orders,
               sum(orders) > {stages.ELEMENTS_AT_MOST} AND sum(owed) >= any_value(paid) AS crowded
        FROM payment_day ASOF JOIN (
            SELECT currency, day, due, count(*) OVER smaller AS orders, sum(due) OVER smaller AS owed
            FROM unpaid WINDOW smaller AS (PARTITION BY currency, day ORDER BY due RANGE UNBOUNDED PRECEDING)
        ) AS owed ON owed.currency = paid_in AND owed.day = payment_day.day AND owed.due < paid
        GROUP BY payment_no;
        CREATE OR REPLACE TEMP TABLE crowded_day AS
        SELECT paid_in AS currency, day, max(paid) AS up_to FROM payment_day JOIN around USING (payment_no) WHERE crowded GROUP BY ALL
        """
    )


def _read_targets(
    connection: duckdb.DuckDBPyConnection,
) -> tuple[dict[int, tuple[int, str]], dict[int, Share], list[Target], dict[int, int]]:
    """Payments with few enough orders around, as targets.

    Returns:
        Source and event id of each payment, what each order owes, the targets, and up to what amount each order's day is
        crowded (0 where it is not).
    """
    named: dict[int, tuple[int, str]] = {}
    shares: dict[int, Share] = {}
    crowded_to: dict[int, int] = {}
    targets: list[Target] = []
    for payment_no, source_no, event_id, paid, order_nos, order_ids, dues, up_to in connection.execute(
        f"""
        SELECT payment_no, loose.source_no, event_id, any_value(loose.paid), list(unpaid.order_no ORDER BY unpaid.order_no),
               list(order_id ORDER BY unpaid.order_no), list(due ORDER BY unpaid.order_no),
               list(coalesce(up_to, 0) ORDER BY unpaid.order_no)
        FROM around JOIN loose USING (payment_no) JOIN payment_day USING (payment_no)
        JOIN unpaid ON unpaid.currency = payment_day.paid_in AND unpaid.day = payment_day.day AND due < payment_day.paid
        LEFT JOIN crowded_day ON crowded_day.currency = unpaid.currency AND crowded_day.day = unpaid.day
        WHERE orders BETWEEN 2 AND {stages.ELEMENTS_AT_MOST} GROUP BY ALL ORDER BY payment_no
        """
    ).fetchall():
        named[payment_no] = (source_no, event_id)
        for share, limit in zip(map(Share, order_nos, order_ids, dues), up_to, strict=True):
            shares[share.order_no], crowded_to[share.order_no] = share, limit
        targets.append(Target(("payment", payment_no), paid, tuple(zip(order_nos, dues, strict=True))))
    return named, shares, targets, crowded_to


def _keep_why(connection: duckdb.DuckDBPyConnection, untaken: Sequence[Finding]) -> None:
    connection.execute(
        f"""CREATE OR REPLACE TEMP TABLE untaken AS
            SELECT payment_no, NULL::INTEGER AS order_no, format({quoted(TOO_MANY)}, orders) AS why, NULL::INTEGER AS whole
            FROM around WHERE crowded;
            DROP TABLE around; DROP TABLE payment_day; DROP TABLE crowded_day"""
    )
    rows: list[list[object]] = [
        [_payment_no(finding), None, finding.why, None] for finding in untaken if not finding.fitting
    ]
    rows += [
        [_payment_no(finding), order_no, finding.why, whole]
        for finding in untaken
        for whole, combination in enumerate(finding.fitting, start=1)
        for order_no in sorted(combination, key=str)
    ]
    if rows:
        columns = [list(column) for column in zip(*rows, strict=True)]
        connection.execute(
            """INSERT INTO untaken SELECT unnest(?::INTEGER[]), unnest(?::INTEGER[]), unnest(?::VARCHAR[]), unnest(?::INTEGER[])""",
            columns,
        )


def split_payment(
    connection: duckdb.DuckDBPyConnection, source_no: int, event_id: str, parts: Sequence[Share], how: str, why: str
) -> None:
    """Replace a payment's row by one for each order; amounts, fee and net of the parts sum to the payment's."""
    row = connection.execute(
        "SELECT gross, coalesce(fee, 0), net FROM processor_row WHERE source_no = ? AND event_id = ?",
        [source_no, event_id],
    ).fetchone()
    assert row is not None
    gross, fee, net = (int(value) for value in row)
    dues = [share.due for share in parts]
    grosses, fees = allocate(gross, dues), allocate(fee, dues)
    nets = [part - cost for part, cost in zip(grosses, fees, strict=True)]
    nets[0] += net - sum(nets)
    connection.execute(
        "CREATE OR REPLACE TEMP TABLE part (order_no INTEGER, name VARCHAR, due BIGINT, gross BIGINT, fee BIGINT, net BIGINT)"
    )
    connection.executemany(
        "INSERT INTO part VALUES (?, ?, ?, ?, ?, ?)",
        [
            [share.order_no, f"{event_id}/{share.order_id}", share.due, *amounts]
            for share, *amounts in zip(parts, grosses, fees, nets, strict=True)
        ],
    )
    connection.execute(
        f"""
        INSERT INTO processor_row
        SELECT row.* REPLACE (part.order_no AS order_no, part.name AS event_id, part.name AS key, part.gross AS gross, part.fee AS fee,
               part.net AS net, CASE WHEN charged_amount IS NOT NULL THEN part.due END AS charged_amount,
               {quoted(how)} AS matched_by, {quoted(why)} AS why)
        FROM processor_row AS row, part WHERE row.source_no = $source_no AND row.event_id = $event_id
        """,
        {"source_no": source_no, "event_id": event_id},
    )
    connection.execute("DELETE FROM processor_row WHERE source_no = ? AND event_id = ?", [source_no, event_id])
