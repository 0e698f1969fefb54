"""Pictures of a sweep: the peak as a curve against one number, a map against two."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from matplotlib.patches import Rectangle

from stillroot.answers.wording import band_of, rounded
from stillroot.pictures.labels import BESIDE, write_off
from stillroot.pictures.paper import MOTION, SMALL_PT, TEXT_PT, WIDTH_IN, Picture, Style, blank_sheet
from stillroot.pictures.scales import (
    edged,
    lay_out_values,
    levels_of,
    motion_axis,
    motion_limits,
    motion_norm,
    motion_strip,
)
from stillroot.pictures.words import (
    along_text,
    bands_text,
    joined,
    key_label,
    key_words,
    number_text,
    um_text,
    value_text,
    whole_text,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stillroot.arrays import Floats
    from stillroot.studies.sweeps import Sweep


MOST_CURVES = 6
LOOKS = (("-", "o"), ("--", "s"), ("-.", "^"), (":", "D"), ((0, (8, 2)), "v"), ((0, (3, 1, 1, 1)), "P"))
"""Dash and mark of each curve."""
STEPS = 14
"""Shades of the map."""


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """What of a sweep is drawn: the keys that have several values, these rising, and the peaks [µm].

    `peaks` is shaped as the values; NaN where there is no answer.
    """

    keys: tuple[str, ...]
    values: tuple[Floats, ...]
    peaks: Floats

    @property
    def curves(self) -> list[tuple[float | None, Floats]]:
        """Pairs of the second key's value, None without one, and the peaks along the first."""
        if len(self.keys) == 1:
            return [(None, self.peaks)]
        count = len(self.values[1])
        shown = np.unique(np.linspace(0, count - 1, min(count, MOST_CURVES)).round().astype(int))
        return [(float(self.values[1][place]), self.peaks[:, place]) for place in shown]

    @property
    def without(self) -> int:
        """How many have no answer."""
        return int(np.isnan(self.peaks).sum())


def sweep_pictures(sweep: Sweep) -> tuple[Picture, ...]:
    """Return a curve for one varied key, curves and a map for two; none for more or without answers.

    A key that has a single value is not varied.
    """
    grid = _grid_of(sweep)
    if len(grid.keys) not in (1, 2) or np.isnan(grid.peaks).all():
        return ()
    if len(grid.keys) == 1:
        return (_curves(sweep, grid),)
    return _curves(sweep, grid), _map(sweep, grid)


def _grid_of(sweep: Sweep) -> _Grid:
    peaks = sweep.peaks_um
    keys: list[str] = []
    values: list[Floats] = []
    for axis, (key, given) in reversed(list(enumerate(sweep.grid.items()))):
        rising, first = np.unique(given, return_index=True)
        peaks = np.take(peaks, first, axis=axis)
        if len(rising) == 1:
            peaks = peaks.squeeze(axis)
        else:
            keys.insert(0, key)
            values.insert(0, rising)
    return _Grid(keys=tuple(keys), values=tuple(values), peaks=peaks)


# --- Curves -------------------------------------------------------------------------------------------


def _curves(sweep: Sweep, grid: _Grid) -> Picture:
    several, bands = len(grid.keys) == 2, sweep.case.threshold.bands_um
    message = _message_of_two(grid) if several else _message_of_one(sweep, grid)
    sheet = blank_sheet(message, sweep.case.title, tall_in=3.8, foot_in=1.15, head_in=1.25)
    ax = sheet.axes(0.85, WIDTH_IN - 2.2)
    x = grid.values[0]
    lay_out_values(ax, list(x))
    off = min(sweep.relative_error or 0.0, 0.9)
    least, most = float(np.nanmin(grid.peaks)) * (1 - off), float(np.nanmax(grid.peaks)) * (1 + off)
    begin, end = motion_limits(bands, least, most)
    motion_axis(ax, bands, end, begin, up=True)
    ends = []
    for (value, peaks), (dash, mark) in zip(grid.curves, LOOKS, strict=False):
        look: Style = {"linestyle": dash, "marker": mark, "mfc": "white", "mec": "black", "zorder": 4}
        ax.plot(x, peaks, color="black", linewidth=1.6, markersize=6.5, mew=1.3, **look)
        if off:
            error: Style = {"color": "black", "alpha": 0.28, "linewidth": 0, "zorder": 3}
            ax.fill_between(x, peaks * (1 - off), peaks * (1 + off), **error)
        solved = np.flatnonzero(~np.isnan(peaks))
        if value is not None and solved.size:
            ends.append((x[solved[-1]], peaks[solved[-1]], value_text(grid.keys[1], value)))
    _widen(ax, x, 0.27 if several else 0.05)
    _write_ends(ax, ends)
    _mark_missing(ax, grid)
    ax.set(xlabel=key_label(grid.keys[0]), ylabel="peak micromotion [µm]")
    sheet.note(_note_on_curves(sweep, grid))
    return sheet.picture("sweep", f"{message}. {_alt_of_curves(sweep, grid)}")


