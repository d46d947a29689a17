"""ISO 20022 bank-to-customer statements (camt.053), of any version: elements are found by their local names.

Place in the flow: file → `StatementFile`. The sign comes from CdtDbtInd, never from the amount; only booked entries
count; a statement over several pages is one statement. Dates stay as the bank wrote them. The parser is hardened: no
document type, no entities, no network.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import lxml.etree as etree

from importers.statements import Balance, Statement, StatementFile, StatementLine, join_texts, negate, plain_amount
from ledger_tools.errors import LedgerError, Problem

_OPENING, _CLOSING, _INTERIM = ("OPBD", "PRCD"), ("CLBD",), ("ITBD",)


def read_camt053(path: Path) -> StatementFile:
    """The statements of a camt.053 file.

    Raises:
        LedgerError: not well-formed, with a document type, or an entry without its amount, sign or date.
    """
    parser = etree.XMLParser(
        resolve_entities=False, no_network=True, load_dtd=False, dtd_validation=False, huge_tree=False, recover=False
    )
    try:
        tree = etree.parse(str(path), parser)
    except etree.XMLSyntaxError as error:
        raise LedgerError(
            Problem(path.name, f"is not well-formed XML: {error}", "export the statement again")
        ) from None
    if tree.docinfo.doctype:
        raise LedgerError(Problem(path.name, "holds a document type, which statements don't have", "don't import it"))
    root = tree.getroot()
    problems: list[Problem] = []
    pages = [_statement(node, place, path.name, problems) for place, node in enumerate(_all(root, "Stmt"), start=1)]
    if problems:
        raise LedgerError(problems)
    time_stamp = next((_text(node) for node in _all(root, "GrpHdr", "CreDtTm")), "")
    return StatementFile(tuple(_join_pages(pages)), time_stamp)


def _statement(node: etree._Element, place: int, file: str, problems: list[Problem]) -> Statement:
    where = f"{file}, statement {place}"
    currency = _first(node, "Acct", "Ccy")
    balances: dict[str, list[Balance]] = {}
    for entry in _children(node, "Bal"):
        amount = next(_children(entry, "Amt"), None)
        code = _first(entry, "Tp", "CdOrPrtry", "Cd")
        if amount is None or code not in (*_OPENING, *_CLOSING, *_INTERIM):
            continue
        currency = currency or amount.get("Ccy", "")
        balances.setdefault(code, []).append(
            Balance(_day(entry, "Dt"), _signed(entry, f"{where}, balance {code}", problems))
        )
    lines, unbooked = [], 0
    for number, entry in enumerate(_children(node, "Ntry"), start=1):
        status = _first(entry, "Sts", "Cd") or _first(entry, "Sts")
        amount = next(_children(entry, "Amt"), None)
        stated = amount.get("Ccy", "") if amount is not None else ""
        currency = currency or stated
        if status != "BOOK":
            unbooked += 1
            continue
        if stated and stated != currency:
            what = f"found an amount in {stated}, expected the account's currency {currency}"
            problems.append(Problem(f"{where}, entry {number}", what))
        lines.append(_line(entry, f"{where}, entry {number}", problems))
    interim = balances.get("ITBD", [])
    opening = next((balances[code][0] for code in _OPENING if code in balances), None)
    closing = next((balances[code][-1] for code in _CLOSING if code in balances), None)
    # On an inner page the interim balances stand for the opening and the closing one.
    if opening is None and interim:
        opening = replace(interim[0], final=False)
    if closing is None and interim:
        closing = replace(interim[-1], final=False)
    account = _first(node, "Acct", "Id", "IBAN") or _first(node, "Acct", "Id", "Othr", "Id")
    name = _first(node, "Id") or str(place)
    return Statement(
        name=f"statement {name}",
        account_id=account,
        currency=currency,
        lines=tuple(lines),
        opening=opening,
        closing=closing,
        unbooked=unbooked,
        first_day=_span_end(node, "Fr"),
        last_day=_span_end(node, "To") or (closing.on if closing and closing.final else ""),
    )


def _span_end(node: etree._Element, side: str) -> str:
    return (_first(node, "FrToDt", f"{side}DtTm") or _first(node, "FrToDt", f"{side}Dt"))[:10]


def _line(entry: etree._Element, where: str, problems: list[Problem]) -> StatementLine:
    on = _day(entry, "BookgDt") or _day(entry, "ValDt")
    if not on:
        problems.append(Problem(f"{where}, BookgDt", "is missing", "ask the bank for the statement again"))
    credit = _first(entry, "CdtDbtInd") == "CRDT"
    details = list(_all(entry, "TxDtls"))
    party = ""
    if len(details) == 1:
        role = "Dbtr" if credit else "Cdtr"
        party = next((_text(each) for each in _all(details[0], "RltdPties", role, "Nm")), "") or next(
            (_text(each) for each in _all(details[0], "RltdPties", role, "Pty", "Nm")), ""
        )
    texts = [_text(each) for each in _all(entry, "Ustrd")] + [_first(entry, "AddtlNtryInf")]
    texts += [_text(each) for each in _all(entry, "EndToEndId") if _text(each) != "NOTPROVIDED"]
    return StatementLine(
        event_id=_first(entry, "AcctSvcrRef") or _first(entry, "NtryRef"),
        on=on,
        amount=_signed(entry, where, problems),
        memo=join_texts(texts),
        counterparty=party,
    )


def _signed(entry: etree._Element, where: str, problems: list[Problem]) -> str:
    text, sign = _first(entry, "Amt"), _first(entry, "CdtDbtInd")
    if not text or text.lstrip().startswith(("-", "+")):
        problems.append(Problem(f"{where}, Amt", f"found {text!r}, expected an amount without a sign"))
    if sign not in ("CRDT", "DBIT"):
        problems.append(Problem(f"{where}, CdtDbtInd", f"found {sign!r}, expected CRDT or DBIT"))
    amount = plain_amount(text)
    return negate(amount) if sign == "DBIT" else amount


def _join_pages(pages: list[Statement]) -> Iterator[Statement]:
    """Pages of one statement (same id and account) as one: from the first opening to the last closing balance."""
    waiting: Statement | None = None
    for page in pages:
        if waiting and (waiting.name, waiting.account_id) == (page.name, page.account_id):
            waiting = replace(
                waiting,
                lines=waiting.lines + page.lines,
                closing=page.closing or waiting.closing,
                unbooked=waiting.unbooked + page.unbooked,
                last_day=page.last_day or waiting.last_day,
            )
            continue
        if waiting:
            yield waiting
        waiting = page
    if waiting:
        yield waiting


def _children(node: etree._Element, name: str) -> Iterator[etree._Element]:
    return (child for child in node if isinstance(child.tag, str) and etree.QName(child).localname == name)


def _all(node: etree._Element, name: str, *path: str) -> Iterator[etree._Element]:
    """All descendants of a name, then down a path of children."""
    for found in node.iter("{*}" + name):
        yield from _down(found, *path)


def _down(node: etree._Element, *path: str) -> Iterator[etree._Element]:
    if not path:
        yield node
        return
    for child in _children(node, path[0]):
        yield from _down(child, *path[1:])


def _first(node: etree._Element, *path: str) -> str:
    return next((_text(found) for found in _down(node, *path)), "")


def _text(node: etree._Element) -> str:
    return (node.text or "").strip()


def _day(node: etree._Element, name: str) -> str:
    """The date as written of an element that holds Dt or DtTm."""
    return (_first(node, name, "Dt") or _first(node, name, "DtTm") or _first(node, name))[:10]
