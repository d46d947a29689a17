"""The check sheet: totals of the packet derived once more from the lines of other sheets, which must leave zero.

A proof names a figure and what must sum to it. The workbook holds both as live formulas; the values here are summed
from the same tables, so that a difference is known before anybody opens the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from ledger_tools.packet.close_tables import CREDIT_WORTH, DEBIT_WORTH
from ledger_tools.packet.detail_tables import (
    LEDGER_ACCOUNT,
    LEDGER_CREDIT,
    LEDGER_CURRENCY,
    LEDGER_DEBIT,
    LEDGER_VALUE,
    ORDER_COLUMNS,
)
from ledger_tools.packet.statement_tables import figure_of
from ledger_tools.packet.table import (
    Column,
    Difference,
    Figure,
    IsNotZero,
    Line,
    SumWhere,
    Table,
    Term,
)
from ledger_tools.packet.tax_tables import TAX_OWED
from ledger_tools.reports.order_figures import CREDITED_COLUMNS
from ledger_tools.reports.statements import CURRENT_EARNINGS, RETAINED_EARNINGS

#: Places of the trial balance's columns.
_OPENING, _CLOSING, _DEBIT_WORTH, _CREDIT_WORTH = 2, 5, 6, 7


@dataclass(frozen=True)
class Proof:
    """One check: a figure of the packet, and what must sum to it; both in `currency`."""

    what: str
    figure: Figure
    derived: tuple[Figure | SumWhere, ...]
    currency: str


def _places(table: Table) -> Iterator[tuple[int, Line]]:
    return ((place, line) for place, line in enumerate(table.lines) if line.weight == "plain")


def _trial_balance_proofs(table: Table, base: str) -> Iterator[Proof]:
    for place, line in _places(table):
        account, currency = str(line.cells[0]), str(line.cells[1])
        where = ((LEDGER_ACCOUNT, account), (LEDGER_CURRENCY, currency))
        moved = (
            Figure(table.name, place, _OPENING),
            SumWhere("general-ledger", LEDGER_DEBIT, where),
            SumWhere("general-ledger", LEDGER_CREDIT, where, -1),
        )
        what = f"Closing balance is the opening one and the general ledger: {account}"
        yield Proof(what, Figure(table.name, place, _CLOSING), moved, currency)
    total = len(table.lines) - 1
    debit, credit = (Figure(table.name, total, column) for column in (_DEBIT_WORTH, _CREDIT_WORTH))
    yield Proof("Trial balance: debits are credits", debit, (credit,), base)


def _income_proofs(table: Table, base: str) -> Iterator[Proof]:
    for place, line in _places(table):
        account = str(line.cells[0])
        sign = -1 if account.startswith("Income:") else 1
        derived = SumWhere("general-ledger", LEDGER_VALUE, ((LEDGER_ACCOUNT, account),), sign)
        what = f"Income statement is the general ledger: {account}"
        yield Proof(what, Figure(table.name, place, 1), (derived,), base)


def _worth(account: str, sign: int) -> tuple[SumWhere, SumWhere]:
    """Worth of an account by the trial balance, debit positive times `sign`."""
    where = ((0, account),)
    return (
        SumWhere("trial-balance", _DEBIT_WORTH, where, sign),
        SumWhere("trial-balance", _CREDIT_WORTH, where, -sign),
    )


def _sheet_proofs(table: Table, base: str) -> Iterator[Proof]:
    for place, line in _places(table):
        account = str(line.cells[0])
        if account in (RETAINED_EARNINGS, CURRENT_EARNINGS):
            continue
        derived = _worth(account, 1 if account.startswith("Assets:") else -1)
        yield Proof(f"Balance sheet is the trial balance: {account}", Figure(table.name, place, 1), derived, base)
    parts = (_worth(f"{top}:*", -1) for top in ("Equity", "Income", "Expenses"))
    equity = tuple(sum_ for part in parts for sum_ in part)
    yield Proof(
        "Equity is the trial balance's, with income and expenses", figure_of(table, "Total equity"), equity, base
    )
    assets, both = figure_of(table, "Total assets"), figure_of(table, "Total liabilities and equity")
    yield Proof("Assets are liabilities and equity", assets, (both,), base)


def _order_proofs(orders: Table, proof: Table, net_income: Figure, base: str) -> Iterator[Proof]:
    columns = {field: place for place, (_, field) in enumerate(ORDER_COLUMNS, start=2)}
    total = len((orders.in_workbook or orders).lines) - 1

    def parts(*fields: str, subtracted: tuple[str, ...]) -> tuple[SumWhere, ...]:
        signed = [(field, 1) for field in fields] + [(field, -1) for field in subtracted]
        return tuple(SumWhere("orders", columns[field], (), sign) for field, sign in signed)

    revenue = parts("items", "shipping_charged", "tips", subtracted=("discounts", "returns"))
    yield Proof(
        "Orders: net revenue is the sum of its parts", Figure("orders", total, columns["net_revenue"]), revenue, base
    )
    left_out = {*CREDITED_COLUMNS, "discounts", "returns", "net_revenue", "profit", "margin", "tax_collected"}
    costs = tuple(field for _, field in ORDER_COLUMNS if field not in left_out)
    derived = parts("net_revenue", subtracted=costs)
    yield Proof("Orders: profit is net revenue less costs", Figure("orders", total, columns["profit"]), derived, base)
    every = (SumWhere("orders", columns["profit"]),)
    yield Proof("Orders to net income begins with the orders' profit", Figure(proof.name, 0, 1), every, base)
    income = (figure_of(proof, "Net income of the period"),)
    yield Proof("Income statement's net income is what the orders lead to", net_income, income, base)


def _flow_proofs(tables: Mapping[str, Table], cash_accounts: tuple[str, ...], base: str) -> Iterator[Proof]:
    cash, equity, sheet = tables["cash-flow"], tables["owners-equity"], tables["balance-sheet"]
    held = tuple(part for account in cash_accounts for part in _worth(account, 1))
    yield Proof("Closing cash is the trial balance's bank accounts", figure_of(cash, "Closing cash"), held, base)
    end, total = figure_of(equity, "Equity at the end"), figure_of(sheet, "Total equity")
    yield Proof("Equity at the end is the balance sheet's", end, (total,), base)


def _tax_proofs(tables: Mapping[str, Table], base: str) -> Iterator[Proof]:
    proof, tax = tables["sales-tax-proof"], tables["sales-tax"]
    for place, line in _places(proof):
        account = str(line.cells[0])
        yield Proof(
            f"Sales tax owed is the trial balance: {account}", Figure(proof.name, place, 8), _worth(account, -1), base
        )
    every = (SumWhere(proof.name, 7),)
    owed = Figure(tax.name, len(tax.lines) - 1, TAX_OWED)
    yield Proof("Sales tax owed is what the movements of each account lead to", owed, every, base)
    income = tables["income-statement"]
    revenue = figure_of(tables["gross-receipts"], "Revenue of the income statement")
    yield Proof(
        "Gross receipts lead to the income statement's revenue", revenue, (figure_of(income, "Total revenue"),), base
    )
    form = tables["tax-form-lines"]
    net = Figure(form.name, len(form.lines) - 1, 3)
    yield Proof(
        "Tax-form lines are of the income statement's net income", net, (figure_of(income, "Net income"),), base
    )


def _close_proofs(tables: Mapping[str, Table], base: str) -> Iterator[Proof]:
    for name in ("month-end-entries", "prior-period-entries"):
        table = tables[name]
        debit, credit = (Figure(name, len(table.lines) - 1, column) for column in (DEBIT_WORTH, CREDIT_WORTH))
        yield Proof(f"{table.title}: debits are credits", debit, (credit,), base)


def list_proofs(
    tables: Mapping[str, Table], base: str, months: tuple[str, ...], cash_accounts: tuple[str, ...]
) -> list[Proof]:
    """Every check of the packet; `months` are those of its period, `cash_accounts` hold what counts as cash."""
    income = tables["income-statement"]
    net_income = figure_of(income, "Net income")
    found = [*_trial_balance_proofs(tables["trial-balance"], base), *_income_proofs(income, base)]
    found += _sheet_proofs(tables["balance-sheet"], base)
    found += _order_proofs(tables["orders"], tables["orders-to-income"], net_income, base)
    by_month = tuple(SumWhere("months", 5, ((0, month),)) for month in months)
    found += [*_flow_proofs(tables, cash_accounts, base), *_tax_proofs(tables, base), *_close_proofs(tables, base)]
    found.append(Proof("Months: net incomes sum to the period's", net_income, by_month, base))
    return found


def _holds(line: Line, where: tuple[tuple[int, str], ...]) -> bool:
    return all(
        str(line.cells[column]).startswith(text[:-1]) if text.endswith("*") else line.cells[column] == text
        for column, text in where
    )


def _number(line: Line, column: int) -> int:
    cell = line.cells[column]
    return cell if isinstance(cell, int) else 0


def _sums(table: Table, wanted: Iterable[SumWhere]) -> dict[SumWhere, int]:
    """The sums over one table; those with plain conditions are all found in one walk over its lines."""
    sums = dict.fromkeys(wanted, 0)
    patterns = [sum_ for sum_ in sums if any(text.endswith("*") for _, text in sum_.where)]
    exact: dict[tuple[int, tuple[int, ...]], dict[tuple[object, ...], list[SumWhere]]] = {}
    for sum_ in sums:
        if sum_ not in patterns:
            columns, texts = tuple(column for column, _ in sum_.where), tuple(text for _, text in sum_.where)
            exact.setdefault((sum_.column, columns), {}).setdefault(texts, []).append(sum_)
    for line in table.lines:
        if line.weight != "plain":
            continue
        for (column, columns), by_texts in exact.items():
            for sum_ in by_texts.get(tuple(line.cells[place] for place in columns), ()):
                sums[sum_] += sum_.sign * _number(line, column)
        for sum_ in patterns:
            if _holds(line, sum_.where):
                sums[sum_] += sum_.sign * _number(line, sum_.column)
    return sums


def check_table(proofs: list[Proof], tables: Mapping[str, Table]) -> tuple[Table, int]:
    """The check sheet, whose first line counts the checks that are not zero, and that number."""
    shown = {name: table.in_workbook or table for name, table in tables.items()}
    wanted: dict[str, set[SumWhere]] = {}
    for proof in proofs:
        for part in proof.derived:
            if isinstance(part, SumWhere):
                wanted.setdefault(part.table, set()).add(part)
    sums: dict[SumWhere, int] = {}
    for name, parts in wanted.items():
        sums |= _sums(shown[name], parts)
    needed = {part for proof in proofs for part in (proof.figure, *proof.derived) if isinstance(part, Figure)}
    figures = _read_figures(shown, needed)
    lines = []
    for proof in proofs:
        figure = figures[proof.figure]
        derived = sum(sums[part] if isinstance(part, SumWhere) else figures[part] for part in proof.derived)
        cells = (proof.what, proof.currency, figure, derived, figure - derived, int(figure != derived))
        formulas = ((2, (proof.figure,)), (3, proof.derived), (4, Difference(2, 3)), (5, IsNotZero(4)))
        lines.append(Line(cells, formulas=formulas))
    broken = sum(1 for line in lines if line.cells[5])
    count = Line(("Checks that are not zero", None, None, None, None, broken), "total", (Term(1, len(lines)),))
    columns = (
        Column("Check", width=74),
        Column("Currency", width=11),
        *(Column(heading, "money", 16, currency_in=1) for heading in ("In the packet", "Derived again", "Difference")),
        Column("Not zero", "count", 10),
    )
    notes = (
        "Every figure is derived again by a formula from the lines of another sheet. All differences must read zero.",
        "Amounts are exact: a spreadsheet's number holds 15 digits, and no amount here is longer. Sums are rounded to the "
        "currency's digits before they are compared.",
    )
    return Table("check", "Check", columns, (count, *lines), notes), broken


def _read_figures(tables: Mapping[str, Table], wanted: set[Figure]) -> dict[Figure, int]:
    """The figures that are asked for, each table walked once."""
    found = {}
    for name in sorted({figure.table for figure in wanted}):
        places: dict[int, list[Figure]] = {}
        for figure in wanted:
            if figure.table == name:
                places.setdefault(figure.line, []).append(figure)
        for place, line in enumerate(tables[name].lines):
            for figure in places.get(place, ()):
                found[figure] = _number(line, figure.column)
    return found
