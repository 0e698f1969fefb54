"""`stillroot span`: the command of a full arch."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from stillroot.commands.terminal import output_options, print_answer, report_for, working
from stillroot.errors import CaseError

if TYPE_CHECKING:
    from stillroot.words.document import Audience


@click.command()
@click.argument("plan_file", metavar="PLAN.toml", type=click.Path(path_type=Path))
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
@click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, nothing else.")
@output_options("span.json, span.txt, the resolved plan and pictures")
def span(
    plan_file: Path,
    *,
    vary: str | None,
    out: Path | None,
    as_json: bool,
    reader: Audience | None,
    pdf: bool,
    **how: Any,
) -> None:
    """Answer a full arch: the load that each implant under one bridge carries, and its motion.

    Exit codes: 0 computed, 2 bad input, 3 not converged, 4 something missing on this machine.
    """
    from stillroot.arch.plan import read_plan  # noqa: PLC0415
    from stillroot.arch.span import check_span  # noqa: PLC0415
    from stillroot.words import span_report  # noqa: PLC0415
    from stillroot.writing import export  # noqa: PLC0415

    plan = read_plan(plan_file)
    # Numbers are those of the file, also where an implant before it is left out.
    for name in dict.fromkeys(plan.name_of(given) for given in how["without"]):
        plan = plan.without(name)
    wanted = report_for(out, export.SPAN_MARK, reader=reader, pdf=pdf)
    if vary is not None:
        _refuse_beside_vary(out=out, **how)
        from stillroot.arch.span_vary import vary as varied  # noqa: PLC0415

        with working(plan_file) as tell:
            variation = varied(plan, vary, progress=tell)
        data = span_report.varied_data(variation)
        print_answer(data, lambda c: span_report.show_varied(variation, c), None, as_json=as_json)
        return
    with working(plan_file) as tell:
        result = check_span(plan, quick=how["quick"], unsplinted=how["unsplinted"], progress=tell)
        if out is not None:
            tell("writing")
            export.write_span(result, out, report=wanted)
    data = span_report.data_of(result)
    print_answer(data, lambda c: span_report.show(result, c), out, as_json=as_json)


def _refuse_beside_vary(*, out: Path | None, unsplinted: bool, **_: Any) -> None:
    for name, given in (("--out", out is not None), ("--unsplinted", unsplinted)):
        if given:
            msg = f"{name}: is not used with --vary; leave one of the two out"
            raise CaseError(msg)
