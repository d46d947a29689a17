"""Whatever texts an export holds, they stay texts: the journal loads, every check holds, and money is where it was."""

from __future__ import annotations

import shutil
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from shop_books import build_shop, payment, silent

from ledger_tools.checks import run_checks

EXAMPLES = settings.get_profile(settings.get_current_profile_name()).max_examples
#: A NUL byte makes a file binary, and half a surrogate pair can't be written; both are refused before this stage.
TEXTS = st.lists(
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=40), min_size=1, max_size=25
)
NASTY = [
    'A"\n2031-01-01 open Assets:X', "\\", '\\"', "tab\there", "<script>alert(1)</script>", "' OR 1=1 --", "=1+1", "{}", "%s", ";; c",
    "^link", "@@ 1 USD", "日本", "a\u202eb", "a\u2028b", "x" * 300, "",
]  # fmt: skip


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder for the books of one example after the other."""
    return tmp_path_factory.mktemp("texts")


@settings(max_examples=max(1, EXAMPLES // 100), suppress_health_check=list(HealthCheck))
@given(TEXTS)
@example(NASTY)
def test_texts_never_become_code(workshop: Path, found: list[str]) -> None:
    """Ids, references, categories and memos of any text give books that beancount accepts and every check holds for."""
    root = workshop / "books"
    root.mkdir()
    ids = [f"{place}{text}" for place, text in enumerate(found)]
    orders = [
        {
            "order_id": order_id, "placed_at": "2031-03-01", "category": f"c{order_id}", "sku": order_id, "item": order_id,
            "quantity": "1", "unit_price": "10.00", "total": "10.00", "payment_ref": order_id, "channel": order_id,
        }
        for order_id in ids
    ]  # fmt: skip
    payments = [payment(f"p{order_id}", "2031-03-02", order_id, "10.00") for order_id in ids]
    payments += [payment(f"a{text}", "2031-03-02", "", "1.00", kind="adjustment") | {"memo": text} for text in ids]
    made = {"kind": "charge", "at": "2031-03-03", "total": "3.00", "currency": "USD"}
    charges = [{**made, "event_id": text, "order_ref": text, "reason": "order", "memo": text} for text in ids]
    lines = [
        {"at": "2031-03-04", "amount": "2.00", "currency": "USD", "memo": text, "counterparty": text} for text in ids
    ]
    exports = {"shop": orders, "card-processor": payments, "fulfilment-wallet": charges, "checking": lines}
    books = build_shop(root, exports)
    try:
        assert [] == [check for check in run_checks(books.connection, books.folder, silent) if not check.passed]
        balances = books.balances()
    finally:
        books.connection.close()
        shutil.rmtree(root)
    count = Decimal(len(ids))
    assert (11 * count, -3 * count, 2 * count) == (
        balances["Assets:Processor:CardProcessor"],
        balances["Assets:Wallet:FulfilmentWallet"],
        balances["Assets:Bank:Checking"],
    )
    assert "Assets:Clearing:Orders" not in balances
