"""The one place that runs the stages in order: exports → records → matches → facts → postings → journal text.

The result is a database file and the text of the journal, both written aside; `archive` swaps them in. The same exports,
settings and hand entries give the same bytes, in whatever order they came.
"""

from __future__ import annotations

import hashlib
import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import duckdb

from importers.mapping import Mapping as ColumnMapping
from importers.mapping import parse_mapping
from ledger_tools import versions
from ledger_tools.chart import list_accounts, reason_accounts
from ledger_tools.closed import ClosedMonth, read_closed_months
from ledger_tools.decisions import SOURCE_NAME, Decision, list_decisions, read_decisions
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.export_rows import Export, Progress, Refusal, read_exports
from ledger_tools.folder import BooksFolder
from ledger_tools.hand import HandFile, post_hand_entries, read_hand_file
from ledger_tools.journal import create_link_table, render_accounts, render_files
from ledger_tools.matching.bank_lines import match_bank_lines
from ledger_tools.matching.by_reference import number_orders, resolve_references
from ledger_tools.matching.goods import match_goods
from ledger_tools.matching.known_rates import list_rates
from ledger_tools.matching.loose_references import list_like
from ledger_tools.matching.payments import match_payments
from ledger_tools.matching.transfers import match_transfers
from ledger_tools.matching.written import list_written
from ledger_tools.money import minor_digits
from ledger_tools.posting.bank import list_bank_facts
from ledger_tools.posting.compiler import list_events, list_parameters, post_lines
from ledger_tools.posting.fulfilment import list_fulfilment_facts
from ledger_tools.posting.payments import list_payment_facts
from ledger_tools.posting.prior_periods import keep_closed_months
from ledger_tools.posting.refunds import list_refund_facts
from ledger_tools.posting.sales import list_sale_facts
from ledger_tools.posting.transfers import mark_transfers
from ledger_tools.posting.values import value_postings
from ledger_tools.records import KINDS
from ledger_tools.settings import ShopSettings, read_settings
from ledger_tools.stated_balances import choose_balances, claim_balances
from ledger_tools.store import connect_for_build, write_facts


@dataclass(frozen=True)
class Inputs:
    """Everything that the books are made of, read and checked."""

    settings: ShopSettings
    mappings: Mapping[str, ColumnMapping]
    hand: HandFile
    decisions: tuple[Decision, ...]
    closed: tuple[ClosedMonth, ...] = ()


def read_inputs(folder: BooksFolder, *, but_month: str | None = None) -> Inputs:
    """Settings, mappings, hand entries, decisions and closed months of a books folder; `but_month` is taken as open.

    Raises:
        LedgerError: all problems of all of them.
    """
    settings = read_settings(folder.root)
    problems: list[Problem] = []
    mappings: dict[str, ColumnMapping] = {}
    for file in sorted(folder.mappings.glob("*.toml")):
        try:
            mapping = parse_mapping(file.read_text(encoding="utf-8-sig"), f"mappings/{file.name}")
            if mapping.source != file.stem:
                problems.append(
                    Problem(
                        f"mappings/{file.name}, source",
                        f"says {mapping.source!r}",
                        f"name the file {mapping.source}.toml",
                    )
                )
            mappings[mapping.source] = mapping
        except LedgerError as trouble:
            problems.extend(trouble.problems)
        except UnicodeDecodeError:
            problems.append(Problem(f"mappings/{file.name}", "is not UTF-8 text", "save it as UTF-8"))
    hand = HandFile((), frozenset())
    try:
        hand = read_hand_file([folder.hand, folder.main], settings.currency)
    except LedgerError as trouble:
        problems.extend(trouble.problems)
    decisions: tuple[Decision, ...] = ()
    try:
        decisions = read_decisions(folder.decisions)
    except LedgerError as trouble:
        problems.extend(trouble.problems)
    closed: tuple[ClosedMonth, ...] = ()
    try:
        closed = read_closed_months(folder, but=but_month)
    except LedgerError as trouble:
        problems.extend(trouble.problems)
    problems.extend(_pattern_problems(settings))
    if problems:
        raise LedgerError(problems)
    return Inputs(settings, mappings, hand, decisions, closed)


