"""Payments that no reference ties to an order: by amount and days, then by sum; refunds follow their payment.

Only payments without a usable reference and orders that nothing has paid yet take part. What an order owes is its
total less what a gift card paid, in its own currency. A payment for several orders becomes a row for each of them,
`EVENT/ORDER`, with its share of the amount and, by largest remainder, of the fee.
"""

from __future__ import annotations

import bisect
import datetime
import functools
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.believed import list_believed
from ledger_tools.matching.by_reference import normal_key
from ledger_tools.matching.candidates import lag_words
from ledger_tools.matching.order_candidates import list_payment_candidates
from ledger_tools.matching.sums import Finding, Target, seek_sums, too_many
from ledger_tools.matching.unique_pairs import Sides, match_unique
from ledger_tools.money import allocate
from ledger_tools.store import quoted

#: What the customer paid, and in what: the stated amount where it is in another currency than the balance.
_FOREIGN = "coalesce(charged_amount, 0) <> 0 AND coalesce(charged_currency, currency) <> currency AND gross <> 0"
_PAID = f"CASE WHEN {_FOREIGN} THEN sign(gross) * abs(charged_amount) ELSE gross END::BIGINT"
_PAID_IN = f"CASE WHEN {_FOREIGN} THEN charged_currency ELSE currency END"


def match_payments(
    connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str], paid_by_hand: Sequence[str]
) -> None:
    """Give `order_no`, `matched_by` and `why` in `processor_row` to payments that amounts alone tie to orders.

    Args:
        paid_by_hand: links of the orders that an entry in `hand.beancount` pays.
    """
    connection.execute("ALTER TABLE processor_row ADD COLUMN why VARCHAR")
    row = connection.execute(
        "SELECT count(*) FROM processor_row WHERE kind = 'charge' AND order_no IS NULL AND gross > 0"
    ).fetchone()
    if row is None or not row[0]:
        return
    _list_unpaid(connection, paid_by_hand)
    _split_by_decision(connection)
    _split_by_reference(connection)
    _list_loose(connection, patterns)
    row = connection.execute("SELECT (SELECT count(*) FROM loose) * (SELECT count(*) FROM unpaid)").fetchone()
    if row is not None and row[0]:
        _match_by_amount(connection)
        _match_by_sum(connection)
        list_payment_candidates(connection)
        _let_refunds_follow(connection)
    connection.execute("DROP TABLE loose; DROP TABLE unpaid")


def _list_unpaid(connection: duckdb.DuckDBPyConnection, paid_by_hand: Sequence[str]) -> None:
    """Make `unpaid`: orders that owe something and that no payment, no person and no entry by hand has settled."""
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE unpaid AS
        SELECT order_no, head.source_no, order_id, placed_at::DATE AS day, head.currency, payment_ref,
               total - coalesce(gift_card_paid, 0) AS due
        FROM order_head AS head JOIN source USING (source_no)
        WHERE total - coalesce(gift_card_paid, 0) > 0 AND total > 0
          AND order_no NOT IN (SELECT order_no FROM processor_row WHERE kind = 'charge' AND order_no IS NOT NULL)
          AND (source.name, order_id) NOT IN (
              SELECT (source, decision.order_id) FROM decision
              WHERE action = 'account' AND source IS NOT NULL AND decision.order_id IS NOT NULL)
          AND order_no NOT IN (SELECT order_no FROM order_link WHERE link IN (SELECT unnest(?::VARCHAR[])))
        """,
        [list(paid_by_hand)],
    )


def _list_loose(connection: duckdb.DuckDBPyConnection, patterns: Mapping[int, str]) -> None:
    """Make `loose`: payments that no order is known for and whose references say nothing."""
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE unknown AS
        SELECT source_no, event_id, "at", payment_ref, {_PAID} AS paid, {_PAID_IN} AS paid_in,
               {normal_key("order_ref", patterns)} AS order_key, upper(trim(payment_ref)) AS payment_key
        FROM processor_row WHERE kind = 'charge' AND order_no IS NULL AND gross > 0
        """
    )
    list_believed(connection, "order", "SELECT order_key AS reference FROM unknown")
    list_believed(connection, "payment", "SELECT payment_key AS reference FROM unknown")
    connection.execute(
        """
        CREATE OR REPLACE TEMP TABLE loose AS
        SELECT row_number() OVER (ORDER BY "at", source_no, event_id)::INTEGER AS payment_no, source_no,
               source.name AS source_name, event_id, "at"::DATE AS day, payment_ref, paid, paid_in, NULL::INTEGER AS order_no
        FROM unknown JOIN source USING (source_no)
        WHERE coalesce(order_key, '') NOT IN (SELECT reference FROM believed_order)
          AND coalesce(payment_key, '') NOT IN (SELECT reference FROM believed_payment)
          AND coalesce(payment_ref, '') NOT IN (SELECT payment_ref FROM order_head WHERE payment_ref IS NOT NULL)
          AND (source.name, event_id) NOT IN (
              SELECT (source, event_id) FROM decision WHERE action = 'account' AND source IS NOT NULL AND event_id IS NOT NULL);
        DROP TABLE unknown; DROP TABLE believed_order; DROP TABLE believed_payment
        """
    )


