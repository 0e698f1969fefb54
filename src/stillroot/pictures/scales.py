"""Scales of motion and of numbers: bands shaded and named, ticks with room, the strip of colours."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.colors import LogNorm, Normalize
from matplotlib.patheffects import AbstractPathEffect, withStroke
from matplotlib.ticker import FixedLocator, FuncFormatter, MaxNLocator, NullLocator

from stillroot.answers.wording import band_of
from stillroot.pictures.labels import write_off
from stillroot.pictures.paper import MOTION
from stillroot.pictures.words import number_text

if TYPE_CHECKING:
    from collections.abc import Sequence

    from matplotlib.axes import Axes
    from matplotlib.axis import Axis

    from stillroot.answers.result import CheckResult
    from stillroot.arrays import Floats

BEYOND = 2.0
"""How far a scale of peaks under changes goes past the bands and the answer, at most."""
LEAST_APART = 0.075
"""Of an axis: how close its ticks may be."""
LEAST_UM = 1e-3
"""Where a logarithmic axis of motion begins at the least."""
SPAN_FOR_FACTORS = 20.0
"""Largest over least motion from which on motion is drawn on a logarithmic axis. Taste."""


def scale_um(*results: CheckResult) -> float:
    """Return the top of the scale [µm]: one for all loads, so that their pictures compare.

    Where the implant gives way its motion has no end, and does not count.
    """
    loads = [answer for result in results for answer in result.loads]
    peaks = [answer.peak.total_um for answer in loads if answer.gives_way_at is None]
    return max(*(band for result in results for band in result.case.threshold.bands_um), *peaks)


def end_of_changes(bands: Sequence[float], answered: float, peaks: Sequence[float]) -> float:
    """Return the end of a scale [µm] of an answer and peaks beside it, of which some may lie beyond."""
    return 1.1 * min(max(*bands, answered, *peaks), BEYOND * max(*bands, answered))


def edged(width: float) -> list[AbstractPathEffect]:
    """Return what puts a white line or letter on a black edge."""
    return [withStroke(linewidth=width, foreground="black")]


# --- Ticks --------------------------------------------------------------------------------------------


def band_ticks(bands: Sequence[float], right: float) -> list[float]:
    """Return 0, the bands and, far above them, round numbers: all with room for their figures."""
    kept = [0.0]
    round_ones = MaxNLocator(5, steps=[1, 2, 5, 10]).tick_values(0, right)
    for tick in (*sorted(bands, reverse=True), *round_ones):
        beyond = tick not in bands and tick < 1.2 * max(bands)
        if not beyond and tick <= right and min(abs(tick - k) for k in kept) > 0.06 * right:
            kept.append(float(tick))
    return sorted(kept)


def ticks_by_factors(low: float, high: float, bands: Sequence[float] = ()) -> list[float]:
    """Return the bands, and 1, 2, 5, 10, 20 … where these keep away from them, from low to high."""
    powers = range(int(np.floor(np.log10(low))), int(np.ceil(np.log10(high))) + 1)
    ticks = [m * 10.0**p for p in powers for m in (1, 2, 5)]
    far = [t for t in ticks if low <= t <= high and all(abs(np.log(t / b)) > 0.3 for b in bands)]
    return sorted([*far, *(band for band in bands if low <= band <= high)])


def plain_numbers(axis: Axis, ticks: Sequence[float] | None = None) -> None:
    """Give an axis numbers without powers of ten and no small ticks."""
    if ticks is not None:
        axis.set_major_locator(FixedLocator(ticks))
    axis.set_minor_locator(NullLocator())
    axis.set_major_formatter(FuncFormatter(lambda v, _: number_text(v)))


def by_factors(values: Sequence[float]) -> bool:
    """Whether values, rising, are spaced more evenly by factors than by differences."""
    if len(values) < 3 or values[0] <= 0:
        return False
    steps, factors = np.diff(values), np.diff(np.log(values))
    return bool(np.ptp(factors) / factors.mean() < np.ptp(steps) / steps.mean())


def lay_out_values(ax: Axes, values: Sequence[float], *, upright: bool = False) -> None:
    """Lay an axis out for values, rising: by factors where they are so spaced, ticks at values."""
    log = by_factors(values)
    if log:
        (ax.set_yscale if upright else ax.set_xscale)("log")
    places = np.log(values) if log else np.asarray(values)
    shares = (places - places[0]) / (places[-1] - places[0])
    kept = [0]
    for place, share in enumerate(shares[1:-1], start=1):
        if min(share - shares[kept[-1]], 1 - share) >= LEAST_APART:
            kept.append(place)
    few = log or len(values) <= 1 / LEAST_APART
    ticks = [values[place] for place in (*kept, len(values) - 1)] if few else None
    plain_numbers(ax.yaxis if upright else ax.xaxis, ticks)


# --- Bands --------------------------------------------------------------------------------------------


def motion_limits(bands: Sequence[float], least: float, most: float) -> tuple[float, float]:
    """Return the ends of an axis of motion [µm]: 0, or above it where motion spans factors."""
    least = max(least, LEAST_UM)
    if max(most, bands[-1]) / min(least, bands[0]) > SPAN_FOR_FACTORS:
        return 0.8 * min(least, bands[0]), 1.4 * max(most, bands[-1])
    return 0.0, max(1.08 * most, 1.35 * bands[-1])


def motion_axis(
    ax: Axes,
    bands: Sequence[float],
    end: float,
    begin: float = 0.0,
    *,
    named: bool = True,
    up: bool = False,
) -> None:
    """Lay an axis out for motion from `begin` to `end`, by factors where it does not begin at 0.

    The bands are shaded: darker is more motion; no colour says pass or fail. Motion runs to the right,
    the bands' names on top; or upwards, names on the right.
    """
    axis = ax.yaxis if up else ax.xaxis
    if begin > 0:
        (ax.set_yscale if up else ax.set_xscale)("log")
        plain_numbers(axis, ticks_by_factors(begin, end, bands))
    else:
        axis.set_ticks(band_ticks(bands, end))
    (ax.set_ylim if up else ax.set_xlim)(begin, end)
    edges = [begin, *(band for band in bands if begin < band < end), end]
    for (low, high), (first, last) in zip(
        pairwise(edges), pairwise(shares_of(ax, edges, up=up)), strict=True
    ):
        darker = sum(band <= low for band in bands)
        grey = str(0.97 - 0.22 * darker / len(bands))
        (ax.axhspan if up else ax.axvspan)(low, high, facecolor=grey, edgecolor="none", zorder=0)
        if named and last - first >= (0.045 if up else 0.13):  # else the ticks tell
            place = (1.0, (first + last) / 2) if up else ((first + last) / 2, 1.0)
            name = band_of((low + high) / 2, tuple(bands))
            write_off(ax, place, (6, 0) if up else (0, 4), name, xycoords="axes fraction")


def shares_of(ax: Axes, values: Sequence[float], *, up: bool = False) -> Floats:
    """Return where values lie along an axis, as shares of its length."""
    along = ax.get_yaxis_transform() if up else ax.get_xaxis_transform()
    points = [(0.0, value) if up else (value, 0.0) for value in values]
    shares: Floats = (along + ax.transAxes.inverted()).transform(points)[:, int(up)]
    return shares


def rows_over_bands(
    ax: Axes, bands: Sequence[float], end: float, count: int, *, named: bool = False
) -> None:
    """Lay axes out for rows, the first on top, over a scale of motion."""
    motion_axis(ax, bands, end, named=named)
    ax.set(ylim=(count - 0.5, -0.5), yticks=[])
    if not named:
        ax.set_xlabel("peak micromotion [µm]; shades are the bands")


# --- Colours ------------------------------------------------------------------------------------------


def motion_norm(least: float, top: float, bands: Sequence[float]) -> Normalize:
    """Return the scale of colours: from 0 up to `top`, or by factors where motion spans them."""
    least = max(least, LEAST_UM)
    return LogNorm(min(least, bands[0]), top) if top / least > SPAN_FOR_FACTORS else Normalize(0, top)


def levels_of(norm: Normalize, count: int) -> Floats:
    """Return values (count,) from the lower to the upper end of a scale of colours, evenly spaced."""
    levels: Floats = np.asarray(norm.inverse(np.linspace(0, 1, count)), dtype=np.float64)
    return levels


def motion_strip(
    ax: Axes,
    bands: Sequence[float],
    norm: Normalize,
    label: str,
    *,
    steps: int = 256,
    end: float | None = None,
) -> None:
    """Draw the colours of motion as a strip, the bands as lines; beyond the scale up to `end`."""
    edges = levels_of(norm, steps)
    low, top = edges[0], end or edges[-1]
    shown = np.append(edges, top) if end else edges
    ax.pcolormesh(shown, [0, 1], shown[None, 1:], cmap=MOTION, norm=norm, rasterized=True)
    log = isinstance(norm, LogNorm)
    if log:
        ax.set_xscale("log")
    ax.vlines(bands, 0, 1, colors="white", linewidth=1.8, path_effects=edged(3.4))
    ax.set(xlim=(low, top), ylim=(0, 1), yticks=[], xlabel=label)
    plain_numbers(ax.xaxis, ticks_by_factors(low, top, bands) if log else band_ticks(bands, top))
