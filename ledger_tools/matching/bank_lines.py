"""Bank lines and the movements that they complete: payouts from processors, top-ups of wallets.

Stages, in the order of `stages.STAGES`: a person's decision, by reference (the line's text holds the payout's id or the
event's id as a word), by exact amount and days, by what a foreign payout is worth, by sum. A line that one of the user's
rules claims is not matched by amount, unless the rule names the in-transit account itself. `bank_match` holds a row for
each line and movement that belong together, with the part of the movement that the line completes.
"""

from __future__ import annotations

import functools

import duckdb

from ledger_tools.matching import stages
from ledger_tools.matching.bank_candidates import list_bank_candidates
from ledger_tools.matching.bank_sums import match_bank_sums
from ledger_tools.matching.candidates import lag_words
from ledger_tools.matching.known_rates import worth
from ledger_tools.matching.tied import tied_lines
from ledger_tools.matching.unique_pairs import COVERED_SPANS, Sides, match_unique
from ledger_tools.matching.written import WRITTEN_MOVEMENTS
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted

#: Why a line in another currency completes the whole of what its text names, whatever its amount.
NAMED_WITHOUT_RATE = (
    "the bank's text names it; without a known rate nothing tells whether the amount is the whole of it"
)


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
    """Make `movement` (payouts and top-ups under way), `bank_row` (bank lines) and `bank_match` (what belongs together)."""
    _list_movements(connection)
    in_transit = [settings.template_of("payouts_in_transit"), settings.template_of("top_ups_in_transit")]
    pointing = [str(place) for place, rule in enumerate(settings.bank_rule, start=1) if rule.account in in_transit]
    rule = rule_position(settings, "text", "source.name")
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE line AS
        SELECT *, rule_no IN (0, {", ".join(pointing) or "-1"})
               AND (name, key) NOT IN (SELECT (source, event_id) FROM decision
                                      WHERE action = 'account' AND source IS NOT NULL AND event_id IS NOT NULL) AS by_amount
        FROM (
            SELECT row_number() OVER (ORDER BY "at", source_no, key)::INTEGER AS line_no, *, {rule} AS rule_no
            FROM (SELECT kept.*, coalesce(memo, '') || ' ' || coalesce(counterparty, '') AS text FROM kept_bank AS kept)
            JOIN (SELECT source_no, name FROM source) AS source USING (source_no));
        CREATE OR REPLACE TEMP TABLE found (
            line_no INTEGER, movement_no INTEGER, moved BIGINT, matched_by VARCHAR, why VARCHAR);
        CREATE OR REPLACE TEMP TABLE left_open (
            line_no INTEGER, movement_no INTEGER, why VARCHAR, whole INTEGER, made_up VARCHAR)
        """
    )
    _list_named(connection)
    _match_by_decision(connection)
    _match_by_reference(connection, settings)
    _match_by_amount(connection, settings)
    match_bank_sums(connection)
    _match_foreign(connection, settings)  # again: parts of a sum are rivals no longer
    list_bank_candidates(connection)
    connection.execute(
        """
        CREATE TABLE bank_match AS
        SELECT source_no, key, movement_no, moved, matched_by, found.why
        FROM found JOIN line USING (line_no) ORDER BY line_no, movement_no;
        CREATE TABLE bank_row AS
        SELECT line.* EXCLUDE (line_no, name, text, by_amount), movement_no, matched_by, why
        FROM line LEFT JOIN (
            SELECT line_no, min(movement_no) AS movement_no, any_value(matched_by) AS matched_by, any_value(why) AS why
            FROM found GROUP BY line_no
        ) USING (line_no);
        DROP TABLE kept_bank; DROP TABLE line; DROP TABLE found; DROP TABLE left_open
        """
    )


def _list_movements(connection: duckdb.DuckDBPyConnection) -> None:
    """Amounts are as the bank will show them: positive into the bank."""
    connection.execute(
        f"""
        CREATE TABLE movement AS
        SELECT row_number() OVER (ORDER BY moved_on, source_no, event_id)::INTEGER AS movement_no, * FROM (
            SELECT source_no, event_id, coalesce(payout_id, event_id) AS reference, kind, "at"::DATE AS moved_on, currency,
                   -gross AS amount,
                   CASE WHEN charged_currency <> currency AND charged_amount <> 0 THEN charged_currency END AS stated_currency,
                   CASE WHEN charged_currency <> currency AND charged_amount <> 0
                        THEN -sign(gross) * abs(charged_amount) END::BIGINT AS stated_amount
            FROM processor_row WHERE kind IN ('payout', 'payout_returned')
            UNION ALL
            SELECT source_no, event_id, event_id, kind, "at"::DATE, currency,
                   CASE kind WHEN 'top_up' THEN -total ELSE total END, NULL, NULL
            FROM wallet_row WHERE kind IN ('top_up', 'withdrawal')
            UNION ALL BY NAME {WRITTEN_MOVEMENTS}
        );
        CREATE OR REPLACE TEMP TABLE returned AS -- and what a person moved to an account: not to be matched by amount
        SELECT back.movement_no FROM movement AS back JOIN movement AS sent
            ON back.kind = 'payout_returned' AND sent.kind = 'payout' AND back.source_no = sent.source_no
           AND back.reference = sent.reference AND back.amount = -sent.amount
        UNION
        SELECT sent.movement_no FROM movement AS back JOIN movement AS sent
            ON back.kind = 'payout_returned' AND sent.kind = 'payout' AND back.source_no = sent.source_no
           AND back.reference = sent.reference AND back.amount = -sent.amount
        UNION
        SELECT movement_no FROM movement JOIN source USING (source_no) JOIN decision
            ON decision.source = source.name AND decision.event_id = movement.event_id AND action = 'account'
        """
    )


_OPEN_LINE = "line_no NOT IN (SELECT line_no FROM found)"
_OPEN_MOVEMENT = "movement_no NOT IN (SELECT movement_no FROM found)"

#: SQL: the words of each line's text.
_WORDS = """SELECT line_no, amount, currency, "at"::DATE AS day, unnest(regexp_split_to_array(upper(text), '[^A-Z0-9_-]+')) AS word
    FROM line"""


def _list_named(connection: duckdb.DuckDBPyConnection) -> None:
    """Make `named`: the words of lines that are the id of a movement or what it is called by, with that movement."""
    window = stages.REFERENCE.days
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE named AS
        SELECT DISTINCT word.line_no, word.word, name.movement_no FROM ({_WORDS}) AS word
        JOIN (SELECT movement_no, amount, moved_on, upper(reference) AS word FROM movement
              UNION SELECT movement_no, amount, moved_on, upper(event_id) FROM movement) AS name
          ON name.word = word.word AND sign(name.amount) = sign(word.amount)
        WHERE length(word.word) >= 4 AND word.day BETWEEN name.moved_on + ({window.low}) AND name.moved_on + {window.high}
          AND (name.amount = word.amount OR NOT regexp_full_match(word.word, '[0-9]+'))
        """
    )


