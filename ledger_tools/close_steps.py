"""The steps of a month's close, as values: what each looks at, and what to do where it finds something.

Each step reads the books as they would be closed, month-end entries included. A step without a finding is done; one with
findings is blocked until they are cleared or, where that is allowed, a person waives it with a reason. Amounts are minor
units of the base currency unless their currency is named.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import duckdb

from ledger_tools.calendar import Period
from ledger_tools.coverage import list_coverage
from ledger_tools.money import format_amount
from ledger_tools.open_items import OpenItem, list_open_items
from ledger_tools.posting.month_end import ACCRUAL, DEFERRAL, REVALUATION, CutOff
from ledger_tools.reports.reconciliation import report_reconciliation
from ledger_tools.reports.reconciliation_form import Reconciled
from ledger_tools.reports.review import list_movers
from ledger_tools.reports.sales_tax_tie_out import tie_out
from ledger_tools.reports.valued import list_unvalued
from ledger_tools.settings import ShopSettings

DONE, BLOCKED, WAIVED = "done", "blocked", "waived"

#: Steps that judge open items of these kinds themselves.
_OWN_STEP = {"coverage-gap": "sources", "amended": "changes", "vanished": "changes", "balance-differs": "balances"}

#: A statement that ends within so many days after the month proves the month's end, too.
_NEXT_STATEMENT_DAYS = 45


@dataclass(frozen=True)
class MonthToClose:
    """What the steps look at: the built books with the month-end entries of the month posted."""

    connection: duckdb.DuckDBPyConnection
    settings: ShopSettings
    month: str
    period: Period
    cut_off: CutOff
    open_items: tuple[OpenItem, ...] = field(default=())

    @property
    def first(self) -> datetime.date:
        """First day of the month."""
        assert self.period.first is not None
        return self.period.first

    @property
    def last(self) -> datetime.date:
        """Last day of the month."""
        assert self.period.last is not None
        return self.period.last


@dataclass(frozen=True)
class StepItem:
    """One thing that a step lists: the id by which a person can look for it (item, order, account, source), and words."""

    key: str
    text: str


@dataclass(frozen=True)
class Finding:
    """What a step found; `next_step` says how to clear it where it is not fine."""

    is_fine: bool
    detail: str
    items: tuple[StepItem, ...] = ()
    next_step: str = ""


@dataclass(frozen=True)
class Step:
    """One step of the close.

    Attributes:
        means: what it makes sure of, for the docs.
        can_be_waived: whether a person may go on without it, with a reason.
    """

    name: str
    means: str
    can_be_waived: bool
    look: Callable[[MonthToClose], Finding]


@dataclass(frozen=True)
class StepResult:
    """How a step stands: done, blocked or waived."""

    step: str
    state: str
    detail: str
    items: tuple[StepItem, ...]
    next_step: str


def look_through(month: MonthToClose, waived: Mapping[str, str]) -> tuple[StepResult, ...]:
    """Every step's result, in order; `waived` gives the reason of each step that a person waives."""
    results = []
    for step in STEPS:
        found = step.look(month)
        state, detail = DONE if found.is_fine else BLOCKED, found.detail
        if not found.is_fine and step.can_be_waived and step.name in waived:
            state, detail = WAIVED, f"{found.detail}; waived: {waived[step.name]}"
        results.append(StepResult(step.name, state, detail, found.items, found.next_step if state == BLOCKED else ""))
    return tuple(results)


def _counted(number: int, noun: str, plural: str | None = None) -> str:
    """A number with its noun: "1 balance", "3 balances"."""
    return f"{number or 'no'} {noun if number == 1 else plural or noun + 's'}"


def _items_of(month: MonthToClose, step: str) -> list[OpenItem]:
    return [
        item for item in month.open_items if item.date <= month.last and _OWN_STEP.get(item.kind, "open-items") == step
    ]


def _told(item: OpenItem) -> StepItem:
    amount = (
        f" {format_amount(item.amount, item.currency)} {item.currency}"
        if item.amount is not None and item.currency
        else ""
    )
    about = item.order_id and f" order {item.order_id}" or item.event_id and f" {item.event_id}" or ""
    return StepItem(item.id, f"{item.kind} {item.date}{amount}{about}")


