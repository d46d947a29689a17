"""The posting tables: each event that the books know, with the entry that a bookkeeper expects, read back from disk."""

from pathlib import Path

import pytest
from kept_books import Entry, parse_journal
from posting_tables import Case, books_of, posted, read_cases

HERE = Path(__file__).parent

SETTINGS = """
[reasons]
photos = "Expenses:Marketing:Photos"

[[bank_rule]]
pattern = "account fee|goodwill credit"
account = "Expenses:BankFees"

[[bank_rule]]
pattern = "web hosting"
account = "Expenses:Subscriptions"

[[bank_rule]]
pattern = "revenue office"
account = "Liabilities:SalesTax:US-CO"
source = "checking"
"""

TABLES = ("sales", "payments", "fulfilment", "bank_lines")
CASES = {name: read_cases(HERE / f"{name}.txt") for name in TABLES}


@pytest.fixture(scope="module")
def journals(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Entry]]:
    """The entries of each table's books."""
    found = {}
    for name, cases in CASES.items():
        books = books_of(cases, tmp_path_factory.mktemp(name), SETTINGS)
        found[name] = parse_journal(books.journal_text())
    return found


@pytest.mark.parametrize(
    ("table", "case"),
    [pytest.param(name, case, id=f"{name}: {case.title}") for name, cases in CASES.items() for case in cases],
)
def test_event_posts(table: str, case: Case, journals: dict[str, list[Entry]]) -> None:
    """An event posts the entry of the table on its day, flagged where the table says so, and nothing else."""
    expected = {key: sorted(lines) for key, lines in case.expected.items()}
    assert expected == posted(journals[table], case)


def test_tables_have_no_case_without_an_entry() -> None:
    """Each case expects something, so that none passes for want of an expectation."""
    assert [] == [case.title for cases in CASES.values() for case in cases if not all(case.expected.values())]
    assert 70 <= sum(len(cases) for cases in CASES.values())
