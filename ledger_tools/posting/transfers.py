"""Facts of transfers: bank lines that are one end of a transfer, or that a cheque or deposit by hand announced."""

from __future__ import annotations

import duckdb


def mark_transfers(connection: duckdb.DuckDBPyConnection) -> None:
    """Mark the rows of `fact_bank` that go through the account of transfers under way."""
    connection.execute(
        """UPDATE fact_bank SET posting = 'transfer', flagged = false, note = NULL FROM transfer_end AS side
           WHERE side.source_no = fact_bank.source_no AND side.event_id = fact_bank.event_id"""
    )
