"""How fast the books are built, as ratios measured in one run: `python tests/benchmarks/bench.py [--sizes 10000 100000]`.

Not a test: it prints what is reached. For each size it writes the demo shop, then measures in processes of their own:
the parse floor (DuckDB merely parses and types the same delimited files), the build of the books from nothing, the
`orders` command, for sizes that it can bear, beancount's loader on the journal in order detail, and the build of the same books
where no reference ties a payment to its order. Times are wall-clock
seconds of one run each; the ratios are what to look at.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import shutil
import subprocess
import sys
import tempfile
import time
import tomllib
from pathlib import Path

import duckdb

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from ledger_tools.records import KINDS, MOMENT, MONEY, WHOLE  # noqa: E402

TYPES = {MONEY: "DECIMAL(15,2)", WHOLE: "BIGINT", MOMENT: "VARCHAR"}
LOADER_LIMIT = 100_000


def parse_floor(books: Path) -> int:
    """Parse and type every delimited export by its mapping's columns; returns the rows."""
    rows = 0
    connection = duckdb.connect()
    for mapping_file in sorted((books / "mappings").glob("*.toml")):
        mapping = tomllib.loads(mapping_file.read_text(encoding="utf-8"))
        types: dict[str, str] = {}
        for field in KINDS[mapping["kind"]]:
            columns = mapping["columns"].get(field.name, [])
            for column in [columns] if isinstance(columns, str) else columns:
                types[column] = TYPES.get(field.type, "VARCHAR")
        for file in sorted((books / "exports" / mapping["source"]).iterdir()):
            if file.suffix not in (".csv", ".tsv"):
                continue
            delimiter = mapping.get("file", {}).get("delimiter", "\t" if file.suffix == ".tsv" else ",")
            mark = mapping.get("file", {}).get("decimal_mark", ".")
            header = file.open(encoding="utf-8-sig", errors="replace").readline()
            known = {name: kind for name, kind in types.items() if name in header}
            if mark != ".":  # thousands marks that DuckDB does not take stay text, which only makes the floor lower
                known = {name: "VARCHAR" if kind.startswith("DECIMAL") else kind for name, kind in known.items()}
            listing = ", ".join(f"'{name}': '{kind}'" for name, kind in known.items())
            connection.execute(
                f"CREATE OR REPLACE TABLE floor AS SELECT * FROM read_csv('{file}', header = true, delim = '{delimiter}', "
                f"quote = '\"', all_varchar = false, types = {{{listing}}}, auto_detect = true)"
            )
            found = connection.execute("SELECT count(*) FROM floor").fetchone()
            rows += found[0] if found else 0
    return rows


def build(books: Path) -> int:
    """Build the books from nothing; returns the number of postings."""
    from ledger_tools.archive import open_books
    from ledger_tools.folder import BooksFolder

    with open_books(BooksFolder(books.resolve()), lambda stage: None) as connection:
        found = connection.execute("SELECT count(*) FROM posting").fetchone()
    return int(found[0]) if found else 0


def matching(books: Path) -> int:
    """Build the books from nothing; returns the milliseconds from the beginning of matching to that of posting."""
    from ledger_tools.archive import open_books
    from ledger_tools.folder import BooksFolder

    begun: dict[str, float] = {}

    def note(stage: str) -> None:
        begun[stage] = time.perf_counter()

    with open_books(BooksFolder(books.resolve()), note):
        return round(1000 * (begun["postings"] - begun["matching"]))


def load(books: Path) -> int:
    """Load the journal with beancount; returns the number of directives."""
    from ledger_tools.journal import load_ledger

    entries, errors, _ = load_ledger(str(books / "main.beancount"))
    assert not errors
    return len(entries)


def orders(books: Path) -> int:
    """The `orders` report as the command makes it, to JSON; returns its length."""
    command = [sys.executable, "-m", "ledger_tools", "--books", str(books), "orders", "--format", "json"]
    return len(subprocess.run(command, check=True, capture_output=True, cwd=ROOT).stdout)


def trial_balance(books: Path) -> int:
    """The `trial-balance` report as the command makes it."""
    command = [sys.executable, "-m", "ledger_tools", "--books", str(books), "trial-balance", "--format", "json"]
    return len(subprocess.run(command, check=True, capture_output=True, cwd=ROOT).stdout)


def measured(work: str, books: Path) -> dict[str, float]:
    """Seconds, peak memory in MB and count of one piece of work, in a process of its own."""
    command = [sys.executable, __file__, "--work", work, "--books", str(books)]
    done = subprocess.run(command, check=True, stdout=subprocess.PIPE, text=True)
    return json.loads(done.stdout)  # type: ignore[no-any-return]