def _pattern_problems(settings: ShopSettings) -> list[Problem]:
    """Patterns that Python takes and the database's linear-time matcher doesn't (look-around, back-references)."""
    found = []
    patterns = [(f"bank_rule {place}", rule.pattern) for place, rule in enumerate(settings.bank_rule, start=1)]
    patterns += [
        (f"source {source.name}", source.payout_pattern) for source in settings.source if source.payout_pattern
    ]
    with duckdb.connect() as connection:
        for where, pattern in patterns:
            try:
                connection.execute("SELECT regexp_matches('', ?)", [pattern])
            except duckdb.Error:
                found.append(
                    Problem(
                        f"shop.toml, {where}, pattern",
                        f"{pattern!r} uses what the matcher does not know",
                        "leave out look-around and back-references",
                    )
                )
    return found


def build_database(
    scratch: Path, inputs: Inputs, exports: Sequence[Export], progress: Progress
) -> tuple[duckdb.DuckDBPyConnection, list[Refusal]]:
    """Build the whole database; returns it open, in memory, with the incoming exports that were refused.

    Raises:
        LedgerError: an archived export can't be read, or the books can't be built from what was read.
    """
    connection = connect_for_build(scratch)
    try:
        _list_sources(connection, inputs.settings)
        refusals = read_exports(connection, scratch, inputs.settings, inputs.mappings, exports, progress)
        progress("records")
        claim_balances(connection, inputs.settings)
        list_decisions(connection, inputs.decisions)
        for kind in KINDS:
            versions.keep_latest(connection, kind)
            versions.take_out(connection, kind)
        choose_balances(connection)
        _list_rate_card(connection, inputs.settings)
        progress("matching")
        patterns = _reference_patterns(inputs)
        number_orders(connection, patterns, inputs.settings.gift_card_categories)
        create_link_table(connection)
        for kind in ("processor", "wallet"):
            resolve_references(connection, kind, patterns)
        match_payments(connection, patterns, inputs.hand.links_credited(inputs.settings.template_of("clearing")))
        match_goods(connection, patterns)
        list_like(connection, "processor", "a payment")
        list_like(connection, "wallet", "a wallet charge")
        list_rates(connection, inputs.settings)
        list_written(connection, inputs.settings, inputs.hand)
        match_bank_lines(connection, inputs.settings)
        match_transfers(connection, inputs.settings, inputs.hand)
        progress("postings")
        _post(connection, inputs)
    except BaseException:
        connection.close()
        raise
    return connection, refusals


