"""Bank lines, what is under way to and from the bank, and stated balances."""

from __future__ import annotations

from ledger_tools.money import currencies_by_digits
from ledger_tools.open_item_finders.finder import STATED, Finder, Held
from ledger_tools.store import amount_text

_SENT_BACK = """
    SELECT sent.movement_no FROM movement AS sent JOIN movement AS home
        ON sent.source_no = home.source_no AND sent.reference = home.reference AND sent.movement_no <> home.movement_no
       AND sent.amount = -home.amount
    WHERE sent.kind IN ('payout', 'payout_returned') AND home.kind IN ('payout', 'payout_returned')
      AND home.moved_on <= $as_of
"""

#: What has arrived of each movement by the day; a movement can be completed by several bank lines.
_ARRIVED = """
    SELECT tie.movement_no, max("at"::DATE) AS day, sum(moved)::BIGINT AS amount
    FROM bank_match AS tie JOIN bank_row AS row USING (source_no, key) WHERE "at"::DATE <= $as_of GROUP BY tie.movement_no
"""


def _under_way(kinds: str, item_kind: str) -> str:
    """Movements of some kinds that no bank line completes."""
    return f"""
    SELECT '{item_kind}', moved_on, movement.amount, movement.currency, NULL, movement.event_id, source.name,
           movement.event_id,
           CASE movement.kind WHEN 'payout' THEN 'no bank line holds this payout'
                WHEN 'payout_returned' THEN 'no bank line holds the returned payout'
                WHEN 'top_up' THEN 'no bank line pays this top-up'
                ELSE 'no bank line holds this withdrawal' END
    FROM movement JOIN source USING (source_no)
    LEFT JOIN ({_ARRIVED}) AS arrived USING (movement_no)
    WHERE movement.kind IN ({kinds}) AND moved_on <= $as_of AND movement.amount <> 0 AND arrived.movement_no IS NULL
      AND movement.movement_no NOT IN ({_SENT_BACK}) AND EXISTS (SELECT 1 FROM source WHERE kind = 'bank')
    """


def _other_amount(kinds: str, item_kind: str) -> str:
    """Movements of some kinds that bank lines complete with another amount: what is left of each."""
    return f"""
    SELECT '{item_kind}', moved_on, (movement.amount - arrived.amount)::BIGINT, movement.currency, NULL, movement.event_id,
           source.name, movement.event_id, 'the bank line of ' || arrived.day || ' has another amount'
    FROM movement JOIN source USING (source_no) JOIN ({_ARRIVED}) AS arrived USING (movement_no)
    WHERE movement.kind IN ({kinds}) AND moved_on <= $as_of AND movement.movement_no NOT IN ({_SENT_BACK})
      AND arrived.amount <> movement.amount
    """


def _ahead(kinds: str, item_kind: str) -> str:
    """What bank lines hold of movements that are dated after the day."""
    return f"""
    SELECT '{item_kind}', row."at"::DATE, sum(moved)::BIGINT, movement.currency, NULL, tie.key, source.name, tie.key,
           'no payout or top-up of this day or before explains it'
    FROM bank_match AS tie JOIN bank_row AS row USING (source_no, key)
    JOIN movement ON movement.movement_no = tie.movement_no JOIN source ON source.source_no = tie.source_no
    WHERE tie.source_no > 0 AND row."at"::DATE <= $as_of AND moved_on > $as_of AND movement.kind IN ({kinds})
    GROUP BY row."at", movement.currency, tie.key, source.name
    """


def _party(row: str) -> str:
    """SQL expression: the words of a bank line without those that hold a digit, which change from line to line."""
    return f"trim(regexp_replace(upper(coalesce({row}.memo, '')), '[^ ]*[0-9][^ ]*', '', 'g'))"


