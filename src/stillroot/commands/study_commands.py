"""The commands that solve many cases: compare, sweep, spread, bounds, and the store that keeps them."""

from __future__ import annotations

from contextlib import nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillroot.commands import options
from stillroot.commands.terminal import INTERRUPTED, complain, deliver, naming, progress_bar
from stillroot.errors import CaseError, NotConverged

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.studies.running import Progress
    from stillroot.words.study_documents import Study

QUESTIONS = ("length", "engagement", "load", "lever", "bone")


@click.command()
@click.argument(
    "case_files", metavar="A.toml B.toml …", nargs=-1, required=True, type=click.Path(path_type=Path)
)
@options.samples_options(32)
@options.left_out("--no-spread", "with_spread", help="Compare the cases as stated, without samples.")
@options.study_options
def compare(case_files: tuple[Path, ...], **given: Any) -> int:
    """Set cases side by side: what differs in them, and which differences mean anything.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.inputs.case import read_case  # noqa: PLC0415
    from stillroot.studies import comparison as study  # noqa: PLC0415

    cases = {_name(path, case_files): read_case(path) for path in case_files}
    if len(cases) < len(case_files):
        msg = "a case is given more than once; a comparison takes different ones"
        raise CaseError(msg)

    return _study("Comparison", study.compare, cases, **given)


@click.command()
@options.file_argument("CASE.toml")
@click.option(
    "--vary",
    "varied",
    multiple=True,
    required=True,
    metavar="KEY=FROM:TO:COUNT",
    help="A number of the case file and its values; several make a grid. Also KEY=a,b,c, and "
    "KEY=from:to:count:log for steps by a factor.",
)
@options.study_options
def sweep(file: Path, *, varied: tuple[str, ...], **given: Any) -> int:
    """Solve a case on a grid of its numbers.

    KEY is named as in the case file: bone.trabecular_modulus_mpa, loads.height_mm (of every load),
    loads[1].axial_n. Besides: engagement_mm, engagement_from_crest_mm, load_factor, trabecular_factor.
    """
    from stillroot.inputs.case import read_case  # noqa: PLC0415
    from stillroot.studies import sweeps as study  # noqa: PLC0415

    grid: dict[str, tuple[float, ...]] = {}
    for text in varied:
        key, values = study.parsed(text)
        if key in grid:
            msg = f"--vary {text}: {key} is varied already"
            raise CaseError(msg, key=key)
        grid[key] = values
    return _study("Sweep", study.sweep, read_case(file), grid, file=file, **given)


@click.command()
@options.file_argument("CASE.toml")
@options.samples_options(64)
@options.left_out("--no-drivers", "drivers", help="Leave out the drivers: fewer cases to solve.")
@options.study_options
def spread(file: Path, **given: Any) -> int:
    """Show how the uncertainty of the inputs spreads the answer.

    The case's [spread] lists the rough inputs; without one, shipped ranges are used and shown.
    """
    from stillroot.inputs.case import read_case  # noqa: PLC0415
    from stillroot.studies import spreads as study  # noqa: PLC0415

    return _study("Spread", study.spread, read_case(file), file=file, **given)


@click.command()
@options.file_argument("CASE.toml")
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
    callback=lambda _, __, asked: asked or None,
    help="What to find (default: all; length only where the implant is held over its whole length).",
)
@click.option("--from-crest", is_flag=True, help="Shorten the engagement from below, not from above.")
@options.left_out("--no-spread", "with_spread", help="Use the inputs as stated.")
@click.option(
    "--confidence",
    metavar="SHARE",
    type=options.Share(),
    default="90%",
    help="Share of the samples whose peak stays at or below the limit (default 90%).",
)
@options.samples_options(32)
@options.study_options
def bounds(file: Path, *, below_um: float, **given: Any) -> int:
    """Find how far one number may go below a limit: least length, largest load, softest bone."""
    from stillroot.inputs.case import read_case  # noqa: PLC0415
    from stillroot.studies import bounds as study  # noqa: PLC0415

    return _study("Bounds", study.bounds, read_case(file), below_um, file=file, **given)


@click.command()
@options.store_option
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
    kind: str,
    study: Callable[..., Study],
    *about: Any,
    file: Path | None = None,
    workers: int | None,
    cluster: str | None,
    store_file: Path | None,
    **given: Any,
) -> int:
    """Solve a study with progress, deliver it, and return the exit code.

    Options that say how are named as the parameters of `study` are; `file` is named in what is wrong.
    """
    from stillroot.studies.running import Where  # noqa: PLC0415
    from stillroot.studies.store import Store, default_path  # noqa: PLC0415

    output = {name: given.pop(name) for name in ("out", "as_json", "reader", "pdf")}

    def solve(progress: Progress) -> Study:
        kept = Store.opened(store_file or default_path())
        where = Where(workers=workers, cluster=cluster, store=kept)
        with naming(file) if file else nullcontext():
            return study(*about, where=where, progress=progress, **given)

    try:
        found = deliver(kind, progress_bar(), solve, **output)
    except KeyboardInterrupt:
        complain("stopped; solved cases are kept, and the same command goes on from there")
        return INTERRUPTED
    failures = getattr(found, "failures", None)
    return NotConverged.exit_code if failures and not failures.solved else 0


def _name(path: Path, among: tuple[Path, ...]) -> str:
    """Return a short name for a case file, its folder with it where another has the same."""
    alike = [other for other in among if other.stem == path.stem]
    return path.stem if len(alike) == 1 else str(path.with_suffix(""))