def _match_by_decision(connection: duckdb.DuckDBPyConnection) -> None:
    """What a person tied together, where it is one line or one movement with what belongs to it."""
    named = "(SELECT line_no, min(movement_no) AS movement_no FROM named GROUP BY line_no HAVING count(DISTINCT movement_no) = 1)"
    connection.execute(
        f"""
        INSERT INTO found
        SELECT line_no, movement_no, moved,
               CASE WHEN decided THEN {quoted(stages.DECISION.name)} ELSE {quoted(stages.REFERENCE.name)} END,
               CASE WHEN decided THEN 'decided by a person' ELSE 'the bank''s text names it' END
        FROM ({tied_lines("line", "decision", named)}) WHERE against IS NULL;
        DELETE FROM named WHERE NOT ({_OPEN_LINE} AND {_OPEN_MOVEMENT})
        """
    )


def _match_by_reference(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """A line whose text names one movement that no other line names; or several that are the line together, to the cent.

    One movement is named whatever the line's amount; `moved` is the part that the line completes. In two currencies a line
    within the tolerance of what the processor states, else of the known rate, completes the whole; any other completes its
    share, so that what is missing or too much stays in transit and is listed.
    """
    base, tolerance = settings.currency, settings.matching.tolerance_basis_points
    arrived = worth("line.amount", "line.currency", 'line."at"::DATE', base)
    expected = worth("movement.amount", "movement.currency", "movement.moved_on", base)
    connection.execute(
        f"""
        INSERT INTO found
        WITH one AS (
            SELECT line_no, movement_no FROM (SELECT DISTINCT line_no, movement_no FROM named)
            QUALIFY count(*) OVER (PARTITION BY line_no) = 1 AND count(*) OVER (PARTITION BY movement_no) = 1
        ), compared AS (
            SELECT line_no, movement_no, line.amount AS line_amount, movement.amount, line.currency = movement.currency AS same,
                   CASE WHEN stated_currency = line.currency THEN line.amount ELSE {arrived} END::HUGEINT AS arrived,
                   CASE WHEN stated_currency = line.currency THEN stated_amount ELSE {expected} END::HUGEINT AS expected
            FROM one JOIN line USING (line_no) JOIN movement USING (movement_no)
        )
        SELECT line_no, movement_no,
               CASE WHEN same THEN line_amount
                    WHEN coalesce(expected, 0) = 0 OR arrived IS NULL
                         OR abs(arrived - expected) * 10000 <= abs(expected) * {tolerance} THEN amount
                    ELSE sign(amount) * ((2 * abs(amount * arrived) + abs(expected)) // (2 * abs(expected))) END::BIGINT,
               {quoted(stages.REFERENCE.name)},
               CASE WHEN same OR (arrived <> 0 AND expected <> 0) THEN 'the bank''s text names it'
                    ELSE {quoted(NAMED_WITHOUT_RATE)} END
        FROM compared
        """
    )
    _match_several_named(connection)


def _match_several_named(connection: duckdb.DuckDBPyConnection) -> None:
    """Movements of one source and currency that a line names, each by a word of its own, where they sum to the line.

    A word that is written like one of the names and names nothing that is known speaks of one more: the line stays open.
    """
    shape = "regexp_replace(regexp_replace({}, '[0-9]', '9', 'g'), '[A-Z]', 'A', 'g')"
    connection.execute(
        f"""
        INSERT INTO found
        WITH pair AS (
            SELECT DISTINCT line_no, movement_no FROM named
        ), several AS (
            SELECT line_no FROM pair JOIN line USING (line_no) JOIN movement USING (movement_no)
            GROUP BY line_no
            HAVING count(*) > 1 AND sum(movement.amount) = any_value(line.amount) AND min(movement.source_no) = max(movement.source_no)
               AND bool_and(movement.currency = line.currency)
        ), shared AS (
            SELECT line_no FROM pair WHERE movement_no IN (SELECT movement_no FROM pair GROUP BY movement_no HAVING count(*) > 1)
            UNION ALL SELECT line_no FROM named GROUP BY line_no, word HAVING count(*) > 1
        ), unknown AS (
            SELECT word.line_no FROM ({_WORDS}) AS word SEMI JOIN several USING (line_no) ANTI JOIN named USING (line_no, word)
            JOIN named AS known ON known.line_no = word.line_no AND {shape.format("known.word")} = {shape.format("word.word")}
        )
        SELECT line_no, movement_no, movement.amount, {quoted(stages.REFERENCE.name)}, 'the bank''s text names them all'
        FROM pair SEMI JOIN several USING (line_no) ANTI JOIN shared USING (line_no) ANTI JOIN unknown USING (line_no)
        JOIN movement USING (movement_no)
        """
    )


_MATCHED = """
    SELECT line.source_no AS later_source_no, movement.source_no AS earlier_source_no,
           line."at"::DATE - movement.moved_on AS lag
    FROM found JOIN line USING (line_no) JOIN movement USING (movement_no) WHERE matched_by <> 'decision'
"""


#: A line whose text names payouts speaks of no other one, whatever the amount.
_NOT_NAMED_OTHERWISE = """(later.no NOT IN (SELECT line_no FROM named)
    OR EXISTS (SELECT 1 FROM named WHERE named.line_no = later.no AND named.movement_no = earlier.no))"""


def _match_by_amount(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """By amount in the bank's currency, by a stated foreign amount, and by what a foreign amount is worth."""
    line_open = f"by_amount AND {_OPEN_LINE}"
    moving = f"movement_no NOT IN (SELECT movement_no FROM returned) AND {_OPEN_MOVEMENT}"
    later = f"""SELECT line_no AS no, amount || ' ' || currency AS bucket, "at"::DATE AS day, source_no, {line_open} AS open FROM line"""
    own = "amount || ' ' || currency"
    for stage, bucket, condition in (
        (stages.AMOUNT, own, "true"),
        (stages.STATED_FOREIGN, "stated_amount || ' ' || stated_currency", "stated_amount IS NOT NULL"),
    ):
        earlier = f"""SELECT movement_no AS no, {bucket} AS bucket, moved_on AS day, source_no, {moving} AS open
                      FROM movement WHERE {condition}"""
        take = functools.partial(_take, connection, stage)
        match_unique(connection, Sides(later, earlier, _MATCHED, _NOT_NAMED_OTHERWISE), stage.days, stages.NEAR, take)
    connection.execute("DROP TABLE named")
    _match_foreign(connection, settings)


def _take(connection: duckdb.DuckDBPyConnection, stage: stages.Stage) -> None:
    connection.execute(
        f"""INSERT INTO found
            SELECT later_no, earlier_no, movement.amount, {quoted(stage.name)},
                   why || ', ' || {lag_words("lag")}
            FROM paired JOIN movement ON movement_no = earlier_no"""
    )


def _match_foreign(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """A line and a movement in two currencies, whose worth in the base currency differs by no more than the tolerance.

    At the edge of both exports a pair waits until the days in which a rival could be hidden are known: first the near
    days, then those that the two sources have shown.
    """
    if not _has_foreign(connection):
        return
    _weigh_foreign(connection, settings)
    near = f"SELECT *, {stages.NEAR.low} AS low, {stages.NEAR.high} AS high FROM foreign_pair"
    usual = f"""
        SELECT foreign_pair.*, low, high FROM foreign_pair JOIN (
            SELECT later_source_no, earlier_source_no, min(lag)::INTEGER AS low, max(lag)::INTEGER AS high FROM ({_MATCHED})
            GROUP BY ALL HAVING count(*) >= {stages.LEARNT_FROM}
        ) ON later_source_no = line_source_no AND earlier_source_no = movement_source_no AND lag BETWEEN low AND high
    """
    for edges in (near, usual):
        connection.execute(
            f"""
            INSERT INTO found
            WITH span AS ({COVERED_SPANS}), pair AS ({edges})
            SELECT line_no, movement_no, amount, {quoted(stages.FOREIGN.name)}, why
            FROM pair
            LEFT JOIN span AS at_bank ON at_bank.source_no = line_source_no
                AND moved_on + low >= at_bank.first_day AND moved_on + high <= at_bank.last_day
            LEFT JOIN span AS at_mover ON at_mover.source_no = movement_source_no
                AND day - high >= at_mover.first_day AND day - low <= at_mover.last_day
            WHERE (at_bank.source_no IS NOT NULL OR at_mover.source_no IS NOT NULL) AND {_OPEN_LINE} AND {_OPEN_MOVEMENT}
            """
        )
    connection.execute("DROP TABLE foreign_pair")


def _has_foreign(connection: duckdb.DuckDBPyConnection) -> bool:
    """Whether an open movement is in a currency that some bank line is not in."""
    row = connection.execute(
        f"""SELECT 1 FROM movement WHERE {_OPEN_MOVEMENT} AND currency <> ANY (SELECT currency FROM line) LIMIT 1"""
    ).fetchone()
    return row is not None


def _weigh_foreign(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Make `foreign_pair`: open lines and movements whose worth fits, neither of them fitting another in the window."""
    window = stages.FOREIGN.days
    base, tolerance = settings.currency, settings.matching.tolerance_basis_points
    connection.execute(
        f"""
        CREATE OR REPLACE TEMP TABLE foreign_pair AS
        WITH open_line AS (
            SELECT line_no, currency, source_no, "at"::DATE AS day,
                   {worth("amount", "line.currency", 'line."at"::DATE', base)} AS worth
            FROM line WHERE by_amount AND {_OPEN_LINE}
              AND currency IN (SELECT currency FROM market_rate UNION ALL SELECT {quoted(base)})
        ), open_movement AS (
            SELECT movement_no, currency, source_no, moved_on, amount, {worth("amount", "movement.currency", "moved_on", base)} AS worth
            FROM movement WHERE movement_no NOT IN (SELECT movement_no FROM returned) AND {_OPEN_MOVEMENT}
        ), pair AS (
            SELECT line_no, movement_no, open_movement.amount, day, moved_on, day - moved_on AS lag,
                   open_line.source_no AS line_source_no, open_movement.source_no AS movement_source_no,
                   CASE WHEN open_movement.currency = {quoted(base)} THEN open_line.currency ELSE open_movement.currency END AS rated,
                   abs(open_line.worth - open_movement.worth)::HUGEINT * 10000 // abs(open_movement.worth) AS off
            FROM open_line JOIN open_movement ON open_line.currency <> open_movement.currency
               AND sign(open_line.worth) = sign(open_movement.worth) AND open_movement.worth <> 0
               AND day - moved_on BETWEEN {window.low} AND {window.high}
            WHERE abs(open_line.worth - open_movement.worth)::HUGEINT * 10000 <= abs(open_movement.worth)::HUGEINT * {tolerance}
        )
        SELECT *, 'worth within ' || off // 100 || '.' || lpad((off % 100)::VARCHAR, 2, '0') || ' % of the latest known rate of '
               || rated AS why
        FROM pair QUALIFY count(*) OVER (PARTITION BY line_no) = 1 AND count(*) OVER (PARTITION BY movement_no) = 1
        """
    )
