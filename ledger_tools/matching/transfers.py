"""Transfers between the shop's own bank accounts and cards, and what a person wrote as under way before the bank had it.

A transfer is two bank lines, one in each account, and each account's statement tells of its own. Both lines are posted
through the account of transfers under way, so that neither is counted twice, and are matched like payouts: unique both
ways (`unique_pairs`), or because a person said so. A line is taken for a transfer where one of the user's rules points to the other account
or to the account of transfers under way, or where it says so itself. An entry in `hand.beancount` on that account is a
cheque or deposit that a bank line will complete, known by its number (in the payee or the narration), else by its amount.

Ends have the amount that a bank line of theirs has: a transfer's two ends sum to zero, an entry by hand expects a line of
its own amount.
"""

from __future__ import annotations

import functools

import duckdb

from ledger_tools.chart import own_accounts
from ledger_tools.hand import MAIN_FILE, HandFile
from ledger_tools.matching import stages
from ledger_tools.matching.candidates import lag_words, rank_candidates
from ledger_tools.matching.unique_pairs import Sides, fill_sides, match_unique, weigh_pairs
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted

#: Days that a bank line may come before and after an entry by hand of the same number: a cheque is stale after half a year
#: (common practice).
_NUMBERED_WINDOW = (3, 183)

#: What a line says that is a transfer, where no rule does; case ignored.
_TRANSFER_WORDS = r"\b(transfer|xfer|autopay|card payment|payment thank you|payment received)\b"
#: The number of a cheque or of a deposit's slip, in a bank's text or a person's.
_SLIP = r"\b(?:check|cheque|chq|chk|ck|deposit)\W*(?:no\W*)?"
_NUMBER = _SLIP + r"0*([0-9]+)\b"
#: A day after such a word is no number: "Deposit 30 Jan", "DEPOSIT 2031-01-30".
_MONTH = (
    "(?:jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    "|nov(?:ember)?|dec(?:ember)?)"
)
_DAY = _SLIP + rf"[0-9]+(?:[-/.][0-9]|(?:st|nd|rd|th)?\W*{_MONTH}\b)"


def match_transfers(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, hand: HandFile) -> None:
    """Make `transfer_end`: the ends of transfers with the pair that each belongs to, none where it is still alone.

    Entries by hand of one number are one cheque: what was written wrong is put right by another entry of its number.
    """
    connection.execute(
        """
        CREATE TABLE transfer_end (
            end_no INTEGER, source_no SMALLINT, event_id VARCHAR, moved_on DATE, currency VARCHAR, amount BIGINT, text VARCHAR,
            rule_no INTEGER, to_source_no SMALLINT, pair_no INTEGER, number VARCHAR
        )
        """
    )
    _list_hand_ends(connection, settings, hand)
    _list_line_ends(connection, settings)
    connection.execute("CREATE OR REPLACE TEMP TABLE twin (first_no INTEGER, second_no INTEGER, lag INTEGER)")
    row = connection.execute("SELECT count(DISTINCT coalesce(source_no, 0)) FROM transfer_end").fetchone()
    if row is not None and row[0] > 1:
        _pair_decided(connection)
        _pair_lines(connection)
        _pair_hand(connection)
    connection.execute(
        """
        UPDATE transfer_end SET pair_no = twin.first_no FROM twin WHERE end_no = second_no OR coalesce(pair_no, end_no) = first_no;
        DELETE FROM transfer_end WHERE source_no IS NOT NULL AND pair_no IS NULL AND to_source_no IS NULL;
        DROP TABLE twin
        """
    )


def _list_hand_ends(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, hand: HandFile) -> None:
    account = settings.template_of("transfers_in_transit")
    number = 0
    for entry in sorted(hand.entries, key=lambda entry: (entry.day, entry.line_number)):
        where = f"line {entry.line_number}" + ("" if entry.file != MAIN_FILE else f" of {MAIN_FILE}")
        for line in entry.lines:
            if line.account == account and line.amount:
                number -= 1
                connection.execute(
                    f"""INSERT INTO transfer_end SELECT $end_no, NULL, $place, $day, $currency, $amount,
                            concat_ws(', ', nullif($payee, ''), nullif($narration, '')), NULL, NULL, NULL,
                            coalesce({_number("$payee")}, {_number("$narration")})""",
                    {
                        "end_no": number, "place": where, "day": entry.day, "currency": line.currency,
                        "amount": line.amount, "payee": entry.payee, "narration": entry.narration,
                    },
                )  # fmt: skip
    connection.execute(
        """
        UPDATE transfer_end SET pair_no = whole.pair_no FROM (
            SELECT number, currency, max(end_no) AS pair_no FROM transfer_end
            WHERE number IS NOT NULL GROUP BY ALL HAVING count(*) > 1
        ) AS whole WHERE whole.number = transfer_end.number AND whole.currency = transfer_end.currency
        """
    )


