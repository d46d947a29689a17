"""`settle`: record a decision about an open item."""

from __future__ import annotations

import click

from ledger_tools.cli import Context
from ledger_tools.cli.login import signing_name
from ledger_tools.cli.output import echo


@click.command("settle")
@click.argument("item", metavar="ITEM")
@click.option(
    "--match",
    "match",
    metavar="EVENT",
    multiple=True,
    help="It belongs to this record, an event or order; several times: it is made up of them.",
)
@click.option("--account", metavar="ACCOUNT", help="Move what is open to this account.")
@click.option("--always", is_flag=True, help="With --account: every line like it, by a [[bank_rule]] in shop.toml.")
@click.option("--accept", is_flag=True, help="Leave it as it is; it leaves the list and stays in the record.")
@click.option("--take-out", "take_out", is_flag=True, help="A vanished record: its entries leave the books.")
@click.option("--withdraw", is_flag=True, help="Take an earlier decision back.")
@click.option("--reason", help="Why, in your words.")
@click.option("--by", help="Who decides; else your login name.")
@click.pass_obj
def command(
    context: Context, item: str, match: tuple[str, ...], account: str | None, always: bool, accept: bool, take_out: bool,
    withdraw: bool,
    reason: str | None, by: str | None,
) -> None:  # fmt: skip
    """Settle ITEM of the list of open items, by its id.

    The decision is kept in decisions.toml with who and when, and is part of the books from then on.

    \b
    Example:
      ledger-tools settle 3fa9c1d2 --account Expenses:BankFees --reason "card fee of the bank"
      ledger-tools settle 77b0e1aa --account Expenses:Rent --always --reason "studio rent"
      ledger-tools settle 81aa07be --match PO-1031 --reason "the bank cut the reference off"
      ledger-tools settle 1c7d20e5 --match PO-1032 --match PO-1033 --reason "one transfer for both"
      ledger-tools settle 5d0c44ef --accept --reason "replacement sent from our own stock"
    """
    import datetime

    from ledger_tools.settlement import Verdict
    from ledger_tools.settling import settle_by_rule, settle_item, withdraw_item

    if [bool(match), account is not None, accept, take_out, withdraw].count(True) != 1:
        raise click.UsageError("give exactly one of --match, --account, --accept, --take-out and --withdraw")
    if always and account is None:
        raise click.UsageError("--always needs --account: the account that such lines belong to")
    if not withdraw and not (reason or "").strip():
        raise click.UsageError("give a reason: --reason TEXT")
    folder = context.folder()
    if withdraw:
        withdrawn = withdraw_item(folder, item, context.progress)
        stale, told = withdrawn.stale, withdrawn.told
    elif always and account is not None:
        ruled = settle_by_rule(
            folder,
            item,
            account,
            reason=(reason or "").strip(),
            by=signing_name(by),
            decided_on=datetime.date.today(),
            progress=context.progress,
        )
        stale = ruled.stale
        echo(ruled.rule, err=True)
        told = (
            f"Settled: {ruled.item.kind} {ruled.item.id}, by this rule in shop.toml; it fits {ruled.fits} open line(s)."
        )
        if ruled.new_account:
            _tell_new_account(ruled.new_account, ruled.alike)
    else:
        settled = settle_item(
            folder,
            item,
            Verdict(match, account, accept, take_out),
            reason=(reason or "").strip(),
            by=signing_name(by),
            decided_on=datetime.date.today(),
            progress=context.progress,
        )
        stale = settled.stale
        told = settled.told
        if settled.new_account:
            _tell_new_account(settled.new_account, settled.alike)
    context.end_progress()
    echo(told, err=True)
    for problem in stale:
        echo(str(problem), err=True)
    if stale:
        click.get_current_context().exit(1)


def _tell_new_account(account: str, alike: tuple[str, ...]) -> None:
    """Say that an account is new to the books, with those that are called much alike: it may be a slip."""
    meant = f"; did you mean {' or '.join(alike)}? Then withdraw this and settle again" if alike else ""
    echo(f"{account} is a new account in these books{meant}.", err=True)
