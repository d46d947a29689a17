"""What can belong together: the record that a person names for an open item, and whether a combination of records holds.

Place in the flow: beside `settlement`, which makes decisions of it. What is refused here is what a build would not take
(`matching.tied`), so that a decision never undoes itself or another one.
"""

from __future__ import annotations

from collections.abc import Sequence

import duckdb

from ledger_tools.decisions import Decision
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.matching.order_lookup import find_order
from ledger_tools.matching.stages import DECISION, REFERENCE
from ledger_tools.matching.tied import tied_lines, tied_orders
from ledger_tools.money import format_amount
from ledger_tools.open_item_finders.kinds import KINDS_BY_NAME
from ledger_tools.open_items import OpenItem

#: SQL relation: bank lines as `tied_lines` reads them.
_LINES = """(SELECT row_number() OVER (ORDER BY source_no, key) AS line_no, source.name, key, amount, row.currency
             FROM bank_row AS row JOIN source USING (source_no))"""

#: SQL relation: lines that a build tied to the movement that their text names.
_NAMED = f"""(SELECT line_no, movement_no FROM bank_match AS tie JOIN source USING (source_no)
              JOIN {_LINES} AS line ON line.name = source.name AND line.key = tie.key WHERE matched_by = '{REFERENCE.name}'
              QUALIFY count(*) OVER (PARTITION BY line_no) = 1)"""

#: SQL relation: the decisions that are kept and new ones, as five lists.
_DECISIONS = """(
    SELECT action, source, event_id, order_id, match_source, match_id FROM decision
    UNION ALL SELECT 'match', unnest($sources::VARCHAR[]), unnest($events::VARCHAR[]), unnest($orders::VARCHAR[]),
                     unnest($match_sources::VARCHAR[]), unnest($matches::VARCHAR[])
)"""


def find_record(connection: duckdb.DuckDBPyConnection, item: OpenItem, named: str) -> tuple[str, str]:
    """Source and id of the record that a person names for an item: SOURCE/EVENT or EVENT, an order in any way that finds it.

    Raises:
        LedgerError: the item can't be matched, or no record or more than one is called so.
    """
    wanted = KINDS_BY_NAME[item.kind].match
    if wanted is None:
        raise LedgerError(
            Problem(f"item {item.id} ({item.kind})", "can't be matched with a record", "use --account or --accept")
        )
    if wanted == "an order":
        shop, order_id = connection.execute(
            "SELECT source.name, order_id FROM order_head JOIN source USING (source_no) WHERE order_no = ?",
            [find_order(connection, named)],
        ).fetchall()[0]
        return str(shop), str(order_id)
    queries = {
        "a payment": "SELECT source_name, event_id FROM fact_processor WHERE kind IN ('charge', 'refund')",
        "a wallet charge": "SELECT source_name, event_id FROM fact_wallet WHERE kind = 'charge'",
        "a bank line": "SELECT source_name, event_id FROM fact_bank",
    }
    movements = "SELECT source.name AS source_name, event_id FROM movement JOIN source USING (source_no)"
    rows = connection.execute(
        f"""SELECT source_name, event_id FROM ({queries.get(wanted, movements)})
            WHERE event_id = $named OR source_name || '/' || event_id = $named""",
        {"named": named},
    ).fetchall()
    if not rows:
        other = _other_line(connection, item, named)
        if other is not None:
            return other
    if not rows and wanted not in queries:
        rows = connection.execute(
            """SELECT source.name, event_id FROM movement JOIN source USING (source_no)
               WHERE reference = $named OR source.name || '/' || reference = $named""",
            {"named": named},
        ).fetchall()
    if len(rows) != 1:
        several = "is in several sources" if len({row[0] for row in rows}) > 1 else "is the reference of several events"
        what = f"is no {wanted.removeprefix('a ')}" if not rows else several
        step = (
            f"name the event id of {wanted}"
            if not rows
            else f"write {' or '.join(f'{row[0]}/{row[1]}' for row in rows)}"
        )
        raise LedgerError(Problem(f"--match {named}", what, step))
    return str(rows[0][0]), str(rows[0][1])