def _look_at_sources(month: MonthToClose) -> Finding:
    spans = list_coverage(month.connection)
    items = []
    for source in month.settings.source:
        reached = max((last for _, last in spans.get(source.name, [])), default=None)
        if reached is None:
            items.append(StepItem(source.name, "no export is there"))
        elif reached < month.last.isoformat():
            items.append(StepItem(source.name, f"covered through {reached}"))
    gaps = [_told(item) for item in _items_of(month, "sources")]
    if not items and not gaps:
        return Finding(True, f"{_counted(len(month.settings.source), 'source')} covered through {month.last}")
    step = (
        f"import exports that reach {month.last} (ledger-tools import FILE); where nothing happened after the last event, "
        f'waive the step: --waive sources --reason "nothing happened after it"'
    )
    return Finding(
        False, f"{_counted(len(items) + len(gaps), 'span')} of days that no export covers", (*items, *gaps), step
    )


def _look_at_changes(month: MonthToClose) -> Finding:
    items = tuple(_told(item) for item in _items_of(month, "changes"))
    if not items:
        return Finding(True, "no record was amended or has vanished without a word")
    return Finding(
        False,
        f"{_counted(len(items), 'record')} amended or vanished",
        items,
        'look at each (ledger-tools open-items), then: ledger-tools settle ITEM --accept --reason "…"',
    )


def _look_at_open_items(month: MonthToClose) -> Finding:
    items = tuple(_told(item) for item in _items_of(month, "open-items"))
    if not items:
        return Finding(True, "nothing of the month stands open")
    return Finding(
        False,
        f"{_counted(len(items), 'open item')} dated by {month.last}",
        items,
        "settle each as ledger-tools open-items says, or waive the step with a reason",
    )


def _look_at_balances(month: MonthToClose) -> Finding:
    names = {source.name for source in month.settings.source if source.kind != "orders"}
    report = report_reconciliation(month.connection, month.last)
    rows = [row for row in report.accounts if row.source in names]
    broken = [each for each in report.disagreements if each.breaks_chain and each.on >= month.first]
    items, proven = [StepItem(each.account, each.asks) for each in broken], 0
    for row in rows:
        assert row.source is not None
        if row.stated is None and row.books == 0:
            continue
        problem = _balance_problem(month, row)
        if problem:
            items.append(StepItem(row.account, problem))
        else:
            proven += 1
    if not items:
        return Finding(True, f"{_counted(proven, 'balance')} proven by what is stated")
    step = (
        f"import the statement that ends on {month.last} or state the balance in shop.toml: [[stated_balance]] source, "
        f'on = {month.last}, amount = "…"; differences: ledger-tools reconcile --as-of {month.last}'
    )
    return Finding(False, f"{_counted(len(items), 'balance')} not proven", tuple(items), step)


def _balance_problem(month: MonthToClose, row: Reconciled) -> str | None:
    """Why a balance is not proven at the month's end; None where it is."""
    if (
        row.stated is not None
        and row.stated_on is not None
        and not _moved_between(month, row, row.stated_on, month.last)
    ):
        if not row.difference or row.is_accepted:
            return None
        return f"differs by {format_amount(row.difference, row.currency)} {row.currency} on {row.stated_on}"
    later = month.connection.execute(
        """SELECT min(stated_on) FROM stated_balance JOIN source USING (source_no)
           WHERE source.name = ? AND stated_balance.currency = ? AND stated_on > ? AND stated_on <= ?::DATE + ?::INTEGER""",
        [row.source, row.currency, month.last, month.last, _NEXT_STATEMENT_DAYS],
    ).fetchone()
    if later and later[0]:
        then = report_reconciliation(month.connection, later[0]).accounts
        proof = next(other for other in then if (other.account, other.currency) == (row.account, row.currency))
        if not proof.difference or proof.is_accepted:
            return None
        return f"differs by {format_amount(proof.difference, row.currency)} {row.currency} on {later[0]}"
    last = f", last on {row.stated_on}" if row.stated_on else ""
    held = month.connection.execute(
        """SELECT coalesce(sum(amount), 0)::BIGINT FROM posting JOIN account USING (account_no)
           WHERE account.name = ? AND currency = ? AND posted_on <= ?""",
        [row.account, row.currency, month.last],
    ).fetchone()
    assert held is not None
    books = f"{format_amount(int(held[0]), row.currency)} {row.currency}"
    return f"no balance is stated for {month.last}{last}; the books then hold {books}"