def _match_by_amount(connection: duckdb.DuckDBPyConnection) -> None:
    stage = stages.PAYMENT_AMOUNT
    assert stage.window is not None
    sides = Sides(
        f"""SELECT payment_no AS no, paid || ' ' || paid_in AS bucket, day, source_no, order_no IS NULL AS open FROM loose
            UNION ALL SELECT NULL, {_PAID} || ' ' || {_PAID_IN}, "at"::DATE, source_no, false
            FROM processor_row WHERE kind = 'charge' AND order_no IS NOT NULL""",
        """SELECT order_no AS no, total - coalesce(gift_card_paid, 0) || ' ' || currency AS bucket, placed_at::DATE AS day, source_no,
                  order_no IN (SELECT order_no FROM unpaid) AS open FROM order_head""",
        """SELECT row.source_no AS later_source_no, head.source_no AS earlier_source_no, row."at"::DATE - head.placed_at::DATE AS lag
           FROM processor_row AS row JOIN order_head AS head USING (order_no)
           WHERE kind = 'charge' AND matched_by <> 'decision' AND row."at"::DATE - head.placed_at::DATE BETWEEN -1 AND 3""",
    )
    match_unique(connection, sides, stage.window, stages.PAYMENT_NEAR, functools.partial(_take, connection, stage))


def _take(connection: duckdb.DuckDBPyConnection, stage: stages.Stage) -> None:
    connection.execute(
        f"""
        UPDATE processor_row SET order_no = earlier_no, matched_by = {quoted(stage.name)}, why = paired.why || ', ' || {lag_words("lag")}
        FROM paired JOIN loose ON payment_no = later_no
        WHERE processor_row.source_no = loose.source_no AND processor_row.event_id = loose.event_id;
        UPDATE loose SET order_no = earlier_no FROM paired WHERE payment_no = later_no;
        DELETE FROM unpaid USING paired WHERE unpaid.order_no = earlier_no
        """
    )


@dataclass(frozen=True)
class _Share:
    """What one order owes of a payment, in minor units of the order's currency."""

    order_no: int
    order_id: str
    due: int


@dataclass(frozen=True)
class _DayOwed:
    """What the orders of one day owe in one currency: one by one, by size, and the sums of the smallest so many."""

    shares: tuple[_Share, ...]
    dues: tuple[int, ...]
    sums: tuple[int, ...]

    @classmethod
    def of(cls, shares: Sequence[_Share]) -> _DayOwed:
        """The shares, counted and summed once, so that a crowded day costs each payment no look at its orders."""
        dues = sorted(share.due for share in shares)
        return cls(tuple(shares), tuple(dues), tuple(itertools.accumulate(dues, initial=0)))


_Place = tuple[str, datetime.date]