def _other_line(connection: duckdb.DuckDBPyConnection, item: OpenItem, named: str) -> tuple[str, str] | None:
    """The line of another own account that completes a transfer with an item's line; None where no bank line is named.

    Raises:
        LedgerError: the two lines can't be one transfer, or something else explains the other one.
    """
    lines = """SELECT fact.source_name, fact.event_id, row.amount, row.currency,
            fact.posting = 'unknown' OR (fact.posting = 'transfer' AND side.pair_no IS NULL) AS open
        FROM fact_bank AS fact JOIN bank_row AS row ON row.source_no = fact.source_no AND row.key = fact.event_id
        LEFT JOIN transfer_end AS side ON side.source_no = fact.source_no AND side.event_id = fact.event_id"""
    own = connection.execute(
        f"SELECT * FROM ({lines}) WHERE source_name = ? AND event_id = ?", [item.source, item.event_id]
    ).fetchone()
    others = connection.execute(
        f"SELECT * FROM ({lines}) WHERE (event_id = $named OR source_name || '/' || event_id = $named) AND source_name <> $own",
        {"named": named, "own": item.source},
    ).fetchall()
    if own is None or not others:
        return None
    if len(others) > 1:
        raise LedgerError(Problem(f"--match {named}", "is in several sources", f"write {others[0][0]}/{named}"))
    source, event, amount, currency, is_open = others[0]
    told = [f"{format_amount(each[2], each[3])} {each[3]}" for each in (own, others[0])]
    if (amount, currency) != (-own[2], own[3]):
        between = connection.execute(
            "SELECT name FROM account JOIN account_use USING (account_no) WHERE account_use.role = 'transfers_in_transit'"
        ).fetchone()
        raise LedgerError(
            Problem(
                f"--match {named}",
                f"has {told[1]}, and the item's line {told[0]}: one is not the reverse of the other",
                f"write an entry in hand.beancount that takes {told[0]} and {told[1]} through {between[0] if between else ''}",
            )
        )
    if not is_open:
        step = "see what explains it with: ledger-tools account, and withdraw that first"
        raise LedgerError(Problem(f"--match {named}", "is explained by a rule, a payout or another transfer", step))
    return str(source), str(event)


def refuse_what_can_not_hold(connection: duckdb.DuckDBPyConnection, decisions: Sequence[Decision]) -> None:
    """New matches of one item are taken together, with what was decided before, or not at all.

    Raises:
        LedgerError: the next build would not take all of them.
    """
    lines = {(one.match_source, one.match_id) for one in decisions if _is_line(connection, one.source, one.event_id)}
    others = [key for key in sorted(lines, key=str) if _is_line(connection, *key)]
    if others and len(lines) > 1:
        raise _refusal(decisions, "a transfer is two lines, one of each account")
    values = {
        "sources": [one.source for one in decisions],
        "events": [one.event_id for one in decisions],
        "orders": [one.order_id for one in decisions],
        "match_sources": [one.match_source for one in decisions],
        "matches": [one.match_id for one in decisions],
    }
    kept = f"(SELECT * FROM {_DECISIONS} AS kept)"
    against = connection.execute(
        f"""SELECT against FROM ({tied_lines(_LINES, kept, _NAMED)})
            JOIN movement USING (movement_no) JOIN {_LINES} AS line USING (line_no) JOIN source ON source.source_no = movement.source_no
            WHERE against IS NOT NULL AND (list_contains($matches, line.key) OR list_contains($matches, movement.event_id))
            ORDER BY 1 LIMIT 1""",
        values,
    ).fetchone()
    if against is not None:
        raise _refusal(decisions, str(against[0]))
    _refuse_held(connection, decisions, values)
    _refuse_split(connection, decisions, kept, values)


def _is_line(connection: duckdb.DuckDBPyConnection, source: str | None, event_id: str | None) -> bool:
    row = connection.execute(
        "SELECT 1 FROM fact_bank WHERE source_name = ? AND event_id = ?", [source, event_id]
    ).fetchone()
    return row is not None


def _refusal(decisions: Sequence[Decision], reason: str) -> LedgerError:
    named = " ".join(f"--match {one.match_source}/{one.match_id}" for one in decisions)
    step = "look at what was decided before with: ledger-tools open-items --settled, and name what belongs together"
    return LedgerError(Problem(f"item {decisions[0].item}, {named}", reason, step))


