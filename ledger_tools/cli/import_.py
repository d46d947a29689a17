"""`import`: exports into the archive and the books."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import click

from ledger_tools.cli import Context, two_shapes
from ledger_tools.cli.output import echo, echo_json, with_books


@click.command("import")
@click.argument("files", metavar="FILE…", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--source", help="The source that the files come from; else found by their columns.")
@click.option("--dry-run", is_flag=True, help="Say what would come in, and change nothing.")
@two_shapes
@click.pass_obj
def command(context: Context, files: tuple[Path, ...], source: str | None, dry_run: bool, shape: str) -> None:
    """Archive exports and rebuild the books.

    Each file is read whole or refused whole, with all that is wrong with it. Importing the same file again changes
    nothing. Customers' names and addresses stay in the archived file and never enter the books.

    \b
    Example:
      ledger-tools import ~/Downloads/orders-april.csv ~/Downloads/payments.csv
      ledger-tools import statement.ofx --source checking --dry-run
    """
    from ledger_tools.intake import FileResult, import_files

    results: list[FileResult] = import_files(context.folder(), list(files), source, context.progress, dry_run=dry_run)
    context.end_progress()
    if shape == "json":
        echo_json({"files": [_as_json(result) for result in results]})
    else:
        for result in results:
            _tell(result, dry_run)
    for result in results:
        for problem in result.refused:
            echo(str(problem), err=True)
    refused = sum(1 for result in results if result.refused)
    if refused:
        echo(f"{refused} of {len(results)} file(s) refused; the books hold nothing of them.", err=True)
        click.get_current_context().exit(1)


def _as_json(result: Any) -> dict[str, Any]:
    return {
        "file": result.file,
        "source": result.source,
        "kind": result.kind,
        "from": result.first_day,
        "to": result.last_day,
        "rows": result.rows,
        "new": result.new,
        "repeated": result.repeated,
        "amended": result.amended,
        "refused": [
            {"record": _record(problem.where), "reason": with_books(str(problem))} for problem in result.refused
        ],
    }


def _record(where: str) -> int | None:
    found = re.search(r"record (\d+)", where)
    return int(found[1]) if found else None


def _tell(result: Any, dry_run: bool) -> None:
    name = Path(result.file).name
    if result.refused:
        echo(f"{name}: refused, {len(result.refused)} problem(s)")
        return
    span = f"{result.first_day} to {result.last_day}" if result.first_day else "no dated rows"
    verb = "would bring" if dry_run else "brought"
    echo(
        f"{name}: {result.source} ({result.kind}), {span}; {verb} {result.new} new, {result.repeated} repeated, "
        f"{result.amended} amended of {result.rows} rows"
    )
    counts = f"{result.overruled_by} counts and not {name}"
    if result.overruled_by == name:
        counts = f"the {name} imported earlier counts and not the one imported now (kept as {result.archived})"
    newer = "this one" if result.overruled_by == name else name
    if result.overruled_by and result.overruled_days:
        first, last = result.overruled_days
        echo(
            f"    Where they differ, {counts}: the former covers {first} to {last}, and the one that "
            "ends later, then the one that begins later, counts. What only one of them holds stays in the books.\n"
            f"    → if {newer} is the newer one, export its days again through a day after {last}, and import that",
            err=True,
        )
    elif result.overruled_at:
        echo(
            f"    Where they differ, {counts}: both cover the same days, and the former says that it was made later "
            f"({result.overruled_at}).\n    → if {newer} is the newer one, export its days again and import that",
            err=True,
        )
    elif result.overruled_by:
        echo(
            f"    Where they differ, {counts}: both cover the same days, and the name that "
            f"sorts later decides.\n    → if {newer} is the newer one, give it a later name (such as "
            f"{Path(name).stem}-2{Path(name).suffix}) and import it again",
            err=True,
        )
    elif result.amended:
        echo("    What changed: ledger-tools open-items", err=True)
