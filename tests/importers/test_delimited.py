"""Delimited text: encodings, delimiters and shapes, and the words of each refusal."""

from __future__ import annotations

import pytest

TEXT = "at,amount,memo\n2031-04-01,1.00,Café\n"
MAPPING = 'source = "source"\nkind = "bank"\n[file]\n{}\n[columns]\nat = "Date"\namount = "Sum"\nmemo = "Text"\n'


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-le-marked"])
def test_encodings_are_tried_in_order(read, encoding):
    """Byte order mark, then strict UTF-8, then cp1252."""
    data = b"\xff\xfe" + TEXT.encode("utf-16-le") if encoding == "utf-16-le-marked" else TEXT.encode(encoding)
    assert "Café" == read(data, "bank")[1][0]["memo"]


def test_the_mappings_encoding_goes_before_cp1252(read):
    """Bytes that are no UTF-8 are read as the mapping says."""
    data = "Date,Sum,Text\n2031-04-01,1.00,\u0416\n".encode("cp1251")
    assert "\u0416" == read(data, "bank", MAPPING.format('encoding = "cp1251"'))[1][0]["memo"]


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_the_delimiter_is_the_one_that_gives_the_columns(read, delimiter):
    """No delimiter needs to be named where the header tells it."""
    assert 100 == read(TEXT.replace(",", delimiter), "bank")[1][0]["amount"]


def test_whitespace_delimits_where_the_mapping_says_so(read):
    """Runs of blanks part the columns, quoted cells keep theirs."""
    text = 'Date  Sum   Text\n2031-04-01   1.00 "a b"\n'
    assert "a b" == read(text, "bank", MAPPING.format('delimiter = "whitespace"'))[1][0]["memo"]


def test_rows_above_the_header_are_left_out(read):
    """A preamble of any shape may stand above the header row."""
    text = "Account report\nfor,one,two,three\n\nDate,Sum,Text\n2031-04-01,1.00,x\n"
    facts, rows = read(text, "bank", MAPPING.format("header_row = 3"))
    assert (1, 100) == (facts.rows_read, rows[0]["amount"])


def test_columns_are_numbered_where_there_is_no_header(read):
    """With header_row 0 the columns are called by their places, 1 and 2."""
    mapping = 'source = "s"\nkind = "bank"\n[file]\nheader_row = 0\n[columns]\nat = "1"\namount = "2"\n'
    assert [100, 200] == [row["amount"] for row in read("2031-04-01,1.00\n2031-04-02,2.00\n", "bank", mapping)[1]]


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r", "mixed"])
def test_every_kind_of_line_end(read, ends):
    """Unix, Windows and old line ends are read, and a mixture of them."""
    lines = ["at,amount", "2031-04-01,1.00", "2031-04-02,2.00", "2031-04-03,3.00"]
    text = "a".join([]) or (
        "\r\n".join(lines[:2]) + "\n" + "\r\n".join(lines[2:]) if ends == "mixed" else ends.join(lines)
    )
    assert [100, 200, 300] == [row["amount"] for row in read(text, "bank")[1]]


@pytest.mark.parametrize(
    ("data", "expected"),
    [
        (b"", "export.csv: is empty"),
        (b"at,amount\n2031-04-01,1\x00\n", "export.csv: holds NUL bytes"),
        (b"at,amount,amount\n2031-04-01,1,2\n", "export.csv, column amount: found 2 columns of this name"),
        (b"at,memo\n2031-04-01,x\n", "export.csv, column amount: is missing; the file has at, memo"),
        (b'at,amount,memo\n2031-04-01,1,"x\n', "export.csv, record 1: a quote is opened and not closed"),
        (b"<html><body>x</body></html>", "export.csv: is XML of an unknown kind"),
    ],
)
def test_refusals_say_what_is_wrong(refusal, data, expected):
    """Each way in which a file can be broken has its words."""
    problems = refusal(data, "bank")
    assert 1 == len(problems)
    assert problems[0].startswith(expected)


def test_every_ragged_row_is_listed(refusal):
    """Rows with too many or too few columns are all named."""
    text = "at,amount,memo\n2031-04-01,1,x\n2031-04-01,1\n2031-04-01,1,x\n2031-04-01,1,x,y\n"
    problems = refusal(text, "bank")
    assert [
        "export.csv, record 2: found 2 columns, expected 3",
        "export.csv, record 4: found 4 columns, expected 3",
    ] == [problem.splitlines()[0] for problem in problems]


def test_a_file_name_is_never_a_pattern(read):
    """Brackets and stars in a file's name are plain characters."""
    assert 100 == read(TEXT, "bank", name="a[1]*?.csv")[1][0]["amount"]


def test_hostile_cells_are_data(read):
    """SQL in a cell, a header or a file name stays text."""
    text = "at,amount,memo,\"x'); DROP TABLE rows; --\"\n2031-04-01,1,'); SELECT 1; --,x\n"
    assert "'); SELECT 1; --" == read(text, "bank", name="o'brien.csv")[1][0]["memo"]
