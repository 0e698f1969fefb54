"""Run the suite: `python -m validation [SOURCE …] [--thin]`.

Without a name: everything, and docs/validation.md with its figures is written anew. With names, or with
`--thin`, rows are printed and nothing is written.
"""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from validation import error_estimate
from validation.page import IMAGES, PAGE, draw, figure_text, page
from validation.suite import keep, kept_rows, read_results, sources, write_results

if TYPE_CHECKING:
    from collections.abc import Sequence

    from validation.suite import Row, Source


@click.command()
@click.argument("names", metavar="[SOURCE …]", nargs=-1)
@click.option("--thin", is_flag=True, help="Only the slice that runs with the tests.")
@click.option("--fresh", is_flag=True, help="Compute again what an earlier run finished.")
def main(names: tuple[str, ...], *, thin: bool, fresh: bool) -> None:
    """Compare stillroot with published figures, and write docs/validation.md."""
    every = sources()
    unknown = set(names) - {source.name for source in every}
    if unknown:
        known = ", ".join(source.name for source in every)
        msg = f"no such source: {', '.join(sorted(unknown))}; there are {known}"
        raise click.UsageError(msg)
    chosen = [source for source in every if not names or source.name in names]
    rows = _computed(chosen, thin=thin, fresh=fresh)
    if not names and not thin:
        _write(chosen, rows)
    _show(rows)
    sys.exit(any(not row.agrees and not row.figure.differs for row in rows))


def _computed(chosen: Sequence[Source], *, thin: bool, fresh: bool) -> list[Row]:
    columns = TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn()
    rows: list[Row] = []
    with Progress(*columns, console=Console(stderr=True)) as bar:
        task = bar.add_task("", total=len(chosen))
        for source in chosen:
            bar.update(task, description=source.name)
            if thin:
                rows += source.compute(source.thin_keys) if source.thin_keys else ()
            else:
                finished = None if fresh else kept_rows(source)
                if finished is None:
                    finished = source.compute(source.all_keys)
                    keep(source, finished)
                rows += finished
            bar.advance(task)
    return rows


def _write(chosen: Sequence[Source], rows: Sequence[Row]) -> None:
    write_results(rows)
    for source in chosen:
        if source.has_curve:
            draw(source.curve(), IMAGES / f"validation-{source.name}.png")
    error_estimate.run(lambda name: click.echo(f"far finer solution: {name}", err=True))
    aside = PAGE.with_suffix(".part")
    kept = tuple(read_results())  # six digits each, as the tests read them
    aside.write_text(page(kept), encoding="utf-8")
    Path(aside).replace(PAGE)
    click.echo(f"Written to {PAGE.name}, in docs")


def _show(rows: Sequence[Row]) -> None:
    table = Table("source", "key", "published", "computed", "off", "tolerance", "agrees")
    for row in rows:
        figure = row.figure
        agrees = "yes" if row.agrees else "no, known" if figure.differs else "NO"
        table.add_row(
            row.source,
            figure.key,
            figure.published,
            figure_text(row.computed),
            f"{row.off:+.2%}",
            figure.tolerance,
            agrees,
        )
    Console().print(table)


main()
