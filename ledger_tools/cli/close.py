"""`close`: the month-end close, step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context
from ledger_tools.cli.login import signing_name
from ledger_tools.cli.output import echo, echo_csv, echo_json, shape_option, wrapped

if TYPE_CHECKING:
    from ledger_tools.close import CloseReport

_MARKS = {"done": "done", "waived": "waived", "blocked": "BLOCKED"}

#: So many things of a step are shown; all of them are in the JSON.
_SHOWN = 6


@click.command("close")
@click.argument("month", metavar="MONTH")
@click.option("--by", help="Who closes; else your login name.")
@click.option("--dry-run", is_flag=True, help="Show the steps and the month-end entries; change nothing.")
@click.option("--waive", "waived", metavar="STEP", multiple=True, help="Go on without this step; needs --reason.")
@click.option("--reason", help="Why the steps are waived.")
@shape_option
@click.pass_obj
def command(
    context: Context, month: str, by: str | None, dry_run: bool, waived: tuple[str, ...], reason: str | None, shape: str
) -> None:
    """Close MONTH: look through the steps, post the month-end entries, freeze the month.

    Month-end entries stand on the month's last day and are reversed on the first of the next. A closed month never
    changes: what arrives late for it is posted in the earliest open month.

    \b
    Example:
      ledger-tools close 2031-04 --dry-run
      ledger-tools close 2031-04 --by "R. Vale"
      ledger-tools close 2031-04 --waive open-items --reason "asked the partner, no answer yet"
    """
    import datetime

    from ledger_tools.close import Signature, close_month

    if waived and not (reason or "").strip():
        raise click.UsageError("give a reason for what is waived: --reason TEXT")
    signature = Signature(signing_name(by), datetime.date.today(), {step: (reason or "").strip() for step in waived})
    report = close_month(context.folder(), month, signature, context.progress, dry_run=dry_run)
    context.end_progress()
    if shape == "json":
        echo_json(_as_json(report))
    elif shape == "csv":
        rows = [
            (step.step, step.state, step.detail, " ".join(item.key for item in step.items)) for step in report.steps
        ]
        echo_csv(["step", "state", "detail", "items"], rows)
    else:
        _show(report, dry_run)
    if report.is_blocked:
        click.get_current_context().exit(1)


def _as_json(report: CloseReport) -> dict[str, object]:
    return {
        "month": report.month,
        "closed": report.closed,
        "steps": [
            {
                "step": step.step,
                "state": step.state,
                "detail": step.detail,
                "items": [{"id": item.key, "detail": item.text} for item in step.items],
                "next_step": step.next_step,
            }
            for step in report.steps
        ],
    }


def _show(report: CloseReport, dry_run: bool) -> None:
    echo(f"Close of {report.month}\n")
    width = max(len(step.step) for step in report.steps)
    for step in report.steps:
        _show_wrapped(f"{step.step:<{width}}  {_MARKS[step.state]:<7}  ", step.detail)
        for item in step.items[:_SHOWN]:
            _show_wrapped(" " * (width + 11) + "- ", f"{item.key}: {item.text}")
        if len(step.items) > _SHOWN:
            echo(" " * (width + 11) + f"- and {len(step.items) - _SHOWN} more (--format json lists all)")
        if step.next_step:
            _show_wrapped(" " * (width + 11) + "→ ", step.next_step)
    echo()
    if dry_run:
        echo(report.entries or "No month-end entries.")
        echo("Nothing was changed: this was a dry run.", err=True)
    elif report.closed:
        echo(f"{report.month} is closed. What arrives late for it is posted in the next month.", err=True)
    else:
        echo(
            f"{report.month} stays open: clear the blocked steps, or waive them with --waive STEP --reason TEXT.",
            err=True,
        )


def _show_wrapped(lead: str, text: str) -> None:
    import shutil

    columns = max(60, min(shutil.get_terminal_size().columns, 110))
    echo(wrapped(text, columns, lead, " " * len(lead)))