def _list_sources(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    for number, source in enumerate(settings.source, start=1):
        connection.execute(
            "INSERT INTO source VALUES (?, ?, ?, ?)", [number, source.name, source.kind, source.currency]
        )
        if source.payout_pattern:
            connection.execute("INSERT INTO payout_pattern VALUES (?, ?)", [number, source.payout_pattern])


def _list_rate_card(connection: duckdb.DuckDBPyConnection, settings: ShopSettings) -> None:
    if settings.rate_card is None:
        return
    for row in settings.rate_card.production_rows(settings.currency):
        connection.execute("INSERT INTO rate_card_production VALUES (?, ?, ?, ?)", list(row))
    for price in settings.rate_card.shipping_rows(settings.currency):
        connection.execute("INSERT INTO rate_card_shipping VALUES (?, ?, ?, ?, ?, ?)", list(price))


def _reference_patterns(inputs: Inputs) -> dict[int, str]:
    return {
        number: inputs.mappings[source.name].file.reference_pattern or ""
        for number, source in enumerate(inputs.settings.source, start=1)
        if source.name in inputs.mappings and inputs.mappings[source.name].file.reference_pattern
    }


def _post(connection: duckdb.DuckDBPyConnection, inputs: Inputs) -> None:
    settings = inputs.settings
    reasons = sorted(reason_accounts(settings))
    list_sale_facts(connection)
    list_payment_facts(connection, settings, _next_event_no(connection, "fact_sale"))
    list_fulfilment_facts(connection, settings, reasons, _next_event_no(connection, "fact_sale", "fact_processor"))
    list_bank_facts(connection, settings, _next_event_no(connection, "fact_sale", "fact_processor", "fact_wallet"))
    mark_transfers(connection)
    facts = ("fact_sale", "fact_processor", "fact_wallet", "fact_bank")
    list_refund_facts(connection, _next_event_no(connection, *facts))
    _list_decision_facts(connection, _next_event_no(connection, *facts, "fact_gift_refund"))
    by_hand = [line.account for entry in inputs.hand.entries for line in entry.lines]
    rules = list_events(connection)
    list_accounts(connection, settings, list_parameters(connection, rules), by_hand)
    post_lines(connection, rules, settings.currency)
    value_postings(connection, settings)
    post_hand_entries(connection, inputs.hand, _next_event_no(connection, *facts, "fact_gift_refund", "fact_decision"))
    keep_closed_months(connection, inputs.closed, settings.currency)
    currencies = connection.execute(
        "SELECT DISTINCT currency FROM posting UNION SELECT ?", [settings.currency]
    ).fetchall()
    connection.executemany("INSERT INTO currency VALUES (?, ?)", [[code, minor_digits(code)] for (code,) in currencies])
    write_facts(
        connection,
        [
            ("currency", settings.currency),
            ("name", settings.name),
            ("detail", settings.detail),
            ("tax", settings.tax_settings().model_dump_json()),
            *((f"grace.{name}", str(days)) for name, days in settings.grace.model_dump().items()),
            *((f"grace_given.{name}", "yes") for name in sorted(settings.grace.model_fields_set)),
        ],
    )


def _list_decision_facts(connection: duckdb.DuckDBPyConnection, first_event_no: int) -> None:
    """Make `fact_decision`: the entries of decisions that move an item's balance to an account."""
    connection.execute(
        f"""
        INSERT INTO source VALUES (0, '{SOURCE_NAME}', 'decision', NULL);
        CREATE TABLE fact_decision AS
        SELECT {first_event_no} - 1 + row_number() OVER (ORDER BY item)::INTEGER AS event_no, 0::SMALLINT AS source_no,
               '{SOURCE_NAME}' AS source_name, item AS event_id, item_date AS posted_on, head.order_no, false AS flagged,
               NULL::VARCHAR AS note, reason AS memo, decision.currency, amount, account, balance_account
        FROM decision LEFT JOIN (
            SELECT source.name AS source, order_id AS key, order_no FROM order_head JOIN source USING (source_no)
            UNION ALL SELECT source.name, event_id, order_no FROM processor_row JOIN source USING (source_no)
            UNION ALL SELECT source.name, event_id, order_no FROM wallet_row JOIN source USING (source_no)
        ) AS head ON head.source = decision.source AND head.key = coalesce(decision.event_id, decision.order_id)
            AND decision.order_id IS NOT NULL
        WHERE action = 'account'
        """
    )


def _next_event_no(connection: duckdb.DuckDBPyConnection, *tables: str) -> int:
    numbers = [connection.execute(f"SELECT coalesce(max(event_no), 0) FROM {table}").fetchone() for table in tables]
    return 1 + max(int(row[0]) for row in numbers if row is not None)


@dataclass(frozen=True)
class WrittenJournal:
    """The journal's files as they were rendered aside.

    Attributes:
        staged: (where it lies now, where it belongs) of each file that differs from what is there.
        old: files that belong to no month any more.
        digests: SHA-256 of every file as it is to be, by its path below the books folder.
    """

    staged: list[tuple[Path, Path]]
    old: list[Path]
    digests: dict[str, str]


def write_journal(
    connection: duckdb.DuckDBPyConnection, inputs: Inputs, folder: BooksFolder, staging: Path, progress: Progress
) -> WrittenJournal:
    """Render the journal into `staging`, file by file."""
    staged: list[tuple[Path, Path]] = []
    digests: dict[str, str] = {}
    frozen = {month.month: month.journal for month in inputs.closed}
    texts = render_files(connection, inputs.settings.detail, inputs.settings.currency, progress, frozen)
    for final, text in itertools.chain(
        ((folder.journal / name, text) for name, text in texts),
        [(folder.accounts, render_accounts(connection, inputs.hand.opened))],
    ):
        content = text.encode("utf-8")
        digest = hashlib.sha256(content)
        digests[str(final.relative_to(folder.root))] = digest.hexdigest()
        if final.is_file() and final.stat().st_size == len(content) and _digest(final) == digest.digest():
            continue
        aside = staging / final.name
        aside.write_bytes(content)
        staged.append((aside, final))
    old = [
        file for file in sorted(folder.journal.glob("*.beancount")) if str(file.relative_to(folder.root)) not in digests
    ]
    return WrittenJournal(staged, old, digests)


def _digest(file: Path) -> bytes:
    with file.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").digest()