def _match_by_sum(connection: duckdb.DuckDBPyConnection) -> None:
    """One payment for several orders: the only combination of what they owe."""
    places: dict[int, _Place] = {}
    shares: dict[int, _Share] = {}
    by_place: dict[_Place, list[_Share]] = {}
    for order_no, order_id, day, currency, due in connection.execute(
        "SELECT order_no, order_id, day, currency, due FROM unpaid ORDER BY day, source_no, order_id"
    ).fetchall():
        shares[order_no], places[order_no] = _Share(order_no, order_id, due), (currency, day)
        by_place.setdefault((currency, day), []).append(shares[order_no])
    payments = connection.execute(
        "SELECT payment_no, source_no, event_id, day, paid, paid_in FROM loose WHERE order_no IS NULL ORDER BY payment_no"
    ).fetchall()
    targets, crowded, crowded_to = _sum_targets(
        payments, {place: _DayOwed.of(each) for place, each in by_place.items()}
    )
    named = {row[0]: (row[1], row[2]) for row in payments}
    findings = crowded
    for found in seek_sums(targets):
        finding = found
        order_nos = [int(str(key)) for key in finding.combination]
        if any(shares[order_no].due < crowded_to.get(places[order_no], 0) for order_no in order_nos):
            finding = replace(finding, combination=(), why="its records could be part of a payment that was not tried")
        findings.append(finding)
        if finding.combination:
            assert isinstance(finding.key, tuple)
            parts = sorted((shares[order_no] for order_no in order_nos), key=lambda share: share.order_id)
            payment_no = int(finding.key[1])
            source_no, event_id = named[payment_no]
            split_payment(connection, source_no, event_id, parts, stages.PAYMENT_SUM.name, finding.why)
            connection.execute("UPDATE loose SET order_no = 0 WHERE payment_no = ?", [payment_no])
            connection.execute("DELETE FROM unpaid WHERE order_no IN (SELECT unnest(?::INTEGER[]))", [order_nos])
    _keep_why(connection, findings)


def _sum_targets(
    payments: Sequence[tuple[int, int, str, datetime.date, int, str]], owed: Mapping[_Place, _DayOwed]
) -> tuple[list[Target], list[Finding], dict[_Place, int]]:
    """Payments whose sums are sought; those with too many orders around, and the largest of these by day and currency."""
    window = stages.PAYMENT_SUM.window
    assert window is not None
    targets: list[Target] = []
    crowded: list[Finding] = []
    crowded_to: dict[_Place, int] = {}
    for payment_no, _, _, day, paid, paid_in in payments:
        around = [(paid_in, day - datetime.timedelta(days=lag)) for lag in range(window.low, window.high + 1)]
        days = [owed[place] for place in around if place in owed]
        smaller = [bisect.bisect_left(each.dues, paid) for each in days]
        key = ("payment", payment_no)
        if sum(smaller) <= stages.ELEMENTS_AT_MOST:
            targets.append(
                Target(
                    key,
                    paid,
                    tuple((share.order_no, share.due) for each in days for share in each.shares if share.due < paid),
                )
            )
        elif sum(each.sums[count] for each, count in zip(days, smaller, strict=True)) >= paid:
            crowded.append(Finding(key, (), frozenset(), 0, too_many(sum(smaller))))
            crowded_to.update({place: max(paid, crowded_to.get(place, 0)) for place in around})
    return targets, crowded, crowded_to


def _keep_why(connection: duckdb.DuckDBPyConnection, findings: Sequence[Finding]) -> None:
    """Make `untaken`: combinations of orders that fit a payment and were not taken, or why none was sought."""
    connection.execute("CREATE OR REPLACE TEMP TABLE untaken (payment_no INTEGER, order_no INTEGER, why VARCHAR)")
    rows: list[list[object]] = []
    for finding in findings:
        if finding.combination:
            continue
        assert isinstance(finding.key, tuple)
        orders: list[object] = (
            sorted(finding.rivals, key=str) if 0 < len(finding.rivals) <= stages.ELEMENTS_AT_MOST else [None]
        )
        rows += [[finding.key[1], order_no, finding.why] for order_no in orders]
    if rows:
        columns = [list(column) for column in zip(*rows, strict=True)]
        connection.execute(
            "INSERT INTO untaken SELECT unnest(?::INTEGER[]), unnest(?::INTEGER[]), unnest(?::VARCHAR[])", columns
        )


