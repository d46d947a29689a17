"""The report commands from end to end: what goes to stdout and stderr, and how they end."""

import csv
import io
import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from ledger_tools.calendar import Period, parse_date, parse_month, parse_quarter, parse_year
from ledger_tools.cli import group
from ledger_tools.cli.periods import period_name
from ledger_tools.reports.order_flags import FLAG_NAMES

REPORTS = [
    ["orders"],
    ["orders", "--month", "2031-04"],
    ["orders", "--by", "sku"],
    ["orders", "--flag", "reprinted"],
    ["orders", "--order", "1001"],
    ["trial-balance"],
    ["income-statement", "--month", "2031-05", "--compare", "previous"],
    ["income-statement", "--basis", "cash"],
    ["balance-sheet", "--as-of", "2031-04-30"],
    ["balance-sheet", "--month", "2031-05", "--compare", "previous"],
    ["cash-flow", "--month", "2031-04", "--compare", "year"],
    ["account", "clearing"],
    ["sales-tax", "--month", "2031-04"],
    ["sales-tax", "--show", "tie-out"],
    ["sales-tax", "--show", "thresholds"],
    ["sales-tax", "--show", "basis"],
    ["tax-forms", "--year", "2031"],
    ["tax-forms", "--show", "receipts"],
]


def run(folder: Path, *words: str, width: int | None = None) -> Result:
    """Run one command on the books; LedgerErrors have become sentences."""
    variables = {"COLUMNS": str(width) if width else None}
    return CliRunner(env=variables).invoke(group, ["--books", str(folder), *words], catch_exceptions=False)


@pytest.mark.parametrize("words", REPORTS, ids=" ".join)
def test_three_shapes(words: list[str], books_folder: Path) -> None:
    """Each report ends well as a table, as CSV whose rows are all as long as the header, and as JSON."""
    table = run(books_folder, *words)
    assert 0 == table.exit_code
    assert table.stdout.strip()
    rows = list(csv.reader(io.StringIO(run(books_folder, *words, "--format", "csv").stdout)))
    assert len(rows) > 1
    assert {len(rows[0])} == {len(row) for row in rows}
    report = json.loads(run(books_folder, *words, "--format", "json").stdout)
    assert "USD" == report["currency"]
    assert "period" in report or "as_of" in report


@pytest.mark.parametrize("words", REPORTS, ids=" ".join)
def test_narrow_terminal(words: list[str], books_folder: Path) -> None:
    """In a terminal of 80 columns no line of a report is longer."""
    lines = run(books_folder, *words, width=80).stdout.splitlines()
    assert [] == [line for line in lines if len(line) > 80]


def test_order_table(books_folder: Path) -> None:
    """The table of orders has people's amounts, flags counted, and the way to the income statement."""
    lines = run(books_folder, "orders", "--month", "2031-04").stdout.splitlines()
    assert "Profit by order, 2031-04, USD" == lines[0]
    assert ["1003", "2031-04-04", "25.00", "13.00", "16.03", "-4.03", "-16.1", "%", "in-dispute"] == lines[6].split()
    assert "       3  shipping-under-recovered" in lines
    assert [
        "From the orders to the income statement:",
        "  profit of these orders                         16.85",
        "  less posted in other periods for these orders  26.90",
        "  plus posted in this period for other orders     0.00",
        "  income and expenses not tied to an order      -58.00",
        "  net income                                    -14.25",
        "  They agree, column by column.",
    ] == lines[-7:]


def test_talk_is_apart(books_folder: Path) -> None:
    """What is left out and what is open is told on stderr, with what to write into the settings."""
    told = run(books_folder, "orders", "--format", "json").stderr
    assert told.startswith("1 event(s) with GBP are left out: no rate from GBP to USD is known.\n")
    assert '      [[rate]]\n      currency = "GBP"\n      on = 2031-04-11\n      rate = "…"\n' in told
    named = shlex.quote(str(books_folder))
    assert f"open item(s) may change these figures: ledger-tools --books {named} open-items" in told


def test_before_month_end(books_folder: Path) -> None:
    """Statements of a month that is not closed say so."""
    told = run(books_folder, "income-statement", "--month", "2031-04").stderr
    assert "Before month-end entries (2031-04 is not closed): " in told
    told = run(books_folder, "income-statement", "--year", "2031").stderr
    assert "Before month-end entries (2 months from 2031-04 to 2031-05 are not closed): " in told


