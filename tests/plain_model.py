"""What a drawn month's books have to say, by plain sums over its rows: no SQL, no beancount, nothing of the program's.

Written from the accounting contract alone. It knows from the drawer which order a row belongs to, so it matches
nothing. Amounts are minor units of the currency that they are held in, debit positive. A refund's split is posted in
sum for all refunds of an order: how the shop's cumulative split falls on each of several refunds is nobody's to say.
"""

from __future__ import annotations

from collections import defaultdict
from fractions import Fraction

from random_month import Month, Row

#: Account and currency → balance; by order id ("" for no order).
Books = dict[str, dict[tuple[str, str], int]]

SUSPENSE, CLEARING, GIFT_CARDS, RETURNS = (
    "Assets:Suspense",
    "Assets:Clearing:Orders",
    "Liabilities:GiftCards",
    "Income:Returns",
)
WALLET, BANK = "Assets:Wallet:FulfilmentWallet", "Assets:Bank:Checking"
PAYOUTS, TOP_UPS = "Assets:InTransit:Payouts", "Assets:InTransit:TopUps"
PROCESSORS = {"card-processor": "CardProcessor", "euro-processor": "EuroProcessor"}
SALES = {"Mugs": "Mugs", "T-shirts": "TShirts", "Wall art": "WallArt", "": "Other"}
REASONS = {
    "reprint": "Expenses:COGS:Reprints",
    "sample": "Expenses:Samples",
    "storage": "Expenses:Storage",
    "subscription": "Expenses:Subscriptions",
    "artwork_setup": "Expenses:ArtworkSetup",
    "mystery": SUSPENSE,
}
COSTS = ("Expenses:COGS:Production", "Expenses:COGS:Shipping", "Expenses:COGS:SupplierTax")
RULES = {"account fee": "Expenses:BankFees", "state revenue": "Liabilities:SalesTax:US-CO"}


