"""Options and arguments that commands share."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    from collections.abc import Callable


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


def file_argument(metavar: str) -> Callable[[Any], Any]:
    """Return the argument for the one file that a command reads."""
    return click.argument("file", metavar=metavar, type=click.Path(path_type=Path))


def left_out(option: str, parameter: str, *, help: str) -> Callable[[Any], Any]:  # noqa: A002 - as click's
    """Return a flag that makes a parameter false, which is true without it."""
    return click.option(
        option, parameter, is_flag=True, help=help, callback=lambda _, __, given: not given
    )


def together(*options: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Return several options as one, in the order of the help."""

    def add(command: Any) -> Any:
        for option in reversed(options):
            command = option(command)
        return command

    return add


def output_options(files: str) -> Callable[[Any], Any]:
    """Return the options on what is written where, `files` being named in their help."""
    return together(
        click.option("--json", "as_json", is_flag=True, help="Print the answer as JSON, nothing else."),
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


workers_option = click.option(
    "--workers",
    metavar="N",
    type=click.IntRange(1),
    help="How many processes solve at once (default: one a core).",
)
store_option = click.option(
    "--store",
    "store_file",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Where solved cases are kept (default: the user's cache folder, or STILLROOT_STORE).",
)
study_options = together(
    output_options("study.json, study.txt, table.csv, table.parquet and pictures"),
    workers_option,
    click.option(
        "--cluster",
        metavar="ADDRESS",
        help="Solve on a dask cluster, such as tcp://127.0.0.1:8786 (needs stillroot[cluster]).",
    ),
    store_option,
)
"""What all studies have: where they run, what they keep, and what they write."""


def samples_options(default: int) -> Callable[[Any], Any]:
    """Return the options on the sample of a study."""
    return together(
        click.option(
            "--samples",
            metavar="N",
            type=int,
            default=default,
            help=f"Rows of the sample, a power of two (default {default}).",
        ),
        click.option(
            "--bone-type",
            type=click.IntRange(1, 4),
            metavar="1-4",
            help="Use the published range of modulus and cortex of this Lekholm & Zarb type.",
        ),
    )
