"""What decisions tie together: bank lines with the movements that they complete, events with their orders.

Read in two places that must agree: by a build, which takes the ties that hold, and by whoever judges a new decision, which
is refused where its ties would not hold. Amounts are minor units as the bank shows them.
"""

from __future__ import annotations


def tied_lines(lines: str, decisions: str, named: str) -> str:
    """SQL: (line_no, movement_no, moved, decided, against) of every line and movement that decisions tie.

    A line whose text names such a movement belongs to it as well (not `decided`), unless a person tied the line elsewhere.

    One line with several movements of one source and currency, or one movement with several lines of one currency: what
    hangs together otherwise is no combination, and `against` says why, for each tie of it. `moved` is the part of the
    movement that the line completes: of several movements each is complete but the last, which takes the rest; a foreign
    movement is shared out over its lines.

    Args:
        lines: relation of bank lines: line_no, name (of the source), key, amount, currency.
        decisions: relation of decisions: action, source, event_id, match_source, match_id.
        named: relation of lines whose text names one movement, and that movement: line_no, movement_no.
    """
    return f"""
        WITH tie AS (
            SELECT source AS bank, event_id AS line_key, match_source AS mover, match_id AS event_id FROM {decisions}
            WHERE action = 'match'
            UNION SELECT match_source, match_id, source, event_id FROM {decisions} WHERE action = 'match'
        ), said AS (
            SELECT DISTINCT line.line_no, movement.movement_no
            FROM tie JOIN {lines} AS line ON line.name = tie.bank AND line.key = tie.line_key
            JOIN source ON source.name = tie.mover
            JOIN movement ON movement.source_no = source.source_no AND movement.event_id = tie.event_id
        ), pair AS (
            SELECT line_no, movement_no, decided, line.amount AS line_amount, movement.amount AS movement_amount,
                   line.currency AS line_currency, movement.currency, movement.source_no
            FROM (SELECT line_no, movement_no, true AS decided FROM said
                  UNION ALL SELECT line_no, movement_no, false FROM {named} AS named
                  SEMI JOIN said USING (movement_no) ANTI JOIN said AS elsewhere ON elsewhere.line_no = named.line_no)
            JOIN {lines} AS line USING (line_no) JOIN movement USING (movement_no)
        ), counted AS (
            SELECT *, count(*) OVER by_line AS movements, count(*) OVER by_movement AS lines,
                   min(source_no) OVER by_line = max(source_no) OVER by_line
                       AND min(currency) OVER by_line = max(currency) OVER by_line AS one_mover,
                   min(line_currency) OVER by_movement = max(line_currency) OVER by_movement AS one_currency,
                   line_currency = currency AS same,
                   row_number() OVER (PARTITION BY line_no ORDER BY movement_no) AS place,
                   coalesce(sum(movement_amount) OVER (PARTITION BY line_no ORDER BY movement_no
                       ROWS BETWEEN UNBOUNDED PRECEDING AND 1 PRECEDING), 0)::BIGINT AS before,
                   greatest(sum(abs(line_amount)) OVER by_movement, 1)::HUGEINT AS arrives,
                   abs(movement_amount)::HUGEINT * abs(line_amount) AS weighed
            FROM pair WINDOW by_line AS (PARTITION BY line_no), by_movement AS (PARTITION BY movement_no)
        ), cut AS ( -- by largest remainder
            SELECT *, weighed // arrives + CASE WHEN row_number() OVER (PARTITION BY movement_no ORDER BY weighed % arrives DESC, line_no)
                       <= abs(movement_amount) - sum(weighed // arrives) OVER (PARTITION BY movement_no) THEN 1 ELSE 0 END AS share
            FROM counted
        ), judged AS (
            SELECT *,
                   CASE WHEN sign(line_amount) <> sign(movement_amount)
                            THEN 'money into the bank and money out of it can''t belong together'
                        WHEN movements > 1 AND lines > 1
                            THEN 'several bank lines hang together with several payouts or top-ups: nothing tells which part is whose'
                        WHEN NOT one_mover THEN 'one bank line can''t be payouts or top-ups of several sources or currencies'
                        WHEN NOT one_currency THEN 'one payout or top-up can''t be bank lines of several currencies'
                        WHEN same AND place = movements AND abs(line_amount) <= abs(before)
                            THEN 'the bank line is used up before the last of them'
                   END AS reason,
                   CASE WHEN NOT same AND lines > 1 THEN sign(movement_amount) * share
                        WHEN NOT same OR place < movements THEN movement_amount
                        ELSE line_amount - before END::BIGINT AS moved
            FROM cut
        )
        SELECT line_no, movement_no, moved, decided,
               coalesce(reason, max(reason) OVER (PARTITION BY line_no), max(reason) OVER (PARTITION BY movement_no)) AS against
        FROM judged
    """


def tied_orders(decisions: str) -> str:
    """SQL: (source_name, event_id, order_no) of every event and order that decisions tie.

    A decision that names no shop means the order of its number in any.

    Args:
        decisions: relation of decisions: action, source, event_id, order_id, match_source, match_id.
    """
    shops = "(SELECT name FROM source WHERE kind = 'orders')"
    return f"""
        SELECT DISTINCT source_name, event_id, order_no FROM (
            SELECT source AS source_name, event_id, match_source AS shop, match_id AS order_id FROM {decisions}
            WHERE action = 'match' AND event_id IS NOT NULL AND (match_source IS NULL OR match_source IN {shops})
            UNION SELECT match_source, match_id, source, order_id FROM {decisions}
            WHERE action = 'match' AND match_source IS NOT NULL AND order_id IS NOT NULL
        ) AS tie JOIN (
            SELECT order_no, order_id, source.name AS shop_name FROM order_head JOIN source USING (source_no)
        ) AS head ON head.order_id = tie.order_id AND (tie.shop IS NULL OR tie.shop = head.shop_name)
    """
