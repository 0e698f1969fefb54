"""The commands that solve many cases: compare, sweep, spread, bounds, and the store that keeps them."""

from __future__ import annotations

from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillroot.commands.terminal import (
    Share,
    complain,
    output_options,
    print_answer,
    progress_bar,
    report_for,
)
from stillroot.errors import CaseError, NotConverged

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator

    from stillroot.inputs.case import Case
    from stillroot.studies.running import Progress, Where
    from stillroot.words.study_report import Study

INTERRUPTED = 130
QUESTIONS = ("length", "engagement", "load", "lever", "bone")

case_argument = click.argument("case_file", metavar="CASE.toml", type=click.Path(path_type=Path))
bone_type_option = click.option(
    "--bone-type",
    type=click.IntRange(1, 4),
    metavar="1-4",
    help="Use the published range of modulus and cortex of this Lekholm & Zarb type.",
)


def samples_option(default: int) -> Callable[[Any], Any]:
    """Return the option for the sample count."""
    text = f"Rows of the sample, a power of two (default {default})."
    return click.option("--samples", metavar="N", type=int, default=default, help=text)


def study_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add what all studies have: where they run, what they keep, and what they write."""
    options = (
        click.option("--json", "as_json", is_flag=True, help="Print JSON, nothing else."),
        output_options("study.json, study.txt, table.csv, table.parquet and pictures"),
        click.option(
            "--workers",
            metavar="N",
            type=click.IntRange(1),
            help="How many processes solve at once (default: one a core).",
        ),
        click.option(
            "--cluster",
            metavar="ADDRESS",
            help="Solve on a dask cluster, such as tcp://127.0.0.1:8786 (needs stillroot[cluster]).",
        ),
        store_option,
    )
    for option in reversed(options):
        command = option(command)
    return command


store_option = click.option(
    "--store",
    "store_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where solved cases are kept (default: the user's cache folder, or STILLROOT_STORE).",
)


@click.command()
@click.argument(
    "case_files", metavar="A.toml B.toml …", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@samples_option(32)
@click.option("--no-spread", is_flag=True, help="Compare the cases as stated, without samples.")
@bone_type_option
@study_options
def compare(
    case_files: tuple[Path, ...],
    *,
    samples: int,
    no_spread: bool,
    bone_type: int | None,
    as_json: bool,
    out: Path | None,
    **running: Any,
) -> int:
    """Set cases side by side: what differs in them, and which differences mean anything.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.studies import comparison as study  # noqa: PLC0415

    cases = {_name(path, case_files): _read(path) for path in case_files}
    if len(cases) < len(case_files):
        msg = "a case is given more than once; a comparison takes different ones"
        raise CaseError(msg)

    def solve(where: Where, progress: Progress) -> study.Comparison:
        return study.compare(
            cases,
            where,
            with_spread=not no_spread,
            samples=samples,
            bone_type=bone_type,
            progress=progress,
        )

    return _study(solve, running, out=out, as_json=as_json)


@click.command()
@case_argument
@click.option(
    "--vary",
    "varied",
    multiple=True,
    required=True,
    metavar="KEY=FROM:TO:COUNT",
    help="A number of the case file and its values; several make a grid. Also KEY=a,b,c, and "
    "KEY=from:to:count:log for steps by a factor.",
)
@study_options
def sweep(
    case_file: Path, *, varied: tuple[str, ...], as_json: bool, out: Path | None, **running: Any
) -> int:
    """Solve a case on a grid of its numbers.

    KEY is named as in the case file: bone.trabecular_modulus_mpa, loads.height_mm (of every load),
    loads[1].axial_n. Besides: engagement_mm, engagement_from_crest_mm, load_factor, trabecular_factor.
    """
    from stillroot.studies import sweeps as study  # noqa: PLC0415

    grid: dict[str, tuple[float, ...]] = {}
    for text in varied:
        key, values = study.parsed(text)
        if key in grid:
            msg = f"--vary {text}: {key} is varied already"
            raise CaseError(msg, key=key)
        grid[key] = values
    case = _read(case_file)

    def solve(where: Where, progress: Progress) -> study.Sweep:
        with _named(case_file):
            return study.sweep(case, grid, where, progress=progress)

    return _study(solve, running, out=out, as_json=as_json)


@click.command()
@case_argument
@samples_option(64)
@click.option("--no-drivers", is_flag=True, help="Leave out the drivers: fewer cases to solve.")
@bone_type_option
@study_options
def spread(
    case_file: Path,
    *,
    samples: int,
    no_drivers: bool,
    bone_type: int | None,
    as_json: bool,
    out: Path | None,
    **running: Any,
) -> int:
    """Show how the uncertainty of the inputs spreads the answer.

    The case's [spread] lists the rough inputs; without one, shipped ranges are used and shown.
    """
    from stillroot.studies import spreads as study  # noqa: PLC0415

    case = _read(case_file)

    def solve(where: Where, progress: Progress) -> study.Spread:
        with _named(case_file):
            return study.spread(
                case,
                where,
                samples=samples,
                drivers=not no_drivers,
                bone_type=bone_type,
                progress=progress,
            )

    return _study(solve, running, out=out, as_json=as_json)


