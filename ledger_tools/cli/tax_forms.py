"""`tax-forms`: gross receipts as processors report them, and income and cost by line of the income-tax form."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING, Any

import click

from ledger_tools.cli import Context
from ledger_tools.cli.output import Column, echo, echo_csv, echo_json, echo_table, people_amount, shape_option, talk
from ledger_tools.cli.periods import as_of_option, period_name, period_options
from ledger_tools.cli.report_notes import tell_before_month_end, tell_open_items, tell_unvalued

if TYPE_CHECKING:
    import duckdb

    from ledger_tools.calendar import Period
    from ledger_tools.reports.gross_receipts import GrossReceipts
    from ledger_tools.reports.tax_forms import FormLines

CAUTION = "No tax advice: what is reported and taxed is for the rules of the year and place, and a licensed accountant."

PARTS = ("receipts", "lines")


@click.command("tax-forms")
@period_options
@click.option("--show", "part", type=click.Choice(PARTS), help="Only this part; csv shows the lines otherwise.")
@as_of_option
@shape_option
@click.pass_obj
def command(context: Context, period: Period, part: str | None, as_of: datetime.date | None, shape: str) -> None:
    """Show gross receipts by processor and month, tied to the revenue, and income and cost by line of the tax form.

    Gross receipts are what processors put on an information return: by the processor's own date, before fees and refunds,
    with tax and shipping. The lines are those of the U.S. form for a sole owner's business; [tax_lines] in shop.toml says
    where accounts belong.

    \b
    Example:
      ledger-tools tax-forms --year 2031
      ledger-tools tax-forms --year 2031 --show receipts --format csv
    """
    from ledger_tools.archive import open_books

    with open_books(context.folder(), context.progress) as connection:
        context.end_progress()
        show_tax_forms(connection, period, as_of, part=part, shape=shape)
        tell_before_month_end(connection, period)
        tell_unvalued(connection, as_of)
        tell_open_items(connection, as_of)
    talk(CAUTION)


def show_tax_forms(
    connection: duckdb.DuckDBPyConnection,
    period: Period,
    as_of: datetime.date | None = None,
    *,
    part: str | None = None,
    shape: str = "table",
) -> None:
    """Print both parts, or one of them."""
    from ledger_tools.reports.gross_receipts import report_gross_receipts
    from ledger_tools.reports.tax_forms import report_form_lines

    receipts = report_gross_receipts(connection, period, as_of) if part != "lines" else None
    lines = report_form_lines(connection, period, as_of) if part != "receipts" else None
    if shape == "json":
        told: dict[str, Any] = {}
        for report in (receipts, lines):
            if report is not None:
                told.update(report.as_json())
        echo_json(told)
    elif shape == "csv":
        if lines is not None:
            _echo_lines(lines)
        elif receipts is not None:
            _echo_receipts(receipts)
    else:
        if receipts is not None:
            _show_receipts(receipts)
        if receipts is not None and lines is not None:
            echo()
        if lines is not None:
            _show_lines(lines)


def _echo_lines(report: FormLines) -> None:
    told = report.as_json()
    rows = [[each["line"], each["meaning"], "", each["amount"]] for each in told["lines"]]
    for place, each in reversed(list(enumerate(told["lines"], start=1))):
        rows[place:place] = [[each["line"], "", name, amount] for name, amount in each["accounts"].items()]
    rows += [["", "not mapped", name, amount] for name, amount in told["unmapped"].items()]
    echo_csv(["line", "meaning", "account", "amount"], rows)


def _echo_receipts(report: GrossReceipts) -> None:
    rows = [
        [each["processor"], month["month"], month["gross"], month["transactions"]]
        for each in report.as_json()["processors"]
        for month in each["months"]
    ]
    echo_csv(["processor", "month", "gross", "transactions"], rows)


def _show_receipts(report: GrossReceipts) -> None:
    def told(amount: int) -> str:
        return people_amount(amount, report.currency)

    columns = [Column("processor", is_cut=True), Column("month"), Column("gross", is_number=True)]
    columns.append(Column("payments", is_number=True))
    rows = []
    for each in report.receipts:
        rows += [
            [each.processor if not place else "", f"{month:%Y-%m}", told(amount), f"{count:,}"]
            for place, (month, amount, count) in enumerate(each.months)
        ]
        rows.append(["", "all", told(each.gross), f"{each.transactions:,}"])
    name = period_name(report.period)
    echo_table(f"Gross receipts as processors report them, {name}, {report.currency}", columns, rows)
    for rule in report.rules:
        over = ", ".join(each.processor for each in report.receipts if rule.is_met(each)) or "none"
        bound = f"over {told(rule.amount_over)} and over {rule.transactions_over} payments"
        echo(f"  {rule.kind}, {bound}: {over}")
        echo(f"    (rule as of {rule.as_of}; a rule of reporting, not of tax; check it)")
    echo()
    echo("From gross receipts to the revenue of the income statement:")
    steps = [(step.words, told(step.amount)) for step in report.steps if step.amount or step is report.steps[0]]
    steps.append(("revenue", told(report.revenue)))
    width = max(len(figure) for _, figure in steps)
    for words, figure in steps:
        echo(f"  {words:<59}{figure:>{width}}")
    echo("  They agree." if not report.difference else f"  They DIFFER by {told(report.difference)}.")


def _show_lines(report: FormLines) -> None:
    def told(amount: int) -> str:
        return people_amount(amount, report.currency)

    columns = [Column("line"), Column("meaning", is_cut=True), Column("amount", is_number=True)]
    rows = []
    for each in report.lines:
        rows.append([each.line, each.meaning, told(each.amount)])
        rows += [["", f"  {account} {told(amount)}", ""] for account, amount in each.accounts if len(each.accounts) > 1]
    rows += [["?", f"not mapped: {account}", told(amount)] for account, amount in report.unmapped]
    echo_table(
        f"Lines of the form of {report.form_year} (Schedule C), {period_name(report.period)}, {report.currency}",
        columns,
        rows,
        [["", "line 7 less expenses: net income of the books", told(report.net_income)]],
    )
    if report.difference:
        echo(f"The lines and the income statement DIFFER by {told(report.difference)}.")
    if report.unmapped:
        echo('Accounts without a line: say where they belong, as "Expenses:Marketing" = "8" under [tax_lines].')
    echo(f"The lines are those of {report.form_year}; compare them with the form of your year.")
