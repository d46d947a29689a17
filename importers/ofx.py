"""OFX statements: 1.x (SGML, tags that are never closed) and 2.x (XML), bank accounts and credit cards.

Place in the flow: file → `StatementFile`. One small reader serves both dialects: elements that hold a value and
aggregates that hold elements. Dates are the bank's own and stay as written; amounts are the customer's view, a card
purchase negative. CORRECTFITID with its action REPLACE or DELETE is honoured within the statement; a correction of a
line that stands elsewhere is refused, as nothing here says which booked line it means.
"""

from __future__ import annotations

import codecs
import html
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

from importers.statements import Balance, Statement, StatementFile, StatementLine, join_texts, plain_amount
from ledger_tools.errors import LedgerError, Problem

_TAG = re.compile(r"<(/?)([A-Za-z0-9_.:-]+)[^<>]*?(/?)>([^<]*)")
_STATEMENTS = ("STMTRS", "CCSTMTRS")
_LARGEST = 200_000_000
_CORRECTED = "export the days that hold the corrected line again, in one file with its correction"
#: Elements that may be empty and unclosed at once; what follows such a one is not inside it.
_ELEMENTS = frozenset(
    [
        *("ACCTID", "ACCTTYPE", "ADDR1", "ADDR2", "ADDR3", "BALAMT", "BANKID", "BRANCHID", "CHECKNUM", "CITY", "CODE"),
        *("CORRECTACTION", "CORRECTFITID", "COUNTRY", "CURDEF", "CURRATE", "CURSYM", "DTASOF", "DTAVAIL", "DTEND"),
        *("DTPOSTED", "DTSERVER", "DTSTART", "DTUSER", "FID", "FITID", "LANGUAGE", "MEMO", "MESSAGE", "MKTGINFO"),
        *("NAME", "NAME2", "ORG", "PAYEEID", "PHONE", "POSTALCODE", "REFNUM", "SEVERITY", "SIC", "SRVRTID", "STATE"),
        *("TRNAMT", "TRNTYPE", "TRNUID"),
    ]
)


@dataclass
class _Node:
    """An aggregate with its children in order, or an element with its value."""

    tag: str
    value: str = ""
    children: list[_Node] = field(default_factory=list)

    def find(self, *path: str) -> str:
        """The value of the first element at a path, else an empty text."""
        node: _Node | None = self
        for tag in path:
            node = next((child for child in node.children if child.tag == tag), None) if node else None
        return node.value if node else ""

    def descendants(self, *tags: str) -> Iterator[_Node]:
        """All nodes below with one of the tags, in the file's order."""
        waiting = list(reversed(self.children))
        while waiting:
            node = waiting.pop()
            if node.tag in tags:
                yield node
            waiting.extend(reversed(node.children))


def read_ofx(path: Path) -> StatementFile:
    """The statements of an OFX file.

    Raises:
        LedgerError: not OFX, or a line without its date or amount.
    """
    text = _decode(path)
    start = text.upper().find("<OFX>")
    if start < 0:
        raise LedgerError(Problem(path.name, "is not OFX: no <OFX> was found", "export the statement again"))
    root = _parse(text[start:])
    problems: list[Problem] = []
    statements = [
        _statement(node, place, path.name, problems)
        for place, node in enumerate(root.descendants(*_STATEMENTS), start=1)
    ]
    if problems:
        raise LedgerError(problems)
    time_stamp = next((node.value for node in root.descendants("DTSERVER")), "")
    return StatementFile(tuple(statements), time_stamp.strip())


def _decode(path: Path) -> str:
    data = path.read_bytes()
    if len(data) > _LARGEST:
        raise LedgerError(Problem(path.name, f"is larger than {_LARGEST} bytes", "export a shorter span"))
    if data.startswith(codecs.BOM_UTF8):
        return data.decode("utf-8-sig", errors="replace")
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        head = data[:1000].decode("ascii", errors="ignore")
        stated = re.search(r"CHARSET:\s*([\w-]+)", head) or re.search(r"encoding=[\"']([\w-]+)", head)
        name = stated[1] if stated else "1252"
        name = f"cp{name}" if name.isdigit() else name
        try:
            codecs.lookup(name)
        except LookupError:
            name = "cp1252"
        return data.decode(name, errors="replace")