#: SQL relation: each tie of a bank line and a movement in the books as they are, and whether a new decision says it as well.
_HELD = """(
    WITH said AS (
        SELECT unnest($sources::VARCHAR[]) AS source, unnest($events::VARCHAR[]) AS id,
               unnest($match_sources::VARCHAR[]) AS other_source, unnest($matches::VARCHAR[]) AS other_id
    ), named AS (SELECT * FROM said UNION SELECT other_source, other_id, source, id FROM said)
    SELECT bank.name AS bank, tie.key, row."at"::DATE AS day, row.amount AS line_amount, row.currency AS line_currency,
           mover.name AS mover, movement.event_id, movement.amount, movement.currency, moved, tie.matched_by,
           (bank.name, tie.key) IN (SELECT (source, id) FROM named) AS line_named,
           (mover.name, movement.event_id) IN (SELECT (source, id) FROM named) AS movement_named,
           (bank.name, tie.key, mover.name, movement.event_id) IN (SELECT (source, id, other_source, other_id) FROM named) AS again
    FROM bank_match AS tie JOIN bank_row AS row USING (source_no, key) JOIN source AS bank ON bank.source_no = tie.source_no
    JOIN movement ON movement.movement_no = tie.movement_no JOIN source AS mover ON mover.source_no = movement.source_no
)"""


def _refuse_held(
    connection: duckdb.DuckDBPyConnection, decisions: Sequence[Decision], values: dict[str, list[str | None]]
) -> None:
    """A payout or top-up that the bank holds in full already, by other lines, takes no more; nor is such a line another's.

    Only amounts of one currency tell what is in full.
    """
    bound = {name: values[name] for name in ("sources", "events", "match_sources", "matches")}
    rows = connection.execute(
        f"""
        WITH held AS (SELECT * FROM {_HELD} WHERE line_currency = currency AND NOT again), full_movement AS (
            SELECT mover, event_id FROM held WHERE movement_named
            GROUP BY ALL HAVING abs(sum(moved)) >= abs(any_value(amount))
        ), full_line AS (
            SELECT bank, key FROM held WHERE line_named AND matched_by <> '{DECISION.name}'
            GROUP BY ALL HAVING abs(sum(moved)) >= abs(any_value(line_amount))
        )
        SELECT true, mover || '/' || event_id, bank || '/' || key, day, line_amount, currency, matched_by, bank, key, mover, event_id
        FROM held SEMI JOIN full_movement USING (mover, event_id)
        UNION ALL
        SELECT false, bank || '/' || key, mover || '/' || event_id, day, amount, currency, matched_by, bank, key, mover, event_id
        FROM held SEMI JOIN full_line USING (bank, key)
        ORDER BY ALL LIMIT 1""",
        bound,
    ).fetchall()
    if not rows:
        return
    is_movement, full, other, day, amount, currency, matched_by, *tie = rows[0]
    told = f"{format_amount(amount, currency)} {currency}"
    if is_movement:
        what = f"{full} is in the bank in full already: the line {other} of {day}, {told}, holds it"
    else:
        what = f"the line {full} of {day} is explained in full already: it is {other}, {told}"
    if matched_by == DECISION.name:
        (item,) = connection.execute(
            """SELECT min(item) FROM decision WHERE action = 'match' AND
                   ((source, event_id, match_source, match_id) = ($1, $2, $3, $4) OR
                    (source, event_id, match_source, match_id) = ($3, $4, $1, $2))""",
            tie,
        ).fetchall()[0]
        step = f"withdraw that first: ledger-tools settle {item} --withdraw"
    elif matched_by == REFERENCE.name:
        step = "the bank's text says so: name a record that is still open"
    else:
        step = (
            f"name a record that is still open; if {tie[1]} is something else, a [[bank_rule]] that fits it comes first"
        )
    named = " ".join(f"--match {one.match_source}/{one.match_id}" for one in decisions)
    raise LedgerError(Problem(f"item {decisions[0].item}, {named}", what, step))