_BANK_LINE = f"""
    WITH sender AS (
        SELECT DISTINCT upper(trim(counterparty)) AS name, {_party("bank_row")} AS text
        FROM bank_row JOIN movement USING (movement_no) WHERE movement.kind = 'payout' AND bank_row."at"::DATE <= $as_of
    )
    SELECT CASE WHEN fact.amount > 0 AND (
                    upper(trim(row.counterparty)) IN (SELECT name FROM sender WHERE name <> '')
                    OR {_party("row")} IN (SELECT text FROM sender WHERE text <> '')
                    OR EXISTS (SELECT 1 FROM payout_pattern WHERE payout_pattern.source_no = row.source_no AND regexp_matches(
                        coalesce(row.memo, '') || ' ' || coalesce(row.counterparty, ''), payout_pattern.pattern, 'i')))
                THEN 'deposit-without-payout' ELSE 'bank-line-without-rule' END,
           fact.posted_on, fact.amount, fact.currency, NULL, fact.event_id, source_name, fact.event_id,
           'no payout, top-up or rule explains "' || coalesce(fact.memo, '') || '"'
    FROM fact_bank AS fact JOIN bank_row AS row ON row.source_no = fact.source_no AND row.key = fact.event_id
    WHERE fact.posting = 'unknown' AND fact.amount <> 0 AND fact.posted_on <= $as_of
"""

_ADJUSTMENT = """
    SELECT 'bank-line-without-rule', posted_on, gross, currency, NULL, event_id, source_name, event_id, note
    FROM fact_processor WHERE kind = 'adjustment' AND rule_no = 0 AND gross <> 0 AND posted_on <= $as_of
"""

_WALLET = """
    SELECT 'bank-line-without-rule', posted_on, total, currency, NULL, event_id, source_name, event_id, note
    FROM fact_wallet WHERE posting = 'unknown' AND posted_on <= $as_of
"""


def _written(role: str, cause: str) -> str:
    """The bank's own half of what a person wrote as under way: what of it no payout or top-up answers for."""
    return f"""
    SELECT 'bank-line-without-rule', written.day, (written.amount - coalesce(answered.amount, 0))::BIGINT, written.currency, NULL,
           written.event_id, source.name, written.event_id, '{cause}'
    FROM written JOIN source ON source.kind = 'hand'
    LEFT JOIN (
        SELECT tie.source_no, tie.key, sum(moved) AS amount FROM bank_match AS tie JOIN movement USING (movement_no)
        WHERE moved_on <= $as_of GROUP BY ALL
    ) AS answered ON answered.source_no = source.source_no AND answered.key = written.event_id
    WHERE NOT awaits_bank AND role = '{role}' AND day <= $as_of AND written.amount <> coalesce(answered.amount, 0)
    """


_COMPARED = """
    WITH settled AS (
        SELECT event_no FROM event JOIN decision ON decision.item = event.event_id
        WHERE event.rule = 'decision' AND decision.kind = 'balance-differs'
    ), compared AS (
        SELECT source_no, stated_on, stated.currency, stated.amount - coalesce((
                   SELECT sum(posting.amount) FROM posting JOIN account_use AS used USING (account_no)
                   WHERE used.role = source.kind AND used.parameter = source.name AND posting.posted_on <= stated.stated_on
                     AND posting.currency = stated.currency AND posting.event_no NOT IN (SELECT event_no FROM settled)), 0) AS difference
        FROM stated_balance AS stated JOIN source USING (source_no) WHERE stated_on <= $as_of
    )
"""

#: The latest difference, which is what the account holds.
_BALANCE = f"""{_COMPARED}
    SELECT 'balance-differs', min(stated_on) FILTER (difference <> 0), arg_max(difference, stated_on)::BIGINT,
           compared.currency, NULL, NULL,
           source.name, compared.currency,
           CASE WHEN count(*) FILTER (difference <> 0) = count(*) AND count(DISTINCT difference) = 1
                THEN 'the same difference on every stated day: an opening balance is missing'
                ELSE 'stated and booked differ from ' || min(stated_on) FILTER (difference <> 0) || ' on' END
    FROM compared JOIN source USING (source_no)
    GROUP BY source.name, compared.currency HAVING arg_max(difference, stated_on) <> 0
"""

