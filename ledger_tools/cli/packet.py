"""`packet`: what the accountant gets of a month, quarter or year."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import click

from ledger_tools.cli import Context, books_path
from ledger_tools.cli.output import echo, talk, with_books
from ledger_tools.cli.periods import period_name, period_options

if TYPE_CHECKING:
    from ledger_tools.calendar import Period


def _named_period(text: str) -> Period:
    from ledger_tools.calendar import parse_month, parse_quarter, parse_year
    from ledger_tools.errors import LedgerError

    parse = parse_month if re.match(r"\d{4}-\d", text) else parse_quarter if "-" in text else parse_year
    try:
        return parse(text)
    except LedgerError:
        raise click.UsageError(f"{text!r} is no month, quarter or year: write 2031-04, 2031-Q2 or 2031.") from None


@click.command("packet")
@click.argument("period_text", metavar="[PERIOD]", required=False)
@period_options
@click.option(
    "--out", "out", required=True, metavar="DIR", help="Folder for the packet; an earlier packet is replaced."
)
@click.option("--archive", is_flag=True, help="One zip file in DIR instead of a folder of files.")
@click.pass_obj
def command(context: Context, period_text: str | None, period: Period, out: str, archive: bool) -> None:
    """Write the accountant's packet of a month, quarter or year.

    A workbook with live formulas, a PDF to sign, every sheet as CSV, and the journal, with a manifest of digests. While
    a month of the period is open, every sheet and page says DRAFT. The same books give the same files, byte for byte.

    \b
    Example:
      ledger-tools packet 2031-04 --out packet
      ledger-tools packet --year 2031 --out accountant --archive
    """
    from ledger_tools.archive import open_books
    from ledger_tools.closed import read_closed_months, read_reopenings
    from ledger_tools.packet.contents import make_packet
    from ledger_tools.packet.delivery import write_archive, write_folder

    if period_text is not None:
        if period.first or period.last:
            raise click.UsageError(f"{period_text} and an option both name a period; give one of them.")
        period = _named_period(period_text)
    if period.first is None or period.last is None:
        raise click.UsageError(with_books("Name a month, quarter or year: ledger-tools packet 2031-04 --out packet"))
    folder = context.folder()
    with open_books(folder, context.progress) as connection:
        packet = make_packet(
            connection, period, period_name(period), period_name, context.progress, read_closed_months(folder),
            read_reopenings(folder),
        )  # fmt: skip
        write = write_archive if archive else write_folder
        written = write(books_path(out), packet, connection, folder, context.progress)
    context.end_progress()
    echo(str(written))
    talk(packet.standing.state if packet.standing.is_draft else f"{packet.standing.name} is closed.")
    if packet.broken_checks:
        talk(f"{packet.broken_checks} check(s) of the packet are not zero: see its sheet Check.")
        click.get_current_context().exit(1)