def share(amount: int, weights: list[int]) -> list[int]:
    """Largest remainders, by fractions; ties go to the earlier part."""
    whole = sum(weights)
    if not whole:
        return [0] * len(weights)
    exact = [Fraction(amount * weight, whole) for weight in weights]
    parts = [part.numerator // part.denominator for part in exact]
    order = sorted(range(len(weights)), key=lambda place: parts[place] - exact[place])
    for place in order[: amount - sum(parts)]:
        parts[place] += 1
    return parts


class Model:
    """Plain postings of a month, summed by order, account and currency."""

    def __init__(self, month: Month) -> None:
        self.books: Books = defaultdict(lambda: defaultdict(int))
        self.orders: dict[str, list[Row]] = defaultdict(list)
        for row in month.rows["shop"]:
            self.orders[row["order_id"]].append(row)
        for order_id, lines in self.orders.items():
            self._sell(order_id, lines)
        for source, name in PROCESSORS.items():
            for row in month.rows[source]:
                self._pay(f"Assets:Processor:{name}", f"Assets:Reserve:{name}", row)
        for order_id, lines in self.orders.items():
            refunds = [
                row
                for name in PROCESSORS
                for row in month.rows[name]
                if row["kind"] == "refund" and row.get("_order") == order_id
            ]
            charges = [
                int(row["charged_amount" if "charged_amount" in row else "gross"])
                for name in PROCESSORS
                for row in month.rows[name]
                if row["kind"] == "charge" and row.get("_order") == order_id
            ]
            self._refund(order_id, lines, sorted(refunds, key=lambda row: str(row["at"])), sum(charges))
        for row in month.rows["fulfilment-wallet"]:
            self._make(row, month.rows["fulfilment-wallet"])
        for row in month.rows["checking"]:
            self._bank(row)

    def balances(self) -> dict[tuple[str, str], int]:
        """The trial balance: account and currency → balance, without zeros."""
        found: dict[tuple[str, str], int] = defaultdict(int)
        for accounts in self.books.values():
            for key, amount in accounts.items():
                found[key] += amount
        return {key: amount for key, amount in found.items() if amount}

    def _post(self, order_id: str, currency: str, lines: list[tuple[str, int]]) -> None:
        """Post lines; what they leave over goes to suspense."""
        for account, amount in [*lines, (SUSPENSE, -sum(amount for _, amount in lines))]:
            self.books[order_id][account, currency] += amount

    def _sold(self, lines: list[Row]) -> tuple[list[tuple[str, int, int]], list[int]]:
        """Category, gross and discount of each line, and the tax in each line and, last, in shipping."""
        head = lines[0]
        inclusive = head["prices_include_tax"] == "true"
        goods = [
            (line["category"], line["quantity"] * (line["unit_price"] or 0), line["line_discount"]) for line in lines
        ]
        if head["unit_price"] is None:
            left = head["total"] + head["order_discount"] - head["shipping_charged"] - head["tip"]
            goods = [(head["category"], left - (0 if inclusive else head["tax"]), 0)]
        weights = [0 if name == "Gift card" else gross - off for name, gross, off in goods]
        return goods, share(head["tax"] if inclusive else 0, [*weights, head["shipping_charged"]])

    def tax_account(self, head: Row) -> str:
        """Where the tax of an order is credited."""
        if head["tax_collected_by"] == "marketplace":
            return "Liabilities:MarketplaceTax"
        place = "-".join(part for part in (head["ship_country"], head["ship_region"]) if part)
        return f"Liabilities:SalesTax:{head['tax_jurisdiction'] or place or 'Unknown'}"

    def _sell(self, order_id: str, lines: list[Row]) -> None:
        head = lines[0]
        goods, taxes = self._sold(lines)
        entry = [(CLEARING, head["total"] - head["gift_card_paid"]), (GIFT_CARDS, head["gift_card_paid"])]
        entry.append(("Income:Discounts", head["order_discount"] + sum(off for _, _, off in goods)))
        for (name, gross, _), tax in zip(goods, taxes, strict=False):
            entry.append((GIFT_CARDS if name == "Gift card" else f"Income:Sales:{SALES[name]}", tax - gross))
        entry.append(("Income:Shipping", taxes[-1] - head["shipping_charged"]))
        entry += [("Income:Tips", -head["tip"]), (self.tax_account(head), -head["tax"])]
        self._post(order_id, head["currency"], entry)

    def _pay(self, account: str, reserve: str, row: Row) -> None:
        order_id, kind, gross, fee = row.get("_order", ""), row["kind"], row["gross"], row["fee"]
        if kind == "refund" and order_id:
            return
        others = {
            "charge": CLEARING, "refund": CLEARING, "dispute": "Assets:Disputed", "dispute_won": "Assets:Disputed",
            "dispute_lost": "Expenses:Chargebacks", "reserve_hold": reserve, "reserve_release": reserve,
            "payout": PAYOUTS, "payout_returned": PAYOUTS, "tax_withheld": "Liabilities:MarketplaceTax",
            "fee": "Expenses:Fees:Processing", "conversion": SUSPENSE,
            "adjustment": RULES["account fee"] if "fee" in row.get("memo", "") else SUSPENSE,
        }  # fmt: skip
        fees = "Expenses:Fees:Disputes" if kind.startswith("dispute") else "Expenses:Fees:Processing"
        entry = [(account, row["net"]), (fees, fee)]
        if "charged_currency" in row and kind == "charge":
            self.books[order_id][CLEARING, row["charged_currency"]] -= row["charged_amount"]
            self._post(order_id, row["currency"], [*entry, ("", -gross)])
            del self.books[order_id]["", row["currency"]]
        elif kind == "conversion" and row["_pair"]:
            self._post("", row["currency"], [*entry, ("", -gross)])
            del self.books[""]["", row["currency"]]
        else:
            self._post(order_id, row["currency"], [*entry, (others[kind], -gross)])
        if kind == "dispute_lost":
            self._post(
                order_id, row["currency"], [("Expenses:Chargebacks", row["_lost"]), ("Assets:Disputed", -row["_lost"])]
            )

    def _refund(self, order_id: str, lines: list[Row], rows: list[Row], paid: int) -> None:
        """Refunds of an order: what was paid too much goes back, the rest is split over goods, shipping, tip, tax, cards."""
        head = lines[0]
        given = head.get("refunded_to_gift_card", 0)
        cash = [abs(int(row["charged_amount" if "charged_amount" in row else "gross"])) for row in rows]
        back = self._given_back(head, cash, paid)
        amounts = [amount - part for amount, part in zip(cash, back, strict=True)] + ([given] if given else [])
        goods, taxes = self._sold(lines)
        cards = sum(gross for name, gross, _ in goods if name == "Gift card")
        held = [0, head["shipping_charged"] - taxes[-1], head["tip"], head["tax"], cards]
        held[0] = max(head["total"] - sum(held), 0)
        parts = [0] * 5
        stated = [head.get(f"refunded_{name}", 0) for name in ("items", "shipping", "tip", "tax")] + [0]
        covered = (
            max((n for n in range(len(amounts) + 1) if sum(amounts[:n]) == sum(stated)), default=0)
            if sum(stated)
            else 0
        )
        if covered:
            parts = stated
        for amount in amounts[covered:]:
            left = [max(have - gone, 0) for have, gone in zip(held, parts, strict=True)]
            parts = [gone + more for gone, more in zip(parts, share(min(amount, sum(left)), left), strict=True)]
        entry = [(RETURNS, sum(parts[:3])), (self.tax_account(head), parts[3]), (GIFT_CARDS, parts[4] - given)]
        entry += [(SUSPENSE, sum(amounts) - sum(parts)), (CLEARING, sum(back)), ("", given - sum(amounts) - sum(back))]
        self._post(order_id, head["currency"], entry)
        self.books[order_id].pop(("", head["currency"]), None)
        for row in rows:
            account = "Assets:Processor:" + ("EuroProcessor" if row["event_id"].startswith("E") else "CardProcessor")
            entry = [(account, row["net"]), ("Expenses:Fees:Processing", row["fee"]), ("", -row["gross"])]
            self._post(order_id, row["currency"], entry)
            self.books[order_id].pop(("", row["currency"]), None)

    def _given_back(self, head: Row, cash: list[int], paid: int) -> list[int]:
        """The part of each refund that is of money paid beyond what was due: of the one of that amount, else the earliest."""
        due = head["total"] - head["gift_card_paid"]
        stated = sum(head.get(f"refunded_{name}", 0) for name in ("items", "shipping", "tip", "tax"))
        told = max((n for n in range(len(cash) + 1) if stated and sum(cash[:n]) == stated), default=0)
        left, back = max(paid - due, 0), [0] * len(cash)
        if left in cash[told:]:
            back[cash.index(left, told)] = left
            return back
        for place in range(told, len(cash)):
            if cash[place] != due:
                back[place] = min(left, cash[place])
                left -= back[place]
        return back

    def _make(self, row: Row, rows: list[Row]) -> None:
        kind, total, order_id = row["kind"], row["total"], row.get("_order", "")
        reason = row.get("reason", "").strip().lower()
        if kind in ("top_up", "withdrawal"):
            sign = 1 if kind == "top_up" else -1
            self._post("", "USD", [(WALLET, sign * total), (TOP_UPS, -sign * total)])
        elif kind == "credit":
            costs = [0, 0, 0]
            for other in rows:
                if (
                    order_id
                    and other.get("_order") == order_id
                    and other["kind"] == "charge"
                    and other["reason"] != "reprint"
                ):
                    costs = [have + more for have, more in zip(costs, self._parts(other), strict=True)]
            made, rest = self._credited(row, rows, sum(costs))
            split = [made, 0, 0] if row.get("production") == total else share(made, costs)
            back = [(account, -part) for account, part in zip(COSTS, split, strict=True)]
            back.append((REASONS["reprint"], -rest))
            if reason in REASONS:
                back = [(REASONS[reason], -total)]
            self._post(order_id, "USD", [(WALLET, total), *back])
        elif reason in REASONS:
            self._post(order_id, "USD", [(WALLET, -total), (REASONS[reason], sum(self._parts(row)))])
        elif kind == "charge":
            self._post(order_id, "USD", [(WALLET, -total), *zip(COSTS, self._parts(row), strict=True)])
        else:
            self._post("", "USD", [(WALLET, -total)])

    def _credited(self, credit: Row, rows: list[Row], made: int) -> tuple[int, int]:
        """What a credit of an order gives back of its making, then of its reprints, after the credits before it."""
        own = [row for row in rows if credit.get("_order") and row.get("_order") == credit["_order"]]
        reprinted = sum(sum(self._parts(row)) for row in own if row["kind"] == "charge") - made
        for row in sorted(
            (row for row in own if row["kind"] == "credit"), key=lambda row: (row["at"], row["event_id"])
        ):
            of_made = min(int(row["total"]), made)
            rest = min(int(row["total"]) - of_made, reprinted)
            if row is credit:
                return of_made, rest
            made, reprinted = made - of_made, reprinted - rest
        return 0, 0

    def _parts(self, row: Row) -> list[int]:
        if "production" not in row:
            return [row["total"], 0, 0]
        return [row["production"] - row.get("discount", 0), row["shipping"], row.get("tax", 0)]

    def _bank(self, row: Row) -> None:
        completes = row["_completes"]
        if completes is None:
            rules = [account for words, account in RULES.items() if words in row["memo"].lower()]
            self._post("", "USD", [(BANK, row["amount"]), ((rules or [SUSPENSE])[0], -row["amount"])])
            return
        self.books[""][BANK, "USD"] += row["amount"]
        if "total" in completes:
            self.books[""][TOP_UPS, "USD"] -= row["amount"]
        elif completes["currency"] == "USD":
            self.books[""][PAYOUTS, "USD"] -= row["amount"]
        else:
            self.books[""][PAYOUTS, completes["currency"]] += completes["gross"]