def _widen(ax: Axes, x: Floats, right: float) -> None:
    """Leave room beside the curves: `right` of their width, and little on the left."""
    log = ax.get_xscale() == "log"
    ends = np.log(x[[0, -1]]) if log else x[[0, -1]]
    width = ends[1] - ends[0]
    low, high = ends[0] - 0.04 * width, ends[1] + right * width
    ax.set_xlim(*(np.exp([low, high]) if log else (low, high)))


def _write_ends(ax: Axes, ends: list[tuple[float, float, str]]) -> None:
    """Name curves at their ends, apart from one another."""
    box, apart = ax.get_window_extent(), 1.5 * TEXT_PT / 72 * ax.figure.dpi
    at_px = np.array([ax.transData.transform((x, y))[1] for x, y, _ in ends])
    placed, beneath = at_px.copy(), box.y0 - 0.5 * apart
    for place in np.argsort(at_px):
        placed[place] = beneath = max(at_px[place], beneath + apart)
    placed -= max(beneath - (box.y1 - 0.5 * apart), 0.0)
    thin: Style = {"arrowstyle": "-", "linewidth": 0.7, "color": "0.3", "shrinkA": 0, "shrinkB": 4}
    look: Style = {"va": "center", "bbox": BESIDE | {"pad": 0.6}, "arrowprops": thin}
    for (x, y, text), shift in zip(ends, (placed - at_px) * 72 / ax.figure.dpi, strict=True):
        write_off(ax, (x, y), (22, shift), text, **look)


def _mark_missing(ax: Axes, grid: _Grid) -> None:
    """Mark above the axes, where it says nothing of a motion, what has no answer."""
    missing = [np.isnan(peaks) for _, peaks in grid.curves]
    if not np.any(missing):
        return
    x = grid.values[0][np.any(missing, axis=0)]
    above = ax.get_xaxis_transform()
    ax.plot(x, np.full(len(x), 1.035), "kx", markersize=7, mew=1.8, clip_on=False, transform=above)
    write_off(ax, (1.0, 1.035), (6, 0), "× no answer", xycoords="axes fraction", fontsize=SMALL_PT)


def _note_on_curves(sweep: Sweep, grid: _Grid) -> str:
    words = ["Shades are the bands."]
    if sweep.relative_error:
        words.append(f"Grey around a curve: numerical error, at most {sweep.relative_error:.1%}.")
    if len(grid.keys) == 2:
        shown, count = len(grid.curves), len(grid.values[1])
        drawn = "" if shown == count else f" ({shown} of {count} drawn)"
        words.append(f"At the curves: {key_label(grid.keys[1])}{drawn}.")
        if grid.without:
            words.append("×: no answer for one curve or more.")
    return " ".join(words)


def _message_of_one(sweep: Sweep, grid: _Grid) -> str:
    """Say how the peak changes with the key, as far as its numerical error allows."""
    solved = ~np.isnan(grid.peaks)
    x, peaks = grid.values[0][solved], grid.peaks[solved]
    key, words = grid.keys[0], key_words(grid.keys[0])
    missing = f"; no answer at {grid.without} of {grid.peaks.size} values" if grid.without else ""
    if len(peaks) == 1:
        return f"Peak micromotion is {um_text(peaks[0])} at {_of_key(key, x[0])}{missing}"
    span = f"{value_text(key, x[0])} to {value_text(key, x[-1])}"
    off = 2 * (sweep.relative_error or 0.0) * peaks.max()
    if np.ptp(peaks) <= off:
        low, high = rounded(peaks.min()), rounded(peaks.max())
        same = "hardly changes the peak: it stays between"
        return f"From {span} the {words} {same} {low} and {high} µm{missing}"
    steps = np.diff(peaks)
    if np.all(steps >= -off / 2) or np.all(steps <= off / 2):
        way = "rises" if peaks[-1] > peaks[0] else "falls"
        told = f"{rounded(peaks[0])} to {rounded(peaks[-1])} µm"
        return f"Peak micromotion {way} from {told} as the {words} rises from {span}{missing}"
    most, least = (
        f"{um_text(peaks[i])}, at {value_text(key, x[i])}" for i in (peaks.argmax(), peaks.argmin())
    )
    neither = f"Peak micromotion neither rises nor falls throughout with {words}"
    return f"{neither}: it is largest, {most} and smallest, {least}{missing}"


