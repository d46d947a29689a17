"""Bank lines and the movements that they complete: payouts from processors, top-ups of wallets.

Stages, each accepted only where unique both ways: a person's decision, by reference (the line's text holds the payout's id or the event's
id as a word), the user's rules, then by exact amount and date window. A line that a rule claims is not matched by
amount, unless the rule names the in-transit account itself.
"""

from __future__ import annotations

import duckdb

from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted

#: Days that a bank line may be earlier and later than the movement that it completes, where only the amount tells: the
#: narrowest window first, so that weekly movements of one amount find their own lines.
_WINDOWS = ((0, 1), (1, 4), (3, 10))

#: The same where the line names the movement.
_NAMED_WINDOW = (5, 45)


def rule_position(settings: ShopSettings, text: str, source_name: str) -> str:
    """The first of the user's bank rules whose pattern occurs in a text, as an SQL expression of its position from 1."""
    cases = []
    for position, rule in enumerate(settings.bank_rule, start=1):
        condition = f"regexp_matches({text}, {quoted(rule.pattern)}, 'i')"
        if rule.source is not None:
            condition = f"{source_name} = {quoted(rule.source)} AND {condition}"
        cases.append(f"WHEN {condition} THEN {position}")
    return f"CASE {' '.join(cases)} ELSE 0 END" if cases else "0"


def match_bank_lines(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Make `movement` (payouts and top-ups under way) and `bank_row` (bank lines with what they complete)."""
    _list_movements(connection)
    in_transit = [settings.template_of("payouts_in_transit"), settings.template_of("top_ups_in_transit")]
    pointing = [str(place) for place, rule in enumerate(settings.bank_rule, start=1) if rule.account in in_transit]
    rule = rule_position(settings, "text", "source.name")
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE line AS
        SELECT row_number() OVER (ORDER BY "at", source_no, key)::INTEGER AS line_no, *, {rule} AS rule_no
        FROM (SELECT kept.*, coalesce(memo, '') || ' ' || coalesce(counterparty, '') AS text FROM kept_bank AS kept)
        JOIN (SELECT source_no, name FROM source) AS source USING (source_no);
        CREATE OR REPLACE TEMP TABLE found (line_no INTEGER, movement_no INTEGER, matched_by VARCHAR);
        """
    )
    _match_by_decision(connection)
    _match_by_reference(connection)
    for window in _WINDOWS:
        _match_by_amount(connection, ", ".join(pointing) or "-1", window)
    connection.execute(
        """
        CREATE TABLE bank_row AS
        SELECT line.* EXCLUDE (line_no, name, text), found.movement_no, found.matched_by
        FROM line LEFT JOIN found USING (line_no);
        DROP TABLE kept_bank; DROP TABLE line; DROP TABLE found
        """
    )


def _list_movements(connection: duckdb.DuckDBPyConnection) -> None:
    """Amounts are as the bank will show them: positive into the bank."""
    connection.execute(
        """
        CREATE TABLE movement AS
        SELECT row_number() OVER (ORDER BY moved_on, source_no, event_id)::INTEGER AS movement_no, * FROM (
            SELECT source_no, event_id, coalesce(payout_id, event_id) AS reference, kind, "at"::DATE AS moved_on, currency,
                   -gross AS amount
            FROM processor_row WHERE kind IN ('payout', 'payout_returned')
            UNION ALL
            SELECT source_no, event_id, event_id, kind, "at"::DATE, currency,
                   CASE kind WHEN 'top_up' THEN -total ELSE total END
            FROM wallet_row WHERE kind IN ('top_up', 'withdrawal')
        );
        CREATE OR REPLACE TEMP TABLE returned AS
        SELECT back.movement_no FROM movement AS back JOIN movement AS sent
            ON back.kind = 'payout_returned' AND sent.kind = 'payout' AND back.source_no = sent.source_no
           AND back.reference = sent.reference AND back.amount = -sent.amount
        UNION
        SELECT sent.movement_no FROM movement AS back JOIN movement AS sent
            ON back.kind = 'payout_returned' AND sent.kind = 'payout' AND back.source_no = sent.source_no
           AND back.reference = sent.reference AND back.amount = -sent.amount
        """
    )


_ACCEPT_UNIQUE = """
    INSERT INTO found
    SELECT line_no, movement_no, {how} FROM (
        SELECT DISTINCT line_no, movement_no FROM ({pairs})
        WHERE line_no NOT IN (SELECT line_no FROM found) AND movement_no NOT IN (SELECT movement_no FROM found)
    )
    QUALIFY count(*) OVER (PARTITION BY line_no) = 1 AND count(*) OVER (PARTITION BY movement_no) = 1
"""


def _match_by_decision(connection: duckdb.DuckDBPyConnection) -> None:
    named = """
        SELECT line.line_no, movement.movement_no
        FROM (
            SELECT source AS bank, event_id AS line_key, match_source AS mover, match_id AS event_id FROM decision
            WHERE action = 'match'
            UNION SELECT match_source, match_id, source, event_id FROM decision WHERE action = 'match'
        ) AS pair
        JOIN line ON line.name = pair.bank AND line.key = pair.line_key
        JOIN source ON source.name = pair.mover
        JOIN movement ON movement.source_no = source.source_no AND movement.event_id = pair.event_id
    """
    connection.execute(_ACCEPT_UNIQUE.format(how="'decision'", pairs=named))


def _match_by_reference(connection: duckdb.DuckDBPyConnection) -> None:
    earliest, latest = _NAMED_WINDOW
    words = (
        'SELECT line_no, amount, currency, "at"::DATE AS day, '
        "unnest(regexp_split_to_array(upper(text), '[^A-Z0-9_-]+')) AS word FROM line"
    )
    named = f"""
        SELECT word.line_no, name.movement_no FROM ({words}) AS word
        JOIN (SELECT movement_no, amount, moved_on, upper(reference) AS word FROM movement
              UNION SELECT movement_no, amount, moved_on, upper(event_id) FROM movement) AS name
          ON name.word = word.word AND sign(name.amount) = sign(word.amount)
        WHERE length(word.word) >= 4 AND word.day BETWEEN name.moved_on - {earliest} AND name.moved_on + {latest}
          AND (name.amount = word.amount OR NOT regexp_full_match(word.word, '[0-9]+'))
    """
    connection.execute(_ACCEPT_UNIQUE.format(how="'reference'", pairs=named))


def _match_by_amount(connection: duckdb.DuckDBPyConnection, pointing_rules: str, window: tuple[int, int]) -> None:
    earliest, latest = window
    pairs = f"""
        SELECT line.line_no, movement.movement_no FROM line JOIN movement
            ON line.amount = movement.amount AND line.currency = movement.currency
        WHERE line.rule_no IN (0, {pointing_rules})
          AND line."at"::DATE BETWEEN movement.moved_on - {earliest} AND movement.moved_on + {latest}
          AND movement.movement_no NOT IN (SELECT movement_no FROM returned)
    """
    connection.execute(_ACCEPT_UNIQUE.format(how="'amount and date'", pairs=pairs))
