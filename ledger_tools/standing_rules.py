"""A bank rule made from an open item: what is said once about a line holds for every line like it.

The pattern is the line's own text: its words, escaped, with any word that holds a digit standing for every such word. The
name of the other party is left out where other words say enough, since the settings are no place for persons.
The rule goes into shop.toml behind the rules that are there, everything else in the file stays byte for byte; the item
then leaves the list by the rule alone. Amounts are not part of a rule.
"""

from __future__ import annotations

import datetime
import re
from dataclasses import dataclass

import duckdb

from ledger_tools.accounts import ACCOUNT_PATTERN
from ledger_tools.archive import recording, write_settings
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.folder import SETTINGS_FILE, BooksFolder
from ledger_tools.open_items import OpenItem, item_id
from ledger_tools.settings import ShopSettings, parse_settings
from ledger_tools.settlement import refuse_own_account

#: Letters that a text must hold in words without digits, for a pattern of it to mean anything.
_FEWEST_LETTERS = 4

_DIGIT_WORD = r"\S*[0-9]\S*"


@dataclass(frozen=True)
class StandingRule:
    """A rule as it will stand in shop.toml.

    Attributes:
        pattern, account, source: its keys.
        fits: how many lines it says something about that nothing explained.
    """

    pattern: str
    account: str
    source: str
    fits: int


def pattern_of(text: str, party: str = "") -> str | None:
    """A regular expression for texts like this one; None where it has too few words to know it again by.

    Who the other party is stays out of it as long as other words are left, and e-mail addresses always do.
    """
    named = {word.casefold() for word in party.split()}
    kept = _words(text, named) or _words(text, set()) or []
    pattern, last = "", -1
    for place, word in kept:
        joint = "" if not pattern else r"\s+" if place - 1 == last else r"\s.*"
        pattern += joint + (_DIGIT_WORD if re.search(r"[0-9]", word) else re.escape(word))
        last = place
    return pattern or None


def _words(text: str, left_out: set[str]) -> list[tuple[int, str]] | None:
    """Place and text of the words that a pattern is made of; None where they hold too few letters."""
    words = [(place, word) for place, word in enumerate(text.split()) if "@" not in word]
    words = [(place, word) for place, word in words if word.casefold() not in left_out]
    letters = sum(len(re.sub(r"\W", "", word)) for _, word in words if not re.search(r"[0-9]", word))
    return words if letters >= _FEWEST_LETTERS else None


def text_once(memo: str, party: str) -> str:
    """The text of a line that a pattern is made of: both its texts, or the longer one where that holds the other.

    A bank whose statement has one text for a line states it as both; its other formats may state it once.
    """
    shorter, longer = sorted((" ".join(text.split()) for text in (memo, party)), key=len)
    held = not shorter or f" {shorter} ".casefold() in f" {longer} ".casefold()
    return longer if held else f"{memo} {party}"


def propose_rule(connection: duckdb.DuckDBPyConnection, item: OpenItem, account: str) -> StandingRule:
    """The rule that settles an item and every line like it, checked against the books.

    Raises:
        LedgerError: the item is no line that a rule can know, the account is none, or the rule would claim lines that
            are explained otherwise.
    """
    where = f"item {item.id} ({item.kind})"
    if not ACCOUNT_PATTERN.match(account):
        raise LedgerError(Problem(f"account {account!r}", "is not an account name", "write it like Expenses:BankFees"))
    refuse_own_account(connection, item, account, is_rule=True)
    lines = _lines(connection, item)
    if lines is None or item.event_id is None:
        raise LedgerError(
            Problem(where, "is no bank line or adjustment that a rule could know", "settle it without --always")
        )
    own = connection.execute(
        f"SELECT memo, party FROM ({lines}) WHERE key = ?", [item.source, item.event_id]
    ).fetchone()
    pattern = pattern_of(text_once(*own), own[1]) if own else None
    if pattern is None:
        raise LedgerError(
            Problem(
                where, "has too few words to be known again by", "settle it without --always, or write a [[bank_rule]]"
            )
        )
    rows = connection.execute(
        f"""SELECT key, state, decision.item FROM ({lines}) AS line LEFT JOIN decision
                ON decision.source = line.source AND decision.event_id = line.key AND decision.action <> 'match'
            WHERE regexp_matches(text, ?, 'i') ORDER BY key""",
        [item.source, pattern],
    ).fetchall()
    matched = [key for key, state, _ in rows if state == "matched"]
    decided = [str(decision) for _, _, decision in rows if decision]
    if matched:
        claimed = ", ".join(matched[:3]) + (" …" if len(matched) > 3 else "")
        raise LedgerError(
            Problem(
                f"the pattern {pattern!r}",
                f"would also claim {len(matched)} line(s) that are matched with a payout or top-up: {claimed}",
                "settle it without --always, or write a narrower [[bank_rule]] in shop.toml",
            )
        )
    if decided:
        raise LedgerError(
            Problem(
                f"the pattern {pattern!r}",
                "would also claim lines that were decided one by one",
                "; ".join(f"ledger-tools settle {decision} --withdraw" for decision in decided),
            )
        )
    return StandingRule(pattern, account, item.source or "", sum(1 for _, state, _ in rows if state == "open"))