def _message_of_two(grid: _Grid) -> str:
    """Say how much each of two keys does at most."""
    told = []
    for axis in (0, 1):
        both = np.moveaxis(grid.peaks, axis, 0)
        whole = both[:, ~np.isnan(both).any(axis=0)]
        if whole.size:
            told.append((float((whole.max(axis=0) / whole.min(axis=0)).max()), grid.keys[axis]))
    missing = f"; {grid.without} of {grid.peaks.size} cases have no answer" if grid.without else ""
    parts = [
        f"up to {number_text(float(f'{factor:.2g}'))}-fold with {key_words(key)}"
        for factor, key in sorted(told, reverse=True)
    ]
    if not parts:
        return f"Too few cases have an answer to show a trend{missing}"
    return f"Peak micromotion changes {' and '.join(parts)}{missing}"


def _alt_of_curves(sweep: Sweep, grid: _Grid) -> str:
    told = []
    for value, peaks in grid.curves:
        of = "" if value is None else f"At {_of_key(grid.keys[1], value)}: "
        told.append(f"{of}{along_text(grid.keys[0], grid.values[0], peaks)}.")
    return (
        f"Peak micromotion of the governing load against {key_label(grid.keys[0])}, over the bands "
        f"{bands_text(sweep.case.threshold.bands_um)}. {' '.join(told)}"
    )


def _of_key(key: str, value: float) -> str:
    return f"{value_text(key, value)} of {key_words(key)}"


# --- The map ------------------------------------------------------------------------------------------


def _map(sweep: Sweep, grid: _Grid) -> Picture:
    bands = sweep.case.threshold.bands_um
    message, place = _message_of_map(grid, bands), {"left": 0.95, "width": WIDTH_IN - 1.4}
    sheet = blank_sheet(message, sweep.case.title, tall_in=4.0, foot_in=1.95, head_in=1.25)
    ax = sheet.axes(**place)
    x, y = grid.values
    lay_out_values(ax, list(x))
    lay_out_values(ax, list(y), upright=True)
    least, most = float(np.nanmin(grid.peaks)), float(np.nanmax(grid.peaks))
    norm = motion_norm(least, max(most, bands[-1]), bands)
    whole = Rectangle((0, 0), 1, 1, transform=ax.transAxes, zorder=0)
    whole.set(facecolor="white", edgecolor="0.6", hatch="////", linewidth=0.0)
    ax.add_patch(whole)
    peaks = np.ma.masked_invalid(grid.peaks.T)
    ax.contourf(x, y, peaks, levels=levels_of(norm, STEPS), cmap=MOTION, norm=norm, zorder=1)
    crossed = [band for band in bands if least < band < most]
    if crossed:
        lines = ax.contour(x, y, peaks, levels=crossed, colors="white", linewidths=1.8, zorder=3)
        lines.set(path_effects=edged(3.4))
        for text in ax.clabel(lines, fmt=lambda v: f"{v:g} µm", fontsize=TEXT_PT, colors="white"):
            text.set_path_effects(edged(3.4))
    at_x, at_y = np.meshgrid(x, y)
    solved = ~np.ma.getmaskarray(peaks)
    dot: Style = {"linestyle": "none", "clip_on": False, "zorder": 5}
    ax.plot(at_x[solved], at_y[solved], "o", color="white", mec="black", markersize=4.5, **dot)
    ax.plot(at_x[~solved], at_y[~solved], "x", color="black", markersize=7, mew=1.8, **dot)
    across, up = (key_label(key) for key in grid.keys)
    ax.set(xlim=(x[0], x[-1]), ylim=(y[0], y[-1]), xlabel=across, ylabel=up)
    strip = sheet.axes(**place, bottom=1.02, height=0.16)
    motion_strip(strip, bands, norm, "peak micromotion [µm]", steps=STEPS)
    told = "Dots: solved cases; between them, shades and lines are interpolated. Lines: the bands."
    sheet.note(told + " Hatched, ×: no answer." * bool(grid.without))
    alt = (
        f"{message}. Map of the peak micromotion of the governing load, {across} across and {up} "
        f"upwards, from {um_text(least)} to {um_text(most)}; "
        f"{grid.without} of {grid.peaks.size} cases have no answer."
    )
    return sheet.picture("sweep-map", alt)


def _message_of_map(grid: _Grid, bands: tuple[float, ...]) -> str:
    """Say how many of the cases lie in the lowest and in the highest band."""
    known = np.sort(grid.peaks[~np.isnan(grid.peaks)])
    found = [whole_text(band_of(float(peak), bands)) for peak in known]
    if found[0] == found[-1] and not grid.without:
        return f"The peak is {found[0]} in all {grid.peaks.size} cases"
    parts = [f"{name} in {found.count(name)}" for name in dict.fromkeys((found[0], found[-1]))]
    if grid.without:
        parts.append(f"without answer in {grid.without}")
    return f"Of {grid.peaks.size} cases the peak is {joined(parts)}"
