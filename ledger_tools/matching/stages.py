"""The stages of matching as values: what each compares, in which days, and when it is accepted.

A record that an earlier stage has matched takes no part in a later one. The matchers read their windows and bounds
here, and the docs print this table. Windows are whole days from the earlier record (order, payout, top-up) to the later
one (payment, charge, bank line). Common practice: no standard says how long a payment may take.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Window:
    """Days that the later record may lie before (`low`, negative) and after (`high`) the earlier one."""

    low: int
    high: int

    def __str__(self) -> str:
        before = f"{-self.low} before to " if self.low < 0 else f"{self.low} to "
        return f"{before}{self.high} after"


@dataclass(frozen=True)
class Stage:
    """One stage of matching.

    Attributes:
        name: what `matched_by` says.
        compares: the records that it ties together.
        window: days that it looks in; None where a reference or a person says it all.
        accepted: when it is taken.
    """

    name: str
    compares: str
    window: Window | None
    accepted: str

    @property
    def days(self) -> Window:
        """The window of a stage that has one."""
        assert self.window is not None, self.name
        return self.window


DECISION = Stage("decision", "any two records", None, "a person said so")
REFERENCE = Stage(
    "reference", "payments and charges to orders; bank lines to payouts and top-ups (45 days)", Window(-5, 45),
    "the text names exactly one record; or a bank line's text names several payouts or top-ups of one source, all of them "
    "known, that are its amount",
)  # fmt: skip
LOOSE_REFERENCE = Stage(
    "reference without prefix or suffix",
    "payments and charges to orders",
    None,
    "exactly one order fits; a lettered prefix is left out where most references of the source and kind of event are written "
    "so, or where the payment is what the order owes, or the charge is for its goods",
)
PAYMENT_REFERENCE = Stage(
    "payment reference", "payments, refunds, disputes to orders", None,
    "the shop, or another event of the payment, ties it to exactly one order; to several where their totals are the payment",
)  # fmt: skip
AMOUNT = Stage(
    "amount and date", "bank lines to payouts and top-ups", Window(-3, 10),
    "equal amount, unique both ways; in the near days (1 before to 4 after) or in the usual days of these two sources "
    "where every competitor has a partner of its own",
)  # fmt: skip
PAYMENT_AMOUNT = Stage(
    "amount and date", "payments without a usable reference to orders without payment", Window(-1, 3), AMOUNT.accepted
)
GOODS = Stage(
    "goods, destination and date", "wallet charges without a reference to orders without charge", Window(0, 5),
    "the same pieces by SKU to the same country and region, charged after the order was placed, unique both ways, or in "
    "the usual days as amounts are",
)  # fmt: skip
STATED_FOREIGN = Stage(
    "amount stated in the bank's currency", "bank lines to foreign payouts and top-ups", Window(-3, 10),
    "the processor states what arrives, unique both ways",
)  # fmt: skip
FOREIGN = Stage(
    "amount at a known rate", "bank lines to foreign payouts and top-ups", Window(-3, 10),
    "within the tolerance of the latest known rate, unique both ways",
)  # fmt: skip
SUM = Stage(
    "sum", "one bank line to several payouts or top-ups, and the reverse", Window(-1, 10),
    "exactly one combination fits, and none of its records, nor the one that it makes up, fits another or a single record",
)  # fmt: skip
PAYMENT_SUM = Stage("sum", "one payment to several orders", Window(0, 3), SUM.accepted)
TRANSFER = Stage(
    "transfer", "two lines of two own accounts, where a rule or a text says transfer", AMOUNT.window, AMOUNT.accepted
)
WRITTEN = Stage(
    "written by hand", "bank lines to cheques and deposits in hand.beancount, where not both name a number", Window(-3, 45),
    AMOUNT.accepted,
)  # fmt: skip

STAGES: tuple[Stage, ...] = (
    DECISION, REFERENCE, LOOSE_REFERENCE, PAYMENT_REFERENCE, AMOUNT, PAYMENT_AMOUNT, GOODS, STATED_FOREIGN, FOREIGN, SUM,
    PAYMENT_SUM, TRANSFER, WRITTEN,
)  # fmt: skip

#: Days in which most money arrives, where the two sources have not shown their own usual days yet.
NEAR = Window(-1, 4)
PAYMENT_NEAR = Window(0, 0)

#: Matches of two sources from which their usual days are learnt.
LEARNT_FROM = 2

#: Competitors that are looked at one by one; a record with more stays open.
COMPETITORS_AT_MOST = 8

#: Records among which sums are sought at most, per line or payment, and partial sums formed in one build at most.
ELEMENTS_AT_MOST = 20
COMBINATIONS_AT_MOST = 4_000_000

#: A sum counts only where the combinations tried are at most one to so many amounts that they could have had, in minor
#: units: else some combination would fit by chance.
AMOUNTS_TO_A_COMBINATION = 100


def stages_table() -> str:
    """Markdown table of the stages, in their order."""
    rows = ["| matched by | what | days | accepted when |\n", "|---|---|---|---|\n"]
    for stage in STAGES:
        rows.append(f"| {stage.name} | {stage.compares} | {stage.window or '—'} | {stage.accepted} |\n")
    return "".join(rows)
