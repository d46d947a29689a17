"""How the story of one order is printed: what the shop says, each event with its entry, what it comes to."""

from __future__ import annotations

import datetime
from typing import TYPE_CHECKING

from ledger_tools.cli.output import echo, echo_csv, echo_json, emphasis, people_amount, people_percent, plain

if TYPE_CHECKING:
    from ledger_tools.reports.order_story import OrderStory, StoryEvent


def show_story(story: OrderStory, shape: str) -> None:
    """Print a story as a text, as JSON, or as CSV with one row a posting."""
    if shape == "json":
        echo_json(story.as_json())
    elif shape == "csv":
        _echo_csv(story)
    else:
        _show_facts(story)
        for event in story.events:
            _show_event(event, story.report.currency)
        _show_result(story)


def _echo_csv(story: OrderStory) -> None:
    from ledger_tools.money import format_amount

    rows = []
    for event in story.events:
        for posting in event.postings:
            amount = format_amount(posting.amount, posting.currency)
            value = None if posting.value is None else format_amount(posting.value, story.report.currency)
            origin = [event.day.isoformat(), event.title, event.source, event.event_id, event.matched_by]
            rows.append([*origin, posting.account, amount, posting.currency, value])
    header = ["date", "title", "source", "event_id", "matched_by", "account", "amount", "currency", "value"]
    echo_csv(header, rows)


#: Amounts of the whole order that are told, with what they are called.
_AMOUNTS = {
    "order_discount": "discount",
    "shipping_charged": "shipping",
    "tip": "tip",
    "tax": "tax",
    "total": "total",
    "gift_card_paid": "paid by gift card",
}


def _show_facts(story: OrderStory) -> None:
    facts, currency = story.facts, story.order_currency
    order = story.report.orders[0] if story.report.orders else None
    name = order.order_id if order else "(placed later)"
    echo(emphasis(plain(f"Order {name}, {facts['source']}")))
    for field, words in (("placed_at", "placed"), ("cancelled_at", "cancelled"), ("shipped_at", "shipped")):
        if field in facts:
            moment = facts[field]
            echo(f"  {words:<10}{moment:%Y-%m-%d %H:%M}" if isinstance(moment, datetime.datetime) else "")
    place = "-".join(str(facts[field]) for field in ("ship_country", "ship_region") if field in facts)
    for words, text in (("channel", facts.get("channel")), ("ships to", place), ("payment", facts.get("payment_ref"))):
        if text:
            echo(plain(f"  {words:<10}{text}"))
    echo()
    for line in story.lines:
        what = " ".join(str(line[field]) for field in ("item", "sku") if field in line) or "(no item named)"
        priced = f"{line.get('quantity', 1)} × {people_amount(line.get('unit_price', 0), currency)}"
        less = f", less {people_amount(line['line_discount'], currency)}" if line.get("line_discount") else ""
        echo(plain(f"  {priced} {currency}{less}  {what}"))
    for field, label in _AMOUNTS.items():
        if facts.get(field) or field == "total":
            echo(f"  {label}: {people_amount(facts[field], currency)} {currency}")
    echo()


def _show_event(event: StoryEvent, base_currency: str) -> None:
    mark = "  !" if event.flagged else ""
    about = f": {event.memo}" if event.memo else ""
    echo(emphasis(plain(f"{event.day}  {event.title}{about}{mark}")))
    how = f", matched by {event.matched_by}" if event.matched_by else ""
    echo(plain(f"            {event.source}, {event.event_id}{how}"))
    if event.files:
        echo(plain(f"            file: {', else '.join(event.files)}"))
    if event.note:
        echo(plain(f"            note: {event.note}"))
    if event.payout:
        arrived = f"in the bank on {event.in_bank_on}" if event.in_bank_on else "not yet seen in the bank"
        echo(plain(f"            paid out with {event.payout}, {arrived}"))
    width = max((len(posting.account) for posting in event.postings), default=0)
    for posting in event.postings:
        amount = people_amount(posting.amount, posting.currency)
        worth = ""
        if posting.currency != base_currency:
            value = "no rate known" if posting.value is None else people_amount(posting.value, base_currency)
            worth = f"  = {value} {base_currency}" if posting.value is not None else f"  ({value})"
        echo(f"    {posting.account:<{width}}  {amount:>12} {posting.currency}{worth}")
    echo()


def _show_result(story: OrderStory) -> None:
    report = story.report
    if not report.orders:
        echo("The order was placed after the day that the books are seen as of.")
        return
    order = report.orders[0]
    echo(emphasis(f"What it comes to, {report.currency}"))
    figures = order.figures
    steps = (
        ("items", figures.items),
        ("less discounts", -figures.discounts),
        ("shipping charged", figures.shipping_charged),
        ("tips", figures.tips),
        ("less returns", -figures.returns),
        ("net revenue", figures.net_revenue),
        ("less production", -figures.production),
        ("less shipping cost", -figures.shipping_cost),
        ("less supplier tax", -figures.supplier_tax),
        ("less reprints", -figures.reprints),
        ("less processing fees", -figures.processing_fees),
        ("less dispute fees", -figures.dispute_fees),
        ("less chargebacks", -figures.chargebacks),
        ("less other costs", -figures.other_costs),
        ("profit", figures.profit),
    )
    for words, amount in steps:
        if amount or words in ("net revenue", "profit"):
            echo(f"  {words:<22}{people_amount(amount, report.currency):>12}")
    echo(f"  {'margin':<22}{people_percent(order.known_margin):>12}")
    echo(f"  {'tax collected':<22}{people_amount(figures.tax_collected, report.currency):>12}")
    if order.flags:
        echo(f"  flags: {', '.join(order.flags)}")
    for currency, amount in story.open_in_clearing:
        words = "still to be paid" if amount > 0 else "paid beyond the total"
        echo(f"  {words}: {people_amount(abs(amount), currency)} {currency}")
    if not story.open_in_clearing:
        echo("  nothing is left to be paid")