def _parse(text: str) -> _Node:
    """The tree of a body: a tag that a text follows is an element and needs no closing tag."""
    root = _Node("")
    open_nodes = [root]
    for closing, tag, empty, following in _TAG.findall(text):
        tag, value = tag.upper().rpartition(":")[2], following.strip()
        if closing:
            depths = [place for place, node in enumerate(open_nodes) if node.tag == tag]
            if depths:
                del open_nodes[depths[-1] :]
        else:
            node = _Node(tag, html.unescape(value))
            open_nodes[-1].children.append(node)
            if not value and not empty:
                open_nodes.append(node)
    return _close_empty(root)


def _close_empty(root: _Node) -> _Node:
    """Moves what follows an empty, unclosed element (an empty NAME, say) out of it: elements hold no elements."""
    waiting = [root]
    while waiting:
        node = waiting.pop()
        flat: list[_Node] = []
        queue = list(reversed(node.children))
        while queue:
            child = queue.pop()
            if child.children and child.tag in _ELEMENTS:
                queue.extend(reversed(child.children))
                child.children = []
            flat.append(child)
        node.children = flat
        waiting.extend(flat)
    return root


def _statement(node: _Node, place: int, file: str, problems: list[Problem]) -> Statement:
    account = next((each.find("ACCTID") for each in node.descendants("BANKACCTFROM", "CCACCTFROM")), "")
    currency = node.find("CURDEF").upper()
    listed = next(node.descendants("BANKTRANLIST"), _Node("BANKTRANLIST"))
    where = f"{file}, statement {place}"
    lines: list[StatementLine] = []
    changes: list[tuple[str, str, str, StatementLine]] = []
    for number, entry in enumerate(listed.descendants("STMTTRN"), start=1):
        line = _line(entry, f"{where}, line {number}", currency, problems)
        if entry.find("CORRECTFITID"):
            corrected = entry.find("CORRECTFITID")
            changes.append((f"{where}, line {number}", corrected, entry.find("CORRECTACTION").upper(), line))
        else:
            lines.append(line)
    for at, corrected, action, line in changes:
        if action not in ("REPLACE", "DELETE"):
            problems.append(Problem(at, f"found the correction {action!r}, expected REPLACE or DELETE"))
        elif all(each.event_id != corrected for each in lines):
            what = f"found a correction of the line {corrected!r}, expected that line in the same statement"
            problems.append(Problem(f"{at}, CORRECTFITID", what, _CORRECTED))
        lines = [each for each in lines if each.event_id != corrected]
        if action == "REPLACE":
            lines.append(line)
    balance = next(node.descendants("LEDGERBAL"), None)
    closing = None
    if balance is not None:
        closing = Balance(iso_day(balance.find("DTASOF")), plain_amount(balance.find("BALAMT")))
    return Statement(
        name=f"statement {place}",
        account_id=account,
        currency=currency,
        lines=tuple(lines),
        closing=closing,
        first_day=iso_day(listed.find("DTSTART")),
        last_day=iso_day(listed.find("DTEND")),
        card=None if node.find("BANKACCTFROM", "ACCTTYPE").upper() == "CREDITLINE" else node.tag == "CCSTMTRS",
    )


def _line(entry: _Node, where: str, currency: str, problems: list[Problem]) -> StatementLine:
    on, amount = iso_day(entry.find("DTPOSTED")), entry.find("TRNAMT")
    if not on:
        found = entry.find("DTPOSTED")
        problems.append(Problem(f"{where}, DTPOSTED", f"found {found!r}, expected a date such as 20310430"))
    if not amount:
        problems.append(Problem(f"{where}, TRNAMT", "is missing", "export the statement again"))
    foreign = next((each.find("CURSYM").upper() for each in entry.descendants("CURRENCY")), "")
    if foreign and foreign != currency:
        what = f"found an amount in {foreign}, expected the account's currency {currency}"
        problems.append(Problem(f"{where}, CURRENCY", what, "export the statement in the account's currency"))
    payee = next((each.find("NAME") for each in entry.descendants("PAYEE")), "")
    name = entry.find("NAME") or payee
    return StatementLine(
        event_id=entry.find("FITID"),
        on=on,
        amount=plain_amount(amount),
        memo=join_texts([entry.find("NAME"), entry.find("MEMO"), entry.find("CHECKNUM")]),
        counterparty=name,
    )


def iso_day(stamp: str) -> str:
    """The date of an OFX stamp (YYYYMMDD, then perhaps a time and an offset) as written; empty where there is none."""
    found = re.match(r"\s*(\d{4})(\d{2})(\d{2})", stamp)
    return f"{found[1]}-{found[2]}-{found[3]}" if found else ""