def _lines(connection: duckdb.DuckDBPyConnection, item: OpenItem) -> str | None:
    """SQL: the lines of the item's source (a parameter) that rules are tried on: source, key, text, state; None: no such."""
    row = connection.execute("SELECT kind FROM source WHERE name = ?", [item.source]).fetchone()
    if row and row[0] == "bank":
        return """SELECT source_name AS source, fact.event_id AS key,
                         coalesce(row.memo, '') AS memo, coalesce(row.counterparty, '') AS party,
                         coalesce(row.memo, '') || ' ' || coalesce(row.counterparty, '') AS text,
                         CASE WHEN posting = 'unknown' THEN 'open' WHEN posting = 'rule' THEN 'ruled' ELSE 'matched' END AS state
                  FROM fact_bank AS fact JOIN bank_row AS row ON row.source_no = fact.source_no AND row.key = fact.event_id
                  WHERE source_name = ?"""
    if row and row[0] == "processor":
        return """SELECT source_name AS source, fact.event_id AS key, coalesce(event.memo, '') AS memo, '' AS party,
                         coalesce(event.memo, '') AS text,
                         CASE WHEN rule_no = 0 THEN 'open' ELSE 'ruled' END AS state
                  FROM fact_processor AS fact JOIN event USING (event_no) WHERE source_name = ? AND kind = 'adjustment'"""
    return None


def refuse_settled_by_rule(connection: duckdb.DuckDBPyConnection, settings: ShopSettings, item: str) -> None:
    """What a rule settled is no decision that could be taken back: the person takes the rule out.

    Raises:
        LedgerError: a [[bank_rule]] says what the line of this item is.
    """
    rows = connection.execute(
        """SELECT source_name, event_id, rule_no FROM fact_bank WHERE posting = 'rule'
           UNION ALL SELECT source_name, event_id, rule_no FROM fact_processor WHERE kind = 'adjustment' AND rule_no > 0"""
    ).fetchall()
    kinds = ("bank-line-without-rule", "deposit-without-payout")
    ruled = [
        int(number)
        for source, event, number in rows
        if any(item_id(kind, source, event).startswith(item) for kind in kinds)
    ]
    if len(ruled) != 1 or not item:
        return
    number = ruled[0]
    rule, fits = settings.bank_rule[number - 1], sum(1 for row in rows if row[2] == number)
    raise LedgerError(
        Problem(
            f"item {item}",
            f"is settled by a rule, not by a decision: [[bank_rule]] {number} in {SETTINGS_FILE}, {rule.pattern!r} to {rule.account}",
            f"take that rule out of {SETTINGS_FILE}; it holds for {fits} line(s)",
        )
    )


def rule_text(rule: StandingRule, reason: str, by: str, decided_on: datetime.date, line_end: str = "\n") -> str:
    """The rule as TOML, with who, when and why in a comment above it."""
    import tomlkit

    told = re.sub(r"[\x00-\x1f\x7f\s]+", " ", f"{decided_on}, {by}: {reason}").strip()
    document = tomlkit.document()
    for name, value in (("pattern", rule.pattern), ("account", rule.account), ("source", rule.source)):
        # a pattern is easier to read without doubled backslashes; what a literal can't hold is escaped
        as_is = name == "pattern" and "'" not in value and value.isprintable()
        document.add(name, tomlkit.string(value, literal=as_is))
    lines = ["", f"# {told}", "[[bank_rule]]", *tomlkit.dumps(document).splitlines()]
    return line_end.join(lines) + line_end


def write_rule(folder: BooksFolder, rule: StandingRule, reason: str, by: str, decided_on: datetime.date) -> None:
    """Put a rule into shop.toml, whole or not at all.

    Raises:
        LedgerError: the file is wrong, or can't take a rule without being changed elsewhere.
    """
    with recording(folder):
        content = folder.settings.read_bytes()
        text = content.decode("utf-8-sig")
        before = parse_settings(text)
        line_end = "\r\n" if "\r\n" in text else "\n"
        added = rule_text(rule, reason, by, decided_on, line_end)
        expected = [(one.pattern, one.account, one.source) for one in before.bank_rule]
        expected.append((rule.pattern, rule.account, rule.source))
        for place in (_after_last_rule(text), len(text)):
            head = text[:place] if text[:place].endswith("\n") or not place else text[:place] + line_end
            changed = head + added + text[place:]
            try:
                after = parse_settings(changed)
            except LedgerError:
                continue
            rest = {name: value for name, value in after.model_dump().items() if name != "bank_rule"}
            same = rest == {name: value for name, value in before.model_dump().items() if name != "bank_rule"}
            if same and expected == [(one.pattern, one.account, one.source) for one in after.bank_rule]:
                mark = b"\xef\xbb\xbf" if content.startswith(b"\xef\xbb\xbf") else b""
                write_settings(folder, mark + changed.encode("utf-8"))
                return
    raise LedgerError(
        Problem(
            f"{SETTINGS_FILE}, bank_rule",
            "can't take another [[bank_rule]] as the file is written",
            "write the rules as [[bank_rule]] tables, or add this one by hand:" + added.replace("\n", "\n      "),
        )
    )


def _after_last_rule(text: str) -> int:
    """Where the last [[bank_rule]] ends: behind its last line that is neither blank nor a comment; else the text's end."""
    ends, inside, place = len(text), False, 0
    for line in text.splitlines(keepends=True):
        place += len(line)
        words = line.strip()
        if words.startswith("["):
            inside = re.match(r"\[\[\s*bank_rule\s*\]\]", words) is not None
        if inside and words and not words.startswith("#"):
            ends = place
    return ends
