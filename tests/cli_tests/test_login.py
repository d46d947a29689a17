"""Whose name stands under what a person decides."""

import getpass

import click
import pytest

from ledger_tools.cli.login import login_name, signing_name


def test_the_given_name_goes_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """A name that is given is signed with; else the login name."""
    monkeypatch.setattr(getpass, "getuser", lambda: "ada")
    assert ("R. Vale", "ada", "ada") == (signing_name("R. Vale"), signing_name(None), login_name())


@pytest.mark.parametrize("trouble", [KeyError, OSError])
def test_nobody_is_known(trouble: type[Exception], monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the system knows no name, the browser starts without one, and a decision has to say who."""

    def fail() -> str:
        raise trouble

    monkeypatch.setattr(getpass, "getuser", fail)
    assert ("", "R. Vale") == (login_name(), signing_name("R. Vale"))
    with pytest.raises(click.UsageError, match="say who decides with --by NAME"):
        signing_name(None)