def test_default_day(books_folder: Path) -> None:
    """Without --as-of a balance is as of the last day that the books know; a month means its last day."""
    report = json.loads(run(books_folder, "balance-sheet", "--format", "json").stdout)
    assert "2031-05-20" == report["as_of"]
    by_month = run(books_folder, "trial-balance", "--month", "2031-04", "--format", "json").stdout
    assert by_month == run(books_folder, "trial-balance", "--as-of", "2031-04-30", "--format", "json").stdout


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (["orders", "--month", "2031-04", "--year", "2031"], "--month and --year contradict each other"),
        (["orders", "--month", "2031-04", "--from", "2031-04-02"], "--from and --to can't go with --month"),
        (
            ["account", "bank", "--from", "2031-04-02", "--to", "2031-04-01"],
            "--from 2031-04-02 is after --to 2031-04-01",
        ),
        (["orders", "--month", "2031-13"], "month '2031-13' is not a month: write it like 2031-04"),
        (["orders", "--to", "yesterday"], "date 'yesterday' is not a date: write it like 2031-04-30"),
        (["trial-balance", "--as-of", "2031-04-30", "--month", "2031-04"], "--as-of can't go with --month"),
        (["income-statement", "--compare", "year"], "--compare needs a period"),
        (["cash-flow", "--year", "0001", "--compare", "year"], "nothing to compare 0001-01-01 to 0001-12-31 with"),
        (["balance-sheet", "--as-of", "0001-01-01", "--compare", "previous"], "nothing to compare 0001-01-01 with"),
        (["income-statement", "--basis", "tax"], "'tax' is not one of 'accrual', 'cash'"),
        (["orders", "--order", "1001", "--by", "sku"], "--order shows one order whole"),
        (["orders", "--flag", "odd"], "'odd' is not one of 'no-payment'"),
    ],
)
def test_wrong_command_line(words: list[str], message: str, books_folder: Path) -> None:
    """What contradicts itself or can't be read ends with status 2 and a sentence."""
    result = run(books_folder, *words)
    assert 2 == result.exit_code
    assert message in " ".join(result.stderr.split())
    assert "" == result.stdout


def test_flags_in_the_help(books_folder: Path) -> None:
    """The help of `orders` names every flag."""
    told = run(books_folder, "orders", "--help").stdout
    assert [] == [flag for flag in FLAG_NAMES if flag not in told]


def test_unknown_names(books_folder: Path) -> None:
    """An order or account that is not there ends with status 1 and the nearest names."""
    for words in (["orders", "--order", "1099"], ["account", "Assets:Bonk"]):
        result = run(books_folder, *words)
        assert (1, "") == (result.exit_code, result.stdout)
        assert "the nearest are" in result.stderr


@pytest.mark.parametrize(
    ("name", "period"),
    [
        ("2031", parse_year("2031")),
        ("2031-Q2", parse_quarter("2031-Q2")),
        ("2031-04", parse_month("2031-04")),
        ("2031-04-01 to 2031-05-31", Period(parse_date("2031-04-01"), parse_date("2031-05-31"))),
        ("from 2031-04-01", Period(parse_date("2031-04-01"), None)),
        ("all time", Period(None, None)),
    ],
)
def test_period_name(name: str, period: Period) -> None:
    """A year, quarter or month is called so, any other period by its ends."""
    assert name == period_name(period)


def test_income_statement_table(books_folder: Path) -> None:
    """The table has the steps, the group's sum and below it, on the cash basis, the rule."""
    lines = run(books_folder, "income-statement", "--month", "2031-05", "--basis", "cash", width=80).stdout.splitlines()
    assert "Income statement, cash basis, 2031-05, USD" == lines[0]
    figures = {" ".join(line.split()[:-1]): line.split()[-1] for line in lines if line[-3:-2] == "."}
    assert ("35.00", "24.66", "-5.34", "41.59") == tuple(
        figures[name]
        for name in ("Gross sales", "Total revenue (net sales)", "Gross profit", "Total operating expenses")
    )
    assert ("16.59", "-46.93") == (figures["All of Expenses:Fees"], figures["Net income"])
    assert any(line.startswith("Cash basis: a sale counts when") for line in lines)


def test_balance_sheet_table(books_folder: Path) -> None:
    """Two days stand side by side with the change, and the owner's equity below them."""
    words = ("balance-sheet", "--as-of", "2031-05-20", "--compare", "previous")
    lines = [line.split() for line in run(books_folder, *words, width=80).stdout.splitlines()]
    assert ["account", "amount", "2031-04-30", "change", "%"] == lines[2]
    assert ["Assets:Disputed", "25.00", "25.00", "0.00", "0.0"] in lines
    assert ["Closing", "equity", "889.82"] in lines


def test_cash_flow_table(books_folder: Path) -> None:
    """The table ends in closing cash, what passed through the processors, and the rule."""
    text = run(books_folder, "cash-flow", "--month", "2031-04", width=80).stdout
    lines = [line.split() for line in text.splitlines()]
    assert ["Change", "of", "cash", "-412.75"] in lines
    assert ["Closing", "cash", "547.25"] in lines
    assert ["Customers'", "payments", "187.50"] in lines
    assert "Cash is what lies in bank accounts" in text