def _moved_between(month: MonthToClose, row: Reconciled, first: datetime.date, last: datetime.date) -> bool:
    found = month.connection.execute(
        """SELECT EXISTS (SELECT 1 FROM posting JOIN account USING (account_no) JOIN event USING (event_no)
           WHERE account.name = ? AND currency = ? AND posting.posted_on > ? AND posting.posted_on <= ? AND rule <> ?)""",
        [row.account, row.currency, first, last, REVALUATION.name],
    ).fetchone()
    return bool(found and found[0])


def _look_at_cut_off(month: MonthToClose) -> Finding:
    cut_off = month.cut_off
    when = "when shipped" if cut_off.recognise == "shipped" else "when placed, for no source gives shipping dates"
    if month.settings.recognise is not None:
        when = f"when {month.settings.recognise}, by the settings"
    detail = (
        f"income is earned {when}: {_counted(cut_off.deferred, 'order')} not shipped by {month.last} deferred, "
        f"{_counted(cut_off.accrued, 'order')} shipped and not charged accrued"
    )
    if cut_off.unknown_costs:
        items = tuple(StepItem(order, f"shipped, not charged, and {why}") for order, why in cut_off.unknown_costs)
        step = "import the wallet's export that charges these orders, or waive the step: their income then stands without cost"
        return Finding(False, f"{detail}; the cost of {len(items)} is unknown", items, step)
    rows = month.connection.execute(
        """SELECT head.order_id, rule, sum(value)::BIGINT FROM event JOIN posting USING (event_no)
           JOIN order_head AS head ON head.order_no = event.order_no JOIN account USING (account_no)
           WHERE event.posted_on = ? AND rule IN (?, ?) AND (role IN ('unearned_revenue', 'accrued_fulfilment'))
           GROUP BY ALL ORDER BY 2, 1""",
        [month.last, DEFERRAL.name, ACCRUAL.name],
    ).fetchall()
    base = month.settings.currency
    items = tuple(StepItem(order, f"{rule} {format_amount(-value, base)} {base}") for order, rule, value in rows)
    return Finding(True, detail, items)


def _look_at_foreign(month: MonthToClose) -> Finding:
    days = dict.fromkeys(month.cut_off.unknown_rates, month.last)
    missing = [StepItem(code, f"no rate to {month.settings.currency} is known for the balance") for code in days]
    for gap in list_unvalued(month.connection, month.last):
        days[gap.currency] = gap.first_day
        events = _counted(gap.events, "event")
        missing.append(StepItem(gap.currency, f"{events} without a value, from {gap.first_day} on"))
    if missing:
        rates = "; ".join(f'[[rate]] currency = "{code}", on = {day}, rate = "…"' for code, day in sorted(days.items()))
        step = f"add to shop.toml, with the day's rate: {rates}; and one on {month.last} for what is still held then"
        return Finding(False, f"{_counted(len(days), 'currency', 'currencies')} without a rate", tuple(missing), step)
    rows = month.connection.execute(
        """SELECT event.event_id, sum(value)::BIGINT FROM event JOIN posting USING (event_no) JOIN account USING (account_no)
           WHERE rule = ? AND event.posted_on = ? AND role = 'exchange_differences' GROUP BY 1 ORDER BY 1""",
        [REVALUATION.name, month.last],
    ).fetchall()
    base = month.settings.currency
    items = tuple(
        StepItem(name.split("/", 2)[2], f"{'loss' if value > 0 else 'gain'} {format_amount(abs(value), base)} {base}")
        for name, value in rows
    )
    return Finding(True, f"{_counted(len(rows), 'foreign balance')} revalued at the latest rate by {month.last}", items)


