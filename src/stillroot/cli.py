"""The command line: reads, calls, prints. Imports are late, so that `--help` is quick."""

from __future__ import annotations

import io
import os
import sys
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillroot.commands import explore_command, study_commands
from stillroot.commands.options import Share, file_argument, output_options, workers_option
from stillroot.commands.terminal import INTERNAL, INTERRUPTED, complain, deliver, progress_bar, working
from stillroot.errors import CaseError, EnvironmentProblem, StillrootError

if TYPE_CHECKING:
    from collections.abc import Callable

    from stillroot.answers.explained import Explained
    from stillroot.arch.span import SpanResult
    from stillroot.arch.span_vary import Variation

LEAST_SITES, MOST_SITES = 4, 4096


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(package_name="stillroot")
def cli() -> None:
    """How far does a freshly placed dental implant move against its bone?

    Computes peak micromotion from implant, bone, engagement and loads. For research and teaching; not
    a medical device. It decides nothing about a patient: licensed practice and local rules decide.
    """


@cli.command()
@file_argument("CASE.toml")
@output_options("result.json, summary.txt, pictures, fields, mesh and the case")
@click.option(
    "--tolerance",
    metavar="SHARE",
    type=Share(),
    help="Refine until the numerical error of every peak is at most this share of it, as 1% or 0.01.",
)
@click.option(
    "--choices",
    "with_choices",
    is_flag=True,
    help="Also show the peak under other choices, where there is no agreed value (about a minute).",
)
@click.option(
    "--range/--no-range",
    "with_range",
    default=True,
    help="Whether to find the range of each number over what the case leaves open (default: yes).",
)
def check(
    file: Path,
    *,
    tolerance: float | None,
    with_choices: bool,
    with_range: bool,
    out: Path | None,
    **output: Any,
) -> None:
    """Answer one case: peak micromotion under each load, beside the bands of the literature.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.answers import answer  # noqa: PLC0415
    from stillroot.answers.explained import as_explained  # noqa: PLC0415
    from stillroot.inputs.case import read_case  # noqa: PLC0415
    from stillroot.studies import explaining, ranges  # noqa: PLC0415

    case = read_case(file)

    def solve(tell: Callable[[str], None]) -> Explained:
        result = as_explained(answer.check(case, tolerance=tolerance, progress=tell))
        if with_range:
            result = ranges.with_ranges(result, progress=tell)
        if with_choices:
            result = explaining.with_choices(result, progress=tell)
        if out is not None:
            result = explaining.explain(result, progress=tell)
        tell("writing")
        return result

    deliver("Explained", working(file), solve, out=out, **output)


@cli.command()
@file_argument("CASE.toml")
@click.option(
    "--at-height",
    "height_mm",
    metavar="MM",
    type=float,
    default=0.0,
    help="Height above the crest of the point where loads act and stiffness is measured (default 0).",
)
@output_options("directions.json, directions.txt and a picture")
def directions(file: Path, *, height_mm: float, **output: Any) -> None:
    """Show how far the implant moves in each of its six directions, beside its torque.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.answers import answer  # noqa: PLC0415
    from stillroot.inputs.case import read_case  # noqa: PLC0415

    case = read_case(file)

    solve = partial(answer.directions, case, height_mm=height_mm)
    deliver("DirectionsResult", working(file), lambda tell: solve(progress=tell), **output)


