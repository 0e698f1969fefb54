"""What a user sees while a command runs and when it ends: progress, answers, messages, exit codes."""

from __future__ import annotations

import os
import re
from contextlib import contextmanager, nullcontext
from typing import TYPE_CHECKING, TypeVar

import click

from stillroot.errors import CaseError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from contextlib import AbstractContextManager
    from pathlib import Path

    from stillroot.words.document import Audience

INTERNAL, INTERRUPTED = 1, 130
"""Exit codes beside those of `stillroot.errors`."""

R = TypeVar("R")
P = TypeVar("P")


def deliver(
    kind: str,
    showing: AbstractContextManager[P],
    solve: Callable[[P], R],
    *,
    out: Path | None,
    as_json: bool,
    reader: Audience | None,
    pdf: bool,
) -> R:
    """Solve with progress shown, write the result where that is asked for, print and return it.

    `kind` is the name of its type. What could not be written is refused before any work is done.
    """
    from stillroot.writing import output, terminal  # noqa: PLC0415 - slow to import, but wanted next
    from stillroot.writing.pdf import assert_pdf_can_be_made  # noqa: PLC0415
    from stillroot.writing.whole_folder import assert_writable  # noqa: PLC0415

    if out is not None:
        assert_writable(out, output.KINDS[kind].mark)
        if pdf:
            assert_pdf_can_be_made()
    elif reader is not None or pdf:
        msg = f"{'--pdf' if pdf else f'--for {reader}'}: needs --out DIR, the folder for the report"
        raise CaseError(msg)
    with showing as progress:
        result = solve(progress)
        if out is not None:
            output.write(result, out, report=output.Report(reader=reader or "researcher", pdf=pdf))
    if as_json:
        click.echo(output.json_of(result))
        return result
    from rich.console import Console  # noqa: PLC0415 - slow to import

    seen = Console()
    console = seen if seen.is_terminal else Console(width=terminal.WIDTH, color_system=None)
    terminal.show(output.document_of(result), console)
    if out is not None:
        click.echo(f"Written to {out}{os.sep}")
    return result


@contextmanager
def progress_bar() -> Iterator[Callable[[int, int, str], None]]:
    """Show on stderr, where that is a terminal, how much is done and how long the rest will take."""
    from rich import progress as rich  # noqa: PLC0415 - slow to import
    from rich.console import Console  # noqa: PLC0415

    console = Console(stderr=True)
    with rich.Progress(
        rich.BarColumn(),
        rich.MofNCompleteColumn(),
        rich.TimeRemainingColumn(),
        rich.TextColumn("{task.description}", markup=False),
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
    with naming(case_file), shown or nullcontext():
        yield shown.update if shown else lambda _: None


@contextmanager
def naming(file: Path) -> Iterator[None]:
    """Name a file in what is wrong with it."""
    try:
        yield
    except CaseError as error:
        raise error if error.file else CaseError(f"{file}: {error}", key=error.key) from None


def complain(text: str) -> None:
    """Print one message.

    What a terminal would obey in it (from names, keys, values) is spelt out, what is endless is cut.
    """
    plain = "".join(c if c.isprintable() or c == "\n" else ascii(c)[1:-1] for c in text)
    plain = re.sub(r"(\S{200})\S{300,}(\S{100})", r"\1…\2", plain)
    click.echo(f"stillroot: {plain}", err=True)