#: The difference of an earlier day, which the account holds no longer.
_EARLIER_BALANCE = f"""{_COMPARED}
    SELECT 'balance-differs', min(stated_on) FILTER (difference <> 0),
           (arg_max(difference, stated_on) FILTER (difference <> 0))::BIGINT, compared.currency, NULL, NULL,
           source.name, compared.currency,
           'stated and booked differ by this on ' || max(stated_on) FILTER (difference <> 0)
               || ' and agree later: reconcile --as-of that day'
    FROM compared JOIN source USING (source_no)
    GROUP BY source.name, compared.currency
    HAVING arg_max(difference, stated_on) = 0 AND count(*) FILTER (difference <> 0) > 0
"""

_TRANSFER = """
    SELECT 'bank-line-without-rule', side.moved_on, -side.amount, side.currency, NULL, side.event_id, source.name,
           side.event_id, 'the other side of this transfer is on no statement' || coalesce(' of ' || target.name, '')
    FROM transfer_end AS side JOIN source USING (source_no) LEFT JOIN source AS target ON target.source_no = side.to_source_no
    WHERE side.moved_on <= $as_of AND NOT EXISTS (
        SELECT 1 FROM transfer_end AS twin
        WHERE twin.pair_no = side.pair_no AND twin.end_no <> side.end_no AND twin.moved_on <= $as_of)
"""


def _amount(expression: str) -> str:
    return amount_text(expression, "line.currency", currencies_by_digits())


#: Cheques and deposits by hand that the bank completes with another amount: what stays in transit. Entries that put the
#: amount right count whenever they are dated.
_OTHER_CHEQUE = f"""
    WITH written AS (
        SELECT pair_no, any_value(number) AS number, arg_max(event_id, end_no) AS place,
               sum(amount)::BIGINT AS amount FROM transfer_end WHERE source_no IS NULL AND pair_no IS NOT NULL GROUP BY pair_no
    )
    SELECT 'bank-line-without-rule', line.moved_on, (written.amount - line.amount)::BIGINT, line.currency, NULL, line.event_id,
           source.name, line.event_id || ' other amount',
           'cheque or deposit ' || written.number || ' is ' || {_amount("abs(written.amount)")} || ' by hand (' || written.place || ') and '
           || {_amount("abs(line.amount)")} || ' at the bank: mend the entry, write another of its number, or ask the bank'
    FROM transfer_end AS line JOIN source USING (source_no) JOIN written USING (pair_no)
    WHERE line.moved_on <= $as_of AND line.amount <> written.amount
"""

_PAYOUTS, _TOP_UPS = "'payout', 'payout_returned'", "'top_up', 'withdrawal'"

FINDERS = (
    Finder(_under_way(_PAYOUTS, "payout-not-in-bank"), "payout", held=Held("payouts_in_transit")),
    Finder(_under_way(_TOP_UPS, "top-up-without-bank-line"), "top_up", held=Held("top_ups_in_transit")),
    Finder(_other_amount(_PAYOUTS, "payout-not-in-bank"), held=Held("payouts_in_transit")),
    Finder(_other_amount(_TOP_UPS, "top-up-without-bank-line"), held=Held("top_ups_in_transit")),
    Finder(_ahead(_PAYOUTS, "deposit-without-payout"), "payout", held=Held("payouts_in_transit", -1)),
    Finder(_ahead(_TOP_UPS, "bank-line-without-rule"), "top_up", held=Held("top_ups_in_transit", -1)),
    Finder(_BANK_LINE, held=Held("suspense", -1)),
    Finder(_ADJUSTMENT, held=Held("suspense", -1)),
    Finder(_WALLET, held=Held("suspense")),
    Finder(_TRANSFER, "top_up", held=Held("transfers_in_transit")),
    Finder(_OTHER_CHEQUE, held=Held("transfers_in_transit")),
    Finder(
        _written("top_ups_in_transit", "hand.beancount has this top-up as paid, and no wallet export holds it"),
        "top_up",
        held=Held("top_ups_in_transit", -1),
    ),
    Finder(
        _written("payouts_in_transit", "hand.beancount has this payout as arrived, and no processor export holds it"),
        held=Held("payouts_in_transit", -1),
    ),
    Finder(_BALANCE, held=Held(STATED, -1)),
    Finder(_EARLIER_BALANCE, held=Held(STATED, 0)),
)
