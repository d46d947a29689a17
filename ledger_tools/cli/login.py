"""Who is at the keyboard: whose name stands under a decision, a close, a month opened again."""

from __future__ import annotations

import getpass

import click


def login_name() -> str:
    """The login name as the system knows it; empty where it knows none."""
    try:
        return getpass.getuser()
    except (KeyError, OSError):
        return ""


def signing_name(by: str | None) -> str:
    """The name that is signed with: the one that was given, else the login name.

    Raises:
        click.UsageError: neither is known.
    """
    name = by or login_name()
    if not name:
        raise click.UsageError("your login name is not known: say who decides with --by NAME")
    return name
