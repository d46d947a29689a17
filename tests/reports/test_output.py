"""How results are printed."""

import json
from typing import Any

import pytest

from ledger_tools.cli.output import (
    Column,
    echo_csv,
    echo_json,
    people_amount,
    people_percent,
    plain,
    render_table,
)

COLUMNS = (
    Column("order"),
    Column("placed", spared=1),
    Column("profit", is_number=True),
    Column("what", is_cut=True),
    Column("flags", goes_below=True),
)
ROWS = [["1001", "2031-04-02", "1,234.50", "a long description", "late"], ["7", "2031-04-03", "-1.00", "short", ""]]
FOOTER = [["all", "", "1,233.50", "", ""]]


def test_whole_table() -> None:
    """With room for all, numbers stand at the right and texts at the left, under a rule and above the sums."""
    assert [
        "order  placed        profit  what                flags",
        "──────────────────────────────────────────────────────",
        "1001   2031-04-02  1,234.50  a long description  late",
        "7      2031-04-03     -1.00  short",
        "──────────────────────────────────────────────────────",
        "all                1,233.50",
    ] == render_table(COLUMNS, ROWS, FOOTER)


@pytest.mark.parametrize("width", [54, 80, None])
def test_room_enough(width: int | None) -> None:
    """Nothing is left out where the terminal has room, or where there is none."""
    assert render_table(COLUMNS, ROWS, FOOTER) == render_table(COLUMNS, ROWS, FOOTER, width)


def test_narrow_table() -> None:
    """In a narrow terminal a column goes below its row, one is spared, one is cut; no line is too long."""
    lines = render_table(COLUMNS, ROWS, FOOTER, 24)
    assert [
        "order    profit  what",
        "────────────────────────",
        "1001   1,234.50  a long…",
        "    late",
        "7         -1.00  short",
        "────────────────────────",
        "all    1,233.50",
    ] == lines
    assert max(map(len, lines)) <= 24


def test_wide_letters() -> None:
    """A letter that takes two cells counts as two."""
    assert ["a   b", "─────", "月  x", "z   y"] == render_table([Column("a"), Column("b")], [["月", "x"], ["z", "y"]])


@pytest.mark.parametrize(
    ("expected", "text"),
    [
        ("Moon mug", "Moon mug"),
        ("Mönd 月", "Mönd 月"),
        ("�[31mred", "\x1b[31mred"),
        ("a�b", "a\nb"),
        ("abc�txt", "abc\u202etxt"),
        ("�0;title�", "\x9d0;title\x07"),
    ],
)
def test_terminal_is_safe(expected: str, text: str) -> None:
    """Nothing in a text of an export moves the cursor, turns the writing round or changes a colour."""
    assert expected == plain(text)


@pytest.mark.parametrize(
    ("expected", "minor", "currency"),
    [("1,234,567.89", 123456789, "USD"), ("-0.05", -5, "USD"), ("1,250", 1250, "JPY"), ("-1,000.001", -1000001, "KWD")],
)
def test_amount_for_people(expected: str, minor: int, currency: str) -> None:
    """Thousands are marked, decimals are the currency's own."""
    assert expected == people_amount(minor, currency)


@pytest.mark.parametrize(
    ("expected", "margin"),
    [("47.1 %", "0.4712"), ("47.2 %", "0.4715"), ("-116.1 %", "-1.1612"), ("0.0 %", "0.0004"), ("-", None)],
)
def test_margin_for_people(expected: str, margin: str | None) -> None:
    """A margin is per cent with one decimal, or a dash."""
    assert expected == people_percent(margin)


@pytest.mark.parametrize(
    ("expected", "cell"),
    [
        ("'=HYPERLINK(A1)", "=HYPERLINK(A1)"),
        ("'+1+1", "+1+1"),
        ("'-1+1", "-1+1"),
        ("'@SUM(A1)", "@SUM(A1)"),
        ("'\ttab", "\ttab"),
        ("-12.50", "-12.50"),
        ("1001", "1001"),
        ("#1001", "#1001"),
        ("", None),
        ("7", 7),
    ],
)
def test_csv_runs_no_formula(expected: str, cell: Any, capsys: pytest.CaptureFixture[str]) -> None:
    """A text that a spreadsheet would run gets a quote before it; numbers stay numbers."""
    echo_csv(["a", "b"], [[cell, "x"]])
    assert f"a,b\n{expected},x\n" == capsys.readouterr().out


def test_json_lines(capsys: pytest.CaptureFixture[str]) -> None:
    """JSON has a line a key and a line an element, and reads back as it was."""
    report = {"a": [{"x": "1"}, {"x": "é"}], "b": [], "c": {"d": None}}
    echo_json(report)
    printed = capsys.readouterr().out
    assert report == json.loads(printed)
    assert ["{", '  "a": [', '    {"x": "1"},', '    {"x": "é"}', "  ],", '  "b": [],'] == printed.splitlines()[:6]
