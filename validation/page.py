"""docs/validation.md and its figures, made from results alone: the text is in `page.md.j2`."""

from __future__ import annotations

import csv
from itertools import groupby
from statistics import median
from typing import TYPE_CHECKING

from jinja2 import Environment, StrictUndefined

from validation import error_estimate
from validation.suite import ALIKE, CONFIDENCE, HERE, ROOT, sources

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from pathlib import Path

    from validation.suite import Curve, Row

PAGE = ROOT / "docs" / "validation.md"
IMAGES = ROOT / "docs" / "images"
COSTS = HERE / "solid_3d" / "costs.csv"
TALLY, ABOUT = HERE / "red_team" / "tally.csv", HERE / "red_team" / "run.csv"


def page(rows: Sequence[Row]) -> str:
    """Return the page of these rows, and of the recorded costs, errors and red team."""
    by_name = {source.name: source for source in sources()}
    groups = [(by_name[name], list(its)) for name, its in groupby(rows, key=lambda row: row.source)]
    errors = error_estimate.measured()
    env = Environment(undefined=StrictUndefined, autoescape=False, keep_trailing_newline=True)  # noqa: S701
    env.filters.update(figure=figure_text, cell=cell, sentence=sentence, table=table, names=names)
    return env.from_string((HERE / "page.md.j2").read_text(encoding="utf-8")).render(
        rows=rows,
        laws=[row for row in rows if row.linear is not None],
        alike=ALIKE,
        groups=groups,
        citations={source.name: source.citation for source, _ in groups},
        confidence=CONFIDENCE,
        costs=COSTS,
        tally=TALLY,
        about=ABOUT,
        errors=errors,
        fine=_numerics(error_estimate.FINE),
        finer=_numerics(error_estimate.FINER),
        over_median=median(e.over for e in errors),
    )


def _numerics(values: dict[str, float]) -> str:
    return ", ".join(f"`{key}` {value:g}" for key, value in values.items())


def figure_text(value: float) -> str:
    """Return a figure with four digits."""
    return f"{value:.4g}"


def cell(text: str) -> str:
    """Return a text fit for a cell of a table."""
    return text.replace("<=", "≤").replace(">=", "≥").replace("|", "\\|")


def names(rows: Iterable[Row]) -> str:
    """Return the names of rows, or that there are none."""
    return ", ".join(f"{row.source} `{row.figure.key}`" for row in rows) or "none"


def sentence(text: str) -> str:
    """Return a text as a sentence."""
    text = text.strip().rstrip(".")
    return f"{text[:1].upper()}{text[1:]}."


def table(path: Path) -> str:
    """Return a CSV file as a table."""
    with path.open(encoding="utf-8", newline="") as file:
        head, *body = csv.reader(file, strict=True)
    lines = [head, ["---"] * len(head), *body]
    return "\n".join("| " + " | ".join(map(cell, line)) + " |" for line in lines)


def draw(curve: Curve, path: Path) -> None:
    """Draw a published curve as a line and the computed one as marks."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - slow to import

    figure = Figure(figsize=(7.0, 4.4), layout="constrained")
    ax = figure.subplots()
    ax.plot(*zip(*curve.published, strict=True), color="0.25", linewidth=2.0, label="published")
    mark = {"markersize": 7, "mfc": "white", "mec": "black", "mew": 1.5}
    ax.plot(*zip(*curve.computed, strict=True), "o", label="computed", **mark)
    if curve.log:
        ax.set(xscale="log", yscale="log")
    ax.set(xlabel=curve.x_label, ylabel=curve.y_label)
    ax.set_title(curve.title, loc="left", fontweight="bold")
    ax.spines[["top", "right"]].set_visible(False)
    ax.legend(frameon=False)
    figure.savefig(path, dpi=120, metadata={"Software": None})
