"""The packet of the demo shop's April, written once for all tests that only read it."""

from pathlib import Path

import pytest
from shop_books import DemoBooks

from ledger_tools.calendar import parse_month
from ledger_tools.cli.periods import period_name
from ledger_tools.packet.contents import make_packet
from ledger_tools.packet.delivery import write_folder
from ledger_tools.packet.table import Packet


def silent(stage: str) -> None:
    """Progress that nobody watches."""
    del stage


@pytest.fixture(scope="session")
def april(demo_books: DemoBooks) -> Packet:
    """What the packet of April 2031 holds."""
    return make_packet(demo_books.connection, parse_month("2031-04"), "2031-04", period_name, silent)


@pytest.fixture(scope="session")
def packet_folder(demo_books: DemoBooks, april: Packet, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The files of that packet; no test changes them."""
    target = tmp_path_factory.mktemp("packet") / "april"
    write_folder(target, april, demo_books.connection, demo_books.folder, silent)
    return target
