"""One demo shop for all tests of the simulator: written once, only read afterwards."""

from __future__ import annotations

import pytest
from demo_shop import Shop

from ledger_tools.demo import write_demo


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    """The demo with the default seed and number of orders."""
    folder = tmp_path_factory.mktemp("demo") / "shop"
    return Shop(folder, write_demo(folder))
