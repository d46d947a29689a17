"""Transfers between the shop's own bank accounts and cards, and what a person wrote as under way before the bank had it.

A transfer is two bank lines, one in each account, and each account's statement tells of its own. Both lines are posted
through the account of transfers under way, so that neither is counted twice, and are matched like payouts: unique both
ways, the narrowest days first. A line is taken for a transfer where one of the user's rules points to the other account
or to the account of transfers under way, or where it says so itself. An entry in `hand.beancount` on that account is a
cheque or deposit that a bank line will complete, known by its number or by its amount.

Ends have the amount that a bank line of theirs has: a transfer's two ends sum to zero, an entry by hand expects a line of
its own amount.
"""

from __future__ import annotations

import duckdb

from ledger_tools.chart import own_accounts
from ledger_tools.hand import MAIN_FILE, HandFile
from ledger_tools.settings import ShopSettings
from ledger_tools.store import quoted

#: Days that the line in may come before and after the line out.
_TRANSFER_WINDOWS = ((0, 1), (1, 4), (3, 10))
#: Days that the bank line may come before and after an entry by hand, where only the amount tells.
_HAND_WINDOWS = ((0, 1), (1, 4), (3, 10), (3, 45))
#: The same where both name one number: a cheque is stale after half a year (common practice).
_NUMBERED_WINDOW = (3, 183)

#: What a line says that is a transfer, where no rule does; case ignored.
_TRANSFER_WORDS = r"\b(transfer|xfer|autopay|card payment|payment thank you|payment received)\b"
#: The number of a cheque or of a deposit's slip, in a bank's text or a person's.
_NUMBER = r"\b(?:check|cheque|chq|chk|ck|deposit)\W*(?:no\W*)?0*([0-9]+)\b"


def match_transfers(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, hand: HandFile) -> None:
    """Make `transfer_end`: the ends of transfers with the pair that each belongs to, none where it is still alone.

    Entries by hand of one number are one cheque: what was written wrong is put right by another entry of its number.
    """
    connection.execute(
        """
        CREATE TABLE transfer_end (
            end_no INTEGER, source_no SMALLINT, event_id VARCHAR, moved_on DATE, currency VARCHAR, amount BIGINT, text VARCHAR,
            rule_no INTEGER, to_source_no SMALLINT, pair_no INTEGER
        )
        """
    )
    _list_hand_ends(connection, settings, hand)
    _list_line_ends(connection, settings)
    connection.execute("CREATE OR REPLACE TEMP TABLE paired (first_no INTEGER, second_no INTEGER)")
    _pair_numbered(connection)
    for window in _TRANSFER_WINDOWS:
        _pair_lines(connection, window)
    for window in _HAND_WINDOWS:
        _pair_hand(connection, f"entry.amount = line.amount AND {_within('entry', 'line', window)}")
    connection.execute(
        """
        UPDATE transfer_end SET pair_no = paired.first_no FROM paired WHERE end_no = second_no OR coalesce(pair_no, end_no) = first_no;
        DELETE FROM transfer_end WHERE source_no IS NOT NULL AND pair_no IS NULL AND to_source_no IS NULL;
        DROP TABLE paired
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
                    "INSERT INTO transfer_end VALUES (?, NULL, ?, ?, ?, ?, ?, NULL, NULL, NULL)",
                    [number, where, entry.day, line.currency, line.amount, entry.narration],
                )
    numbered = f"regexp_extract(text, {quoted(_NUMBER)}, 1, 'i')"
    connection.execute(
        f"""
        UPDATE transfer_end SET pair_no = whole.pair_no FROM (
            SELECT {numbered} AS number, currency, max(end_no) AS pair_no FROM transfer_end
            WHERE {numbered} <> '' GROUP BY ALL HAVING count(*) > 1
        ) AS whole WHERE whole.number = {numbered} AND whole.currency = transfer_end.currency
        """
    )


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
               coalesce(memo, '') || ' ' || coalesce(counterparty, ''), row.rule_no, pointing.to_source_no, NULL
        FROM bank_row AS row LEFT JOIN pointing USING (rule_no)
        LEFT JOIN covered ON covered.source_no = pointing.to_source_no
        WHERE movement_no IS NULL AND amount <> 0
          AND (row.rule_no = 0 OR (pointing.to_source_no = 0
               -- what no export of the other account tells of has no second end: the rule posts it as it stands
               OR (pointing.to_source_no <> row.source_no AND "at"::DATE >= covered.first_day)))
        """
    )


