"""What the commands share: progress and answers on a terminal, shares as 1%, one message."""

from __future__ import annotations

import os
import re
from contextlib import contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillroot.errors import CaseError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from rich.console import Console

    from stillroot.words.document import Audience
    from stillroot.writing.export import Report


class Share(click.ParamType[float]):
    """A share, as 0.01 or 1%, from `answer.MOST_EXACT` to less than 1."""

    name = "share"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:
        """Return the share as a number."""
        from stillroot.answers.answer import MOST_EXACT  # noqa: PLC0415 - slow to import, but wanted next

        text = str(value).strip()
        try:
            share = float(text.removesuffix("%")) / (100 if text.endswith("%") else 1)
        except ValueError:
            share = float("nan")
        if not MOST_EXACT <= share < 1:
            self.fail(
                f"{text}: must be from {MOST_EXACT:.1%} to less than 100%, as 1% or 0.01", param, ctx
            )
        return share


def output_options(files: str) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """Return what adds the options on what is written where, `files` being named in their help."""
    options = (
        click.option(
            "--out",
            metavar="DIR",
            type=click.Path(path_type=Path),
            help=f"Write report.html, {files} into DIR.",
        ),
        click.option(
            "--for",
            "reader",
            type=click.Choice(("clinician", "researcher", "teacher")),
            help="Reader of the report: one page, all of it (default), or slides.",
        ),
        click.option("--pdf", is_flag=True, help="Write report.pdf as well (needs stillroot[pdf])."),
    )

    def add(command: Callable[..., Any]) -> Callable[..., Any]:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def report_for(out: Path | None, mark: str, *, reader: Audience | None, pdf: bool) -> Report:
    """Return which report is asked for, having refused what could not be written.

    `mark` is the file by which an earlier answer in `out` is known.

    Raises
    ------
    CaseError
        A report is asked for, and no place for it.
    OutputError, EnvironmentProblem
        The place cannot be written; a PDF cannot be made here.
    """
    from stillroot.writing.export import Report, assert_writable  # noqa: PLC0415
    from stillroot.writing.pdf import assert_pdf_can_be_made  # noqa: PLC0415

    if out is None:
        if reader is not None or pdf:
            name = "--pdf" if pdf else f"--for {reader}"
            msg = f"{name}: needs --out DIR, the folder for the report"
            raise CaseError(msg)
        return Report()
    assert_writable(out, mark)
    if pdf:
        assert_pdf_can_be_made()
    return Report(reader=reader or "researcher", pdf=pdf)


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int, str], None]]:
    """Show on stderr, where that is a terminal, how much is done and how long the rest will take."""
    from rich.console import Console  # noqa: PLC0415
    from rich.progress import (  # noqa: PLC0415
        BarColumn,
        MofNCompleteColumn,
        Progress,
        TextColumn,
        TimeRemainingColumn,
    )

    console = Console(stderr=True)
    columns = (
        BarColumn(),
        MofNCompleteColumn(),
        TimeRemainingColumn(),
        TextColumn("{task.description}", markup=False),
    )
    with Progress(
        *columns,
        console=console,
        disable=not console.is_terminal,
        transient=True,
        speed_estimate_period=120,
    ) as bar:
        task = bar.add_task("reading finished cases", total=None)

        def advance(done: int, total: int, what: str) -> None:
            if bar.tasks[0].total != total:  # what was finished before is no measure of the speed
                bar.reset(task, completed=done, total=total)
            bar.update(task, completed=done, description=what)

        yield advance


@contextmanager
def working(case_file: Path) -> Iterator[Callable[[str], None]]:
    """Show on stderr, where that is a terminal, what is being worked on; name the file in errors."""
    from rich.console import Console  # noqa: PLC0415

    console = Console(stderr=True)
    shown = console.status("reading") if console.is_terminal else None
    try:
        with shown or nullcontext():
            yield shown.update if shown else lambda _: None
    except CaseError as error:
        raise error if error.file else CaseError(f"{case_file}: {error}") from None


def print_answer(
    data: dict[str, Any], show: Callable[[Console], None], out: Path | None, *, as_json: bool
) -> None:
    """Print an answer on stdout: as JSON and nothing else, or as a table."""
    if as_json:
        import json  # noqa: PLC0415

        click.echo(json.dumps(data, indent=2, ensure_ascii=False))
        return
    from rich.console import Console  # noqa: PLC0415

    from stillroot.words.report import WIDTH  # noqa: PLC0415

    terminal = Console()
    show(terminal if terminal.is_terminal else Console(width=WIDTH, color_system=None))
    if out is not None:
        click.echo(f"Written to {out}{os.sep}")


def complain(text: str) -> None:
    """Print one message.

    What a terminal would obey in it (from names, keys, values) is spelt out, what is endless is cut.
    """
    plain = "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)
    plain = re.sub(r"(\S{200})\S{300,}(\S{100})", r"\1…\2", plain)
    click.echo(f"stillroot: {plain}", err=True)
