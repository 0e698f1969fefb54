"""`stillroot span`: the command of a full arch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from stillroot.commands.options import file_argument, output_options
from stillroot.commands.terminal import deliver, working
from stillroot.errors import CaseError

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from stillroot.arch.span import SpanResult
    from stillroot.arch.span_vary import Variation


@click.command()
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
    from stillroot.writing.output import SPAN  # noqa: PLC0415

    plan = read_plan(file)
    # Numbers are those of the file, also where an implant before it is left out.
    for name in dict.fromkeys(plan.name_of(given) for given in without):
        plan = plan.without(name)
    if vary is not None:
        for option, given in (("--out", output["out"] is not None), ("--unsplinted", unsplinted)):
            if given:
                msg = f"{option}: is not used with --vary; leave one of the two out"
                raise CaseError(msg)

    def solve(tell: Callable[[str], None]) -> SpanResult | Variation:
        if vary is not None:
            return varied(plan, vary, progress=tell)
        return check_span(plan, quick=quick, unsplinted=unsplinted, progress=tell)

    deliver(SPAN, working(file), solve, **output)