def _within(first: str, second: str, window: tuple[int, int]) -> str:
    return f"{second}.moved_on BETWEEN {first}.moved_on - {window[0]} AND {first}.moved_on + {window[1]}"


_ACCEPT_UNIQUE = """
    INSERT INTO paired
    SELECT first_no, second_no FROM (
        SELECT DISTINCT first_no, second_no FROM ({pairs})
        WHERE first_no NOT IN (SELECT first_no FROM paired UNION ALL SELECT second_no FROM paired)
          AND second_no NOT IN (SELECT first_no FROM paired UNION ALL SELECT second_no FROM paired)
    )
    QUALIFY count(*) OVER (PARTITION BY first_no) = 1 AND count(*) OVER (PARTITION BY second_no) = 1
"""


def _pair_lines(connection: duckdb.DuckDBPyConnection, window: tuple[int, int]) -> None:
    """Two lines of two accounts: money out of one, in to the other; a rule or the text says that it is a transfer."""
    words = quoted(_TRANSFER_WORDS)
    pairs = f"""
        SELECT sent.end_no AS first_no, came.end_no AS second_no
        FROM transfer_end AS sent JOIN transfer_end AS came
            ON came.amount = -sent.amount AND came.currency = sent.currency AND came.source_no <> sent.source_no
        WHERE sent.amount < 0 AND {_within("sent", "came", window)}
          AND coalesce(sent.to_source_no, 0) IN (0, came.source_no) AND coalesce(came.to_source_no, 0) IN (0, sent.source_no)
          AND (sent.to_source_no IS NOT NULL OR came.to_source_no IS NOT NULL
               OR regexp_matches(sent.text, {words}, 'i') OR regexp_matches(came.text, {words}, 'i'))
    """
    connection.execute(_ACCEPT_UNIQUE.format(pairs=pairs))


def _pair_hand(connection: duckdb.DuckDBPyConnection, condition: str) -> None:
    """An entry by hand and the bank line that completes it; a rule that points to an account speaks of no cheque."""
    pairs = f"""
        SELECT entry.end_no AS first_no, line.end_no AS second_no
        FROM (SELECT coalesce(pair_no, end_no) AS end_no, currency, min(moved_on) AS moved_on, sum(amount) AS amount,
                     any_value(text) AS text FROM transfer_end WHERE source_no IS NULL
              GROUP BY coalesce(pair_no, end_no), currency) AS entry
        JOIN transfer_end AS line ON entry.currency = line.currency
        WHERE line.source_no IS NOT NULL AND coalesce(line.to_source_no, 0) = 0 AND {condition}
    """
    connection.execute(_ACCEPT_UNIQUE.format(pairs=pairs))


def _pair_numbered(connection: duckdb.DuckDBPyConnection) -> None:
    """A cheque whose number both texts give, with its amount, else with another: then one of the two is wrong."""
    entry, line = (f"regexp_extract({side}.text, {quoted(_NUMBER)}, 1, 'i')" for side in ("entry", "line"))
    numbered = f"{entry} <> '' AND {entry} = {line} AND {_within('entry', 'line', _NUMBERED_WINDOW)}"
    _pair_hand(connection, f"entry.amount = line.amount AND {numbered}")
    _pair_hand(connection, f"sign(entry.amount) = sign(line.amount) AND {numbered}")
