"""What a person is told where the books could be misread: which export counts, a new account, columns that are not used."""

import json
from pathlib import Path

import pytest
from command_line import call
from kept_books import Books, order, processor

DAY = "2031-04-02"


def test_corrected_file_of_a_later_name_counts(tmp_path: Path) -> None:
    """A download called `orders (1).csv` beside `orders.csv` of the same days is the later one."""
    books = Books(tmp_path)
    call(
        "--books",
        books.folder.root,
        "import",
        books.write("orders.csv", [order("1", DAY, "10.00")]),
        "--source",
        "shop",
    )
    corrected = books.write("orders (1).csv", [order("1", DAY, "9.00")])
    told = call("--books", books.folder.root, "import", corrected, "--source", "shop")
    assert "1 amended" in told.out
    assert "give it a later name" not in told.err
    assert [(900,)] == books.query("SELECT total FROM order_head")


def test_corrected_file_that_does_not_count_is_told(tmp_path: Path) -> None:
    """Where the file that was there counts as the later one, import says so and how to turn it round."""
    books = Books(tmp_path)
    call("--books", books.folder.root, "import", books.write("b.csv", [order("1", DAY, "10.00")]), "--source", "shop")
    told = call(
        "--books", books.folder.root, "import", books.write("a.csv", [order("1", DAY, "9.00")]), "--source", "shop"
    )
    assert "b.csv counts and not a.csv" in told.err
    assert "a-2.csv" in told.err
    assert [(1000,)] == books.query("SELECT total FROM order_head")


def test_earlier_statement_of_the_day_is_told(tmp_path: Path) -> None:
    """Of two statements of the same days the one that was made later counts, whatever the names; a new name would not help."""
    books = Books(tmp_path).build()
    for name, moment, amounts in (
        ("a-night.ofx", "20310402220000", ("5.00", "7.00")),
        ("b-noon.ofx", "20310402120000", ("5.00",)),
    ):
        lines = "".join(f"<STMTTRN><DTPOSTED>20310402<TRNAMT>{each}<FITID>{each}<NAME>IN</STMTTRN>" for each in amounts)
        text = (
            f"OFXHEADER:100\n\n<OFX><SIGNONMSGSRSV1><SONRS><DTSERVER>{moment}</SONRS></SIGNONMSGSRSV1><BANKMSGSRSV1><STMTTRNRS>"
            "<STMTRS><CURDEF>USD<BANKACCTFROM><ACCTID>1</BANKACCTFROM><BANKTRANLIST><DTSTART>20310401<DTEND>20310402"
            f"{lines}</BANKTRANLIST></STMTRS></STMTTRNRS></BANKMSGSRSV1></OFX>"
        )
        (tmp_path / name).write_text(text, encoding="utf-8")
        told = call("--books", books.folder.root, "import", tmp_path / name, "--source", "checking")
    assert "a-night.ofx counts and not b-noon.ofx" in told.err
    assert "says that it was made later (20310402220000)" in told.err
    assert "export its days again" in told.err


def test_files_of_one_name_are_told_apart(tmp_path: Path) -> None:
    """A changed file under the name of an earlier one is told from it, with the name under which the books keep it."""
    books = Books(tmp_path)
    rows = [order(name, DAY, "10.00") for name in "12"]
    call("--books", books.folder.root, "import", books.write("a.csv", rows), "--source", "shop")
    told = call("--books", books.folder.root, "import", books.write("a.csv", rows[:1]), "--source", "shop")
    (kept,) = [file.name for file in (books.folder.exports / "shop").iterdir() if file.name != "a.csv"]
    assert f"the a.csv imported earlier counts and not the one imported now (kept as {kept})" in told.err
    assert "if this one is the newer one, give it a later name (such as a-2.csv)" in told.err


