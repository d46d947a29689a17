"""`python -m ledger_tools` is the `ledger-tools` command."""

from ledger_tools.cli import main

main()