def _look_at_sales_tax(month: MonthToClose) -> Finding:
    proof = tie_out(month.connection, month.period)
    base = month.settings.currency

    def told(amount: int) -> str:
        return format_amount(amount, base)

    items = [
        StepItem(
            row.jurisdiction,
            f"owed {told(row.opening)} + collected {told(row.figures.collected)} - refunded {told(row.figures.refunded)} "
            f"- remitted {told(row.figures.remitted)} = {told(row.closing)} {base}"
            + (f", but the account holds {told(row.balance)}" if row.difference else ""),
        )
        for row in proof.rows
        if row.opening or row.closing or row.difference
    ]
    if proof.holds:
        return Finding(True, f"tax owed ties out in {_counted(len(items), 'jurisdiction')}", tuple(items))
    items += [
        StepItem(
            misfit.order_id,
            f"tax of {misfit.jurisdiction}: records {format_amount(misfit.recorded, misfit.currency)}, "
            f"books {format_amount(misfit.posted, misfit.currency)} {misfit.currency}",
        )
        for misfit in proof.misfits
    ]
    return Finding(False, "tax owed does not tie out", tuple(items), "look at the orders and accounts named above")


def _look_at_recurring(month: MonthToClose) -> Finding:
    needed = [entry for entry in month.settings.recurring if entry.since is None or entry.since <= month.last]
    missing = []
    for entry in needed:
        found = month.connection.execute(
            """SELECT EXISTS (SELECT 1 FROM posting JOIN account USING (account_no)
               WHERE account.name = ? AND posted_on BETWEEN ? AND ?)""",
            [entry.account, month.first, month.last],
        ).fetchone()
        if not found or not found[0]:
            missing.append(StepItem(entry.account, f"nothing is posted in {month.month}"))
    if not missing:
        return Finding(
            True,
            f"{_counted(len(needed), 'recurring entry', 'recurring entries')} to look for, all there"
            if needed
            else "no recurring entry is set",
        )
    step = f"write the entry into hand.beancount, dated in {month.month}; what recurs is listed in shop.toml under [[recurring]]"
    return Finding(
        False, f"{_counted(len(missing), 'recurring entry', 'recurring entries')} missing", tuple(missing), step
    )


def _look_at_review(month: MonthToClose) -> Finding:
    movers = list_movers(month.connection, month.period)
    base = month.settings.currency
    items = tuple(
        StepItem(
            mover.account,
            f"{format_amount(mover.amount, base)} against {format_amount(mover.before, base)} in {mover.compared_with}"
            + (f"; most by {', '.join(mover.by)}" if mover.by else ""),
        )
        for mover in movers
    )
    return Finding(
        True,
        "what moved most against the month before and the year before" if items else "nothing to compare with",
        items,
    )


STEPS: tuple[Step, ...] = (
    Step("sources", "every source is covered through the month's end", True, _look_at_sources),
    Step("changes", "records that later exports changed or no longer hold were looked at", True, _look_at_changes),
    Step("open-items", "open items of the month are settled or waived with a reason", True, _look_at_open_items),
    Step("balances", "each balance agrees with a statement", True, _look_at_balances),
    Step("cut-off", "income and cost stand in the month in which the order was shipped", True, _look_at_cut_off),
    Step("foreign", "every foreign amount has a value, balances at the month-end rate", False, _look_at_foreign),
    Step("sales-tax", "tax owed is collected less refunded less remitted, by jurisdiction", False, _look_at_sales_tax),
    Step("recurring", "what a person enters every month is there", True, _look_at_recurring),
    Step("review", "what moved most, against the month before and the same month a year ago", False, _look_at_review),
)  # fmt: skip

#: The last step, which is done by closing.
FROZEN = "frozen"


def month_to_close(
    connection: duckdb.DuckDBPyConnection, settings: ShopSettings, month: str, period: Period, cut_off: CutOff
) -> MonthToClose:
    """The books of a month as the steps look at them; open items are listed once."""
    return MonthToClose(connection, settings, month, period, cut_off, tuple(list_open_items(connection, None)))


def steps_table() -> str:
    """Markdown table of the steps: what each makes sure of, and whether it can be waived."""
    rows = ["| step | makes sure that | can be waived |\n", "|---|---|---|\n"]
    rows += [f"| `{step.name}` | {step.means} | {'yes' if step.can_be_waived else 'no'} |\n" for step in STEPS]
    return "".join(rows)