def test_own_account_counts_in_the_order(tmp_path: Path) -> None:
    """A hand entry with an order's link lowers the order's profit whatever expense account it names, and all still ties."""
    books = Books(tmp_path).put(
        orders=[order("1", DAY, "10.00")], processor=[processor("c", "charge", DAY, "10.00", "10.00", order_ref="1")]
    )
    hand = f'{DAY} * "Gift wrap" ^order-1\n  Expenses:GiftWrap 4.20 USD\n  Assets:Bank:Checking\n'
    books.folder.hand.write_text(hand, encoding="utf-8")
    report = json.loads(call("--books", books.folder.root, "orders", "--format", "json").out)
    assert ("5.80", "4.20") == (report["orders"][0]["profit"], report["orders"][0]["other_costs"])
    assert {} == report["not_tied_to_an_order"]
    assert "They agree" in call("--books", books.folder.root, "orders").out
    assert "less other costs" in call("--books", books.folder.root, "orders", "--order", "1").out


def test_shape_without_own_accounts(tmp_path: Path) -> None:
    """Without such an entry the report has the columns of the contract and no other."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "10.00")])
    report = json.loads(call("--books", books.folder.root, "orders", "--format", "json").out)
    assert "other_costs" not in report["orders"][0]
    assert "other_costs" not in report["totals"]


def test_settle_names_a_new_account(tmp_path: Path) -> None:
    """An account that the books did not have is named, with the one that may have been meant."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "10.00"), order("2", "2031-05-02", "10.00")])
    item = next(item for item in books.open_items() if item.kind == "order-without-payment")
    command = ("--books", books.folder.root, "settle", item.id, "--reason", "x", "--account")
    told = call(*command, "Expenses:Chargeback")
    assert "Expenses:Chargeback is a new account in these books; did you mean Expenses:Chargebacks" in told.err
    call("--books", books.folder.root, "settle", item.id, "--withdraw")
    assert "new account" not in call(*command, "Expenses:Chargebacks").err


def test_item_seen_as_of_a_later_day_can_be_settled(tmp_path: Path) -> None:
    """An id that `open-items --as-of` shows for a later day is one that `settle` knows."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "10.00")])
    later = json.loads(
        call("--books", books.folder.root, "open-items", "--as-of", "2031-06-01", "--format", "json").out
    )
    item = next(item for item in later["items"] if item["kind"] == "order-without-payment")
    told = call("--books", books.folder.root, "settle", item["id"], "--accept", "--reason", "known")
    assert 0 == told.status, told.err
    assert 0 == call("--books", books.folder.root, "check").status


@pytest.mark.parametrize("column", ["Voucher used", "Remark"])
def test_map_names_unused_columns(tmp_path: Path, column: str) -> None:
    """A column that no field takes is named, as it may be money."""
    books = Books(tmp_path).build()
    file = tmp_path / "o.csv"
    file.write_text(
        f"Order,Date,Total,{column}\n" + "".join(f"100{n},2031-04-{n + 10},1{n}.50,zz{n}\n" for n in range(9)),
        encoding="utf-8",
    )
    told = call("--books", books.folder.root, "map", file, "--source", "shop")
    assert "Columns that are not used" in told.err
    assert column in told.err


@pytest.mark.parametrize(("category", "hinted"), [("Gift vouchers", True), ("gift card", False), ("Mugs", False)])
def test_status_hints_at_gift_cards(tmp_path: Path, category: str, hinted: bool) -> None:
    """A category that sounds like gift cards and counts as sales is pointed out; one that is declared is not."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "10.00", category=category)])
    told = call("--books", books.folder.root, "status")
    assert hinted == (f'Category "{category}" counts as sales' in told.err)


def test_margin_without_a_charge_is_a_dash(tmp_path: Path) -> None:
    """People are shown no margin of an order whose fulfilment charge is missing; programs get the figure as it is."""
    books = Books(tmp_path).put(orders=[order("1", DAY, "10.00")])
    root = ("--books", books.folder.root)
    (row,) = (line for line in call(*root, "orders").out.splitlines() if line.split()[:1] == ["1"] and DAY in line)
    assert "%" not in row
    assert "%" not in call(*root, "orders", "--order", "1").out
    assert "1.0000" == call(*root, "orders", "--format", "json").json()["orders"][0]["margin"]
