"""ledger-tools: double-entry books and per-order profit for a shop that sells merchandise made on demand."""
