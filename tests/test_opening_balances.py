"""An accountant's trial balance becomes the opening entry: what is read, what is refused and how it is told."""

from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner

from ledger_tools.cli import group
from ledger_tools.errors import LedgerError
from ledger_tools.opening_balances import OpeningBalances, read_trial_balance

AS_OF = date(2030, 12, 31)
GOOD = """\
# closing of 2030, from the accountant

Account,Type,Our account,Debit,Credit
Cash at bank,asset,Assets:Bank:Checking,"1,204.50",
Stock of parcels,Asset,,$10.00,-
Assets:Wallet:FulfilmentWallet,,,310.00,
Loan: the brother's,liability,,,(4.50)
Capital,equity,,,1529.00
Total,,,"1,524.50","1,524.50"
"""


def read(tmp_path: Path, text: str, currency: str = "USD") -> OpeningBalances:
    """The trial balance of a text."""
    file = tmp_path / "closing.csv"
    file.write_text(text, encoding="utf-8")
    return read_trial_balance(file, AS_OF, currency)


def test_what_is_read(tmp_path: Path) -> None:
    """Our own names stay, others come under the root of their type; brackets are a minus, comments and totals skipped."""
    found = read(tmp_path, GOOD)
    assert [
        ("Assets:Bank:Checking", "Cash at bank", 120450),
        ("Assets:StockOfParcels", "Stock of parcels", 1000),
        ("Assets:Wallet:FulfilmentWallet", "Assets:Wallet:FulfilmentWallet", 31000),
        ("Liabilities:LoanTheBrotherS", "Loan: the brother's", 450),
        ("Equity:Capital", "Capital", -152900),
    ] == [(line.account, line.name, line.amount) for line in found.lines]
    assert 152900 == found.total


def test_balance_column(tmp_path: Path) -> None:
    """One column of balances reads as two do, in the currency's own digits."""
    found = read(tmp_path, "account,balance\nAssets:Cash,1250\nEquity:Capital,-1250\nAssets:Empty,0\n", "JPY")
    assert [("Assets:Cash", 1250), ("Equity:Capital", -1250)] == [(line.account, line.amount) for line in found.lines]


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("account,balance\nAssets:A,2.00\nEquity:B,-1.99\n", "debits are more than credits by 0.01 USD"),
        ("account,balance\nAssets:A,1.00\nEquity:B,-1.99\n", "credits are more than debits by 0.99 USD"),
        ("name,amount\nAssets:A,2.00\n", "has the columns name, amount"),
        ("account,debit\nAssets:A,2.00\n", "has the columns account, debit"),
        ("", "has the columns none"),
        ("account,balance\n", "holds no balance"),
        ("account,balance\nCash,1\n", "closing.csv, line 2: nothing says what 'Cash' is"),
        ("account,type,balance\nCash,money,1\n", "type 'money' is unknown"),
        ("account,our_account,balance\nCash,Bank:Cash,1\n", "our_account 'Bank:Cash' is no account name"),
        ("account,type,balance\n,asset,1\n", "line 2, account: is blank"),
        ("account,debit,credit\nAssets:A,1,1\n", "line 2: has an amount on both sides"),
        ("account,balance\nAssets:A,1.005\n", "line 2, balance: amount '1.005' has more decimals than USD has (2)"),
        ("account,balance\nAssets:A,one\n", "line 2, balance: amount 'one' is not a number"),
        ("account,debit,credit\nAssets:A,1,\nTotal,1,2\n", "line 3: is a row of totals that differ"),
        ("account,type,balance\nPetty cash,asset,1\nPetty  cash,asset,-1\n", "both give Assets:PettyCash"),
    ],
)  # fmt: skip
def test_what_is_refused(text: str, told: str, tmp_path: Path) -> None:
    """Each fault is told with its line and what to do; nothing is taken over."""
    with pytest.raises(LedgerError) as trouble:
        read(tmp_path, text)
    assert told in str(trouble.value)


def test_all_faults_at_once(tmp_path: Path) -> None:
    """Every row that is wrong is told in one go."""
    with pytest.raises(LedgerError) as trouble:
        read(tmp_path, "account,balance\nCash,1\nAssets:A,one\nAssets:B,1.001\n")
    assert ["line 2", "line 3", "line 4"] == [str(problem).split(", ")[1][:6] for problem in trouble.value.problems]


def test_not_utf8(tmp_path: Path) -> None:
    """A file in another encoding is refused by name."""
    file = tmp_path / "closing.csv"
    file.write_bytes("account,balance\nAssets:Caf\u00e9,1\n".encode("latin-1"))
    with pytest.raises(LedgerError, match="is not UTF-8 text"):
        read_trial_balance(file, AS_OF, "USD")


def test_init_takes_over(tmp_path: Path) -> None:
    """`init` writes one entry, opens its accounts, and the trial balance of the day is the accountant's."""
    (tmp_path / "closing.csv").write_text(GOOD, encoding="utf-8")
    books = str(tmp_path / "books")
    run = CliRunner().invoke
    taken = ["init", books, "--yes", "--trial-balance", str(tmp_path / "closing.csv"), "--as-of", "2030-12-31"]
    result = run(group, taken)
    assert 0 == result.exit_code, result.output
    assert "5 balances as of 2030-12-31 are taken over, 1529.00 USD on either side" in result.stderr
    hand = (tmp_path / "books" / "hand.beancount").read_text(encoding="utf-8")
    assert '\n2030-12-31 * "Opening balances from the trial balance"\n' in hand
    assert "10.00 USD  ; Stock of parcels\n" in hand
    rows = run(
        group, ["--books", books, "trial-balance", "--as-of", "2030-12-31", "--format", "csv"]
    ).stdout.splitlines()
    assert {
        "Assets:Bank:Checking,USD,1204.50",
        "Assets:Wallet:FulfilmentWallet,USD,310.00",
        "Assets:StockOfParcels,USD,10.00",
        "Liabilities:LoanTheBrotherS,USD,4.50",
        "Equity:Capital,USD,-1529.00",
    } == set(rows[1:])
    flow = run(group, ["--books", books, "cash-flow", "--year", "2030", "--format", "csv"]).stdout
    assert "section,title,amount\ntaken_over,Balances taken over,1204.50\n" == flow
    assert "checks hold." in run(group, ["--books", books, "check"]).stderr


def test_init_refuses_and_leaves_nothing(tmp_path: Path) -> None:
    """A trial balance that does not balance makes no books; --as-of alone is a fault of the command line."""
    (tmp_path / "closing.csv").write_text("account,balance\nAssets:A,1\n", encoding="utf-8")
    words = ["init", str(tmp_path / "books"), "--yes", "--as-of", "2030-12-31"]
    refused = CliRunner().invoke(group, [*words, "--trial-balance", str(tmp_path / "closing.csv")])
    assert (1, False) == (refused.exit_code, (tmp_path / "books").exists())
    assert "does not balance: debits are more than credits by 1.00 USD" in refused.stderr
    assert 2 == CliRunner().invoke(group, words).exit_code