@click.command()
@case_argument
@click.option(
    "--below",
    "below_um",
    metavar="UM",
    type=float,
    required=True,
    help="Peak micromotion [µm] to stay at or below, such as 100.",
)
@click.option(
    "--ask",
    "asked",
    multiple=True,
    type=click.Choice(QUESTIONS),
    help="What to find (default: all; length only where the implant is held over its whole length).",
)
@click.option("--from-crest", is_flag=True, help="Shorten the engagement from below, not from above.")
@click.option("--no-spread", is_flag=True, help="Use the inputs as stated.")
@click.option(
    "--confidence",
    metavar="SHARE",
    type=Share(),
    default="90%",
    help="Share of the samples whose peak stays at or below the limit (default 90%).",
)
@samples_option(32)
@bone_type_option
@study_options
def bounds(
    case_file: Path,
    *,
    below_um: float,
    asked: tuple[str, ...],
    from_crest: bool,
    no_spread: bool,
    confidence: float,
    samples: int,
    bone_type: int | None,
    as_json: bool,
    out: Path | None,
    **running: Any,
) -> int:
    """Find how far one number may go below a limit: least length, largest load, softest bone."""
    from stillroot.studies import bounds as study  # noqa: PLC0415

    case = _read(case_file)

    def solve(where: Where, progress: Progress) -> study.Bounds:
        with _named(case_file):
            return study.bounds(
                case,
                below_um,
                where,
                asked=asked or None,
                from_crest=from_crest,
                with_spread=not no_spread,
                confidence=confidence,
                samples=samples,
                bone_type=bone_type,
                progress=progress,
            )

    return _study(solve, running, out=out, as_json=as_json)


@click.command()
@store_option
@click.option("--clear", is_flag=True, help="Forget all solved cases.")
@click.option("--clear-outdated", is_flag=True, help="Forget what other versions of the program solved.")
def store(store_file: Path | None, *, clear: bool, clear_outdated: bool) -> None:
    """Show the solved cases that are kept, or clear them."""
    from stillroot.studies.store import Store, default_path  # noqa: PLC0415

    opened = Store.opened(store_file or default_path())
    if clear or clear_outdated:
        count = opened.clear(outdated_only=not clear)
        click.echo(f"Forgot {count} solved cases.")
    kept = opened.kept()
    click.echo(f"{opened.path}: {kept.size_mb:.1f} MB")
    click.echo(f"{kept.present} cases solved by this version, {kept.outdated} by others")
    if kept.newest:
        click.echo(f"Newest: {kept.newest} UTC")


COMMANDS = (compare, sweep, spread, bounds, store)


def _study(
    solve: Callable[[Where, Progress], Study],
    running: dict[str, Any],
    *,
    out: Path | None,
    as_json: bool,
) -> int:
    """Solve a study with progress, write it where that is asked for, and print it."""
    from stillroot.studies.running import Where  # noqa: PLC0415
    from stillroot.studies.store import Store, default_path  # noqa: PLC0415
    from stillroot.words import study_report as report  # noqa: PLC0415
    from stillroot.writing.study_files import MARK, write_study  # noqa: PLC0415

    wanted = report_for(out, MARK, reader=running["reader"], pdf=running["pdf"])
    where = Where(
        workers=running["workers"],
        cluster=running["cluster"],
        store=Store.opened(running["store_file"] or default_path()),
    )
    try:
        with progress_bar() as advance:
            found = solve(where, advance)
            if out is not None:
                write_study(found, out, report=wanted)
    except KeyboardInterrupt:
        complain("stopped; solved cases are kept, and the same command goes on from there")
        return INTERRUPTED
    data = report.data_of(found)
    print_answer(data, lambda console: report.show(found, console), out, as_json=as_json)
    failures = getattr(found, "failures", None)
    return NotConverged.exit_code if failures and not failures.solved else 0


def _read(path: Path) -> Case:
    from stillroot.inputs.case import read_case  # noqa: PLC0415 - slow to import

    return read_case(path)


def _name(path: Path, among: tuple[Path, ...]) -> str:
    """Return a short name for a case file, its folder with it where another has the same."""
    alike = [other for other in among if other.stem == path.stem]
    return path.stem if len(alike) == 1 else str(path.with_suffix(""))


@contextmanager
def _named(case_file: Path) -> Iterator[None]:
    """Name the case file in what is wrong with it."""
    try:
        yield
    except CaseError as error:
        raise error if error.file else CaseError(f"{case_file}: {error}", key=error.key) from None