def _refuse_split(
    connection: duckdb.DuckDBPyConnection,
    decisions: Sequence[Decision],
    named: str,
    values: dict[str, list[str | None]],
) -> None:
    """An event that is tied to several orders: a payment that is what they owe is split among them, nothing else is."""
    rows = connection.execute(
        f"""
        WITH tie AS ({tied_orders(named)}), several AS (
            SELECT source_name, event_id FROM tie GROUP BY ALL HAVING count(*) > 1
        ), whole AS (
            SELECT source_name, event_id, any_value(kind) AS kind, sum(charged)::BIGINT AS paid, any_value(charged_currency) AS currency
            FROM (SELECT source_name, kind, charged, charged_currency, order_id, CASE WHEN ends_with(event_id, '/' || order_id)
                         THEN left(event_id, length(event_id) - length(order_id) - 1) ELSE event_id END AS event_id
                  FROM fact_processor LEFT JOIN order_head USING (order_no))
            GROUP BY ALL
        )
        SELECT several.event_id, whole.kind, whole.paid, whole.currency, sum(head.total - coalesce(gift_card_paid, 0))::BIGINT,
               bool_and(head.currency = whole.currency), string_agg(head.order_id, ', ' ORDER BY head.order_id)
        FROM several JOIN tie USING (source_name, event_id) JOIN order_head AS head USING (order_no)
        LEFT JOIN whole USING (source_name, event_id)
        WHERE list_contains($matches, several.event_id) OR list_contains($events, several.event_id)
        GROUP BY ALL ORDER BY 1
        """,
        {name: values[name] for name in ("sources", "events", "orders", "match_sources", "matches")},
    ).fetchall()
    for event, kind, paid, currency, owed, same, orders in rows:
        if kind != "charge":
            raise _refusal(decisions, f"{event} would belong to the orders {orders}, and only a payment can be split")
        if not same or paid != owed:
            amounts = f"{format_amount(paid, currency)} {currency}"
            owes = f"{format_amount(owed, currency)}" if same else "amounts in other currencies"
            raise _refusal(
                decisions, f"{event} would be split among the orders {orders}, which owe {owes}, and paid {amounts}"
            )


#: SQL relation: every tie that a build made between records, in both directions.
_MADE = """(
    WITH made AS (
        SELECT bank.name AS source, tie.key AS id, mover.name AS other_source, movement.event_id AS other_id
        FROM bank_match AS tie JOIN source AS bank ON bank.source_no = tie.source_no JOIN movement USING (movement_no)
        JOIN source AS mover ON mover.source_no = movement.source_no
        UNION ALL
        SELECT own.name, side.event_id, other.name, twin.event_id
        FROM transfer_end AS side JOIN transfer_end AS twin ON twin.pair_no = side.pair_no AND twin.end_no <> side.end_no
        JOIN source AS own ON own.source_no = side.source_no JOIN source AS other ON other.source_no = twin.source_no
        UNION ALL
        SELECT mover.name, unnest([event_id, CASE WHEN ends_with(event_id, '/' || order_id)
                                             THEN left(event_id, length(event_id) - length(order_id) - 1) END]),
               shop.name, order_id
        FROM (SELECT source_no, event_id, order_no FROM processor_row UNION ALL SELECT source_no, event_id, order_no FROM wallet_row) AS row
        JOIN source AS mover ON mover.source_no = row.source_no JOIN order_head AS head USING (order_no)
        JOIN source AS shop ON shop.source_no = head.source_no
    )
    SELECT * FROM made UNION ALL SELECT other_source, other_id, source, id FROM made
)"""


def matches_not_made(connection: duckdb.DuckDBPyConnection) -> set[tuple[str, str | None, str]]:
    """Item, source and id of what a decision matches it with, of each decision that the books did not take."""
    rows = connection.execute(
        f"""SELECT item, match_source, match_id FROM decision ANTI JOIN {_MADE} AS made
                ON made.id = coalesce(decision.event_id, decision.order_id) AND made.other_id = decision.match_id
               AND (decision.source IS NULL OR made.source = decision.source)
               AND (decision.match_source IS NULL OR made.other_source = decision.match_source)
            WHERE action = 'match'"""
    ).fetchall()
    return {(str(item), source, str(record)) for item, source, record in rows}