def _number(text: str) -> str:
    """SQL expression: the number of a cheque or slip in a text, NULL where it names none."""
    found = f"nullif(regexp_extract({text}, {quoted(_NUMBER)}, 1, 'i'), '')"
    return f"CASE WHEN NOT regexp_matches({text}, {quoted(_DAY)}, 'i') THEN {found} END"


def _list_line_ends(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    """Bank lines that may be an end. `to_source_no`: the account that a rule points to, 0 for any, NULL without a rule."""
    numbers = {source.name: number for number, source in enumerate(settings.source, start=1)}
    pointed = {account: numbers[name] for name, account in own_accounts(settings).items()}
    pointed[settings.template_of("transfers_in_transit")] = 0
    rules = [
        f"({place}, {pointed[rule.account]})"
        for place, rule in enumerate(settings.bank_rule, start=1)
        if rule.account in pointed
    ]
    connection.execute(
        f"""
        INSERT INTO transfer_end
        WITH pointing (rule_no, to_source_no) AS (VALUES {", ".join(rules) or "(NULL, NULL)"}),
        covered AS (SELECT source_no, min(first_day) AS first_day FROM export GROUP BY source_no)
        SELECT row_number() OVER (ORDER BY "at", row.source_no, key), row.source_no, key, "at"::DATE, currency, amount,
               coalesce(memo, '') || ' ' || coalesce(counterparty, '') AS text, row.rule_no, pointing.to_source_no, NULL,
               {_number("text")}
        FROM bank_row AS row LEFT JOIN pointing USING (rule_no)
        LEFT JOIN covered ON covered.source_no = pointing.to_source_no
        WHERE movement_no IS NULL AND amount <> 0
          AND (row.rule_no = 0 OR (pointing.to_source_no = 0
               -- what no export of the other account tells of has no second end: the rule posts it as it stands
               OR (pointing.to_source_no <> row.source_no AND "at"::DATE >= covered.first_day)))
        """
    )


#: Ends that a person moved to an account, whole; what they said stands. (Of a cheque that the bank completes with another
#: amount, the difference is moved.)
_SETTLED = """SELECT end_no FROM transfer_end JOIN source USING (source_no) JOIN decision
    ON decision.source = source.name AND decision.event_id = transfer_end.event_id AND action = 'account'
   AND decision.amount = -transfer_end.amount"""
_FREE = f"""end_no NOT IN (SELECT first_no FROM twin UNION ALL SELECT second_no FROM twin)
    AND end_no NOT IN ({_SETTLED})"""

#: Two lines of two accounts that can be one transfer, by what rules say of them.
_MIRRORED = """EXISTS (
    SELECT 1 FROM transfer_end AS sent, transfer_end AS came
    WHERE sent.end_no = earlier.no AND came.end_no = later.no AND came.source_no <> sent.source_no
      AND coalesce(sent.to_source_no, 0) IN (0, came.source_no) AND coalesce(came.to_source_no, 0) IN (0, sent.source_no)"""

#: Of which a rule or a text says that they are; a person is asked about the others.
_TRANSFER = f"""{_MIRRORED}
      AND (sent.to_source_no IS NOT NULL OR came.to_source_no IS NOT NULL
           OR regexp_matches(sent.text || ' | ' || came.text, {quoted(_TRANSFER_WORDS)}, 'i')))"""

#: Entries by hand as one end for each cheque and currency, under the number that their ends are known by.
_WRITTEN = """SELECT coalesce(pair_no, end_no) AS end_no, currency, min(moved_on) AS moved_on, sum(amount)::BIGINT AS amount,
        any_value(number) AS number
    FROM transfer_end WHERE source_no IS NULL GROUP BY coalesce(pair_no, end_no), currency"""


#: A cheque of another number is another cheque, whatever its amount.
_SAME_CHEQUE = """NOT EXISTS (
    SELECT 1 FROM transfer_end AS entry, transfer_end AS line
    WHERE coalesce(entry.pair_no, entry.end_no) = earlier.no AND entry.source_no IS NULL AND line.end_no = later.no
      AND entry.number <> line.number)"""


def _pair_decided(connection: duckdb.DuckDBPyConnection) -> None:
    """Lines that a person tied together: money out of one account and into another, each tied once."""
    connection.execute(
        """
        INSERT INTO twin
        SELECT first_no, second_no, NULL FROM (
            SELECT DISTINCT sent.end_no AS first_no, came.end_no AS second_no
            FROM (
                SELECT source, event_id, match_source, match_id FROM decision WHERE action = 'match'
                UNION SELECT match_source, match_id, source, event_id FROM decision WHERE action = 'match'
            ) AS tied
            JOIN source AS sender ON sender.name = tied.source JOIN source AS receiver ON receiver.name = tied.match_source
            JOIN transfer_end AS sent ON sent.source_no = sender.source_no AND sent.event_id = tied.event_id
            JOIN transfer_end AS came ON came.source_no = receiver.source_no AND came.event_id = tied.match_id
            WHERE sent.amount < 0 AND came.amount = -sent.amount AND came.currency = sent.currency
              AND came.source_no <> sent.source_no
        ) QUALIFY count(*) OVER (PARTITION BY first_no) = 1 AND count(*) OVER (PARTITION BY second_no) = 1
        """
    )


def _pair_lines(connection: duckdb.DuckDBPyConnection) -> None:
    """Two lines of two accounts, money out of one and into the other, by what unique pairs are taken for payouts."""
    stage = stages.TRANSFER
    side = f"""SELECT end_no AS no, abs(amount) || ' ' || currency AS bucket, moved_on AS day, source_no, {_FREE} AS open
               FROM transfer_end WHERE source_no IS NOT NULL AND sign(amount) ="""
    lags = """SELECT came.source_no AS later_source_no, sent.source_no AS earlier_source_no, lag
              FROM twin JOIN transfer_end AS sent ON sent.end_no = first_no JOIN transfer_end AS came ON came.end_no = second_no
              WHERE lag IS NOT NULL AND sent.source_no IS NOT NULL"""
    sides = Sides(f"{side} 1", f"{side} -1", lags, _TRANSFER)
    match_unique(connection, sides, stage.days, stages.NEAR, functools.partial(_take, connection))
    fill_sides(connection, sides.later, sides.earlier)
    weigh_pairs(connection, stage.days, f"{_MIRRORED})")
    rank_candidates(
        connection,
        None,
        f"""
        WITH told AS (
            SELECT later_no AS no, earlier_no AS other_no, lag FROM possible UNION ALL SELECT earlier_no, later_no, lag FROM possible
        )
        SELECT own.source_no, own.event_id AS record_id, source.name AS match_source, other.event_id AS match_id,
               other.moved_on AS day, other.amount, other.currency,
               'the same amount the other way in another account of yours, ' || {lag_words("lag")} AS why, abs(lag) AS distance,
               NULL::INTEGER AS whole
        FROM told JOIN transfer_end AS own ON own.end_no = told.no JOIN transfer_end AS other ON other.end_no = other_no
        JOIN source ON source.source_no = other.source_no
        """,
    )


def _pair_hand(connection: duckdb.DuckDBPyConnection) -> None:
    """An entry by hand and the bank line that completes it: by its number, else by amount and days where unique.

    Two numbers that contradict each other are two cheques. A rule that points to an account speaks of no cheque.
    """
    stage = stages.WRITTEN
    _pair_numbered(connection)
    line = "source_no IS NOT NULL AND coalesce(to_source_no, 0) = 0"
    sides = Sides(
        f"""SELECT end_no AS no, amount || ' ' || currency AS bucket, moved_on AS day, source_no, {_FREE} AS open
            FROM transfer_end WHERE {line}""",
        f"""SELECT end_no AS no, amount || ' ' || currency AS bucket, moved_on AS day, 0::SMALLINT AS source_no, {_FREE} AS open
            FROM ({_WRITTEN}) AS transfer_end""",
        """SELECT line.source_no AS later_source_no, 0 AS earlier_source_no, lag
           FROM twin JOIN transfer_end AS line ON line.end_no = second_no WHERE first_no < 0""",
        _SAME_CHEQUE,
    )
    match_unique(connection, sides, stage.days, stages.NEAR, functools.partial(_take, connection))


def _take(connection: duckdb.DuckDBPyConnection) -> None:
    connection.execute("INSERT INTO twin SELECT earlier_no, later_no, lag FROM paired")


def _pair_numbered(connection: duckdb.DuckDBPyConnection) -> None:
    """A cheque whose number both texts give, with its amount, else with another: then one of the two is wrong."""
    low, high = _NUMBERED_WINDOW
    for same in ("entry.amount = line.amount", "sign(entry.amount) = sign(line.amount)"):
        connection.execute(
            f"""
            INSERT INTO twin
            SELECT entry.end_no, line.end_no, line.moved_on - entry.moved_on
            FROM (SELECT * FROM ({_WRITTEN}) AS transfer_end WHERE {_FREE}) AS entry
            JOIN (SELECT * FROM transfer_end WHERE {_FREE}) AS line ON entry.currency = line.currency AND entry.number = line.number
            WHERE line.source_no IS NOT NULL AND coalesce(line.to_source_no, 0) = 0 AND {same}
              AND line.moved_on BETWEEN entry.moved_on - {low} AND entry.moved_on + {high}
            QUALIFY count(*) OVER (PARTITION BY entry.end_no) = 1 AND count(*) OVER (PARTITION BY line.end_no) = 1
            """
        )
