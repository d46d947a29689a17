"""What a finder of open items is: one SQL statement, and what its finds may still wait for.

Every statement returns: kind, day, amount, currency, order id, event id, source, key (for the stable id), cause. Its one
named parameter is `$as_of`; it sees what was known on that day.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Held:
    """Where the balance of what was found stands.

    Attributes:
        role: role of the account that holds it, that of the item's source where each source has one; `STATED`: the account
            whose balance is stated.
        sign: 1 where the amount found is the balance, debit positive; -1 where it is the reverse of it; 0 where the account held
            it once and does no longer.
    """

    role: str
    sign: int = 1


#: Stands for the account of the source that states a balance.
STATED = "stated"


@dataclass(frozen=True)
class Finder:
    """One way in which something fails to tie out.

    Attributes:
        sql: the statement.
        only_if: SQL that has a row where the finder applies; None: it always does.
        waits: name of the lag (`lags.LAGS`) that a find may take before it is late; None: it is open at once.
        held: where the amount found stands in the books, to the last unit: a decision moves it as it is found. None: nowhere.
    """

    sql: str
    waits: str | None = None
    only_if: str | None = None
    held: Held | None = None


def account_of(role: str) -> str:
    """SQL expression: number of the account of a role that has one account."""
    return f"(SELECT account_no FROM account WHERE role = '{role}')"


def whose_order(reference: str) -> str:
    """SQL expression: why a reference finds no order, in words."""
    number = f"upper(ltrim(trim({reference}), '# '))"
    return f"""CASE WHEN {number} IN (SELECT order_key FROM order_head GROUP BY order_key HAVING count(*) > 1)
        THEN 'several shops have an order ' || {reference} || ', and nothing says whose it is'
        ELSE 'no shop export holds the order ' || coalesce({reference}, '(no reference given)') END"""


#: What a decision moved away is still the item that was decided about.
UNDECIDED = "posting.event_no NOT IN (SELECT event_no FROM event WHERE rule = 'decision')"
