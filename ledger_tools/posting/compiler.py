"""Turns posting rules into set-based SQL: events and postings of all facts at once.

For each rule one `INSERT` of its events, and one of its lines with the amount of each line; zero lines are left out.
That the lines of an event sum to zero is asserted for every row of the facts here, and for foreign amounts in `values`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import duckdb

from ledger_tools.accounts import ROLES_BY_NAME
from ledger_tools.posting.rules import RULES, Line, Rule
from ledger_tools.store import quoted


def list_events(connection: duckdb.DuckDBPyConnection) -> tuple[Rule, ...]:
    """Fill `event` from the facts tables; gives the rules that have any event, which are the only ones to go on with."""
    used = []
    for rule in RULES:
        added = connection.execute(
            f"""INSERT INTO event SELECT event_no, {quoted(rule.name)}, source_no, event_id, posted_on, order_no, flagged,
                note, memo, NULL, NULL FROM {rule.facts} WHERE {rule.when}"""
        ).fetchone()
        if added and added[0]:
            used.append(rule)
    return tuple(used)


def list_parameters(connection: duckdb.DuckDBPyConnection, rules: Sequence[Rule]) -> dict[str, set[str]]:
    """Every value that the parameter of each role takes in the facts of these rules."""
    found: dict[str, set[str]] = {}
    for rule in rules:
        for line in rule.lines:
            if line.parameter == "NULL":
                continue
            facts = line.facts or rule.facts
            where = rule.when if line.facts is None else "true"
            rows = connection.execute(
                f"SELECT DISTINCT coalesce({line.parameter}, '') FROM {facts} WHERE {where} AND ({line.amount}) <> 0"
            ).fetchall()
            found.setdefault(line.role, set()).update(str(row[0]) for row in rows)
    return found


def post_lines(connection: duckdb.DuckDBPyConnection, rules: Sequence[Rule], base_currency: str) -> None:
    """Fill `posting` by these rules; `account_use` must hold every role and parameter."""
    fixed = {
        str(role): int(number)
        for role, number in connection.execute(
            "SELECT role, account_no FROM account_use WHERE parameter = ''"
        ).fetchall()
    }
    for rule in rules:
        _check_rows(connection, rule)
        for place, line in enumerate(rule.lines, start=1):
            connection.execute(_line_sql(rule, line, place, fixed, base_currency))


def _check_rows(connection: duckdb.DuckDBPyConnection, rule: Rule) -> None:
    """The lines of each facts row in one currency sum to zero; that they don't is a fault of the program, not of data."""
    terms = []
    for line in rule.lines:
        if line.facts is None:
            terms.append(f"({line.amount})")
        else:
            terms.append(
                f"coalesce((SELECT sum({line.amount}) FROM {line.facts} AS more WHERE more.event_no = fact.event_no), 0)"
            )
    currencies = sorted({line.currency for line in rule.lines})
    same = " AND ".join(f"{currencies[0]} = {other}" for other in currencies[1:]) or "true"
    broken = connection.execute(
        f"SELECT event_id, {' + '.join(terms)} AS left FROM {rule.facts} AS fact "
        f"WHERE {rule.when} AND {same} AND {' + '.join(terms)} <> 0 LIMIT 1"
    ).fetchone()
    assert broken is None, f"the rule {rule.name} leaves {broken[1]} for event {broken[0]}"


def _line_sql(rule: Rule, line: Line, place: int, fixed: Mapping[str, int], base_currency: str) -> str:
    has_parameter = line.role not in ROLES_BY_NAME or ROLES_BY_NAME[line.role].has_parameter
    facts = line.facts or rule.facts
    where = rule.when if line.facts is None else "true"
    source = f"{facts} AS fact"
    columns = "fact.event_no, fact.posted_on, fact.order_no"
    if line.facts is not None:
        head = f"(SELECT event_no AS head_no, posted_on, order_no FROM {rule.facts})"
        source = f"{facts} AS fact JOIN {head} AS head ON head_no = fact.event_no"
        columns = "fact.event_no, head.posted_on, head.order_no"
    if has_parameter:
        account = "used.account_no"
        source += f" JOIN account_use AS used ON used.role = {quoted(line.role)} AND used.parameter = coalesce({line.parameter}, '')"
    else:
        account = str(fixed[line.role])
    currency = line.currency
    return f"""
        INSERT INTO posting
        SELECT event_no, {place}, posted_on, order_no, account_no, line_currency, amount,
               CASE WHEN line_currency = {quoted(base_currency)} THEN amount END
        FROM (SELECT {columns}, {account} AS account_no, {_in_fact(currency)} AS line_currency,
                     ({_in_fact(line.amount)})::BIGINT AS amount
              FROM {source} WHERE {where}) WHERE amount <> 0
    """


def _in_fact(expression: str) -> str:
    """Rule expressions name columns of the facts row only; `currency` is the one that other tables have as well."""
    return "fact.currency" if expression == "currency" else expression
