"""The demo's own settings and mappings are valid, and the importers read each delimited export with them."""

from __future__ import annotations

from pathlib import Path

import duckdb
import pytest
from demo_shop import Shop

from importers.mapping import parse_mapping
from importers.readers import ExportRequest, read_export
from ledger_tools.demo.scenario import MONTHS, TIME_ZONE
from ledger_tools.settings import read_settings

FILES = [
    *(f"{source}/{name}-{month}.{ending}" for month in MONTHS for source, name, ending in (
        ("shop", "orders", "csv"),
        ("card-processor", "payments", "csv"),
        ("euro-processor", "movements", "csv"),
        ("fulfilment-wallet", "wallet", "tsv"),
    )),
    "checking/statement-2031-04.csv",
]  # fmt: skip


@pytest.mark.parametrize("name", FILES)
def test_export_reads_whole(shop: Shop, name: str, tmp_path: Path) -> None:
    """Every row of the file becomes a record, and its last day is its month's last day."""
    file = shop.folder / "exports" / name
    settings = read_settings(shop.folder)
    source = settings.source_named(file.parent.name)
    mapping_file = shop.folder / "mappings" / f"{source.name}.toml"
    mapping = parse_mapping(mapping_file.read_text(encoding="utf-8"), mapping_file.name)
    request = ExportRequest(file, source.name, source.kind, source.currency, TIME_ZONE, mapping, tmp_path)
    with duckdb.connect() as connection:
        facts = read_export(connection, request, "rows_read")
    lines = len(file.read_text(encoding="utf-8").splitlines()) - 1
    assert (lines, lines) == (facts.rows_read, facts.records)
    assert facts.last_day is not None
    assert name[-11:-4] == facts.last_day.isoformat()[:7]
    assert facts.last_day.day >= 28


def test_settings_name_the_shop_and_its_sources(shop: Shop) -> None:
    """The settings read without a problem and declare a mapping's source for each folder of exports."""
    settings = read_settings(shop.folder)
    assert ("USD", TIME_ZONE, "order") == (settings.currency, settings.time_zone, settings.detail)
    folders = {folder.name for folder in (shop.folder / "exports").iterdir()}
    assert folders == {source.name for source in settings.source}
    assert folders == {file.stem for file in (shop.folder / "mappings").iterdir()}