@cli.command()
@file_argument("PLAN.toml")
@click.option(
    "--without",
    metavar="N",
    multiple=True,
    help="Leave out an implant, by name or number: lost, or not loaded. Repeat for several.",
)
@click.option(
    "--unsplinted",
    is_flag=True,
    help="Also answer the same loads on single crowns: the effect of splinting.",
)
@click.option(
    "--quick",
    is_flag=True,
    help="Answer in seconds, on a coarse mesh and without errors.",
)
@click.option(
    "--vary",
    metavar="WHAT",
    help="Answer quickly for several values of one thing: cantilever, implants, stiffness or "
    "engagement:NAME, as cantilever=0,5,10.",
)
@output_options("span.json, span.txt, the resolved plan and pictures")
def span(
    file: Path,
    *,
    without: tuple[str, ...],
    unsplinted: bool,
    quick: bool,
    vary: str | None,
    **output: Any,
) -> None:
    """Answer a full arch: the load that each implant under one bridge carries, and its motion.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.arch.plan import read_plan  # noqa: PLC0415
    from stillroot.arch.span import check_span  # noqa: PLC0415
    from stillroot.arch.span_vary import vary as varied  # noqa: PLC0415

    plan = read_plan(file)
    # Numbers are those of the file, also where an implant before it is left out.
    for name in dict.fromkeys(plan.name_of(given) for given in without):
        plan = plan.without(name)
    solve: Callable[..., SpanResult | Variation]
    if vary is None:
        solve = partial(check_span, plan, quick=quick, unsplinted=unsplinted)
    else:
        for option, given in (("--out", output["out"] is not None), ("--unsplinted", unsplinted)):
            if given:
                msg = f"{option}: is not used with --vary; leave one of the two out"
                raise CaseError(msg)
        solve = partial(varied, plan, vary)
    deliver("SpanResult", working(file), lambda tell: solve(progress=tell), **output)


@cli.command()
@click.argument("folder", metavar="DIR", type=click.Path(path_type=Path))
@click.option(
    "--sites",
    "count",
    metavar="N",
    type=click.IntRange(LEAST_SITES, MOST_SITES),
    help="How many sites (default 128, or 8 with --small).",
)
@click.option("--small", is_flag=True, help="Few sites on a coarse mesh, to try it out.")
@workers_option
def lesson(folder: Path, *, count: int | None, small: bool, workers: int | None) -> int:
    """Write a lesson into DIR: torque against motion, over many invented sites.

    Writes a page with its pictures, and the data as CSV. DIR keeps what is solved: after a stop, the
    same command goes on from there.
    """
    from stillroot.answers.wording import CAUTION  # noqa: PLC0415
    from stillroot.studies.lesson import Plan  # noqa: PLC0415
    from stillroot.studies.lesson_sites import LOAD_IN_WORDS, SITES, SMALL_SITES  # noqa: PLC0415
    from stillroot.writing.lesson_files import PAGE, finding, make_lesson  # noqa: PLC0415

    plan = Plan(count=count or (SMALL_SITES if small else SITES), small=small)
    try:
        with progress_bar() as advance:
            told = make_lesson(folder, plan, workers or os.cpu_count() or 1, advance)
    except KeyboardInterrupt:
        complain("stopped; finished sites are kept, and the same command goes on from there")
        return INTERRUPTED
    click.echo(f"Rank correlation ρ with peak micromotion under {LOAD_IN_WORDS}, gaps empty:")
    for sentence in finding(told):
        click.echo(f"- {sentence}")
    click.echo(CAUTION)
    click.echo(f"Written to {folder / PAGE}")
    return 0


for command in (*study_commands.COMMANDS, explore_command.explore):
    cli.add_command(command)


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and exit with its code; an error is one message, never a traceback."""
    # Matrices are small here: a second thread of BLAS costs more than it saves (4.8 s a check for 4.0).
    os.environ.setdefault("OMP_NUM_THREADS", "1")
    sys.exit(_run(arguments))


def _run(arguments: list[str] | None) -> int:
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):  # a terminal that lacks a letter shows "?"
            stream.reconfigure(errors="replace")
    try:
        code = cli.main(arguments, prog_name="stillroot", standalone_mode=False)
    except click.Abort:
        complain("stopped; nothing was written")
        return INTERRUPTED
    except click.ClickException as error:
        error.show()
        return error.exit_code
    except StillrootError as error:
        complain(str(error))
        return error.exit_code
    except MemoryError:
        complain(
            "this case needs more memory than this machine has: a larger element_mm, fewer harmonics or "
            "fewer turns of the thread need less"
        )
        return CaseError.exit_code
    except OSError as error:
        complain(f"the answer could not be written: {error.strerror or error}")
        _drop_what_is_left()
        return EnvironmentProblem.exit_code
    except Exception as error:
        if os.environ.get("STILLROOT_DEBUG"):
            raise
        complain(
            f"an internal error ({type(error).__name__}: {error}). Please report it with "
            "the case file; STILLROOT_DEBUG=1 shows where it occurred."
        )
        return INTERNAL
    return code if isinstance(code, int) else 0


def _drop_what_is_left() -> None:
    """Let what stdout could not take go nowhere, or Python would fail over it on its way out."""
    with suppress(OSError, ValueError), Path(os.devnull).open("w") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())


if __name__ == "__main__":
    main()
