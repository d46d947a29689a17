"""`cash-flow`: where the money in the bank came from and where it went."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option
from ledger_tools.cli.periods import as_of_option, period_name, period_options
from ledger_tools.cli.report_notes import tell_open_items, tell_unbalanced, tell_unvalued
from ledger_tools.cli.statement_tables import (
    amount_cells,
    amount_columns,
    compare_option,
    compared_period,
    echo_notes,
)

if TYPE_CHECKING:
    from ledger_tools.calendar import Period
    from ledger_tools.reports.statements import CashFlow


@click.command("cash-flow")
@period_options
@compare_option
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, period: Period, compare: str | None, as_of: datetime.date | None, shape: str) -> None:
    """Show money received and paid in a period by the direct method, from opening to closing cash.

    Cash is what lies in the bank. Payouts are received net; what the processors took in, gave back and kept stands
    below.

    \b
    Example:
      ledger-tools cash-flow --month 2031-04 --compare previous
      ledger-tools cash-flow --quarter 2031-Q2 --format json
    """
    from ledger_tools.archive import open_books
    from ledger_tools.calendar import Period
    from ledger_tools.reports.statements import report_cash_flow

    compared = compared_period(period, compare)
    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        period = Period(period.first, min((day for day in (period.last, as_of) if day is not None), default=None))
        flow = report_cash_flow(connection, period, compared)
        _show(flow, shape)
        tell_unbalanced(flow.difference, flow.currency)
        tell_unvalued(connection, period.last)
        tell_open_items(connection, as_of)


def _show(flow: CashFlow, shape: str) -> None:
    if shape == "json":
        echo_json(flow.as_json())
    elif shape == "csv":
        names = [
            "section",
            "title",
            "amount",
            *(["compared", "change", "change_percent"] if flow.compared_period else []),
        ]
        report = flow.as_json()
        echo_csv(names, [[row[name] for name in names] for row in report["rows"]])
    else:
        _show_table(flow)


def _show_table(flow: CashFlow) -> None:
    from ledger_tools.reports.cash_flow_lines import SECTIONS

    currency, is_compared = flow.currency, flow.compared_period is not None
    columns = [Column("money received and paid", is_cut=True), *amount_columns(flow.compared_period)]
    blank = [""] * len(columns)
    rows = [["Opening cash", *amount_cells(flow.opening, flow.compared_opening, currency)], blank]
    for section, words in SECTIONS.items():
        lines = [row for row in flow.rows if row.section == section]
        if not lines:
            continue
        rows.append([words, *blank[1:]])
        for row in lines:
            rows.append([f"  {row.title}", *amount_cells(row.amount, row.compared, currency)])
            if len(row.accounts) > 1:
                rows += [[f"    {name} {people_amount(amount, currency)}", *blank[1:]] for name, amount in row.accounts]
        compared = flow.compared_total(section) if is_compared else None
        if len(lines) > 1:
            rows.append([f"Total of {words.lower()}", *amount_cells(flow.total(section), compared, currency)])
        rows.append(blank)
    change = flow.closing - flow.opening
    compared_change = (flow.compared_closing or 0) - (flow.compared_opening or 0) if is_compared else None
    rows.append(["Change of cash", *amount_cells(change, compared_change, currency)])
    closing = [["Closing cash", *amount_cells(flow.closing, flow.compared_closing, currency)]]
    echo_table(f"Cash flow (direct method), {period_name(flow.period)}, {currency}", columns, rows, closing)
    echo()
    if flow.difference:
        echo(f"Cash differs from the flows by {people_amount(flow.difference, currency)}.")
    else:
        echo("Opening cash and flows are closing cash, to the minor unit:")
    for name, before, after in flow.cash_accounts:
        echo(f"  {name} {people_amount(before, currency)} → {people_amount(after, currency)}")
    if flow.passed:
        echo()
        _show_passed(flow)
    echo()
    echo_notes(flow.rule)


def _show_passed(flow: CashFlow) -> None:
    rows = [["Held by processors or under way before", people_amount(flow.held_before, flow.currency)]]
    rows += [[f"  {title}", people_amount(amount, flow.currency)] for title, amount in flow.passed]
    footer = [["Held by processors or under way after", people_amount(flow.held_after, flow.currency)]]
    columns = [Column("through the processors", is_cut=True), Column("amount", is_number=True)]
    echo_table(f"What passed through the processors, {period_name(flow.period)}", columns, rows, footer)
