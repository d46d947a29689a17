"""The books in the browser: Fava with pages of our own, on this machine only.

Place in the flow: above the reports, which hold all figures; a page chooses and shows, it never computes. One module, one
class and one template a page; `server` starts it, `guards` keeps others out, `ledger` keeps Fava's view whole.
"""
