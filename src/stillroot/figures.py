"""Pictures of an answer: the half-section, the interface unrolled, and all loads at a glance.

Everything here is drawing. Each picture says one thing, in its title, and reads without colour: motion
on the wall is colour and thickness, states are greys, marks differ in shape. All pictures of one answer
share one colour scale, from 0 to the largest band (or the largest peak, where that is above it).
"""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING, Any

from stillroot.drawing import (
    TEXT_PT,
    WIDTH_IN,
    Picture,
    axes_at,
    band_ticks,
    blank_figure,
    head_text,
    load_text,
    mark_head,
    mark_interval,
    peak_text,
    plain_axes,
    quoted_name,
    scale_um,
    shortened,
    whole_text,
    write_headings,
    write_in,
)
from stillroot.figure_section import section
from stillroot.figure_unrolled import unrolled
from stillroot.verdict import band_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import numpy as np
    from matplotlib.axes import Axes
    from numpy.typing import NDArray

    from stillroot.answer import CheckResult

    Floats = NDArray[np.float64]
    Place = tuple[float, float]
    Style = dict[str, Any]


def pictures(result: CheckResult) -> tuple[Picture, ...]:
    """Return every picture of an answer: the summary, then section and unrolled wall a load."""
    drawn = [summary(result)]
    for answer in result.loads:
        drawn += [section(result, answer), unrolled(result, answer)]
    return tuple(drawn)


def summary(result: CheckResult) -> Picture:
    """Draw the peak with its error, and the head movement, of every load against the bands."""
    count = len(result.loads)
    height_in = 2.4 + 0.95 * count
    figure = blank_figure(height_in)
    ax = axes_at(figure, left=0.3, bottom=0.92, width=WIDTH_IN - 0.6, height=0.95 * count)
    right = 1.22 * scale_um(result)
    _shade_bands(ax, result.case.threshold.bands_um, right)
    for row, answer in enumerate(result.loads):
        ax.axhspan(row - 0.5, row - 0.17, facecolor="white", edgecolor="none", zorder=1)
        name = f"{shortened(answer.name)}: {load_text(answer.resultant, lines=1)}"
        write_in(ax, (0.012 * right, row - 0.33), name, va="center", beside=False, order=3)
        mark_interval(ax, answer, right, y=row + 0.03, drop=None)
        mark_head(ax, answer, right, y=row + 0.31, drop=None)
    ax.set(xlim=(0, right), ylim=(count - 0.5, -0.5), yticks=[])
    ax.set_xticks(band_ticks(result.case.threshold.bands_um, right))
    ax.set_xlabel("micromotion at the interface, and head movement [µm]")
    plain_axes(ax)
    worst = result.governing
    message = (
        f"{quoted_name(worst.name)}{' governs' if count > 1 else ''}: peak micromotion "
        f"{whole_text(peak_text(worst))} ({whole_text(worst.band)})"
    )
    write_headings(figure, message, result.case.title)
    return Picture(name="summary", figure=figure, alt=_summary_alt(result))


def _shade_bands(ax: Axes, bands: Sequence[float], right: float) -> None:
    """Shade and name the bands: darker is more motion; no colour says pass or fail."""
    ends = [0.0, *bands, right]
    for index, (low, high) in enumerate(pairwise(ends)):
        grey = 0.97 - 0.22 * index / len(bands)
        ax.axvspan(low, high, facecolor=str(grey), edgecolor="none", zorder=0)
        if high - low < 0.13 * right:
            continue  # no room for its name; the ticks tell
        name = band_of((low + high) / 2, tuple(bands))
        at = ((low + high) / 2, 1.0)
        style: Style = {"ha": "center", "va": "bottom", "fontsize": TEXT_PT}
        ax.annotate(name, at, (0, 4), ax.get_xaxis_transform(), "offset points", **style)


def _summary_alt(result: CheckResult) -> str:
    rows = " ".join(
        f"“{a.name}”: peak {peak_text(a)} ({a.band}), head movement {head_text(a)}."
        for a in result.loads
    )
    bands = ", ".join(f"{band:g}" for band in result.case.threshold.bands_um)
    return f"Peak micromotion and head movement of each load against the bands {bands} µm. {rows}"