def _split_by_decision(connection: duckdb.DuckDBPyConnection) -> None:
    """A payment that a person tied to several orders is for all of them where what they owe is what was paid."""
    rows = connection.execute(
        f"""
        WITH tied AS (
            SELECT source AS source_name, event_id, match_id AS order_id FROM decision
            WHERE action = 'match' AND match_source IS NULL AND event_id IS NOT NULL
            UNION SELECT match_source, match_id, order_id FROM decision
            WHERE action = 'match' AND match_source IS NOT NULL AND order_id IS NOT NULL
        )
        SELECT row.source_no, row.event_id, list(order_no ORDER BY order_id), list(order_id ORDER BY order_id), list(due ORDER BY order_id)
        FROM (SELECT source_no, event_id, {_PAID} AS paid, {_PAID_IN} AS paid_in FROM processor_row
              WHERE kind = 'charge' AND order_no IS NULL AND gross > 0) AS row
        JOIN source USING (source_no) JOIN tied ON tied.source_name = source.name AND tied.event_id = row.event_id
        JOIN unpaid USING (order_id) WHERE unpaid.currency = paid_in
        GROUP BY row.source_no, row.event_id, paid HAVING count(*) > 1 AND sum(due) = paid ORDER BY row.event_id
        """
    ).fetchall()
    _split_rows(connection, rows, stages.DECISION.name, "decided by a person")


def _split_rows(
    connection: duckdb.DuckDBPyConnection,
    rows: Sequence[tuple[int, str, list[int], list[str], list[int]]],
    how: str,
    why: str,
) -> None:
    for source_no, event_id, order_nos, order_ids, dues in rows:
        parts = [_Share(*share) for share in zip(order_nos, order_ids, dues, strict=True)]
        split_payment(connection, source_no, event_id, parts, how, why)
        connection.execute("DELETE FROM unpaid WHERE order_no IN (SELECT unnest(?::INTEGER[]))", [order_nos])


def _split_by_reference(connection: duckdb.DuckDBPyConnection) -> None:
    """A payment whose reference several orders have is for all of them where their totals are the payment."""
    rows = connection.execute(
        f"""
        WITH named AS (
            SELECT payment_ref, currency, sum(due)::BIGINT AS due, list(order_no ORDER BY order_id) AS order_nos,
                   list(order_id ORDER BY order_id) AS order_ids, list(due ORDER BY order_id) AS dues
            FROM unpaid WHERE payment_ref IS NOT NULL GROUP BY payment_ref, currency HAVING count(*) > 1
        )
        SELECT source_no, event_id, order_nos, order_ids, dues FROM (
            SELECT source_no, event_id, payment_ref, {_PAID} AS paid, {_PAID_IN} AS paid_in FROM processor_row
            WHERE kind = 'charge' AND order_no IS NULL AND payment_ref IS NOT NULL AND gross > 0
            QUALIFY count(*) OVER (PARTITION BY payment_ref) = 1
        ) AS row JOIN named ON named.payment_ref = row.payment_ref AND named.currency = row.paid_in AND named.due = row.paid
        ORDER BY event_id
        """
    ).fetchall()
    why = "these orders name this payment, and what they owe is what was paid"
    _split_rows(connection, rows, stages.PAYMENT_REFERENCE.name, why)


def split_payment(
    connection: duckdb.DuckDBPyConnection, source_no: int, event_id: str, parts: Sequence[_Share], how: str, why: str
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


def _let_refunds_follow(connection: duckdb.DuckDBPyConnection) -> None:
    """Refunds and disputes of a payment that amounts tied to one order belong to that order."""
    connection.execute(
        f"""
        UPDATE processor_row SET order_no = tied.order_no, matched_by = {quoted(stages.PAYMENT_REFERENCE.name)},
               why = 'as the payment, which was matched by amount'
        FROM (
            SELECT source_no, payment_ref, min(order_no) AS order_no FROM processor_row
            WHERE kind = 'charge' AND payment_ref IS NOT NULL GROUP BY source_no, payment_ref
            HAVING count(DISTINCT order_no) = 1 AND count(*) = count(order_no) AND bool_or(matched_by = {quoted(stages.AMOUNT.name)})
        ) AS tied
        WHERE processor_row.source_no = tied.source_no AND processor_row.payment_ref = tied.payment_ref
          AND processor_row.order_no IS NULL AND processor_row.kind <> 'charge'
        """
    )