def _without_references(books: Path) -> None:
    """Take every reference between payments and orders out of what the mappings read; amounts and days are left."""
    for name, fields in {
        "shop": ("payment_ref",),
        "card-processor": ("order_ref",),
        "euro-processor": ("order_ref",),
    }.items():
        mapping = books / "mappings" / f"{name}.toml"
        lines = mapping.read_text(encoding="utf-8").splitlines(keepends=True)
        kept = [line for line in lines if not line.startswith(tuple(f"{field} = " for field in fields))]
        mapping.write_text("".join(kept), encoding="utf-8")
    shutil.rmtree(books / ".cache")


def matched_by_amount(books: Path) -> int:
    """Number of payments that amount and date, or a sum, tie to orders."""
    from ledger_tools.archive import open_books
    from ledger_tools.folder import BooksFolder

    with open_books(BooksFolder(books.resolve()), lambda stage: None) as connection:
        found = connection.execute(
            "SELECT count(*) FROM processor_row WHERE kind = 'charge' AND matched_by IN ('amount and date', 'sum')"
        ).fetchone()
    return int(found[0]) if found else 0


WORK = {work.__name__: work for work in (parse_floor, build, matching, load, orders, trial_balance, matched_by_amount)}


def _work(name: str, books: Path) -> None:
    start = time.perf_counter()
    count = WORK[name](books)
    seconds = time.perf_counter() - start
    peak = max(resource.getrusage(who).ru_maxrss for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    print(json.dumps({"seconds": seconds, "peak_mb": peak / 1024, "count": count}))


def _size(count: int, folder: Path) -> float:
    """Print one size's line; returns the seconds of the build."""
    from ledger_tools.demo import write_demo
    from ledger_tools.new_books import complete_books

    books = folder / f"books-{count}"
    write_demo(books, orders=count)
    complete_books(books)
    floor = measured("parse_floor", books)
    built = measured("build", books)
    report = measured("orders", books)
    trial = measured("trial_balance", books)
    print(
        f"{count:>9,} orders  {int(floor['count']):>10,} rows  floor {floor['seconds']:7.2f} s  build {built['seconds']:7.2f} s"
        f"  = {built['seconds'] / floor['seconds']:5.1f} x floor  {floor['count'] / built['seconds']:>9,.0f} rows/s"
        f"  peak {built['peak_mb']:6,.0f} MB  orders {report['seconds']:6.2f} s  trial-balance {trial['seconds']:5.2f} s"
    )
    if count <= LOADER_LIMIT:
        settings = books / "shop.toml"
        settings.write_text(
            settings.read_text(encoding="utf-8").replace('detail = "day"', 'detail = "order"'), encoding="utf-8"
        )
        shutil.rmtree(books / ".cache")
        in_detail = measured("build", books)
        loaded = measured("load", books)
        print(
            f"{'':>9}         in order detail: build {in_detail['seconds']:.2f} s; beancount's loader {loaded['seconds']:.2f} s = "
            f"{loaded['seconds'] / trial['seconds']:.0f} x trial-balance, {loaded['seconds'] / report['seconds']:.0f} x orders"
        )
    _without_references(books)
    without = measured("matching", books)
    by_amount = measured("matched_by_amount", books)
    print(
        f"{'':>9}         without any reference: build {without['seconds']:.2f} s = {without['seconds'] / built['seconds']:.2f} x "
        f"the build with references; of it matching {without['count'] / 1000:.2f} s = "
        f"{without['count'] / 1000 / floor['seconds']:.1f} x floor; {int(by_amount['count']):,} payments matched by amount"
    )
    return built["seconds"]


def main() -> None:
    """Measure the sizes that were asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sizes", type=int, nargs="+", default=[10_000, 100_000, 1_000_000], help="numbers of orders")
    parser.add_argument("--work", choices=sorted(WORK), help=argparse.SUPPRESS)
    parser.add_argument("--books", type=Path, help=argparse.SUPPRESS)
    chosen = parser.parse_args()
    if chosen.work:
        _work(chosen.work, chosen.books)
        return
    with tempfile.TemporaryDirectory() as folder:
        times = {size: _size(size, Path(folder)) for size in sorted(chosen.sizes)}
    small, large = min(times), max(times)
    if small < large:
        print(
            f"growth exponent {math.log(times[large] / times[small]) / math.log(large / small):.2f} from {small:,} to {large:,}"
        )


if __name__ == "__main__":
    main()
