"""The tax rate that most orders of a jurisdiction fit, and the orders whose tax is off it.

Tax is rounded to the minor unit, so each order says of its rate only between which two bounds it lies. The usual rate is
where most of these spans overlap, the one there with the fewest decimals; a small order's span is wide and decides little.
Rates are whole numbers of millionths: 82500 is 8.25 %. Amounts are minor units.
"""

from __future__ import annotations

from ledger_tools.open_item_finders.finder import Finder

#: Rates are looked for in whole steps of a ten-thousandth of a percent.
WHOLE = 10**6

#: "More than 0.1 point and two minor units" is unusual (the contract's bounds), with so many orders in a jurisdiction.
_POINT, _UNITS, _FEWEST = WHOLE // 1000, 2, 20


def common_spans(spans: str) -> str:
    """SQL: jurisdiction, base, low, high, orders: the rates that the most spans of a jurisdiction and base have in common.

    Args:
        spans: SQL relation with jurisdiction, base, low, high; both ends are included.
    """
    return f"""
    WITH edge AS (
        SELECT jurisdiction, base, low AS at_rate, 1 AS change FROM {spans} WHERE low <= high
        UNION ALL SELECT jurisdiction, base, high + 1, -1 FROM {spans} WHERE low <= high
    ), step AS (
        SELECT jurisdiction, base, at_rate, sum(change) AS change FROM edge GROUP BY ALL
    ), overlap AS (
        SELECT jurisdiction, base, at_rate,
               sum(change) OVER (PARTITION BY jurisdiction, base ORDER BY at_rate) AS orders,
               lead(at_rate) OVER (PARTITION BY jurisdiction, base ORDER BY at_rate) - 1 AS last_rate
        FROM step
    )
    SELECT jurisdiction, base, arg_max(at_rate, (orders, -at_rate))::BIGINT AS low,
           arg_max(last_rate, (orders, -at_rate))::BIGINT AS high, max(orders)::BIGINT AS orders
    FROM overlap WHERE last_rate IS NOT NULL GROUP BY jurisdiction, base ORDER BY jurisdiction, base
    """


def _roundest(low: str, high: str) -> str:
    """SQL expression: the rate with the fewest decimals from `low` to `high`, nearest to their middle."""
    cases = []
    for step in (10**digits for digits in range(6, -1, -1)):
        first, last = f"(({low} + {step - 1}) // {step})", f"({high} // {step})"
        nearest = f"(({low} + {high} + {step}) // {2 * step})"
        cases.append(f"WHEN {first} <= {last} THEN least(greatest({nearest}, {first}), {last}) * {step}")
    return f"(CASE {' '.join(cases)} END)::BIGINT"


def _percent(rate: str) -> str:
    """SQL expression: a rate as per cent with the decimals that it needs."""
    one = WHOLE // 100
    return f"rtrim(rtrim(({rate} // {one}) || '.' || lpad(({rate} % {one})::VARCHAR, 4, '0'), '0'), '.') || ' %'"


#: Each order on both bases, with the rates that half a minor unit either way leaves possible: at least one.
_SPANS = f"""
    SELECT *, greatest(((2 * tax - 1) * {WHOLE} + 2 * amount - 1) // (2 * amount), 0) AS low,
           greatest(((2 * tax + 1) * {WHOLE} - 1) // (2 * amount), low) AS high
    FROM (
        SELECT order_no, jurisdiction, 'items' AS base, tax_shop::HUGEINT AS tax, (items_net - discounts)::HUGEINT AS amount FROM judged
        UNION ALL
        SELECT order_no, jurisdiction, 'all in', tax_shop, greatest(items_net - discounts + shipping_net, 1) FROM judged
    )
"""

_TAX = f"""
    WITH judged AS (
        SELECT * FROM fact_sale WHERE tax_marketplace = 0 AND posted_on <= $as_of AND items_net > discounts
        QUALIFY count(*) OVER (PARTITION BY jurisdiction) >= {_FEWEST}
    ), span AS ({_SPANS}), usual AS (
        SELECT jurisdiction, base, orders, {_roundest("low", "high")} AS rate FROM ({common_spans("span")})
    ), compared AS (
        SELECT span.*, usual.rate, usual.orders, tax * {WHOLE} - usual.rate * amount AS beyond
        FROM span JOIN usual USING (jurisdiction, base)
    ), told AS (
        SELECT order_no, arg_max(compared, (orders, base)) AS shown
        FROM compared GROUP BY order_no
        HAVING bool_and(abs(beyond) > {_POINT} * amount AND abs(beyond) > {_UNITS * WHOLE})
    )
    SELECT 'tax-rate-unusual', fact.posted_on, (shown.tax - (2 * shown.rate * shown.amount + {WHOLE}) // {2 * WHOLE})::BIGINT,
           fact.currency, fact.event_id, NULL, source.name, fact.event_id,
           'tax is ' || {_percent(_roundest("shown.low", "shown.high"))} || ' of the items'
           || CASE shown.base WHEN 'items' THEN '' ELSE ' and shipping' END
           || ', usual in ' || fact.jurisdiction || ' is ' || {_percent("shown.rate")}
    FROM told JOIN fact_sale AS fact USING (order_no) JOIN source USING (source_no)
"""

FINDERS = (Finder(_TAX),)
