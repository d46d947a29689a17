"""The kinds of open item as values: what each means, how it is found, what settles it. They also print the docs.

Adding a kind is adding a row here and a finder beside it. `means` and the other texts are clauses without a full stop.
"""

from __future__ import annotations

from dataclasses import dataclass

#: What money that nobody has explained is called until the accountant sorts it.
UNSORTED_COST = "Expenses:Uncategorised"


@dataclass(frozen=True)
class Kind:
    """One kind of open item.

    Attributes:
        name: its name in every output.
        means: what it says.
        found: how it is found.
        settled_by: what makes it leave the list, besides a decision.
        match: the kind of record that it can be matched with by a decision, where it can.
        can_go: a decision can take its record out of the books.
        unsorted: the command that is proposed moves money paid to an account of unsorted costs; else it accepts.
    """

    name: str
    means: str
    found: str
    settled_by: str
    match: str | None = None
    unsorted: bool = False
    can_go: bool = False

    @property
    def ways(self) -> str:
        """What makes it leave the list, the decision that not every kind allows included."""
        return self.settled_by if self.match is None else f"{self.settled_by}; `--match` with {self.match}"


KINDS: tuple[Kind, ...] = (
    Kind("order-without-payment", "an order whose payment no processor export shows",
         "the order's balance in the clearing account is not zero and no charge names it, after the usual days",
         "the processor's export of these days, or an entry in hand.beancount with the order's link",
         "a payment"),
    Kind("payment-without-order", "a payment, refund or dispute whose order no shop export shows",
         "its reference and payment reference find no order; payment and refund that cancel out are none",
         "the shop's export that holds the order, or a reference_pattern that reads the processor's reference",
         "an order"),
    Kind("payment-differs", "an order whose payments are more or less than it owes",
         "the order's balance in the clearing account is not zero though a charge names it, or the order was cancelled and what "
         "was paid is not given back, after the usual days",
         "the missing payment or refund, or an entry in hand.beancount with the order's link",
         "a payment"),
    Kind("order-without-fulfilment", "an order that the fulfilment partner never charged, or only in part",
         "made to order, neither cancelled nor fully refunded before it shipped, and no wallet charge names it after the usual "
         "days; or its charges are of fewer pieces than were sold, and nothing was refunded",
         "the wallet's export of these days; else ask the partner whether it was made", "a wallet charge"),
    Kind("fulfilment-without-order", "a fulfilment charge whose order no shop export shows",
         "the charge's reference finds no order",
         "the shop's export that holds the order; else ask the partner what was made", "an order"),
    Kind("charged-twice", "an order that was charged for more pieces than were sold, or twice the same",
         "pieces charged are counted against pieces sold, SKU by SKU; credits count against it",
         "a credit from the partner"),
    Kind("charged-though-cancelled", "an order cancelled or fully refunded before it shipped, charged and not credited",
         "the day of cancelling or of the last refund lies before the shipment, and charges are more than credits",
         "a credit from the partner"),
    Kind("payout-not-in-bank", "a payout that has not reached the bank in the usual time",
         "no bank line names the payout or has its amount, after the usual days; a returned payout is none",
         "the bank's statement of these days; else ask the processor", "a bank line"),
    Kind("deposit-without-payout", "a deposit like those of a processor that no payout explains",
         "an unexplained credit from a party that sent payouts before, or that fits the source's payout_pattern",
         "the processor's export that holds the payout", "a payout, or the other line of a transfer"),
    Kind("top-up-without-bank-line", "a wallet top-up or withdrawal that no bank line pays",
         "no bank line names the top-up or has its amount, after the usual days",
         "the bank's statement of these days, or an entry in hand.beancount if it was paid another way",
         "a bank line"),
    Kind("balance-differs", "a stated balance that the books do not have",
         "each stated balance is compared with the account at the end of its day; the first day that differs is named",
         "the exports that are missing, or an opening balance in hand.beancount"),
    Kind("order-does-not-add-up", "an order whose total is not the sum of its parts",
         "total less items, discounts, shipping, tip and tax; the difference is in suspense",
         "a corrected export, or an entry in hand.beancount with the order's link that clears Suspense"),
    Kind("event-does-not-add-up", "an event whose amounts contradict each other, or that refers to nothing known",
         "net against gross less fee, total against its parts, refunds against what the order held, credits and ended "
         "disputes against what they refer to, what went back against what was paid, a reserve released against what was held, "
         "tax withheld against what was collected; a difference is in suspense where no account of its own holds it",
         "a corrected export, or the event that is missing"),
    Kind("tax-rate-unusual", "an order whose tax differs from the usual rate of its jurisdiction",
         "with 20 orders there: off the most common rate by more than 0.1 point and two minor units, measured on items "
         "and on items with shipping",
         "a look at the order: exempt customer, wrong address, wrong rate; ask a tax adviser where it matters"),
    Kind("cost-above-rate-card", "a production or shipping charge above the rate card",
         "only with a [rate_card]: production by SKU and piece, shipping by parcel (one first piece, the others additional)",
         "a credit from the partner, or the new price under [rate_card] with its first day"),
    Kind("amended", "a record that a later export changed",
         "two exports hold the record with different content; a blank that was filled in is none",
         "a look at the change; the later export counts"),
    Kind("vanished", "a record that a later export of the same days no longer holds",
         "a later export covers the record's day without holding it",
         "a look at why: `--accept` leaves it in the books, `--take-out` takes it out, for a closed month by an entry in the "
         "first open one", can_go=True),
    Kind("coverage-gap", "days between two exports of a source that no export covers",
         "the days between the end of one export and the start of the next; the open end is none",
         "an export of these days"),
    Kind("bank-line-without-rule", "a bank line, adjustment or wallet charge that nothing explains",
         "no payout, top-up or [[bank_rule]] fits the line, or it has another amount than the entry by hand of its number; "
         "no line under [reasons] fits the wallet charge",
         "a [[bank_rule]] (bank lines, adjustments: settle with --always) or a line under [reasons] (wallet) in shop.toml",
         "a payout or top-up, or the other line of a transfer", unsorted=True),
    Kind("late-for-closed-month", "a record that came after its month was closed",
         "its month is closed and its entry stands in a later one", "a look at the prior-period entry"),
)  # fmt: skip

KIND_ORDER = {kind.name: place for place, kind in enumerate(KINDS)}
KINDS_BY_NAME = {kind.name: kind for kind in KINDS}


def kinds_table() -> str:
    """Markdown table of all kinds: what each means, how it is found, what settles it."""
    rows = ["| kind | means | found by | settled by |\n", "|---|---|---|---|\n"]
    for kind in KINDS:
        rows.append(f"| `{kind.name}` | {kind.means} | {kind.found} | {kind.ways} |\n")
    return "".join(rows)
