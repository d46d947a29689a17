"""Which records belong together: processor and wallet rows to orders, bank lines to payouts and top-ups.

Every match keeps how it was found (`matched_by`). Nothing is guessed: where two answers fit, none is taken and the
record stays open.
"""
